"""Patterns, grades and players for these tests, all invented."""

import numpy as np

from playalong.grading.grade import Grade
from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.targets import Targets, lay_out
from playalong.simulation.player import perform
from tests.helpers.exact_takes import as_list
from tests.helpers.steady_player import STEADY


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


def graded(played: Pattern, hits: Hits, tempo_bpm: float = 90.0) -> Grade:
    """The grade of one time through ``played``."""
    return grade(played, tempo_bpm, targets=lay_out(played, tempo_bpm), hits=hits, rules=Rules())[0]


def steady_player(targets: Targets, seed: int) -> list[Hit]:
    """What the simulated steady player does."""
    messages = perform(targets, STEADY, seed).messages
    rows = [(at_s, data[1], data[2]) for at_s, data in messages if data[0] == 0x99]
    time_s, note, velocity = (np.array(column) for column in zip(*rows, strict=True))
    hits, _ = Hits.of_notes(time_s.astype(float), note, velocity.astype(float))
    return as_list(hits)
