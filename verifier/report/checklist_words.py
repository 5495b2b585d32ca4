"""A checklist in words: what is done in a row, what is read, what the list covers. The same for all its forms."""

from __future__ import annotations

from verifier.claims.claim import Design
from verifier.evidence.checklist import Bits, Checklist, Column, PowerUp, Row, bits_read
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.pieces import clean, listing

EITHER = "-"
TITLE = "Checklist"
MANY_ROWS = 400
MANY_NAMES = 8


def digits(bits: Bits) -> str:
    """As the LEDs stand, highest bit first; `-` where either value is right."""
    return "".join(EITHER if bit is None else str(int(bit)) for bit in reversed(bits))


def cell(row: Row, column: Column) -> str:
    return digits(row.reading(column))


def deed(checklist: Checklist, row: Row) -> str:
    """What is done in this row."""
    if row.flip is None:
        verb = "switch on" if row.number == 0 else "switch off and on again"
        settings = [f"{clean(column.name)}{KEEP_TOGETHER}{_setting(row, column)}" for column in checklist.inputs]
        return f"{verb} with {', '.join(settings)}" if settings else verb
    return f"flip {net_name(checklist.design, row.flip.net)} {'up' if row.flip.up else 'down'}"


def _setting(row: Row, column: Column) -> str:
    return _level(row.reading(column))


def _level(bits: Bits) -> str:
    return digits(bits) if len(bits) > 1 else "high" if bits[0] else "low"


def net_name(design: Design, net: int) -> str:
    return clean(design.netlist.nets[net].name)


def row_notes(checklist: Checklist, row: Row) -> list[str]:
    notes = []
    if checklist.power_up is PowerUp.AS_READ and row.number == _last_told(checklist):
        notes.append(
            "go on only when the board reads as steps above say" if row.number else "go on only when it reads so"
        )
    if row.may_race:
        notes.append("may go either way: `-` stands for either")
    return notes


def _last_told(checklist: Checklist) -> int:
    """The last row at which another reading is no fault, of a list that hangs on readings."""
    return 0 if checklist.reading_was_given else checklist.known_from or 0


def summary(checklist: Checklist) -> list[str]:
    """What the list covers, how short it is and how it begins: one paragraph each."""
    return [
        *_nothing_to_read(checklist),
        " ".join([_covers(checklist), _how_short(checklist)]),
        *_long(checklist),
        _begins(checklist),
        *_unvisited(checklist),
    ]


def _nothing_to_read(checklist: Checklist) -> list[str]:
    if checklist.read:
        return []
    text = "There is nothing to read: the circuit has no output. Put an LED on inner nets, and name them with --led"
    inside = _inner_names(checklist.design)
    if not inside:
        return [f"{text} NAME."]
    others = ", ..." if len(inside) > MANY_NAMES else ""
    return [f"{text} NAME: {', '.join(inside[:MANY_NAMES])}{others}."]


def _inner_names(design: Design) -> list[str]:
    netlist = design.netlist
    inputs = {pin.name for pin in netlist.inputs}
    return [clean(name) for name in netlist.signals if name not in inputs]


def _covers(checklist: Checklist) -> str:
    covered = checklist.coverage
    steps = counted(len(checklist.rows) - 1, "step")
    states = f"{covered.states_visited} of {covered.states} settled states"
    changes = f"{covered.changes_made} of {covered.changes} flips that are permitted in them"
    if covered.states_visited == covered.states:
        states = f"all {counted(covered.states, 'settled state')}"
    if covered.changes_made == covered.changes:
        changes = "every flip that is permitted there"
    if not covered.complete:
        return (
            f"{steps} visit {counted(covered.states_visited, 'settled state')} and make {covered.changes_made} flips"
            " there. There are more: too many to find them all, so this is a part."
        )
    return f"{steps} visit {states} that can be reached and make {changes}."


def _how_short(checklist: Checklist) -> str:
    made = len(checklist.rows) - 1
    if checklist.at_least == made:
        return "No list that goes on from the same known state can do that in fewer."
    return f"No list that goes on from the same known state can do that in fewer than {checklist.at_least}."


def _long(checklist: Checklist) -> list[str]:
    if len(checklist.rows) <= MANY_ROWS:
        return []
    return ["That is long for one sitting: tick off what is done; any beginning of it is a check of its own."]


def _begins(checklist: Checklist) -> str:
    known = checklist.known_from
    match checklist.power_up:
        case PowerUp.ANY if known == 0:
            return "The board may wake as it likes: with these inputs there is only one state to wake in."
        case PowerUp.ANY:
            return f"The board may wake as it likes: after step {known} its state is known."
        case PowerUp.AS_READ if checklist.reading_was_given:
            return f"This list is for a board that woke as you read it: {_known_since(known)}."
        case PowerUp.AS_READ if known is None:
            return "The board wakes as it likes; its state is never known for certain, and `-` stands for either value."
        case PowerUp.AS_READ:
            steps = "in step 0" if not known else f"in steps 0 to {known}"
            return (
                f"No flips bring every board to one state. This list is for a board that reads as {steps}; another"
                f" reading there is no fault. Flip on until it reads so{_or_ask(checklist)}."
            )
        case PowerUp.AS_WRITTEN if known is None:
            return "The board must wake as the file's starts say; even so its state is never known for certain."
        case PowerUp.AS_WRITTEN:
            return "The board must wake as the file's starts say: something on it has to bring that about."


def _known_since(known: int | None) -> str:
    if known is None:
        return "its state is never known for certain, and `-` stands for either value"
    return f"after step {known} its state is known" if known else "its state is known from the reading"


def _or_ask(checklist: Checklist) -> str:
    other = checklist.other_waking
    if other is None:
        return " or switch off and on again"
    settings = [
        f"{clean(checklist.design.netlist.nets[net].name)} high"
        for column in checklist.inputs
        for net in column.nets
        if other[net]
    ]
    first = checklist.rows[0]
    told = next((column for column in checklist.read if bits_read([other], column.nets) != first.reading(column)), None)
    assert told is not None  # it was told from the first row by its reading
    reading = f"{clean(told.name)} {_level(bits_read([other], told.nets))}"
    return (
        ", switch off and on again, or ask for the list from what it read at power-up, for instance"
        f' --woke "{", ".join([*settings, reading])}"'
    )


def _unvisited(checklist: Checklist) -> list[str]:
    covered = checklist.coverage
    missing = covered.states - covered.states_visited
    if not missing or not covered.complete:
        return []
    them = "1 state is" if missing == 1 else f"{missing} states are"
    return [f"{them} not visited: no flip leads there from where this list begins, only another power-up does."]


def how_to_go_on(checklist: Checklist) -> str:
    """What to call when a reading differs."""
    known = checklist.known_from or 0
    rows = [row for row in checklist.rows[known + 1 :] if not row.may_race]
    found = ((row, column) for row in rows for column in checklist.read if None not in row.reading(column))
    row, column = next(found, (None, None))
    if row is None or column is None:
        return ""
    wrong = tuple(not bit for bit in row.reading(column))
    return f'--saw "step {row.number}: {clean(column.name)} {_level(wrong)}"'


def counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def names(words: list[str]) -> str:
    return listing([clean(word) for word in words])
