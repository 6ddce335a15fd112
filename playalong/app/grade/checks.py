"""What can be asked of a run or a grade: each check gives it back, or tells what would be right."""

from collections.abc import Sequence
from math import isfinite

import numpy as np

from playalong.grading.levels import DEFAULT_LEVEL, LEVELS, Level
from playalong.grading.loudness import Bands
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.voices import VOICES, folded
from playalong.profile.latency import typed
from playalong.support.errors import UserError
from playalong.support.text import printable, quoted, sentence

#: Tempi outside these can be neither played nor meant.
SLOWEST_BPM, FASTEST_BPM = 20.0, 400.0
MOST_BARS = 100_000

#: More than this is not graded: strokes that are asked for, and hits. It is hours of playing, and
#: takes seconds.
MOST_STROKES = 25_000

#: A pattern with more than this is not practised: a plan for it would take long, and its lesson
#: would never end.
PRACTISED_BARS, PRACTISED_VARIATIONS = 150, 1_000

DEFAULT = Rules()


def checked_tempo(tempo_bpm: float) -> float:
    """``tempo_bpm``, if it can be played."""
    if not isfinite(tempo_bpm) or not SLOWEST_BPM <= tempo_bpm <= FASTEST_BPM:
        raise UserError(
            f"A tempo of {tempo_bpm:g} cannot be played: "
            f"choose one from {SLOWEST_BPM:g} to {FASTEST_BPM:g} beats a minute."
        )
    return tempo_bpm


def checked_latency(ms: float) -> float:
    """``ms``, if that can be a latency."""
    try:
        return typed(ms).ms
    except ValueError as error:
        raise UserError(sentence(error)) from None


def checked_rules(
    *,
    level: Level = DEFAULT_LEVEL,
    capture_ms: float | None = None,
    tolerance_ms: float | None = None,
    bands: Bands | None = None,
    left_handed: bool = False,
) -> Rules:
    """Rules with these windows and bands, if they make sense; None leaves it to ``level``."""
    capture = DEFAULT.capture_ms if capture_ms is None else capture_ms
    tolerance = LEVELS[level].tolerance_ms if tolerance_ms is None else tolerance_ms
    if tolerance_ms is None:
        tolerance = min(tolerance, capture)
    if not 1.0 <= capture <= 1000.0:
        raise UserError(f"A capture window of {capture:g} ms makes no sense: choose 1 to 1000.")
    if not 0.0 <= tolerance <= capture:
        raise UserError(
            f"A tolerance of {tolerance:g} ms makes no sense: choose 0 to the capture window, "
            f"{capture:g}."
        )
    return Rules(
        level=level,
        capture_ms=capture,
        tolerance_ms=tolerance,
        bands=bands or DEFAULT.bands,
        left_handed=left_handed,
    )


def checked_bars(bars: int) -> int:
    """``bars``, if there can be so many."""
    if not 1 <= bars <= MOST_BARS:
        raise UserError(f"{bars} bars cannot be played: choose 1 to {MOST_BARS}.")
    return bars


def check_amount(pattern: Pattern, bars: int, hits: int = 0) -> None:
    """UserError where so many bars of ``pattern``, or so many hits, are more than is graded."""
    rounds = -(-bars // len(pattern.bars))
    strokes = rounds * sum(len(bar.strokes) for bar in pattern.bars)
    most = f"and {MOST_STROKES} are the most"
    if strokes > MOST_STROKES:
        raise UserError(
            f"{bars} bars of {quoted(pattern.title)} have about {strokes} strokes, {most}: give a "
            "number of bars with --bars."
        )
    if hits > MOST_STROKES:
        raise UserError(
            f"The take is too long: it has {hits} strokes, {most}. Cut it into shorter takes."
        )


def check_practised(pattern: Pattern) -> None:
    """UserError for a pattern of which no lesson can be made."""
    bars, variations = len(pattern.bars), len(pattern.variations)
    if bars > PRACTISED_BARS or variations > PRACTISED_VARIATIONS:
        raise UserError(
            f"{quoted(pattern.title)} is too large to be practised: it has {bars} bars and "
            f"{variations} variations, and {PRACTISED_BARS} and {PRACTISED_VARIATIONS} are the "
            "most. Cut it into parts."
        )


def check_variations(pattern: Pattern, names: Sequence[str]) -> None:
    """UserError for a variation that ``pattern`` does not have."""
    for name in names:
        if name not in pattern.variations:
            known = ", ".join(map(printable, pattern.variations)) or "none"
            raise UserError(
                f"{quoted(pattern.title)} has no variation {quoted(name)}; "
                f"its variations are: {known}."
            )


def check_hits(pattern: Pattern, hits: Hits, notes: int) -> None:
    """UserError where nothing in a take of so many notes can answer ``pattern``."""
    voices = {VOICES[code].name for code in np.unique(hits.voice).tolist()}
    if not any(folded(voice, pattern.voices) in pattern.voices for voice in voices):
        played = f"it has {', '.join(sorted(voices))}" if voices else "it has no drum notes"
        raise UserError(
            f"None of the {notes} notes of the take belongs to {quoted(pattern.title)}, which is "
            f"played on {', '.join(pattern.voices)}; {played}. Is it the right pattern, and the "
            "drum track?"
        )
