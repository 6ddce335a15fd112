"""The place of the bar that goes wrong most often lately, over the last runs of one pattern.

A stroke is off where it was not clean: early, late, missed, on another drum, too loud or soft, open
where closed is written. A place counts from ``LEAST`` strokes on, so that one bad bar is no habit.
"""

from collections import Counter
from dataclasses import dataclass

from playalong.records.store import runs
from playalong.records.store.database import Database, decoding
from playalong.records.store.runs import RunRow

#: Lately is the last so many runs of a pattern, whole ones alone.
LATELY = 8

#: So many strokes of a place must have been asked for, and so many of them off, and this share.
LEAST, LEAST_OFF, LEAST_SHARE = 8, 3, 0.15

#: Findings of runs that say nothing of the pattern's places.
_OTHER = ("other_pattern", "nothing_played")

#: What can be wrong with a stroke, by its name in a grade, as a player would say it.
_FAULTS = {
    "early": "early",
    "late": "late",
    "missed": "missed",
    "wrong_drum": "on the wrong drum",
    "too_soft": "too soft",
    "too_loud": "too loud",
    "wrong_hi_hat": "hi-hat not as written",
    "wrong_ornament": "flam or drag not clean",
}


@dataclass(frozen=True, kw_only=True)
class Weakest:
    """A stroke of the bar: ``off`` of ``of`` strokes in so many ``runs``, mostly ``fault``.

    ``bar`` counts from 1; ``bars`` is how many the pattern has.
    """

    pattern: str
    voice: str
    dynamic: str
    bar: int
    bars: int
    count: str
    off: int
    of: int
    runs: int
    fault: str


def weakest_of(database: Database, player: int, pattern: str | None) -> Weakest | None:
    """The weakest place lately of a pattern, None where nothing stands out."""
    if pattern is None:
        return None
    with decoding(database):
        return _weakest(database, player, pattern)


def _weakest(database: Database, player: int, pattern: str) -> Weakest | None:
    expected: Counter[tuple[int, str, str, str]] = Counter()
    clean: Counter[tuple[int, str, str, str]] = Counter()
    faults: dict[tuple[int, str, str, str], Counter[str]] = {}
    rows: list[RunRow] = []
    for row in runs.history(database, player, name=pattern, kind="play", limit=2 * LATELY):
        if len(rows) == LATELY:
            break
        grade = runs.grade_without_hits(database, row.id)
        findings = (grade or {}).get("findings") or ()
        if grade is None or any(one["code"] in _OTHER for one in findings):
            continue
        rows.append(row)
        for place in grade.get("places") or ():
            key = place["bar"], place["count"], place["voice"], place["dynamic"]
            expected[key] += place["targets"]
            clean[key] += place["clean"]
            found = {fault: place.get(fault) or 0 for fault in _FAULTS}
            faults.setdefault(key, Counter()).update(found)
    off = {
        key: of - clean[key]
        for key, of in expected.items()
        if of >= LEAST and of - clean[key] >= max(LEAST_OFF, LEAST_SHARE * of)
    }
    if not off:
        return None
    worst = max(off, key=lambda key: (off[key] / expected[key], off[key]))
    (fault, _), *_ = faults[worst].most_common(1)
    bar, count, voice, dynamic = worst
    return Weakest(
        pattern=rows[0].title or pattern,
        voice=voice,
        dynamic=dynamic,
        bar=bar + 1,
        bars=1 + max(key[0] for key in expected),
        count=count,
        off=off[worst],
        of=expected[worst],
        runs=len(rows),
        fault=_FAULTS[fault],
    )
