"""What the simulated player says it did is what the grader finds, through the messages alone."""

import numpy as np
import pytest

from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.hits import Hits
from playalong.midi.mapping import Mapper
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from tests.grading.making import measured

GROOVES = {
    "ghosts": (
        'meter = "4/4"\ntempo = 84\n[[bar]]\nhi-hat = "xx xx xo xx"\n'
        'snare = "--g- X--g -g-- X---"\nkick = "x--x ---x --x- ----"\n'
    ),
    "graces": (
        'meter = "4/4"\ntempo = 92\nswing = 62\n[[bar]]\nride = "x x-x x x-x"\n'
        'snare = "-- f- -d Fg?"\nkick = "x- -x? x- --"\nhi-hat-pedal = "- x - x"\n'
    ),
    "odd": (
        'meter = "2+2+3/8"\ntempo = 120\n[[bar]]\nhi-hat = "xx xx xxx"\nsnare = "- X --X"\n'
        'kick = "x- -x x--"\n[[bar]]\nmeter = "12/8"\nfloor-tom = "x-- x-x x-- xxx"\n'
        'snare = "--- d-- --- X--"\n'
    ),
}


@pytest.mark.parametrize("groove", GROOVES)
@pytest.mark.parametrize("seed", range(50))
def test_missed_extra_and_wrong_drums_are_found_exactly(groove, seed):
    pattern = read('title = "T"\n' + GROOVES[groove], groove)
    targets = lay_out(pattern, pattern.tempo, 24)
    performance = perform(targets, SKILLS["beginner"], seed)
    truth = performance.truth

    mapper = Mapper()
    heard = [mapper.hit(at_s, data) for at_s, data in performance.messages]
    hits = Hits.of([hit for hit in heard if hit is not None])
    told = measured(targets, hits)
    run = told.run

    found = (told.counts.missed, told.counts.extra, told.counts.wrong_drum)
    assert found == (len(truth.missed), truth.extra, len(truth.wrong_drum))
    if seed % 10 == 0:  # a whole grade finds the causes too, which takes far longer
        whole, _ = grade(pattern, pattern.tempo, targets=targets, hits=hits, rules=Rules())
        assert (whole.counts, whole.graces) == (told.counts, told.graces)
    # Of a missed and a wrong drum close together none can say which is which.
    gone = run.verdicts.target[
        np.concatenate([run.by_verdict[Verdict.MISSED], run.by_verdict[Verdict.WRONG_DRUM]])
    ]
    assert sorted(gone.tolist()) == sorted([*truth.missed, *truth.wrong_drum])
    np.testing.assert_array_equal(run.target, np.flatnonzero(~np.isnan(truth.error_ms)))
    np.testing.assert_allclose(run.error_ms, truth.error_ms[run.target], atol=1e-5)
    assert told.graces is None or told.graces.played == targets.graces[run.target].sum()
