"""What can be changed in a pattern: each function gives another pattern, the old one stays.

What no longer fits goes: strokes beyond the end of a shorter bar, what a variation does to them or
to bars that are gone, chunks that end on no beat.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from playalong.pattern.meter import STRAIGHT, Meter
from playalong.pattern.model import (
    Bar,
    Change,
    Hand,
    Pattern,
    Practice,
    Roll,
    Stroke,
    Variation,
    divisions,
)
from playalong.pattern.voices import BY_NAME, Limb

#: Meters in the order in which they are offered; any other that a pattern has comes first.
METERS = ("4/4", "3/4", "2/4", "5/4", "6/8", "12/8", "9/8", "2+2+3/8", "7/8", "5/8")

#: Into how many parts a beat may be cut, in the order in which that is offered.
GRIDS = (1, 2, 3, 4, 6, 8)

#: A new pattern.
NEW_METER, NEW_TEMPO, NEW_GRID, NEW_TITLE = "4/4", 90.0, 4, "Untitled"

_FEET = (Limb.KICK_FOOT, Limb.HAT_FOOT)

#: As many bars as one writes by hand.
MOST_BARS = 64


def new_pattern() -> Pattern:
    """One empty bar."""
    meter = Meter.parse(NEW_METER)
    return Pattern(
        name="", title=NEW_TITLE, meter=meter, tempo=NEW_TEMPO, bars=(empty_bar(meter, NEW_GRID),)
    )


def empty_bar(meter: Meter, parts: int) -> Bar:
    """A bar without a stroke, its beats cut into ``parts``."""
    return Bar(meter, (), (parts,) * len(meter.beats))


def cells(bar: Bar) -> tuple[Fraction, ...]:
    """The places of a bar where a stroke can be put."""
    return tuple(
        start + length * part / parts
        for start, length, parts in zip(
            bar.meter.beat_starts, bar.meter.beats, bar.divisions, strict=True
        )
        for part in range(parts)
    )


def stroke_at(bar: Bar, at: Fraction, voice: str) -> Stroke | None:
    """The stroke of a voice at a place, if there is one."""
    return next((one for one in bar.strokes if one.at == at and one.voice == voice), None)


def with_stroke(pattern: Pattern, number: int, stroke: Stroke) -> Pattern:
    """With a stroke put into a bar (0 is the first), in place of one of its voice there."""
    bar = pattern.bars[number]
    others = [one for one in bar.strokes if (one.at, one.voice) != (stroke.at, stroke.voice)]
    return _with_strokes(pattern, number, [*others, stroke])


def without_stroke(pattern: Pattern, number: int, at: Fraction, *, voice: str) -> Pattern:
    """With a stroke taken away."""
    remaining = [one for one in pattern.bars[number].strokes if (one.at, one.voice) != (at, voice)]
    return _with_strokes(pattern, number, remaining)


def with_grid(pattern: Pattern, number: int, beat: int, *, parts: int) -> Pattern:
    """With a beat cut into ``parts``; strokes that then have no place go to the nearest one.

    Of two that come to the same place the earlier stays.
    """
    bar = pattern.bars[number]
    start, length = bar.meter.beat_starts[beat], bar.meter.beats[beat]
    moved: dict[tuple[Fraction, str], Stroke] = {}
    for one in bar.strokes:
        at = one.at
        if start <= at < start + length:
            part = min(parts - 1, round((at - start) / length * parts))
            at = start + length * part / parts
        moved.setdefault((at, one.voice), replace(one, at=at))
    cut = tuple(parts if place == beat else own for place, own in enumerate(bar.divisions))
    strokes = tuple(sorted(moved.values(), key=lambda one: one.place))
    return fitting(_with_bar(pattern, number, Bar(bar.meter, strokes, cut)))


def with_grid_everywhere(pattern: Pattern, parts: int) -> Pattern:
    """With every beat cut into so many parts."""
    for number, bar in enumerate(pattern.bars):
        for beat in range(len(bar.divisions)):
            pattern = with_grid(pattern, number, beat, parts=parts)
    return pattern


def with_meter(pattern: Pattern, written: str) -> Pattern:
    """In another meter, bars that have one of their own too; strokes stay where they are."""
    meter = Meter.parse(written)
    bars = []
    for bar in pattern.bars:
        usual = max(set(bar.divisions), key=bar.divisions.count)
        strokes = tuple(one for one in bar.strokes if one.at < meter.length)
        cut = [usual if len(set(meter.beats)) == 1 else group for group in meter.groups]
        if bar.meter.beats[0] != meter.beats[0]:
            cut = [max(1, group) for group in meter.groups]
        bars.append(Bar(meter, strokes, divisions(meter, strokes, cut)))
    swings = all(beat % Fraction(1, 4) == 0 for beat in meter.beats)
    return fitting(
        replace(
            pattern,
            meter=meter,
            bars=tuple(bars),
            swing=pattern.swing if swings else STRAIGHT,
        )
    )


def with_bar(pattern: Pattern, after: int, *, copied: bool) -> Pattern:
    """With one more bar after bar ``after``: the same again, or an empty one."""
    if len(pattern.bars) >= MOST_BARS:
        return pattern
    bar = pattern.bars[after]
    more = bar if copied else replace(bar, strokes=())
    bars = (*pattern.bars[: after + 1], more, *pattern.bars[after + 1 :])
    return _moved(pattern, bars, [*range(after + 1), *range(after + 2, len(bars))])


def without_bar(pattern: Pattern, number: int) -> Pattern:
    """Without a bar; the last one stays."""
    if len(pattern.bars) == 1:
        return pattern
    bars = (*pattern.bars[:number], *pattern.bars[number + 1 :])
    places = [
        place - (place > number) if place != number else None for place in range(len(bars) + 1)
    ]
    return _moved(pattern, bars, places)


def with_tempo(pattern: Pattern, tempo: float) -> Pattern:
    """At another tempo; what a lesson asks for goes with it."""
    practice = pattern.practice
    if practice is not None:
        practice = _in_proportion(practice, tempo / pattern.tempo)
    return replace(pattern, tempo=tempo, practice=practice)


def _in_proportion(practice: Practice, by: float) -> Practice:
    start, goal = (
        float(min(400, max(20, round(bpm * by))))
        for bpm in (practice.start_tempo, practice.goal_tempo)
    )
    return replace(practice, start_tempo=start, goal_tempo=goal)


def without_voice(pattern: Pattern, voice: str) -> Pattern:
    """Without the strokes of a voice."""
    for number, bar in enumerate(pattern.bars):
        remaining = [one for one in bar.strokes if one.voice != voice]
        pattern = _with_strokes(pattern, number, remaining)
    return pattern


def fitting(pattern: Pattern) -> Pattern:
    """Without what a pattern cannot have: changes of strokes or bars that are gone, and chunks that
    end on no beat.
    """
    variations = {}
    for name, variation in pattern.variations.items():
        changes = [
            fitted
            for change in variation.changes
            if change.bar < len(pattern.bars)
            for fitted in (_fitting(change, pattern.bars[change.bar]),)
            if fitted.added or fitted.taken
        ]
        if changes:
            variations[name] = Variation(name, variation.about, tuple(changes))
    chunks = tuple(
        chunk
        for chunk in pattern.chunks
        if chunk.bar < len(pattern.bars)
        and chunk.start in pattern.bars[chunk.bar].meter.beat_starts
        and chunk.end
        in (
            *pattern.bars[chunk.bar].meter.beat_starts[1:],
            pattern.bars[chunk.bar].meter.length,
        )
    )
    return replace(pattern, variations=variations, chunks=chunks)


def _fitting(change: Change, bar: Bar) -> Change:
    there = {(one.at, one.voice) for one in bar.strokes}
    added = tuple(one for one in change.added if one.at < bar.meter.length)
    return Change(change.bar, added, tuple(one for one in change.taken if one in there))


def _moved(pattern: Pattern, bars: Sequence[Bar], places: Sequence[int | None]) -> Pattern:
    """With other bars; ``places`` says where each of the old ones is now, None for nowhere."""
    variations = {
        name: replace(
            variation,
            changes=tuple(
                replace(change, bar=now)
                for change in variation.changes
                if (now := places[change.bar]) is not None
            ),
        )
        for name, variation in pattern.variations.items()
    }
    chunks = tuple(
        replace(chunk, bar=now)
        for chunk in pattern.chunks
        if (now := places[chunk.bar]) is not None
    )
    return fitting(replace(pattern, bars=tuple(bars), variations=variations, chunks=chunks))


def _with_strokes(pattern: Pattern, number: int, strokes: Iterable[Stroke]) -> Pattern:
    bar = pattern.bars[number]
    ordered = _alternating(sorted(strokes, key=lambda one: one.place))
    return fitting(_with_bar(pattern, number, replace(bar, strokes=tuple(ordered))))


def _alternating(strokes: Sequence[Stroke]) -> list[Stroke]:
    """The strokes, of which those of one moment have one hand after the other, from the top down,
    where any has one: as a file's line of stickings says it.
    """
    found = list(strokes)
    for at in {one.at for one in strokes if one.hand is not None}:
        here = [
            number
            for number, one in enumerate(found)
            if one.at == at and BY_NAME[one.voice].limb not in _FEET
        ]
        said = next(place for place, number in enumerate(here) if found[number].hand is not None)
        hand = found[here[said]].hand
        for place, number in enumerate(here):
            other = Hand.LEFT if hand is Hand.RIGHT else Hand.RIGHT
            own = hand if (place - said) % 2 == 0 else other
            found[number] = replace(found[number], hand=own)
    return found


def with_hand(pattern: Pattern, number: int, stroke: Stroke, *, hand: Hand | None) -> Pattern:
    """With a stroke played by ``hand``, and what is struck with it by the other; None: unsaid."""
    bar = pattern.bars[number]
    strokes = [
        replace(one, hand=hand if one == stroke else None) if one.at == stroke.at else one
        for one in bar.strokes
    ]
    return _with_strokes(pattern, number, strokes)


def with_variation(pattern: Pattern, name: str, bars: Sequence[Bar], *, about: str = "") -> Pattern:
    """With the variation of that name making the bars what ``bars`` are; without it where they are
    as in the pattern."""
    found = []
    for number, (own, varied) in enumerate(zip(pattern.bars, bars, strict=True)):
        before = {(one.at, one.voice): one for one in own.strokes}
        after = {(one.at, one.voice): one for one in varied.strokes}
        added = tuple(one for key, one in after.items() if before.get(key) != one)
        taken = tuple(key for key in before if key not in after)
        if added or taken:
            found.append(Change(number, added, taken))
    others = dict(pattern.variations)
    if found:
        about = others[name].about if name in others else about
        others[name] = Variation(name, about, tuple(found))
    else:
        others.pop(name, None)
    return replace(pattern, variations=others)


def without_variation(pattern: Pattern, name: str) -> Pattern:
    """Without a variation."""
    others = {own: one for own, one in pattern.variations.items() if own != name}
    return replace(pattern, variations=others)


def with_roll(bar: Bar, stroke: Stroke, *, per_step: int, steps: int) -> Stroke | None:
    """The stroke as a roll over so many cells of its bar, or steps of a counted one, of which each
    has ``per_step`` strokes (0 for a buzz); None where there is no room for it."""
    beat = bar.meter.beat_of(stroke.at)
    step = bar.meter.beats[beat] / bar.divisions[beat]
    length = step * steps
    ends = [one.at for one in bar.strokes if one.voice == stroke.voice and one.at > stroke.at]
    if steps < 1 or stroke.at + length > min([*ends, bar.meter.length]):
        return None
    return replace(stroke, roll=Roll(length, per_step * steps))


def _with_bar(pattern: Pattern, number: int, bar: Bar) -> Pattern:
    bars = (*pattern.bars[:number], bar, *pattern.bars[number + 1 :])
    return replace(pattern, bars=bars)


def is_empty(pattern: Pattern) -> bool:
    """Whether there is no stroke yet."""
    return not any(bar.strokes for bar in pattern.bars)
