"""How a drawing looks: on a screen, light and dark, and on paper.

A net shows its value by colour and by weight: `high` is bronze and heavy, `low` slate and fine, `unknown` dotted; a net
that has just `changed` lies on a band. Text has a contrast of at least 4.5 to what it stands on and lines of 3
(WCAG 2.2, 1.4.3 and 1.4.11). Every colour is a custom property, so that a page around the drawing can set it.
"""

from __future__ import annotations

LIGHT = {
    "paper": "#fcfbf7",
    "board": "#f3f0e7",
    "body": "#ffffff",
    "ink": "#1f2630",
    "quiet": "#565e69",
    "wire": "#4b5561",
    "high": "#9a4a00",
    "low": "#41638c",
    "band": "#f5cf86",
}
DARK = {
    "paper": "#14181d",
    "board": "#1b2027",
    "body": "#262d36",
    "ink": "#eceae3",
    "quiet": "#a9b1bb",
    "wire": "#a3adb8",
    "high": "#f2b04e",
    "low": "#83aede",
    "band": "#6b4a12",
}
PRINTED = {**LIGHT, "paper": "#ffffff", "board": "#ffffff", "band": "#d9d9d9"}
"""On paper every tint is a grey patch, so only the band keeps one."""

_RULES = """\
.circuit-drawing{background:var(--drawing-paper);color:var(--drawing-ink);font-family:ui-monospace,"DejaVu Sans Mono",\
Menlo,Consolas,monospace;font-size:11px}
.circuit-drawing text{fill:var(--drawing-ink);font-size:11px}
.circuit-drawing .heading{font-size:13px;font-weight:600}
.circuit-drawing .pin,.circuit-drawing .qualifier{font-size:10px;fill:var(--drawing-quiet)}
.circuit-drawing .qualifier{fill:var(--drawing-ink)}
.circuit-drawing .board{fill:var(--drawing-board);stroke:var(--drawing-quiet);stroke-width:1}
.circuit-drawing .reach{fill:none;pointer-events:all}
.circuit-drawing .outline{fill:var(--drawing-body);stroke:var(--drawing-ink);stroke-width:1.6;stroke-linejoin:round;\
stroke-linecap:round}
.circuit-drawing .open{fill:none}
.circuit-drawing .pad{fill:none;stroke:var(--drawing-ink);stroke-width:5}
.circuit-drawing .part .outline{stroke-dasharray:7 3}
.circuit-drawing .line,.circuit-drawing .band{fill:none;stroke-linecap:square;stroke-linejoin:miter}
.circuit-drawing .line{stroke:var(--drawing-wire);stroke-width:1.5}
.circuit-drawing .band{stroke:none;stroke-width:9}
.circuit-drawing .junction{fill:var(--drawing-wire)}
.circuit-drawing .high .line{stroke:var(--drawing-high);stroke-width:3}
.circuit-drawing .high .junction{fill:var(--drawing-high)}
.circuit-drawing .low .line{stroke:var(--drawing-low);stroke-width:1.2}
.circuit-drawing .low .junction{fill:var(--drawing-low)}
.circuit-drawing .unknown .line{stroke-dasharray:1 4}
.circuit-drawing .changed .band{stroke:var(--drawing-band)}
.circuit-drawing .element.changed .outline{fill:var(--drawing-band)}
.circuit-drawing .element:hover .outline{stroke-width:2.6}
.circuit-drawing .net:hover .line{stroke-width:3.6}
"""


def style() -> str:
    """The style sheet. The same for every drawing, so a page with several needs it once."""
    light, dark, printed = (
        ".circuit-drawing{" + ";".join(f"--drawing-{name}:{value}" for name, value in colours.items()) + "}"
        for colours in (LIGHT, DARK, PRINTED)
    )
    return f"{light}\n@media screen and (prefers-color-scheme:dark){{{dark}}}\n@media print{{{printed}}}\n{_RULES}"
