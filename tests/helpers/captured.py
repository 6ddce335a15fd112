"""Patterns held against what was heard of them: the same strokes, as far as they can be heard.

What cannot be heard is left out on both sides: stickings; whether a stroke was optional (a player
plays it or does not); what the loudness of a voice was called that has one kind of stroke only, or
ghost notes and one louder kind. Bars that come again stand once or more often. A counted roll is
its strokes, which is what is heard of it where it is slow; a buzz is one stroke.
"""

from dataclasses import replace
from fractions import Fraction
from math import lcm

from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.pattern.model import Dynamic, Pattern, Stroke
from playalong.pattern.targets import lay_out
from playalong.simulation.player import perform
from playalong.simulation.skills import Skill

Heard = tuple[Fraction, str, Dynamic, int, bool]

#: When bar 1 of what is played begins, in seconds.
START_S = 1.7


def strokes_heard(pattern: Pattern) -> list[set[Heard]]:
    """The strokes of each bar: position, voice, dynamic, grace strokes, open."""
    kinds: dict[str, set[Dynamic]] = {}
    for bar in pattern.bars:
        for stroke in bar.strokes:
            kinds.setdefault(stroke.voice, set()).add(stroke.dynamic)

    def told(voice: str, dynamic: Dynamic) -> Dynamic:
        own = kinds[voice]
        if len(own) == 1 or (dynamic is Dynamic.ACCENT and own == {Dynamic.GHOST, Dynamic.ACCENT}):
            return Dynamic.NORMAL
        return dynamic

    return [
        {
            (at, s.voice, told(s.voice, s.dynamic), s.graces, s.is_open)
            for s in bar.strokes
            for at in _of_roll(s)
        }
        for bar in pattern.bars
    ]


def _of_roll(stroke: Stroke) -> list[Fraction]:
    """Where the strokes are that are counted."""
    roll = stroke.roll
    if roll is None or not roll.strokes:
        return [stroke.at]
    return [stroke.at + roll.length * number / roll.strokes for number in range(roll.strokes)]


def unlike(
    written: Pattern, captured: Pattern, *, bars_played: int | None = None
) -> set[tuple[int, Heard]]:
    """The strokes of one that the other has not, by their bar; bars that come again count once.

    Of a pattern that does not come again within the ``bars_played`` only these can come back.
    """
    if bars_played is not None and bars_played < len(written.bars):
        written = replace(written, bars=written.bars[:bars_played])
    one, other = strokes_heard(written), strokes_heard(captured)
    bars = lcm(len(one), len(other))
    if bars_played is not None:
        bars = min(bars, bars_played)
    found: set[tuple[int, Heard]] = set()
    for bar in range(bars):
        found |= {(bar, stroke) for stroke in one[bar % len(one)] ^ other[bar % len(other)]}
    return found


def sounds_unlike(written: Pattern, captured: Pattern, percent: float) -> tuple[int, bool]:
    """How many strokes of one sound where the other has none, whatever meter either is counted in;
    and whether the tempo is within ``percent``, in whatever note value.

    A beat of three parts may be counted as a plain beat in triplets, and bars be half as long.
    """
    seconds = [60.0 / (each.tempo * float(each.meter.unit)) for each in (written, captured)]
    exact = seconds[1] / seconds[0]
    scale = Fraction(exact).limit_denominator(4)
    near = abs(exact / float(scale) - 1.0) * 100.0 <= percent if scale else False
    length = 4 * sum((bar.meter.length for bar in written.bars), Fraction(0))
    one = _until(written, length, Fraction(1))
    other = _until(captured, length, scale)
    return len(one ^ other), near


def _until(pattern: Pattern, length: Fraction, scale: Fraction) -> set[Heard]:
    """The strokes up to a length, over and over, positions stretched by ``scale``."""
    found: set[Heard] = set()
    start = Fraction(0)
    while scale and start < length:
        for bar, strokes in zip(pattern.bars, strokes_heard(pattern), strict=True):
            for at, voice, dynamic, graces, is_open in strokes:
                sounds = start + at * scale
                if sounds < length:
                    found.add((sounds, voice, dynamic, graces, is_open))
            start += bar.meter.length * scale
    return found


def played(pattern: Pattern, skill: Skill, seed: int, *, bars: int) -> Hits:
    """The pattern as somebody plays it, from some second on."""
    targets = lay_out(pattern, pattern.tempo, bars, start_s=START_S)
    return hits_of(perform(targets, skill, seed).messages)[0]
