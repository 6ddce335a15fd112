"""What grading a take costs: python -m tests.bench.grading

A whole grade against mir_eval.transcription_velocity.match_notes, which only matches, of the same
notes in the same run; and how the cost grows with the number of hits.
"""

import time
from collections.abc import Callable
from fractions import Fraction
from functools import partial
from statistics import median

import mir_eval
import numpy as np
from numpy.typing import NDArray

from playalong.grading.grade import Grade
from playalong.grading.grade_run import grade
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.meter import Meter
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke, divisions
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import VOICES, note_of

TEMPO_BPM = 84.0
#: A window that mir_eval and we both use; strokes of a voice are more than twice as far apart.
WINDOW_S = 0.05
SIZES = (10_000, 100_000, 1_000_000)


def groove() -> Pattern:
    """Sixteen strokes to a bar: hi-hat in eighths, snare with ghost notes, bass drum."""
    meter = Meter.parse("4/4")
    steps = {
        "hi-hat": dict.fromkeys(range(0, 16, 2), Dynamic.NORMAL),
        "snare": {2: Dynamic.GHOST, 4: Dynamic.ACCENT, 7: Dynamic.GHOST, 12: Dynamic.ACCENT},
        "kick": dict.fromkeys((0, 3, 8, 11), Dynamic.NORMAL),
    }
    strokes = sorted(
        (
            Stroke(at=Fraction(step, 16), voice=voice, dynamic=dynamic)
            for voice, own in steps.items()
            for step, dynamic in own.items()
        ),
        key=lambda stroke: stroke.place,
    )
    bar = Bar(meter, tuple(strokes), divisions(meter, strokes))
    return Pattern(name="bench", title="Bench", meter=meter, tempo=TEMPO_BPM, bars=(bar,))


def targets_and_hits(count: int) -> tuple[Targets, Hits, NDArray[np.float64]]:
    """``count`` targets, 97 of 100 played within 40 ms, and the velocity that each target asks.

    An extra hit of the bass drum for every hundred targets lies far from its strokes.
    """
    targets = lay_out(groove(), TEMPO_BPM, count // 16)
    chance = np.random.default_rng(1)
    asked = np.array([30.0, 84.0, 112.0])[targets.dynamic]
    kept = chance.random(len(targets)) > 0.03
    time_s = targets.time_s + chance.normal(0.0, 0.012, len(targets)).clip(-0.04, 0.04)
    velocity = np.rint(asked + chance.normal(0.0, 2.0, len(targets)).clip(-4, 4))
    bars = targets.bar_starts_s[:: 100 // 16]
    extra = np.full(len(bars), targets.seconds_per_whole * 14 / 16) + bars
    kick = next(code for code, voice in enumerate(VOICES) if voice.name == "kick")
    hits = Hits.sorted(
        np.concatenate([time_s[kept], extra]),
        np.concatenate([targets.voice[kept], np.full(len(extra), kick)]).astype(np.int16),
        np.concatenate([velocity[kept], np.full(len(extra), 84.0)]),
    )
    return targets, hits, asked


def seconds(work: Callable[[], object], times: int) -> float:
    """The least time that ``work`` took."""
    least = float("inf")
    for _ in range(times):
        begin = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - begin)
    return least


def graded(targets: Targets, hits: Hits) -> tuple[Grade, MatchedRun]:
    """The whole grade."""
    return grade(
        groove(), TEMPO_BPM, targets=targets, hits=hits, rules=Rules(capture_ms=1000.0 * WINDOW_S)
    )


def notes(
    time_s: NDArray[np.float64], voice: NDArray[np.int16]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Spans and pitches as mir_eval wants them."""
    numbers = np.array([note_of(own.name) for own in VOICES], np.float64)[voice]
    spans = np.stack([time_s, time_s + 0.05], axis=1)
    return spans, np.asarray(mir_eval.util.midi_to_hz(numbers))


def against_mir_eval(count: int) -> None:
    """Time and pairs of both."""
    targets, hits, asked = targets_and_hits(count)
    run = graded(targets, hits)[1]
    ours_s = seconds(partial(graded, targets, hits), 5)
    spans, pitches = notes(targets.time_s, targets.voice)
    own_spans, own_pitches = notes(hits.time_s, hits.voice)
    begin = time.perf_counter()
    theirs = mir_eval.transcription_velocity.match_notes(
        spans, pitches, asked, own_spans, own_pitches, hits.velocity, WINDOW_S, offset_ratio=None
    )
    theirs_s = time.perf_counter() - begin
    ours = set(zip(run.target.tolist(), run.hit.tolist(), strict=True))
    same = ours == {(int(i), int(j)) for i, j in theirs}
    print(
        f"  {count} targets: a whole grade is {theirs_s / ours_s:.0f} times faster than mir_eval's "
        f"matching ({1000 * ours_s:.1f} ms to {theirs_s:.1f} s; asked: 500); "
        f"{'the same' if same else 'NOT the same'} {len(ours)} pairs"
    )


def growth() -> None:
    """How the cost grows with the number of hits.

    One long take against ten different ones of a tenth, one after the other: both go through as
    much memory, so that neither has the advantage of a cache that still holds it.
    """
    for size in SIZES[1:]:
        whole = targets_and_hits(size)[:2]
        tenths = [targets_and_hits(size // 10)[:2] for _ in range(10)]
        ratios, costs_s = [], []
        for _ in range(5):
            tenths_s = sum(seconds(partial(graded, *tenth), 1) for tenth in tenths)
            costs_s.append(seconds(partial(graded, *whole), 1))
            ratios.append(10.0 * costs_s[-1] / tenths_s)
        print(f"  {size} hits cost {median(ratios):.1f} times a tenth of them (asked: 11)")
    print(f"  {SIZES[-1]} hits take {median(costs_s):.2f} s (asked: 2)")


def main() -> None:
    """Print the figures."""
    growth()
    against_mir_eval(16_000)


if __name__ == "__main__":
    main()
