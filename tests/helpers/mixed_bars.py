"""Freely mixed bars whose truth is known: variations in place, or something else."""

from dataclasses import dataclass, replace

import numpy as np

from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar, Pattern, Stroke
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.practice.excerpts import Names
from playalong.practice.free_playing import as_played
from playalong.practice.variations.mixing import allowed
from playalong.simulation.skills import SKILLS, Skill
from tests.helpers.students import hits_by, person

#: Somebody who is good, and misses and adds two strokes of a hundred.
MISS, EXTRA = 0.02, 0.02

#: Bars that are no variation of any groove, each on sixteenth notes.
FILLS = {
    "silence": "",
    "toms": 'high-tom = "xxxx ---- ---- ----"\nmid-tom = "---- xxxx ---- ----"\n'
    'floor-tom = "---- ---- xxxx xxxx"\n',
    "snare and toms": 'snare = "xxxx x--- x--- x---"\nhigh-tom = "---- -xxx ---- ----"\n'
    'floor-tom = "---- ---- -xxx -xxx"\n',
    "threes": 'snare = "x--x --x- -x-- x--x"\nkick = "-xx- xx-x x-xx -xx-"\n'
    'crash = "x--- ---- ---- ----"\n',
}


@dataclass(frozen=True, kw_only=True)
class Named:
    """One bar: what was played, and what was found; ``played`` is None for none of them."""

    pattern: str
    played: Names | None
    found: Names | None
    is_right: bool


def player(seed: int, skill: str = "advanced") -> Skill:
    """The player of these bars."""
    return replace(person(SKILLS[skill].without_habits(), seed), miss=MISS, extra=EXTRA)


def sounds_like(bar: Bar) -> frozenset[Stroke]:
    """What is heard of a bar by somebody who plays what may be left out as well."""
    return frozenset(replace(s, hand=None, optional=False) for s in bar.strokes)


@dataclass(frozen=True, kw_only=True)
class Run:
    """A run that was played freely: its bars, and the variations that are said to loosen it."""

    bars: tuple[Named, ...]
    looser: tuple[str, ...]


def named(pattern: Pattern, tempo_bpm: float, bars: int, *, seed: int) -> Run:
    """A run of bars with variations drawn by chance, played and named as in free playing."""
    chance = np.random.default_rng([seed, 11])
    count = max(bars, len(pattern.bars)) // len(pattern.bars) * len(pattern.bars)
    rounds: list[Names] = []
    written: list[Bar] = []
    for number in range(count):
        choice = allowed(pattern, number % len(pattern.bars))
        rounds.append(choice[int(chance.integers(len(choice)))])
        written.append(pattern.with_variations(rounds[-1])[number % len(pattern.bars)])
    whole = replace(pattern, bars=tuple(written), variations={}, chunks=(), practice=None)
    hits = hits_by(player(seed), lay_out(whole, tempo_bpm), seed)
    each = [hits[n] for n in range(len(hits))]
    found = as_played(pattern, each, bars=count, tempo_bpm=tempo_bpm, rules=Rules())
    told = []
    for number, (names, bar, own) in enumerate(
        zip(rounds, written, found.pattern.bars, strict=True)
    ):
        is_other = number in found.texture.other
        is_right = not is_other and sounds_like(own) == sounds_like(bar)
        used = tuple(name for name, at in found.texture.used.items() if number in at)
        told.append(
            Named(
                pattern=pattern.name,
                played=names,
                found=None if is_other else used,
                is_right=is_right,
            )
        )
    return Run(bars=tuple(told), looser=found.texture.looser)


def named_fill(pattern: Pattern, tempo_bpm: float, seed: int) -> Named:
    """A bar that is none of them between bars of the groove, played and named."""
    fill = list(FILLS)[seed % len(FILLS)]
    bar = pattern.bars[0]
    strokes: tuple[Stroke, ...] = ()
    if FILLS[fill]:
        written = read(f'title = "Fill"\nmeter = "4/4"\ntempo = 90\n[[bar]]\n{FILLS[fill]}', "fill")
        strokes = tuple(s for s in written.bars[0].strokes if s.at < bar.meter.length)
    count = 2 * len(pattern.bars)
    bars = [*pattern.bars, *pattern.bars]
    at = len(pattern.bars)  # the first bar, the second time
    bars[at] = Bar(bar.meter, strokes, (1,) * len(bar.meter.beats))
    whole = replace(pattern, bars=tuple(bars), variations={}, chunks=(), practice=None)
    hits = hits_by(player(seed), lay_out(whole, tempo_bpm), seed)
    each = [hits[n] for n in range(len(hits))]
    found = as_played(pattern, each, bars=count, tempo_bpm=tempo_bpm, rules=Rules())
    used = tuple(name for name, own in found.texture.used.items() if at in own)
    is_other = at in found.texture.other
    return Named(
        pattern=pattern.name, played=None, found=None if is_other else used, is_right=is_other
    )
