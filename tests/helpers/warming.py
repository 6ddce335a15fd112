"""Simulated players at the exercises of the warm-up, and what is no playing at all."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from playalong.grading.levels import Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.midi.pads import Pads
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER
from playalong.practice.warm_up.adapting import Knowledge
from playalong.practice.warm_up.degrees import Warmth, warmth
from playalong.practice.warm_up.exercises import EXERCISES, Exercise
from playalong.practice.warm_up.figures import Passage
from playalong.practice.warm_up.machine import State, WarmUp
from playalong.practice.warm_up.routine import bout_bars, routine
from playalong.simulation.player import perform
from playalong.simulation.skills import Skill
from playalong.support import resources

PATTERNS: dict[str, Pattern] = {
    path.stem: read(path.read_text(encoding="utf-8"), path.stem)
    for path in Path(resources.folder("patterns") / "warm-up").glob("*.toml")
}

#: Well into a warm-up: speed counts, and every tempo is open.
WARM = {"elapsed_s": 200.0, "temperature": 60.0}


def targets_of(exercise: Exercise, tempo_bpm: float | None = None) -> Targets:
    """A bout of an exercise."""
    pattern, tempo_bpm = PATTERNS[exercise.pattern], tempo_bpm or exercise.whole_bpm
    return lay_out(pattern, tempo_bpm, bout_bars(exercise, pattern, tempo_bpm))


def played_by(targets: Targets, skill: Skill, seed: int) -> MatchedRun:
    """What somebody plays, matched."""
    hits, _ = hits_of(perform(targets, skill, seed).messages, Pads(), 0.0)
    return MatchedRun.of(targets, hits, Rules())


def worth(run: MatchedRun, exercise: Exercise) -> Warmth:
    """What a whole bout is worth to somebody who is warm."""
    whole = Passage(run, 0, run.targets.bars)
    return warmth(whole, exercise, exercise.whole_bpm, **WARM)


def stream(targets: Targets, voices: Iterable[str], per_beat: int, *, velocity: int = 100) -> Hits:
    """The same stroke again and again, on some voices at once."""
    step_s = targets.seconds_per_whole / 4.0 / per_beat
    at_s = np.arange(targets.start_s, targets.end_s, step_s)
    each = [STAFF_ORDER[voice] for voice in voices]
    return Hits(
        np.repeat(at_s, len(each)),
        np.tile(np.array(each, np.int16), len(at_s)),
        np.full(len(at_s) * len(each), float(velocity)),
    )


def chance(targets: Targets, seed: int) -> Hits:
    """As many hits as are asked, anywhere, on the exercise's voices, of any loudness."""
    drawn = np.random.default_rng(seed)
    n = len(targets)
    at_s = np.sort(drawn.uniform(targets.start_s, targets.end_s, n))
    voices = drawn.choice([STAFF_ORDER[voice] for voice in targets.voices], n).astype(np.int16)
    return Hits(at_s, voices, drawn.integers(1, 128, n).astype(np.float64))


ALL_PADS = ("snare", "hi-hat", "kick", "high-tom", "floor-tom", "crash")


def noises(targets: Targets, seed: int) -> dict[str, Hits]:
    """What is no playing: it should earn next to nothing."""
    return {
        "silence": Hits.of_notes(np.empty(0), np.empty(0, np.int64), np.empty(0))[0],
        "chance": chance(targets, seed),
        "all pads": stream(targets, ALL_PADS, 4),
        "six to a beat": stream(targets, ("snare",), 6),
    }


def learn(skill: Skill, level: Level, days: int, *, minutes: float, seed: int) -> list[float]:
    """The share of rounds within the mark, on each of so many days."""
    knowledge, shares = Knowledge(), []
    person = replace(skill, varies=0.0)
    for day in range(days):
        chosen = routine(EXERCISES, knowledge, minutes=minutes, seed=100 * seed + day)
        warm_up = WarmUp(
            chosen,
            PATTERNS,
            level=level,
            knowledge=knowledge,
            seed=seed,
            day=f"2026-03-{day + 1:02}",
        )
        while warm_up.state is not State.OVER:
            warm_up.rested()
            bout = warm_up.bout
            assert bout is not None
            targets = lay_out(bout.pattern, bout.tempo_bpm, bout.bars)
            warm_up.played(played_by(targets, person, 10_000 * seed + 100 * day + bout.number))
        knowledge = warm_up.knowledge
        rounds = sum(one.rounds for one in warm_up.reports)
        shares.append(sum(one.right for one in warm_up.reports) / rounds)
    return shares
