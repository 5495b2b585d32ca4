"""From the text of a wiring file to designs: netlists and claims. The parser is loaded on first use."""

from __future__ import annotations

from pathlib import Path

from verifier.claims.claim import WiringFile


def load(path: str | Path, *, allow_outside: bool = False) -> WiringFile:
    """Everything that a wiring file describes.

    Findings name the file as it was given. `allow_outside` permits `use` to leave the file's own folder.

    Raises:
        SourceError: the file, or one it uses, is wrong; all findings together.
        CallError: there is no such file, or it cannot be read.
    """
    from verifier.language.files import load_file

    return load_file(path, allow_outside=allow_outside)


def loads(text: str, file_name: str) -> WiringFile:
    """Same as `load` of a file with this text; `file_name` is what findings show."""
    from verifier.language.files import load_text

    return load_text(text, file_name)
