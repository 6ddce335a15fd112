"""Takes of every kind that a grade must stand: by all players, against all patterns, right or
wrong, cut, stopped, with faults, with half of it missing, with hits at random, with nothing."""

from dataclasses import dataclass, replace

import numpy as np

from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import VOICES, note_of
from playalong.records.takes import Take
from playalong.simulation.skills import SKILLS
from tests.helpers.fault_table import ROWS
from tests.helpers.faults import Scene
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.helpers.steady_player import EXACT, STEADY, WILD

PLAYERS = {
    **SKILLS,
    "steady": STEADY,
    "exact": EXACT,
    "wild": WILD,
    "faster": replace(SKILLS["intermediate"], drift_percent=5.0),
    "slower": replace(SKILLS["intermediate"], drift_percent=-5.0),
    "forgetful": replace(SKILLS["beginner"], miss=0.3),
    "at a loss": replace(SKILLS["beginner"], miss=0.4, extra=0.3, wrong_drum=0.3),
}


@dataclass(frozen=True, kw_only=True)
class OddTake:
    """A pattern, what somebody played, and what was done to it, in words."""

    pattern: Pattern
    targets: Targets
    hits: Hits
    about: str


def odd_take(chance: np.random.Generator, least_bars: int = 1) -> OddTake:
    """One of them; ``least_bars`` long at least."""
    names = sorted(grooves())
    pattern = grooves()[names[int(chance.integers(len(names)))]]
    ways = [(), *((name,) for name in pattern.variations)]
    variations = ways[int(chance.integers(len(ways)))]
    tempo_bpm = pattern.tempo * float(np.exp(0.25 * chance.standard_normal()))
    bars = least_bars + int(chance.integers(0, 24))
    targets = lay_out(pattern, min(max(tempo_bpm, 25.0), 300.0), bars, variations=variations)
    who = list(PLAYERS)[int(chance.integers(len(PLAYERS)))]
    seed = int(chance.integers(1 << 30))
    played = Played.by(targets, PLAYERS[who], seed)
    about = [pattern.name, who, f"{bars} bars"]
    if chance.random() < 0.4:
        row = ROWS[int(chance.integers(len(ROWS)))]
        sizes = (*row.small, *row.clear)
        size = sizes[int(chance.integers(len(sizes)))]
        made = row.inject(Scene(pattern=pattern, played=played, chance=chance), size)
        if made is not None:
            played = made.played
            about.append(f"{row.name} {size:g}")
    hits = played.hits()
    for words, change in (("thinned", _thinned), ("late", _late), ("cut", _cut), ("noise", _noise)):
        if chance.random() < 0.15:
            hits = change(hits, targets, chance)
            about.append(words)
    if chance.random() < 0.1:  # held against another pattern
        pattern = grooves()[names[int(chance.integers(len(names)))]]
        targets = lay_out(pattern, pattern.tempo, bars)
        about.append(f"against {pattern.name}")
    return OddTake(pattern=pattern, targets=targets, hits=hits, about=", ".join(about))


def as_take(hits: Hits) -> Take:
    """The hits as a file of another program would hold them, a second after its start."""
    notes = np.array([note_of(VOICES[code].name) for code in hits.voice.tolist()], np.int64)
    order = np.argsort(hits.time_s, kind="stable")
    return Take(
        time_s=hits.time_s[order] + 1.0, note=notes[order], velocity=np.rint(hits.velocity)[order]
    )


def _thinned(hits: Hits, _: Targets, chance: np.random.Generator) -> Hits:
    return _only(hits, chance.random(len(hits)) < chance.uniform(0.0, 1.0))


def _late(hits: Hits, _: Targets, chance: np.random.Generator) -> Hits:
    return Hits.sorted(hits.time_s + chance.uniform(-0.6, 0.6), hits.voice, hits.velocity)


def _cut(hits: Hits, targets: Targets, chance: np.random.Generator) -> Hits:
    begin_s, end_s = np.sort(chance.uniform(-1.0, targets.end_s + 1.0, 2))
    return _only(hits, (hits.time_s >= begin_s) & (hits.time_s < end_s))


def _noise(hits: Hits, targets: Targets, chance: np.random.Generator) -> Hits:
    count = int(chance.integers(1, 200))
    return Hits.sorted(
        np.append(hits.time_s, chance.uniform(-3.0, targets.end_s + 3.0, count)),
        np.append(hits.voice, chance.integers(0, len(VOICES), count)).astype(np.int16),
        np.append(hits.velocity, chance.integers(1, 128, count)),
    )


def _only(hits: Hits, kept: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> Hits:
    return Hits(hits.time_s[kept], hits.voice[kept], hits.velocity[kept])
