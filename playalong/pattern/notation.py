"""One line of a bar as it is written: a group of symbols for each beat, a symbol for each step.

The symbols are those of drum tab. Round brackets mean a ghost note, as drummers write it: "(x)" is
the same as "g". A question mark behind a stroke makes it optional: "g?". Either way it is one step.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from playalong.pattern.meter import Meter
from playalong.pattern.model import Dynamic

REST, TAKEN, OPTIONAL = "-", ".", "?"

#: What is meant by brackets around a stroke, and the one stroke that they go around.
_GHOST, _BRACKETED = "g", "x"

#: More steps than this to a beat nobody can read or play.
MOST_STEPS = 48


@dataclass(frozen=True, slots=True)
class Symbol:
    """What a symbol stands for: dynamic, grace strokes, an open hi-hat on a hi-hat line."""

    dynamic: Dynamic
    graces: int = 0
    is_open: bool = False


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
}


class GridError(ValueError):
    """What is wrong in a line, and at which of its characters (0 is the first)."""

    def __init__(self, message: str, at: int) -> None:
        super().__init__(message)
        self.at = at


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step that says something: position in the bar, the symbol, and where it stands."""

    position: Fraction
    symbol: str
    optional: bool
    at: int


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
    for (at, group), start, length in zip(groups, meter.beat_starts, meter.beats, strict=True):
        marks = list(_marks(group, at, allowed=allowed, optional=optional))
        if len(marks) > MOST_STEPS:
            raise GridError(f"a beat has at most {MOST_STEPS} steps, not {len(marks)}", at)
        sizes.append(len(marks))
        steps += [
            Step(
                position=start + length * index / len(marks),
                symbol=symbol,
                optional=maybe,
                at=where,
            )
            for index, (symbol, maybe, where) in enumerate(marks)
            if symbol != REST
        ]
    return steps, tuple(sizes)


def write_line(
    steps: Sequence[tuple[Fraction, str]], meter: Meter, sizes: Sequence[int]
) -> list[str]:
    """The groups of a line with ``steps`` (position, text), ``sizes`` steps to each beat."""
    at = dict(steps)
    return [
        "".join(at.get(start + length * index / size, REST) for index in range(size))
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
    if closing == ")" and inside not in (_BRACKETED, REST, TAKEN, OPTIONAL):
        raise GridError(_unknown(inside, "".join(SYMBOLS)), where + 1)
    if closing != ")" or inside != _BRACKETED:
        raise GridError(f'brackets hold one stroke, as in "({_BRACKETED})"', where)
    return _GHOST


def _unknown(symbol: str, allowed: str) -> str:
    return f'"{symbol}" is no symbol here; use one of {" ".join(allowed)}'
