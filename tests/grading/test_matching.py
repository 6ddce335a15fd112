"""Who answers whom: against mir_eval where windows are apart, against scipy where they touch."""

from itertools import pairwise

import mir_eval
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.matching.live_grader import judge
from playalong.grading.matching.windows import (
    HALF_NS_PER_MS,
    HALF_NS_PER_S,
    Windows,
    answer,
    half_ns,
    stroke_times,
    windows_of,
    wrong_drums,
)
from playalong.grading.verdicts import MATCHED, VERDICTS, Rules
from playalong.midi.hits import Hits
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, VOICES, note_of
from tests.helpers.exact_takes import law

from .making import best_assignment, placed

SNARE = STAFF_ORDER["snare"]
WINDOW_S = 0.05


def apart(chance: np.random.Generator, longest: int) -> tuple[list[float], list[float]]:
    """Targets more than two windows apart, and hits; on a grid of 0.1 ms, off the edges.

    mir_eval rounds distances to four decimals, so that only there both mean the same.
    """
    gaps = chance.integers(1010, 4000, chance.integers(1, longest))
    targets = np.cumsum(gaps)
    near = [
        int(target + chance.choice([-1, 1]) * chance.integers(0, 700))
        for target in targets.tolist()
        for _ in range(int(chance.choice([0, 1, 1, 1, 2, 3])))
    ]
    far = chance.integers(0, int(targets[-1]) + 1000, chance.integers(0, 6)).tolist()
    hits = [
        hit
        for hit in near + far
        if hit >= 0 and not np.any(np.abs(np.abs(targets - hit) - 500) < 2)
    ]
    return (targets / 10_000).tolist(), sorted(hit / 10_000 for hit in hits)


def test_onsets_agree_with_mir_eval() -> None:
    """mir_eval.onset.f_measure and mir_eval.util.match_events at a window of 50 ms."""
    chance = np.random.default_rng(1)
    for _ in range(2000):
        ref, est = apart(chance, 14)
        windows = windows_of(placed([(time, "snare") for time in ref]), 1000.0 * WINDOW_S)[SNARE]
        found = answer(windows, half_ns(np.array(est)))
        pairs = {(i, j) for i, j in enumerate(found.hit.tolist()) if j >= 0}
        theirs = mir_eval.util.match_events(np.array(ref), np.array(est), WINDOW_S)
        assert len(pairs) == len(theirs)
        if est:
            f, precision, recall = mir_eval.onset.f_measure(np.array(ref), np.array(est), WINDOW_S)
            assert len(pairs) / len(est) == pytest.approx(precision)
            assert len(pairs) / len(ref) == pytest.approx(recall)
            assert 2 * len(pairs) / (len(est) + len(ref)) == pytest.approx(f)
        # Where only one hit lies in a window, there is but one right answer.
        distance = np.abs(np.subtract.outer(ref, est))
        lone = {i for i in range(len(ref)) if np.sum(distance[i] < WINDOW_S) == 1}
        assert {p for p in pairs if p[0] in lone} == {tuple(p) for p in theirs if p[0] in lone}
        # Where several do, ours is the nearest.
        for i, j in pairs:
            assert distance[i, j] <= distance[i].min() + 1e-9


def test_notes_agree_with_mir_eval() -> None:
    """mir_eval.transcription.match_notes and transcription_velocity.match_notes, no offsets.

    Velocities are those that were asked, so that the second differs from the first in nothing.
    """
    chance = np.random.default_rng(2)
    names = ("hi-hat", "snare", "kick")
    for _ in range(600):
        ref: list[tuple[float, str]] = []
        est: list[tuple[float, str]] = []
        for name in names:
            targets, hits = apart(chance, 8)
            ref += [(time, name) for time in targets]
            est += [(time, name) for time in hits]
        asked = placed(ref)
        played = Hits.sorted(
            np.array([time for time, _ in est]),
            np.array([STAFF_ORDER[name] for _, name in est], np.int16),
            np.full(len(est), 84.0),
        )
        words = judge(asked, played, Rules(capture_ms=1000.0 * WINDOW_S))
        matched = np.isin(words.verdict, [VERDICTS.index(verdict) for verdict in MATCHED])
        pairs = set(zip(words.target[matched].tolist(), words.hit[matched].tolist(), strict=True))

        def notes(time_s: np.ndarray, voice: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            numbers = np.array([note_of(VOICES[code].name) for code in voice.tolist()], np.float64)
            spans = np.stack([time_s, time_s + 0.05], axis=1)
            return spans, mir_eval.util.midi_to_hz(numbers)

        if not len(played):
            assert not pairs
            continue
        spans, pitches = notes(asked.time_s, asked.voice)
        own_spans, own_pitches = notes(played.time_s, played.voice)
        theirs = mir_eval.transcription.match_notes(
            spans, pitches, own_spans, own_pitches, WINDOW_S, offset_ratio=None
        )
        weighed = mir_eval.transcription_velocity.match_notes(
            spans,
            pitches,
            np.full(len(asked), 84.0),
            own_spans,
            own_pitches,
            played.velocity,
            WINDOW_S,
            offset_ratio=None,
        )
        assert len(pairs) == len(theirs) == len(weighed)
        near = (np.abs(np.subtract.outer(asked.time_s, played.time_s)) < WINDOW_S) & (
            asked.voice[:, None] == played.voice[None, :]
        )
        lone = set(np.flatnonzero(near.sum(axis=1) == 1).tolist())
        assert {p for p in pairs if p[0] in lone} == {tuple(p) for p in weighed if p[0] in lone}


@st.composite
def dense(draw: st.DrawFn) -> tuple[Windows, list[int]]:
    """Strokes of one voice, some with grace strokes, near enough that their windows touch, and
    hits on a grid on which many lie exactly half-way and equally far."""
    unit = HALF_NS_PER_MS * draw(st.sampled_from((5, 15, 30)))
    gaps = draw(st.lists(st.sampled_from((2, 2, 3, 4, 8)), min_size=1, max_size=9))
    times = np.cumsum([0, *gaps]) * unit / HALF_NS_PER_S
    graces = {row: draw(st.sampled_from((0, 0, 0, 1, 2))) for row in range(len(times))}
    windows = windows_of(placed([(time, "snare") for time in times.tolist()], graces=graces), 100.0)
    hits = draw(st.lists(st.integers(-4, sum(gaps) + 4), max_size=24))
    return windows[SNARE], sorted(hit * unit for hit in hits)


@law(700)
@given(dense())
def test_touching_windows_are_the_optimum(case: tuple[Windows, list[int]]) -> None:
    """scipy.optimize.linear_sum_assignment over the same windows, grace strokes on their own."""
    windows, hits = case
    found = answer(windows, np.array(hits, np.int64))
    costs = []
    for time, start, end, graces in zip(
        windows.time.tolist(),
        windows.start.tolist(),
        windows.end.tolist(),
        windows.graces.tolist(),
        strict=True,
    ):
        costs += [
            {j: abs(hit - at) for j, hit in enumerate(hits) if start <= hit <= end}
            for at in stroke_times(time, graces)
        ]
    most, least = best_assignment(costs, len(hits))
    assert int(np.sum(found.window >= 0)) == most
    _each_in_its_window(windows, hits, found.window.tolist())
    if not windows.graces.any():
        used = np.flatnonzero(found.window >= 0)
        distance = np.abs(np.array(hits, np.int64)[used] - windows.time[found.window[used]])
        assert int(distance.sum()) == least
    for number, chosen in enumerate(found.hit.tolist()):
        own = [j for j, window in enumerate(found.window.tolist()) if window == number]
        assert len(own) <= 1 + windows.graces[number]
        assert chosen == (own[-1] if own else -1)  # the main stroke is the last
        assert [bool(found.grace[j]) for j in own] == [True] * (len(own) - 1) + [False] * bool(own)


def _each_in_its_window(windows: Windows, hits: list[int], answered: list[int]) -> None:
    for hit, window in zip(hits, answered, strict=True):
        if window >= 0:
            assert windows.start[window] <= hit <= windows.end[window]


@law(600)
@given(st.integers(0, 2**32 - 1))
def test_a_crowd_of_hits_is_the_optimum(seed: int) -> None:
    """Many more hits than strokes: those left out of the search were never needed."""
    chance = np.random.default_rng(seed)
    count = int(chance.integers(1, 5))
    times = np.cumsum(chance.integers(20, 260, count)) / 1000.0
    graces = dict(enumerate(chance.integers(0, 3, count).tolist()))
    windows = windows_of(placed([(t, "snare") for t in times.tolist()], graces=graces), 100.0)[
        SNARE
    ]
    span = int(chance.choice([60, 900]))
    hits = np.sort(chance.integers(-60, span, 60)) * HALF_NS_PER_MS
    found = answer(windows, hits)
    total = 0
    costs = []
    for number in range(count):
        strokes = stroke_times(int(windows.time[number]), int(windows.graces[number]))
        inside = (hits >= windows.start[number]) & (hits <= windows.end[number])
        costs += [
            {j: abs(int(hits[j]) - at) for j in np.flatnonzero(inside).tolist()} for at in strokes
        ]
        own = np.flatnonzero(found.window == number)
        # Fewer hits than strokes leave the first graces out of what is told.
        if len(own) == len(strokes):
            total += sum(abs(int(hits[j]) - at) for j, at in zip(own, strokes, strict=True))
    most, least = best_assignment(costs, len(hits))
    assert int(np.sum(found.window >= 0)) == most
    if most == len(costs):
        assert total == least


@law(1000)
@given(st.integers(0, 2**32 - 1))
def test_wrong_drums_are_the_optimum(seed: int) -> None:
    """Windows of any width, hits of any drum: scipy.optimize.linear_sum_assignment."""
    chance = np.random.default_rng(seed)
    count = int(chance.integers(0, 9))
    span = int(chance.choice([8, 30, 200]))
    time = chance.integers(0, span, count)
    start, end = time - chance.integers(0, 9, count), time + chance.integers(0, 9, count)
    extras = np.sort(chance.integers(-4, span + 4, int(chance.integers(0, 14))))
    found = wrong_drums(time, start, end, extras=extras).tolist()
    costs = [
        {j: abs(hit - int(time[i])) for j, hit in enumerate(extras.tolist()) if a <= hit <= b}
        for i, (a, b) in enumerate(zip(start.tolist(), end.tolist(), strict=True))
    ]
    taken = [column for column in found if column >= 0]
    assert len(set(taken)) == len(taken)
    distance = sum(row[column] for row, column in zip(costs, found, strict=True) if column >= 0)
    assert (len(taken), distance) == best_assignment(costs, len(extras))


@law(300)
@given(st.lists(st.integers(1, 400_000_000), min_size=1, max_size=12), st.floats(1.0, 400.0))
def test_windows_never_overlap(gaps_ns: list[int], capture_ms: float) -> None:
    """The capture window, but never more than half the way to the neighbour."""
    times = np.cumsum(gaps_ns) / 1e9
    windows = windows_of(placed([(time, "kick") for time in times.tolist()]), capture_ms)
    own = windows[STAFF_ORDER["kick"]]
    capture = round(capture_ms * HALF_NS_PER_MS)
    rows = list(zip(own.time.tolist(), own.start.tolist(), own.end.tolist(), strict=True))
    for (time, _, end), (following, start, _) in pairwise(rows):
        middle = (time + following) // 2
        assert (time + following) % 2 == 0  # the middle is exact
        assert end == min(time + capture, middle)
        assert start == max(following - capture, middle)
    assert rows[0][1] == rows[0][0] - capture
    assert rows[-1][2] == rows[-1][0] + capture


def test_every_voice_has_its_own_windows() -> None:
    targets = placed([(0.0, "hi-hat"), (0.0, "kick"), (0.1, "hi-hat"), (0.4, "kick")])
    windows = windows_of(targets, 100.0)
    assert set(windows) == {STAFF_ORDER["hi-hat"], STAFF_ORDER["kick"]}
    assert windows[STAFF_ORDER["hi-hat"]].target.tolist() == [0, 2]
    assert windows[STAFF_ORDER["hi-hat"]].end.tolist()[0] == 50 * HALF_NS_PER_MS
    assert windows[STAFF_ORDER["kick"]].end.tolist()[0] == 100 * HALF_NS_PER_MS
    assert BY_NAME["kick"] is VOICES[STAFF_ORDER["kick"]]
