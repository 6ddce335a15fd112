"""A grade in words and figures: as JSON for scripts, and as a small table for people."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from math import isfinite
from typing import Any

from playalong.grading.graces import Ornament
from playalong.grading.grade import Grade, JudgedHit, Rolls
from playalong.grading.loudness import Loudness
from playalong.grading.measures.steadiness import STEADY
from playalong.grading.measures.unison import ENOUGH
from playalong.grading.verdicts import HiHat
from playalong.pattern.meter import STRAIGHT
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME

#: Figures are given to a millionth: finer than any clock here, and free of rounding noise.
_DECIMALS = 6

#: Where none of a kind was counted.
_NOTHING = "none"

#: A change of level where strokes fall together is listed from here on, in dB.
LISTED_DB = 2.0


def as_json(grade: Grade, hits: Sequence[JudgedHit] | None = None) -> dict[str, Any]:
    """The grade as plain objects for JSON; keys as in the records, a missing figure is None."""
    plain: dict[str, Any] = _plain(grade)
    if hits is not None:
        plain["hits"] = _plain(hits)
    return plain


#: What JSON takes as it is; most values are of these, or plain floats.
_AS_IT_IS = (str, int, bool, type(None))


@cache
def _names(record: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(record))


def _plain(value: Any) -> Any:
    kind = type(value)
    if kind in _AS_IT_IS:
        return value
    if isinstance(value, float):
        return round(value, _DECIMALS) + 0.0 if isfinite(value) else None
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(kind):
        return {name: _plain(getattr(value, name)) for name in _names(kind)}
    if isinstance(value, Mapping):
        return {str(_plain(key)): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def figures(grade: Grade) -> list[tuple[str, str]]:
    """What a teacher would write beside the score: (what, figure in words)."""
    return [*_counted(grade), *_timed(grade), *_loud(grade), *_steady(grade)]


def in_short(grade: Grade) -> str:
    """How the strokes were, in one line: "On time 120 of 136; missed and extra: 1 missed"."""
    (first, words), *others = _counted(grade)
    rest = (f"{what}: {said}" for what, said in others if said != _NOTHING)
    return "; ".join([f"{first.capitalize()} {words}", *rest]) + "."


_Rows = Iterator[tuple[str, str]]


def _counted(grade: Grade) -> _Rows:
    counts = grade.counts
    yield "on time", f"{counts.on_time} of {counts.targets}"
    yield "early and late", _listed({"early": counts.early, "late": counts.late})
    gone = {"missed": counts.missed, "extra": counts.extra, "wrong drum": counts.wrong_drum}
    yield "missed and extra", _listed(gone)
    yield "loudness", _listed({"too soft": counts.too_soft, "too loud": counts.too_loud})
    hats = {"not open": counts.not_open, "not closed": counts.not_closed}
    if any(hats.values()):
        yield "hi-hat", _listed(hats)
    ornaments = {
        "flat": counts.flam_flat,
        "wide": counts.flam_wide,
        "open": counts.drag_open,
        "with a loud grace": counts.grace_loud,
        "without a grace": counts.grace_missing,
    }
    if any(ornaments.values()):
        yield "flams and drags", _listed(ornaments)
    rolls = {
        "short": counts.roll_short,
        "long": counts.roll_long,
        "broken": counts.roll_broken,
        "uneven": counts.roll_uneven,
    }
    if any(rolls.values()):
        yield "rolls", _listed(rolls)


def _timed(grade: Grade) -> _Rows:
    timing, unison = grade.timing, grade.unison
    if timing.mean_ms is not None and timing.sd_ms is not None:
        yield "timing", f"{sided(timing.mean_ms)} on average, {timing.sd_ms:.0f} ms spread"
    for limb, own in timing.by_limb.items():
        if own.mean_ms is not None and own.sd_ms is not None:
            leads = ", leads" if limb == timing.leads else ""
            yield f"  {limb}", f"{sided(own.mean_ms)}, {own.sd_ms:.0f} ms spread{leads}"
    if unison.median_ms is not None:
        yield "unisons", f"{unison.median_ms:.0f} ms apart (median of {unison.n})"
    for pair in unison.pairs:
        if pair.n >= ENOUGH:
            apart = f"{pair.mean_ms:.0f} ms on average, {pair.sd_ms:.0f} ms spread"
            yield f"  {pair.first} before {pair.second}", apart
    if grade.swing.played_percent is not None:
        played, written = grade.swing.played_percent, grade.swing.written_percent
        expected = "straight" if written == 50 else f"{written:.0f} %"
        of = "" if grade.swing.notes == STRAIGHT.notes else f", of {grade.swing.notes}"
        yield "swing", f"{played:.0f} % played, {expected} written{of}"
    if grade.graces is not None:
        graces = f"{grade.graces.played} of {grade.graces.asked}"
        ahead_ms, level_db = grade.graces.median_ms, grade.graces.median_db
        if ahead_ms is not None and level_db is not None:
            side = "softer" if level_db <= 0 else "louder"
            graces += f", {ahead_ms:.0f} ms ahead, {abs(level_db):.0f} dB {side}"
        yield "grace strokes", graces
    if grade.rolls is not None:
        yield "rolls", _rolled(grade.rolls)


def _rolled(rolls: Rolls) -> str:
    parts = [f"{rolls.played} of {rolls.asked} begun"]
    if rolls.begin_ms is not None:
        parts.append(f"{sided(rolls.begin_ms)} at the beginning")
    if rolls.end_ms is not None:
        parts.append(f"{sided(rolls.end_ms)} at the end")
    if rolls.apart_ms is not None:
        parts.append(f"{rolls.apart_ms:.0f} ms from stroke to stroke")
    if rolls.stray_ms is not None:
        parts.append(f"{rolls.stray_ms:.0f} ms uneven")
    return ", ".join(parts)


def _loud(grade: Grade) -> _Rows:
    for voice, contrast in grade.dynamics.ghost_contrast_db.items():
        if contrast is not None:
            side = "under" if contrast <= 0 else "over"
            yield f"{_kind(voice, True)} notes", f"{abs(contrast):.0f} dB {side} the other strokes"
    spreads = [
        (level.sd_db, voice, dynamic)
        for voice, own in grade.dynamics.by_voice.items()
        for dynamic, level in own.items()
        if level.sd_db is not None and level.n >= ENOUGH
    ]
    if spreads:
        widest_db, uneven, dynamic = max(spreads)
        kind = _kind(uneven, dynamic is Dynamic.GHOST)
        yield "least even", f"{kind}, {widest_db:.1f} dB spread"
    for item in grade.unison.together:
        ghost = item.dynamic is Dynamic.GHOST
        if abs(item.change_db) >= LISTED_DB and (ghost or item.other_ghost):
            side = "louder" if item.change_db > 0 else "softer"
            other = _kind(item.other, item.other_ghost)
            yield (
                f"  {_kind(item.voice, ghost)}",
                f"{abs(item.change_db):.0f} dB {side} with {other}",
            )


def _steady(grade: Grade) -> _Rows:
    steady = grade.steadiness
    if steady.tempo_bpm is not None and steady.drift_percent is not None:
        drift = round(steady.drift_percent, 1) + 0.0  # no minus before nothing
        yield "tempo kept", f"{steady.tempo_bpm:.1f} bpm ({drift:+.1f} %)"
    if steady.trend != STEADY and steady.first_bpm and steady.last_bpm:
        yield steady.trend, f"from {steady.first_bpm:.1f} to {steady.last_bpm:.1f} bpm"


def hit_lines(hits: Sequence[JudgedHit]) -> list[str]:
    """Every hit in a line, under a line that says what stands where."""
    lines = [f"{'second':>9}  {'voice':<12} {'velocity':>8}  {'error':>9}  verdict"]
    for hit in hits:
        error = "" if hit.error_ms is None else f"{hit.error_ms:+.1f} ms"
        verdict = "grace stroke or bounce" if hit.grace else hit.verdict or "not judged"
        if hit.loudness not in (None, Loudness.RIGHT):
            verdict = f"{verdict}, {hit.loudness}"
        if hit.hi_hat not in (None, HiHat.RIGHT):
            verdict = f"{verdict}, {hit.hi_hat}"
        if hit.ornament not in (None, Ornament.RIGHT):
            verdict = f"{verdict}, {hit.ornament}"
        lines.append(
            f"{hit.time_s:9.3f}  {hit.voice:<12} {hit.velocity:8.4g}  {error:>9}  {verdict}"
        )
    return lines


def sided(error_ms: float) -> str:
    """An error as it is said: "6 ms ahead"."""
    rounded = round(abs(error_ms))
    return f"{rounded} ms {'behind' if error_ms > 0 else 'ahead'}" if rounded else "on the click"


def _listed(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {name}" for name, count in counts.items() if count) or _NOTHING


def _kind(voice: str, ghost: bool) -> str:
    label = BY_NAME[voice].label
    return f"{label} ghost" if ghost else label
