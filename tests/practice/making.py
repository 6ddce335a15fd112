"""Patterns, grades and players for these tests, all invented."""

from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, settings

from playalong.grading.grade import Grade
from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.simulation.player import perform
from tests.support.steady_player import STEADY

_FOLDER = Path(__file__).parents[2] / "patterns"
SHIPPED = {path.stem: read(path.read_text("utf-8"), path.stem) for path in _FOLDER.glob("*.toml")}

#: A velocity in the middle of each default band.
FITTING = {Dynamic.GHOST: 30.0, Dynamic.NORMAL: 84.0, Dynamic.ACCENT: 112.0}


def law(examples: int) -> settings:
    """Hypothesis without a clock: a busy machine must not make a test fail."""
    return settings(
        max_examples=examples,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )


def pattern(body: str, head: str = 'meter = "4/4"\ntempo = 90') -> Pattern:
    """A pattern from the lines of its file below the title."""
    return read(f'title = "A Test"\n{head}\n{body}', "a-test")


#: Four beats, no two of them the same; the third has a ghost note over the kick.
FOUR_BEATS = """
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- X- g- Xg"
kick   = "x- -x x- --"
[practice]
start = 60
goal  = 90
clean = 4
"""


def faultless(targets: Targets) -> Hits:
    """Each stroke on its target at a fitting velocity."""
    velocity = np.array([FITTING[dynamic] for dynamic in DYNAMICS])[targets.dynamic]
    return Hits.sorted(targets.time_s, targets.voice, velocity)


def graded(played: Pattern, hits: Hits, tempo_bpm: float = 90.0) -> Grade:
    """The grade of one time through ``played``."""
    return grade(played, tempo_bpm, targets=lay_out(played, tempo_bpm), hits=hits, rules=Rules())[0]


def as_list(hits: Hits) -> list[Hit]:
    """The hits one by one."""
    return [hits[number] for number in range(len(hits))]


def steady_player(targets: Targets, seed: int) -> list[Hit]:
    """What the simulated steady player does."""
    messages = perform(targets, STEADY, seed).messages
    rows = [(at_s, data[1], data[2]) for at_s, data in messages if data[0] == 0x99]
    time_s, note, velocity = (np.array(column) for column in zip(*rows, strict=True))
    hits, _ = Hits.of_notes(time_s.astype(float), note, velocity.astype(float))
    return as_list(hits)
