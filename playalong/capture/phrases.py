"""All that is said of a groove that was played in."""

from collections.abc import Sequence

from playalong.capture.bars import Reading
from playalong.capture.picking import Item, State, items, label
from playalong.capture.understanding import LOUDNESS, SELDOM, THICK, Captured
from playalong.pattern.meter import WrittenSwing
from playalong.pattern.model import Pattern
from playalong.support.text import counted

#: So many strokes that were left out are named; the others are counted.
_NAMED = 6

_DOUBTS = {
    LOUDNESS: "its loudness lies between two kinds",
    THICK: "a flam now and then",
}


def understood(captured: Captured, pattern: Pattern) -> str:
    """The groove in a line: how long it is, how fast, in what, out of how much."""
    bars = counted(len(pattern.bars), "bar")
    played = counted(captured.bars_played, "bar")
    return (
        f"{bars} of {pattern.meter.written} at {pattern.tempo:g} bpm"
        f"{swinging(pattern.swing)}, from {played} played"
    )


def swinging(swing: WrittenSwing) -> str:
    """How it swings, nothing where it is straight."""
    return "" if swing.is_straight else f", {swing.notes} swung {float(swing.percent):g} %"


def counting(reading: Reading) -> str:
    """How a reading counts, in a word or two."""
    return f"{reading.meter.written} at {_bpm(reading)} bpm"


def choice(one: Reading, best: Reading) -> str:
    """What another reading makes of it, against the one that was taken."""
    ratio = one.tempo_bpm / best.tempo_bpm
    if one.meter != best.meter:
        return f"{counting(one)}"
    if abs(ratio - 2.0) < 0.04:
        return f"twice as fast, {_bpm(one)} bpm"
    if abs(ratio - 0.5) < 0.01:
        return f"half as fast, {_bpm(one)} bpm"
    if abs(ratio - 1.0) > 0.02:
        return f"{_bpm(one)} bpm"
    later = round(4.0 * float(best.at[0] - one.at[0])) / 4.0
    many = sum(one.meter.groups) if len(set(one.meter.groups)) > 1 else len(one.meter.groups)
    later %= many
    if later > many / 2.0:
        return f"bar 1 {_beats(many - later)} earlier"
    return f"bar 1 {_beats(later)} later"


def _bpm(reading: Reading) -> str:
    return f"{reading.tempo_bpm:.0f}"


def _beats(many: float) -> str:
    return "1 beat" if many == 1.0 else f"{many:g} beats"


def what_is_unsure(item: Item, pattern: Pattern) -> str:
    """A stroke by its place, and what is unsure of it."""
    return f"{place(item, pattern)}, {', '.join(doubts(item))}"


def place(item: Item, pattern: Pattern) -> str:
    """Where a stroke is: bar, count, voice."""
    bar = pattern.bars[item.bar]
    where = bar.meter.count(item.stroke.at)
    numbered = f"bar {item.bar + 1}, " if len(pattern.bars) > 1 else ""
    return f"{numbered}{where}: {label(item)}"


def doubts(item: Item) -> list[str]:
    """What is unsure of a stroke, in words."""
    found = []
    if SELDOM in item.doubts or item.state is State.LEFT_OUT or not item.doubts:
        found.append(f"came in {item.came} of {item.rounds}")
    return found + [_DOUBTS[one] for one in item.doubts if one in _DOUBTS]


def why(item: Item) -> str:
    """What is unsure of a stroke, as short as can be."""
    if SELDOM in item.doubts or not item.doubts:
        return f"{item.came} of {item.rounds}"
    return "how loud?" if LOUDNESS in item.doubts else "a flam?"


def report(captured: Captured, listed: Sequence[Item] | None = None) -> list[str]:
    """What is to be looked at: unsure strokes, those left out, what varies, the bars not taken."""
    pattern = captured.pattern
    listed = items(captured) if listed is None else listed
    unsure = [item for item in listed if item.state is not State.LEFT_OUT]
    out = [item for item in listed if item.state is State.LEFT_OUT]
    lines = [
        f"unsure: {what_is_unsure(item, pattern)}"
        + (", so it may be left out" if item.state is State.OPTIONAL else "")
        for item in unsure[:_NAMED]
    ]
    if len(unsure) > _NAMED:
        lines.append(f"and {len(unsure) - _NAMED} more that are unsure")
    lines += [f"left out: {what_is_unsure(item, pattern)}" for item in out[:_NAMED]]
    if len(out) > _NAMED:
        lines.append(f"and {len(out) - _NAMED} more left out")
    before = sum(stray.bar < 1 for stray in captured.strays)
    if before:
        lines.append(f"before bar 1: {counted(before, 'stroke')}, taken for a count-in or pick-up")
    lines += [f"variation {one.name}: {one.about}" for one in pattern.variations.values()]
    other = captured.bars_played - len(captured.understood)
    if other:
        lines.append(f"{counted(other, 'bar')} of {captured.bars_played} went another way")
    return lines
