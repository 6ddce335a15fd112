"""The live grader says in the end what judging all at once says, however it is fed."""

from collections import Counter
from random import Random

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from playalong.grading.matching.incremental import NEVER
from playalong.grading.matching.live_grader import SETTLE_S, Grader, judge
from playalong.grading.matching.windows import HALF_NS_PER_MS, half_ns, tolerances, windows_of
from playalong.grading.verdicts import MATCHED, Rules, Verdict, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER, folded
from tests.helpers.exact_takes import law

from .making import groove, placed, runs_with_takes, takes

RULES = Rules()
Case = tuple[Pattern, Targets, list[Hit]]

#: Hits come by cable: told at once, or late by up to what the grader waits for.
DELAYS_S = st.one_of(st.just(0.0), st.floats(0.0, SETTLE_S * 0.999))
STEPS_S = st.one_of(st.floats(0.004, 0.03), st.floats(0.03, 2.0))


def sayable(targets: Targets, word: VerdictEvent, hit: Hit | None) -> tuple[object, ...]:
    """A settled word with its hit told by what it is, since numbers depend on the order.

    Two hits of one voice, instant and velocity may stand for each other.
    """
    what = None
    if hit is not None:
        what = (round(hit.time_s, 9), folded(hit.voice, targets.voices), hit.velocity)
    return (
        word.verdict,
        word.target,
        what,
        word.error_ms,
        word.loudness,
        word.grace,
        word.hi_hat,
        word.ornament,
    )


def in_the_end(
    targets: Targets, events: list[VerdictEvent], told: list[Hit]
) -> Counter[tuple[object, ...]]:
    """The last settled word on each hit, and on each target that has none."""
    last: dict[tuple[str, int | None], VerdictEvent] = {}
    for word in events:
        if word.settled:
            last["target", word.target if word.hit is None else None] = word
            last["hit", word.hit] = word
    return Counter(
        sayable(targets, word, None if word.hit is None else told[word.hit])
        for (kind, number), word in last.items()
        if number is not None and (kind == "hit") == (word.hit is not None)
    )


def at_once(targets: Targets, hits: list[Hit]) -> Counter[tuple[object, ...]]:
    played = Hits.of(hits)
    events = judge(targets, played, RULES).events()
    return Counter(
        sayable(targets, word, None if word.hit is None else played[word.hit]) for word in events
    )


def fed(
    targets: Targets,
    hits: list[Hit],
    delays_s: list[float],
    *,
    steps_s: list[float],
    kind: type[Grader] = Grader,
) -> tuple[list[VerdictEvent], list[Hit]]:
    """All words of a run fed in portions, and the hits in the order in which they were told."""
    order = sorted(range(len(hits)), key=lambda row: hits[row].time_s + delays_s[row])
    grader = kind(targets, RULES)
    events: list[VerdictEvent] = []
    told: list[Hit] = []
    now_s, step = targets.start_s - 0.5, 0
    while now_s < targets.end_s + 1.0:
        now_s += steps_s[step % len(steps_s)]
        step += 1
        while len(told) < len(order) and (
            hits[order[len(told)]].time_s + delays_s[order[len(told)]] <= now_s
        ):
            hit = hits[order[len(told)]]
            told.append(hit)
            events += grader.hit(hit)
        events += grader.time_passed(now_s)
    for row in order[len(told) :]:
        told.append(hits[row])
        events += grader.hit(hits[row])
    return events + grader.finish(), told


@st.composite
def fed_runs(draw: st.DrawFn) -> tuple[Targets, list[Hit], list[float], list[float]]:
    _, targets, hits = draw(runs_with_takes())
    delays = draw(st.lists(DELAYS_S, min_size=len(hits), max_size=len(hits)))
    steps = draw(st.lists(STEPS_S, min_size=1, max_size=6))
    return targets, hits, delays, steps


@law(250)
@given(fed_runs())
def test_live_settles_on_what_is_judged_at_once(
    case: tuple[Targets, list[Hit], list[float], list[float]],
) -> None:
    targets, hits, delays, steps = case
    events, told = fed(targets, hits, delays, steps_s=steps)
    assert in_the_end(targets, events, told) == at_once(targets, hits)


class Untiring(Grader):
    """Looks whether something can be settled every time, and not only when it is due."""

    def time_passed(self, now_s: float) -> list[VerdictEvent]:
        self._settler.expect(-NEVER)
        return super().time_passed(now_s)


@law(60)
@given(runs_with_takes(), st.floats(0.0, SETTLE_S * 0.999), st.floats(0.02, 0.2))
def test_what_is_certain_is_said_as_soon_as_it_is(
    case: Case, delay_s: float, step_s: float
) -> None:
    _, targets, hits = case
    portions = {"delays_s": [delay_s] * len(hits), "steps_s": [step_s]}
    assert fed(targets, hits, **portions) == fed(targets, hits, **portions, kind=Untiring)


@law(120)
@given(fed_runs())
def test_a_settled_word_is_final_but_for_what_only_the_whole_run_tells(
    case: tuple[Targets, list[Hit], list[float], list[float]],
) -> None:
    """Loudness may be heard otherwise in the end, and an extra hit become a wide grace stroke."""
    targets, hits, delays, steps = case
    events, told = fed(targets, hits, delays, steps_s=steps)
    final_targets: dict[int, VerdictEvent] = {}
    final_hits: dict[int, VerdictEvent] = {}
    spoken: set[int] = set()
    for word in events:
        assert word.hit is None or 0 <= word.hit < len(told)
        if word.hit is not None:
            spoken.add(word.hit)
        before = final_hits.get(word.hit) if word.hit is not None else None
        if before is None and word.target is not None and not word.grace:
            before = final_targets.get(word.target)
        if before is not None:
            assert word.settled
            same = (before.verdict, before.target, before.hit, before.error_ms, before.hi_hat) == (
                word.verdict,
                word.target,
                word.hit,
                word.error_ms,
                word.hi_hat,
            )
            assert same or (before.verdict is Verdict.EXTRA and word.grace)
        if word.settled:
            if word.target is not None and not word.grace:
                # Its grace strokes are told before it.
                final_targets[word.target] = word
            if word.hit is not None:
                final_hits[word.hit] = word
    assert spoken == set(final_hits)  # no hit is left with a passing word


@law(120)
@given(runs_with_takes(graces=False), st.floats(0.008, 0.02))
def test_what_is_said_at_once_holds_but_for_ties(case: Case, step_s: float) -> None:
    """Told promptly, an answer stands from its first word on where nothing is equally good."""
    _, targets, hits = case
    edges = {
        (code, edge)
        for code, own in windows_of(targets, RULES.capture_ms).items()
        for edge in own.start.tolist()
    }
    times = half_ns(np.array([hit.time_s for hit in hits])).tolist()
    voices = [STAFF_ORDER[folded(hit.voice, targets.voices)] for hit in hits]
    keys = list(zip(voices, times, strict=True))
    assume(len(set(keys)) == len(keys) and not edges & set(keys))
    events, _ = fed(targets, hits, [0.0] * len(hits), steps_s=[step_s])
    last: dict[int, VerdictEvent] = {}
    for word in events:
        if word.settled and word.verdict in MATCHED and word.hit is not None:
            said = last[word.hit]
            assert (said.verdict, said.target, said.error_ms, said.hi_hat) == (
                word.verdict,
                word.target,
                word.error_ms,
                word.hi_hat,
            )
        elif word.hit is not None:
            last[word.hit] = word


@law(100)
@given(runs_with_takes(), st.randoms(use_true_random=False))
def test_the_order_of_simultaneous_hits_does_not_matter(case: Case, chance: Random) -> None:
    _, targets, hits = case
    other = list(hits)
    chance.shuffle(other)
    assert at_once(targets, other) == at_once(targets, hits)
    # Live, only hits of one instant can come in any order.
    in_time = sorted(other, key=lambda hit: hit.time_s)
    events, told = fed(targets, in_time, [0.0] * len(in_time), steps_s=[0.016])
    assert in_the_end(targets, events, told) == at_once(targets, hits)


@law(100)
@given(runs_with_takes())
def test_every_target_and_judged_hit_is_told_once(case: Case) -> None:
    """Optional strokes may go without a word, every other target has exactly one."""
    _, targets, hits = case
    events = judge(targets, Hits.of(hits), RULES).events()
    tolerance_ms = tolerances(targets, RULES.tolerance_ms) / HALF_NS_PER_MS
    told = Counter(word.target for word in events if word.target is not None and not word.grace)
    assert set(told.values()) <= {1}
    silent = set(range(len(targets))) - set(told)
    assert all(targets.optional[number] for number in silent)
    assert set(Counter(word.hit for word in events if word.hit is not None).values()) <= {1}
    for word in events:
        assert (word.target is None) == (word.verdict is Verdict.EXTRA)
        assert (word.hit is None) == (word.verdict is Verdict.MISSED)
        assert (word.error_ms is None) == (word.target is None or word.hit is None)
        if word.verdict in MATCHED and not word.grace:
            assert word.error_ms is not None
            assert word.target is not None
            on_time = abs(word.error_ms) <= tolerance_ms[word.target]
            assert (word.verdict is Verdict.ON_TIME) == on_time
            assert abs(word.error_ms) <= RULES.capture_ms


def test_a_nearer_hit_takes_the_place_of_an_earlier_one() -> None:
    grader = Grader(placed([(1.0, "snare")]), RULES)
    assert [w.verdict for w in grader.hit(Hit(0.94, "snare", 84))] == [Verdict.EARLY]
    assert [(w.hit, w.verdict) for w in grader.hit(Hit(1.01, "snare", 84))] == [
        (0, Verdict.EXTRA),
        (1, Verdict.ON_TIME),
    ]
    assert [(w.hit, w.verdict) for w in grader.hit(Hit(1.02, "snare", 84))] == [(2, Verdict.EXTRA)]


def test_of_two_hits_equally_far_the_first_stays() -> None:
    grader = Grader(placed([(1.0, "snare")]), RULES)
    grader.hit(Hit(0.98, "snare", 84))
    assert [(w.hit, w.verdict) for w in grader.hit(Hit(1.02, "snare", 84))] == [(1, Verdict.EXTRA)]


def test_a_missed_stroke_waits_for_a_hit_that_may_yet_be_left_over() -> None:
    """The kick's window is over, but the snare hit in it is only known to be left over, and so
    to be meant for the kick, when the window of the snare is over too."""
    targets = placed([(1.0, "kick"), (1.16, "snare")])
    hits = [Hit(1.08, "snare", 84), Hit(1.16, "snare", 84)]
    events, _ = fed(targets, hits, [0.0, 0.0], steps_s=[0.01])
    settled = {word.verdict: (word.target, word.hit) for word in events if word.settled}
    assert settled == {Verdict.WRONG_DRUM: (0, 0), Verdict.ON_TIME: (1, 1)}


def test_missed_is_said_when_its_window_is_over_and_settled_a_little_later() -> None:
    grader = Grader(placed([(1.0, "snare")]), RULES)
    assert grader.time_passed(1.1) == []  # the end belongs to the window
    assert grader.time_passed(1.101) == [VerdictEvent(verdict=Verdict.MISSED, target=0, hit=None)]
    assert grader.time_passed(1.2) == []
    assert grader.time_passed(1.26) == [
        VerdictEvent(verdict=Verdict.MISSED, target=0, hit=None, settled=True)
    ]
    assert grader.finish() == []


def test_a_hit_told_late_still_answers() -> None:
    grader = Grader(placed([(1.0, "snare")]), RULES)
    assert [w.verdict for w in grader.time_passed(1.14)] == [Verdict.MISSED]
    assert [w.verdict for w in grader.hit(Hit(1.02, "snare", 84))] == [Verdict.ON_TIME]
    (word,) = grader.time_passed(1.3)
    assert (word.verdict, word.hit, word.settled) == (Verdict.ON_TIME, 0, True)


def test_a_run_broken_off_is_judged_up_to_there() -> None:
    targets = lay_out(groove(snare="x--- x--- x--- x---"), 120.0, 2)
    cut = targets.until(1.2)
    assert cut.time_s.tolist() == [0.0, 0.5, 1.0]
    assert cut.bars == 1
    events = judge(cut, Hits.of([Hit(0.0, "snare", 84)]), RULES).events()
    assert Counter(word.verdict for word in events) == {Verdict.ON_TIME: 1, Verdict.MISSED: 2}


@law(100)
@given(st.data())
def test_judging_a_run_broken_off_is_judging_its_targets(data: st.DataObject) -> None:
    """Nothing after the break changes what was said well before it."""
    targets = lay_out(groove(hi_hat="x-x- x-x- x-x- x-x-", snare="---- x--- ---- x---"), 100.0, 3)
    hits = data.draw(takes(targets))
    until_s = data.draw(st.floats(1.0, targets.end_s))
    cut = targets.until(until_s)
    safe = np.flatnonzero(targets.time_s < until_s - 0.7)
    assume(len(safe) > 0)

    def said(of: Targets) -> dict[int, tuple[Verdict, float | None]]:
        events = judge(of, Hits.of(hits), RULES).events()
        return {
            w.target: (w.verdict, w.error_ms)
            for w in events
            if w.target is not None and w.target <= safe[-1] and w.verdict in MATCHED
        }

    assert said(cut) == said(targets)
