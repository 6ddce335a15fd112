"""A take held against a pattern: what `grade` does, and what every run ends with.

A take that was played with this program carries how it was played, so grading it again needs no
option and gives the same figures. An option that is given goes before what the take says.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from playalong.grading.grade import Grade
from playalong.grading.hits import Hits
from playalong.grading.measure import grade
from playalong.grading.run import Run
from playalong.grading.verdicts import Rules
from playalong.pattern.beats import Tempo
from playalong.pattern.kit import VOICES, folded
from playalong.pattern.model import Pattern
from playalong.pattern.targets import lay_out
from playalong.plain import PlainError
from playalong.records.takes import Take

#: Tempi outside these can be neither played nor meant.
SLOWEST_BPM, FASTEST_BPM = 20.0, 400.0
MOST_BARS = 100_000


@dataclass(frozen=True, slots=True)
class Options:
    """How a take is to be graded; None leaves it to the take, the pattern, or the default."""

    tempo_bpm: float | None = None
    start_s: float | None = None
    bars: int | None = None
    variations: tuple[str, ...] | None = None
    capture_ms: float | None = None
    tolerance_ms: float | None = None


@dataclass(frozen=True, slots=True)
class Graded:
    """A grade, the matched run behind it, and what should be said of how it was made."""

    grade: Grade
    run: Run
    remarks: tuple[str, ...]


def grade_take(pattern: Pattern, take: Take, options: Options) -> Graded:
    """Grade ``take`` against ``pattern``; PlainError says what is wrong with either."""
    info = take.info if take.info.get("pattern") == pattern.name else {}

    def number(option: float | None, key: str, default: float) -> float:
        told = info.get(key)
        if option is not None:
            return option
        return float(told) if isinstance(told, int | float) else default

    rules = checked_rules(
        number(options.capture_ms, "capture_ms", Rules().capture_ms),
        number(options.tolerance_ms, "tolerance_ms", Rules().tolerance_ms),
    )
    tempo_bpm = checked_tempo(number(options.tempo_bpm, "tempo_bpm", pattern.tempo))
    variations = options.variations
    if variations is None:
        told = info.get("variations")
        variations = tuple(map(str, told)) if isinstance(told, list) else ()
    check_variations(pattern, variations)

    start_s = take.start_s if options.start_s is None else options.start_s
    if options.bars is not None:
        checked_bars(options.bars)
    hits, unknown = Hits.of_notes(take.time_s - start_s, take.note, take.velocity)
    check_hits(pattern, hits, len(take.note))
    bars = int(number(options.bars, "bars", 0)) or _bars_played(pattern, tempo_bpm, hits, rules)
    targets = lay_out(pattern, tempo_bpm, bars, variations)
    until_s = number(None, "until_s", targets.end_s)
    if options.bars is None and until_s < targets.end_s:
        targets = targets.until(until_s)
    told_grade, run = grade(pattern, tempo_bpm, targets, hits, rules)
    remarks = list(take.remarks)
    if len(unknown):
        numbers = ", ".join(map(str, sorted(set(unknown.tolist()))))
        remarks.append(f"{len(unknown)} notes of no known pad were left out: {numbers}.")
    return Graded(told_grade, run, tuple(remarks))


def checked_tempo(tempo_bpm: float) -> float:
    """``tempo_bpm``, if it can be played."""
    if not isfinite(tempo_bpm) or not SLOWEST_BPM <= tempo_bpm <= FASTEST_BPM:
        raise PlainError(
            f"A tempo of {tempo_bpm:g} cannot be played: "
            f"choose one from {SLOWEST_BPM:g} to {FASTEST_BPM:g} beats a minute."
        )
    return tempo_bpm


def checked_rules(capture_ms: float, tolerance_ms: float) -> Rules:
    """Rules with these windows, if they make sense."""
    if not 1.0 <= capture_ms <= 1000.0:
        raise PlainError(f"A capture window of {capture_ms:g} ms makes no sense: choose 1 to 1000.")
    if not 0.0 <= tolerance_ms <= capture_ms:
        raise PlainError(
            f"A tolerance of {tolerance_ms:g} ms makes no sense: choose 0 to the capture window, "
            f"{capture_ms:g}."
        )
    return Rules(capture_ms, tolerance_ms)


def checked_bars(bars: int) -> int:
    """``bars``, if there can be so many."""
    if not 1 <= bars <= MOST_BARS:
        raise PlainError(f"{bars} bars cannot be played: choose 1 to {MOST_BARS}.")
    return bars


def check_variations(pattern: Pattern, names: Sequence[str]) -> None:
    """PlainError for a variation that ``pattern`` does not have."""
    for name in names:
        if name not in pattern.variations:
            known = ", ".join(pattern.variations) or "none"
            raise PlainError(
                f'"{pattern.title}" has no variation "{name}"; its variations are: {known}.'
            )


def check_hits(pattern: Pattern, hits: Hits, notes: int) -> None:
    """PlainError where nothing in a take of so many notes can answer ``pattern``."""
    voices = {VOICES[code].name for code in np.unique(hits.voice).tolist()}
    if not any(folded(voice, pattern.voices) in pattern.voices for voice in voices):
        played = f"it has {', '.join(sorted(voices))}" if voices else "it has no drum notes"
        raise PlainError(
            f'None of the {notes} notes of the take belongs to "{pattern.title}", which is played '
            f"on {', '.join(pattern.voices)}; {played}. Is it the right pattern, and the drum "
            "track?"
        )


def _bars_played(pattern: Pattern, tempo_bpm: float, hits: Hits, rules: Rules) -> int:
    """The bars that the hits reach into; the 1 of a bar alone does not count as reaching."""
    last_s = float(hits.time_s[-1]) - rules.capture_ms / 1000.0
    lengths = [bar.meter.length for bar in pattern.bars]
    scale = Tempo(tempo_bpm, pattern.meter.unit).seconds_per_whole
    round_s = float(sum(lengths)) * scale
    if not last_s < MOST_BARS * round_s:
        raise PlainError(
            f"The take is longer than {MOST_BARS} bars: give the number of bars with --bars."
        )
    rounds = max(0, int(last_s // round_s))
    bars, left_s = rounds * len(lengths), last_s - rounds * round_s
    for length in lengths:
        if left_s <= 0:
            break
        bars, left_s = bars + 1, left_s - float(length) * scale
    return max(bars, 1)
