"""A run judged again with some of its hits played otherwise."""

import numpy as np
from hypothesis import given

from playalong.grading.matching.incremental import Verdicts
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.score import score
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out
from tests.grading.making import groove, moved, runs_with_takes, without
from tests.helpers.exact_takes import faultless, law

PATTERN = groove(hi_hat="xx xx xx xx", snare="-g X- -g X-", kick="x- -x x- --")
TARGETS = lay_out(PATTERN, 100.0, 4)


def rows(verdicts: Verdicts) -> list[str]:
    """The words in an order of their own."""
    return sorted(map(str, verdicts.events()))


@given(runs_with_takes())
@law(200)
def test_nothing_mended_is_nothing_changed(
    run_and_take: tuple[Pattern, Targets, list[Hit]],
) -> None:
    _, targets, take = run_and_take
    run = MatchedRun.of(targets, Hits.of(take), Rules())
    assert rows(run.mended().verdicts) == rows(run.verdicts)
    assert rows(run.mended(anew=True).verdicts) == rows(run.verdicts)


@given(runs_with_takes())
@law(200)
def test_a_held_pair_keeps_its_target_however_late_it_becomes(
    run_and_take: tuple[Pattern, Targets, list[Hit]],
) -> None:
    _, targets, take = run_and_take
    run = MatchedRun.of(targets, Hits.of(take), Rules())
    later = run.mended(time_s=run.hits.time_s + 0.2)
    np.testing.assert_array_equal(later.hit, run.hit)
    np.testing.assert_array_equal(later.target, run.target)
    np.testing.assert_allclose(later.error_ms, run.error_ms + 200.0, atol=2e-6)
    found = later.by_verdict
    assert len(found[Verdict.ON_TIME]) == len(found[Verdict.EARLY]) == 0 or not take


def test_small_shifts_are_judged_as_a_take_played_so() -> None:
    hits = faultless(TARGETS)
    shifts_s = np.random.default_rng(3).normal(0.0, 0.02, len(hits))
    mended = MatchedRun.of(TARGETS, hits, Rules()).mended(time_s=hits.time_s + shifts_s)
    played = MatchedRun.of(TARGETS, moved(hits, shifts_s), Rules())
    np.testing.assert_allclose(mended.error_ms, played.error_ms, atol=2e-6)
    np.testing.assert_array_equal(
        mended.verdicts.verdict[mended.answered], played.verdicts.verdict[played.answered]
    )
    assert score(mended).total == score(played).total


@given(runs_with_takes())
@law(200)
def test_what_a_removed_hit_answered_is_missed(
    run_and_take: tuple[Pattern, Targets, list[Hit]],
) -> None:
    _, targets, take = run_and_take
    run = MatchedRun.of(targets, Hits.of(take), Rules())
    removed = np.arange(len(run.hits)) % 3 == 0
    held = run.mended(removed=removed)
    assert not removed[held.verdicts.hit[held.verdicts.hit >= 0]].any()
    gone = run.target[removed[run.hit]]
    lost = set(gone[~run.targets.optional[gone]].tolist())
    missed = held.verdicts.target[held.by_verdict[Verdict.MISSED]].tolist()
    assert lost <= set(missed)
    assert len(missed) == len(set(missed))
    all_gone = run.mended(removed=np.ones(len(run.hits), np.bool_))
    assert len(all_gone.target) == 0
    assert not len(all_gone.by_verdict[Verdict.EXTRA])


def test_strokes_added_answer_what_was_missed() -> None:
    hits = faultless(TARGETS)
    run = MatchedRun.of(TARGETS, without(hits, [3, 9]), Rules())
    more = Hits(hits.time_s[[3, 9]], hits.voice[[3, 9]], hits.velocity[[3, 9]])
    assert score(run).total < 100.0
    mended = run.mended(added=more)
    assert score(mended).total == 100.0
    assert mended.hits.time_s[len(run.hits)] == hits.time_s[3]


def test_a_stroke_on_another_drum_is_matched_anew_when_moved_back() -> None:
    hits = faultless(TARGETS)
    voice = hits.voice.copy()
    voice[hits.voice == TARGETS.voice[0]] += 1
    wrong = MatchedRun.of(TARGETS, Hits(hits.time_s, voice, hits.velocity), Rules())
    assert len(wrong.by_verdict[Verdict.WRONG_DRUM]) > 0
    assert score(wrong.mended(voice=hits.voice)).total == 100.0
