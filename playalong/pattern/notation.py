"""One line of a bar as it is written: a group of symbols for each beat, a symbol for each step.

The symbols are those of drum tab. Round brackets mean a ghost note, as drummers write it: "(x)" is
the same as "g". A question mark behind a stroke makes it optional: "g?". Either way it is one step.
A roll goes on as long as "~" follows it: "z~~~" buzzes for four steps, "r~~~" is counted, with two
strokes to a step.
"""

from collections.abc import Iterator, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from fractions import Fraction

from playalong.pattern.meter import Meter
from playalong.pattern.model import Dynamic, Roll

REST, TAKEN, OPTIONAL, HELD = "-", ".", "?", "~"

#: What is meant by brackets around a stroke, and the one stroke that they go around.
_GHOST, _BRACKETED = "g", "x"

#: More steps than this to a beat nobody can read or play.
MOST_STEPS = 48


@dataclass(frozen=True, slots=True)
class Symbol:
    """What a symbol stands for: dynamic, grace strokes, an open hi-hat on a hi-hat line; of a roll
    how many strokes it has to a step, 0 for a buzz.
    """

    dynamic: Dynamic
    graces: int = 0
    is_open: bool = False
    _: KW_ONLY
    per_step: int | None = None


SYMBOLS: dict[str, Symbol] = {
    "x": Symbol(Dynamic.NORMAL),
    "X": Symbol(Dynamic.ACCENT),
    "o": Symbol(Dynamic.NORMAL, is_open=True),
    "O": Symbol(Dynamic.ACCENT, is_open=True),
    "g": Symbol(Dynamic.GHOST),
    "f": Symbol(Dynamic.NORMAL, graces=1),
    "F": Symbol(Dynamic.ACCENT, graces=1),
    "d": Symbol(Dynamic.NORMAL, graces=2),
    "D": Symbol(Dynamic.ACCENT, graces=2),
    "z": Symbol(Dynamic.NORMAL, per_step=0),
    "Z": Symbol(Dynamic.ACCENT, per_step=0),
    "r": Symbol(Dynamic.NORMAL, per_step=2),
    "R": Symbol(Dynamic.ACCENT, per_step=2),
}


class GridError(ValueError):
    """What is wrong in a line, and at which of its characters (0 is the first)."""

    def __init__(self, message: str, at: int) -> None:
        super().__init__(message)
        self.at = at


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step that says something: position in the bar, the symbol, where it stands, and the roll
    that it begins.
    """

    position: Fraction
    symbol: str
    optional: bool
    at: int
    roll: Roll | None = None


def read_line(
    text: str, meter: Meter, *, allowed: str, optional: bool = True
) -> tuple[list[Step], tuple[int, ...]]:
    """The steps of a line that are not rests, and the number of steps in each beat.

    ``allowed`` are the symbols that may stand in it; strokes may be ghost notes in brackets
    and optional where ``optional`` says so.
    Raises GridError.
    """
    groups = list(_groups(text))
    beats = len(meter.beats)
    if len(groups) != beats:
        hint = ""
        if len(meter.groups) == sum(meter.groups) and len(groups) < beats:
            hint = f'; for beats of unequal length write the meter like "2+2+3/{meter.denominator}"'
        raise GridError(
            f"{meter.written} has {beats} beats, but this line has {len(groups)} groups: "
            f"write one group for each beat, with a space between{hint}",
            len(text) if len(groups) < beats else groups[beats][0],
        )
    steps: list[Step] = []
    sizes = []
    rolls = False
    for (at, group), start, length in zip(groups, meter.beat_starts, meter.beats, strict=True):
        marks = list(_marks(group, at, allowed=allowed, optional=optional))
        if len(marks) > MOST_STEPS:
            raise GridError(f"a beat has at most {MOST_STEPS} steps, not {len(marks)}", at)
        sizes.append(len(marks))
        own = length / max(len(marks), 1)
        for index, (symbol, maybe, where) in enumerate(marks):
            at_rest = symbol in (REST, HELD)
            if symbol == HELD:
                if not rolls:
                    raise GridError(f'"{HELD}" goes on with a roll: there is none before it', where)
                steps[-1] = _longer(steps[-1], own, where)
            elif not at_rest:
                known = SYMBOLS.get(symbol)
                per_step = known.per_step if known else None
                steps.append(
                    Step(
                        position=start + own * index,
                        symbol=symbol,
                        optional=maybe,
                        at=where,
                        roll=None if per_step is None else Roll(own, per_step),
                    )
                )
            rolls = symbol == HELD or bool(not at_rest and steps[-1].roll)
    return steps, tuple(sizes)


def _longer(step: Step, own: Fraction, where: int) -> Step:
    """The step whose roll lasts a step of length ``own`` longer."""
    roll = step.roll or Roll(Fraction(0))
    per_step = SYMBOLS[step.symbol].per_step or 0
    if per_step and roll.length * per_step != own * roll.strokes:
        raise GridError(
            "a counted roll has two strokes to a step: cut this beat into steps as long as those "
            "where it begins",
            where,
        )
    return replace(step, roll=Roll(roll.length + own, roll.strokes + per_step))


def write_line(
    steps: Sequence[tuple[Fraction, str]],
    meter: Meter,
    sizes: Sequence[int],
    *,
    held: Sequence[tuple[Fraction, Fraction]] = (),
) -> list[str]:
    """The groups of a line with ``steps`` (position, text), ``sizes`` steps to each beat; ``held``
    are the rolls in it, from where to where.
    """
    at = dict(steps)

    def mark(position: Fraction) -> str:
        rolls = any(begin < position < end for begin, end in held)
        return at.get(position, HELD if rolls else REST)

    return [
        "".join(mark(start + length * index / size) for index in range(size))
        for start, length, size in zip(meter.beat_starts, meter.beats, sizes, strict=True)
    ]


def _groups(text: str) -> Iterator[tuple[int, str]]:
    at = 0
    for group in text.split(" "):
        if group:
            yield at, group
        at += len(group) + 1


def _marks(group: str, at: int, *, allowed: str, optional: bool) -> Iterator[tuple[str, bool, int]]:
    index = 0
    while index < len(group):
        symbol, where, size = group[index], at + index, 1
        if symbol == "(":
            symbol, size = _bracketed(group[index:], where, optional), 3
        if symbol not in allowed:
            raise GridError(_unknown(symbol, allowed), where)
        index += size
        maybe = group[index : index + 1] == OPTIONAL
        if maybe and not (optional and symbol in SYMBOLS):
            raise GridError(f'"{OPTIONAL}" goes behind a stroke, as in "x{OPTIONAL}"', at + index)
        yield symbol, maybe, where
        index += maybe


def _bracketed(rest: str, where: int, optional: bool) -> str:
    """What the brackets that ``rest`` begins with mean."""
    inside, closing = rest[1:2], rest[2:3]
    if not optional:
        raise GridError("brackets have no meaning here", where)
    if closing == ")" and inside in SYMBOLS and inside != _BRACKETED:
        raise GridError(
            f'brackets mean a ghost note, "({_BRACKETED})"; an optional stroke is written '
            f'"{inside}{OPTIONAL}", and "playalong check --mend" rewrites files of the old kind',
            where,
        )
    if closing == ")" and inside not in (_BRACKETED, REST, TAKEN, OPTIONAL, HELD):
        raise GridError(_unknown(inside, "".join(SYMBOLS)), where + 1)
    if closing != ")" or inside != _BRACKETED:
        raise GridError(f'brackets hold one stroke, as in "({_BRACKETED})"', where)
    return _GHOST


def _unknown(symbol: str, allowed: str) -> str:
    return f'"{symbol}" is no symbol here; use one of {" ".join(allowed)}'
