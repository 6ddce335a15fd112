"""Rolls are judged by beginning, end and evenness; no bounce is an extra hit."""

from collections.abc import Callable

import numpy as np
import pytest

from playalong.grading.grade import Code
from playalong.grading.grade_run import grade
from playalong.grading.matching.live_grader import Grader, judge
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.midi.pads import LONGEST_MASK_MS, Guard, Pads
from playalong.pattern.targets import Targets, lay_out
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from playalong.sound.synth.notes import notes
from tests.helpers.steady_player import EXACT

from .making import groove

COUNTED = groove(snare="r~~~ X--- r~X- ----")
BUZZ = groove(snare="z~~~ X--- z~~~ ~~~-")
BPM, BARS = 72.0, 8


def laid_out(pattern) -> Targets:
    return lay_out(pattern, BPM, BARS)


def exact(targets: Targets) -> Hits:
    return hits_of(perform(targets, EXACT, 1).messages)[0]


def graded(pattern, change: Callable[[Hits, Targets], Hits] = lambda hits, _: hits):
    targets = laid_out(pattern)
    hits = change(exact(targets), targets)
    return grade(pattern, BPM, targets=targets, hits=hits, rules=Rules())[0]


def inside(hits: Hits, targets: Targets, *, low: float, high: float) -> np.ndarray:
    """Which hits lie in these parts of a roll."""
    found = np.zeros(len(hits), np.bool_)
    for roll in np.flatnonzero(targets.rolls >= 0).tolist():
        into = (hits.time_s - targets.time_s[roll]) / targets.roll_s[roll]
        found |= (into > low + 1e-6) & (into < high - 1e-6)
    return found


def without(low: float, high: float) -> Callable[[Hits, Targets], Hits]:
    def change(hits: Hits, targets: Targets) -> Hits:
        kept = ~inside(hits, targets, low=low, high=high)
        return Hits(hits.time_s[kept], hits.voice[kept], hits.velocity[kept])

    return change


def swung(hits: Hits, targets: Targets) -> Hits:
    """Every second stroke of a roll comes half-way to the third."""
    time_s = hits.time_s.copy()
    for roll in np.flatnonzero(targets.rolls > 0).tolist():
        later_s = targets.bounces_s(roll)
        for at_s in (targets.time_s[roll] + later_s[::2]).tolist():
            time_s[np.argmin(np.abs(hits.time_s - at_s))] += 0.5 * later_s[0]
    return Hits(time_s, hits.voice, hits.velocity)


def squeezed(hits: Hits, targets: Targets) -> Hits:
    """Twice as many strokes as are counted."""
    more = hits.time_s[inside(hits, targets, low=-0.01, high=1.0)] + 0.5 * targets.bounces_s(0)[0]
    kind = np.full(len(more), hits.voice[0]), np.full(len(more), 60.0)
    return Hits.sorted(
        np.concatenate([hits.time_s, more]),
        np.concatenate([hits.voice, kind[0]]).astype(np.int16),
        np.concatenate([hits.velocity, kind[1]]),
    )


def gone_on(hits: Hits, targets: Targets) -> Hits:
    """Each roll that ends in a rest goes on for 200 ms."""
    more = []
    for roll in np.flatnonzero(targets.rolls >= 0).tolist():
        end_s = targets.time_s[roll] + targets.roll_s[roll]
        more += [end_s + late_s for late_s in np.arange(0.0, 0.2, 0.04)]
    return Hits.sorted(
        np.concatenate([hits.time_s, more]),
        np.concatenate([hits.voice, np.full(len(more), hits.voice[0])]).astype(np.int16),
        np.concatenate([hits.velocity, np.full(len(more), 60.0)]),
    )


@pytest.mark.parametrize("pattern", [COUNTED, BUZZ], ids=["counted", "buzz"])
def test_a_roll_as_written_is_faultless_and_no_bounce_is_extra(pattern):
    found = graded(pattern)
    assert found.score.total == pytest.approx(100.0)
    assert found.counts.extra == found.counts.missed == 0
    rolls = found.rolls
    assert rolls.asked == rolls.played == BARS * 2
    assert rolls.begin_ms == pytest.approx(0.0, abs=0.01)
    assert rolls.end_ms == pytest.approx(0.0, abs=0.01)
    assert rolls.stray_ms == pytest.approx(0.0, abs=0.01)


def test_where_no_roll_is_written_nothing_is_said_of_any():
    assert graded(groove(snare="x--- x--- x--- x---")).rolls is None


@pytest.mark.parametrize(
    ("pattern", "change", "counted", "code"),
    [
        (COUNTED, without(0.45, 1.0), "roll_short", Code.ROLL_SHORT),
        (BUZZ, without(0.5, 1.0), "roll_short", Code.ROLL_SHORT),
        (COUNTED, without(0.2, 0.7), "roll_broken", Code.ROLL_BROKEN),
        (BUZZ, without(0.3, 0.7), "roll_broken", Code.ROLL_BROKEN),
        (BUZZ, without(0.0, 1.0), "roll_broken", Code.ROLL_BROKEN),
        (COUNTED, swung, "roll_uneven", Code.ROLL_UNEVEN),
        (COUNTED, squeezed, "roll_uneven", Code.ROLL_UNEVEN),
    ],
    ids=["short", "short buzz", "gap", "gap in a buzz", "no buzz", "swung", "squeezed"],
)
def test_what_is_wrong_with_a_roll_is_counted_and_told(pattern, change, counted, code):
    found = graded(pattern, change)
    assert getattr(found.counts, counted) >= BARS
    assert found.counts.extra == 0
    assert found.score.total < 95.0
    assert found.findings[0].code is code
    assert "roll" in found.findings[0].text


def test_a_roll_that_goes_on_too_long_is_long_and_what_follows_is_extra():
    found = graded(groove(snare="x--- z~~~ ---- ----"), gone_on)
    assert found.counts.extra > 0
    assert found.score.total < graded(groove(snare="x--- z~~~ ---- ----")).score.total


def test_a_roll_that_begins_early_is_early_by_its_first_bounce():
    pattern = groove(snare="---- z~~~ X--- ----")

    def early(hits: Hits, targets: Targets) -> Hits:
        more = targets.time_s[targets.rolls >= 0][:, None] - np.array([0.03, 0.06, 0.09])
        return Hits.sorted(
            np.append(hits.time_s, more),
            np.append(hits.voice, np.full(more.size, hits.voice[0])).astype(np.int16),
            np.append(hits.velocity, np.full(more.size, 70.0)),
        )

    found = graded(pattern, early)
    assert found.rolls.begin_ms == pytest.approx(-90.0, abs=0.01)
    assert found.counts.early == BARS
    assert found.counts.extra == 0


def test_the_accent_after_a_roll_is_its_last_stroke():
    """A late accent: the bounce before it lies nearer to the beat."""
    pattern = groove(snare="---- z~~~ X--- ----")

    def late(hits: Hits, targets: Targets) -> Hits:
        accents = np.isin(np.round(hits.time_s, 6), np.round(targets.time_s[targets.rolls < 0], 6))
        near = Hits.sorted(
            np.append(hits.time_s + 0.055 * accents, hits.time_s[accents] - 0.01),
            np.append(hits.voice, hits.voice[accents]),
            np.append(hits.velocity, np.full(int(accents.sum()), 50.0)),
        )
        return near

    found = graded(pattern, late)
    assert found.counts.late == BARS
    assert found.counts.too_soft == found.counts.extra == 0


@pytest.mark.parametrize("pattern", [COUNTED, BUZZ], ids=["counted", "buzz"])
@pytest.mark.parametrize("skill", ["beginner", "professional"])
def test_live_and_from_a_file_say_the_same(pattern, skill):
    targets = laid_out(pattern)
    hits = hits_of(perform(targets, SKILLS[skill], 4).messages)[0]
    grader, said = Grader(targets, Rules()), {}
    for number in range(len(hits)):
        words = grader.hit(hits[number]) + grader.time_passed(float(hits.time_s[number]))
        said |= {(word.hit, word.target if word.hit is None else None): word for word in words}
    for word in grader.finish():
        said[word.hit, word.target if word.hit is None else None] = word
    events = judge(targets, hits, Rules()).events()
    assert {key: word for key, word in said.items() if word.settled} == {
        (word.hit, word.target if word.hit is None else None): word for word in events
    }
    assert sum(word.grace for word in events) > 2 * len(targets)
    assert {word.verdict for word in events if word.grace} == {Verdict.ON_TIME}


def test_people_who_play_well_are_told_that_they_do():
    targets = laid_out(COUNTED)
    hits = hits_of(perform(targets, SKILLS["professional"], 2).messages)[0]
    found = grade(COUNTED, BPM, targets=targets, hits=hits, rules=Rules())[0]
    assert found.score.total > 92.0
    assert found.counts.roll_uneven + found.counts.roll_broken <= 2


def test_guards_let_the_bounces_through_and_they_are_heard():
    targets = laid_out(BUZZ)
    guarded = Pads(guards={"snare": Guard(LONGEST_MASK_MS, 10.0)}).for_targets(targets)
    assert 0.0 < guarded.guards["snare"].mask_ms < 1000.0 * targets.bounces_s(0)[0]
    played = notes(targets)
    counted = sum(1 + len(targets.bounces_s(number)) for number in range(len(targets)))
    assert len(played) == counted > 5 * len(targets)
