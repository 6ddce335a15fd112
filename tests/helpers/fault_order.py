"""One professional's take with one fault after the other in it, in the order that a teacher would
give them marks."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.score import score
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER, Limb
from playalong.simulation.skills import SKILLS
from tests.helpers import faults
from tests.helpers.faults import Scene
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.helpers.steady_player import EXACT

#: Two grooves with ghost notes, one with accents and one without.
GROOVES = ("late-bus-home", "soft-under")
BARS, SEEDS = 16, 5

#: The pads of a kit, as a stream on all of them goes over them.
PADS = ("hi-hat", "snare", "kick", "high-tom", "mid-tom", "floor-tom", "ride", "crash")

#: The limbs of which one is late: any of them, by chance.
LIMBS = (Limb.KICK_FOOT, Limb.HAT_HAND, Limb.SNARE_HAND)

Maker = Callable[[Scene], Hits]


def _professional(scene: Scene) -> Hits:
    return scene.played.hits()


def _faultless(scene: Scene) -> Hits:
    professional = SKILLS["professional"]
    exact = replace(EXACT, touch=professional.touch, toms=professional.toms)
    return Played.by(scene.targets, exact, 1).hits()


def _with(fault: faults.Injection, size: float) -> Maker:
    def make(scene: Scene) -> Hits:
        made = fault(scene, size)
        assert made is not None, (scene.pattern.name, fault)
        return made.hits

    return make


def _two_missed(scene: Scene) -> Hits:
    gone = np.zeros(len(scene.targets), np.bool_)
    gone[scene.chance.choice(len(gone), 2, replace=False)] = True
    return scene.played.without(gone).hits()


def _eight_extras(scene: Scene) -> Hits:
    """Half-way between strokes of the voice."""
    targets = scene.targets
    own = np.flatnonzero(scene.voice("snare"))
    gaps_s = np.diff(targets.time_s[own])
    wide = np.flatnonzero(gaps_s > 0.3)
    rows = scene.chance.choice(wide, 8, replace=False)
    time_s = targets.time_s[own[rows]] + gaps_s[rows] / 2.0
    voice = np.full(8, STAFF_ORDER["snare"], np.int16)
    return scene.played.with_extra(time_s, voice, np.full(8, 70.0)).hits()


def _late(by_ms: float) -> Maker:
    def make(scene: Scene) -> Hits:
        late = scene.limb(LIMBS[int(scene.chance.integers(len(LIMBS)))])
        return scene.played.moved(np.where(late, by_ms / 1000.0, 0.0)).hits()

    return make


def _loose(scene: Scene) -> Hits:
    own_ms = float(np.nanstd(scene.played.error_ms))
    more_s = np.sqrt(max(30.0**2 - own_ms**2, 0.0)) / 1000.0
    by_s = more_s * scene.chance.standard_normal(len(scene.targets))
    return scene.played.moved(by_s).hits()


def _wrong_in_every_bar(scene: Scene) -> Hits:
    targets = scene.targets
    rows = [scene.chance.choice(np.flatnonzero(targets.bar == bar)) for bar in range(targets.bars)]
    voice = scene.played.voice.copy()
    voice[rows] = STAFF_ORDER["floor-tom"]
    return replace(scene.played, voice=voice).hits()


def _beginner(scene: Scene) -> Hits:
    return Played.by(scene.targets, SKILLS["beginner"], int(scene.chance.integers(1 << 30))).hits()


def _half_missing(scene: Scene) -> Hits:
    gone = scene.chance.permutation(len(scene.targets)) < len(scene.targets) // 2
    return scene.played.without(gone).hits()


def _hat_only(scene: Scene) -> Hits:
    return scene.played.without(~scene.voice("hi-hat")).hits()


def stream(parts: int, pads: tuple[str, ...]) -> Maker:
    """A constant stream of this many notes to a whole one, on each of these pads."""

    def make(scene: Scene) -> Hits:
        step_s = scene.targets.seconds_per_whole / parts
        time_s = np.arange(scene.targets.start_s, scene.targets.end_s - 1e-6, step_s)
        voices = np.array([STAFF_ORDER[pad] for pad in pads], np.int16)
        times = np.repeat(time_s, len(pads))
        return Hits.sorted(times, np.tile(voices, len(time_s)), np.full(len(times), 90.0))

    return make


def _chance(scene: Scene) -> Hits:
    """As many strokes as are written, on the voices that are written, at any time."""
    targets = scene.targets
    time_s = scene.chance.uniform(targets.start_s, targets.end_s, len(targets))
    voice = scene.chance.permutation(targets.voice)
    return Hits.sorted(time_s, voice, scene.chance.uniform(20.0, 127.0, len(targets)).round())


def _one_note(scene: Scene) -> Hits:
    return Hits(scene.played.time_s[:1], scene.played.voice[:1], scene.played.velocity[:1])


#: From the best to the worst.
ORDER: dict[str, Maker] = {
    "faultless": _faultless,
    "the professional as he is": _professional,
    "with two misses": _two_missed,
    "with eight extras": _eight_extras,
    "with one limb 25 ms late": _late(25.0),
    "loose (spread 30 ms)": _loose,
    "with one limb 45 ms late": _late(45.0),
    "a wrong drum in every bar": _wrong_in_every_bar,
    "ghost notes as loud as back-beats": _with(faults.all_ghosts_loud, 1.0),
    "beginner": _beginner,
    "half the strokes missing": _half_missing,
    "hi-hat only": _hat_only,
    "eighths on all pads": stream(8, PADS),
    "sixteenths on all pads": stream(16, PADS),
    "chance": _chance,
    "one note": _one_note,
}


def plain_score(targets: Targets, hits: Hits, level: Level = DEFAULT_LEVEL) -> float:
    """The score at a level, without the findings, which cost far more."""
    return score(MatchedRun.of(targets, hits, Rules.at(level))).total


def beginner_and_streams(name: str, parts: Sequence[int]) -> tuple[float, dict[str, float]]:
    """What a beginner earns with a pattern, the mean of four, and what streams earn: each on one
    voice of the pattern, on all of its voices, on one pad of a kit, and on all of its pads."""
    pattern = grooves()[name]
    rounds = max(1, round(BARS / len(pattern.bars)))
    targets = lay_out(pattern, pattern.tempo, rounds * len(pattern.bars))
    by = [Played.by(targets, SKILLS["beginner"], seed) for seed in range(4)]
    scene = Scene(pattern=pattern, played=by[0], chance=np.random.default_rng(1))
    on = {pad: (pad,) for pad in (*targets.voices, *PADS)}
    on |= {"all voices": targets.voices, "all pads": PADS}
    found = {
        f"{part} to a whole note on {where}": plain_score(targets, stream(part, pads)(scene))
        for part in parts
        for where, pads in on.items()
    }
    return float(np.mean([plain_score(targets, one.hits()) for one in by])), found


def takes(name: str, seed: int) -> dict[str, tuple[Pattern, Targets, Hits]]:
    """All takes of one groove and seed, in the order."""
    pattern = grooves()[name]
    targets = lay_out(pattern, pattern.tempo, BARS)
    found = {}
    for what, make in ORDER.items():
        played = Played.by(targets, SKILLS["professional"], seed)
        scene = Scene(
            pattern=pattern, played=played, chance=np.random.default_rng([seed, len(found)])
        )
        found[what] = (pattern, targets, make(scene))
    return found
