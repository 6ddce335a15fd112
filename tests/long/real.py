"""Takes by drummers, each against its own transcription: what is invented.

Every hit has its target, so whatever the grade finds is what the drummer did, or a mistake of the
grader. Default settings, the click's tempo, from second 0 of the file, 16 bars.
"""

import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from playalong.app.grade.take_grading import AUTO, grade_take
from playalong.app.grade.take_grading import Options as GradeOptions
from playalong.records.takes import read
from tests.helpers.drummers import DrummerTake, drummer_takes, takes_folder
from tests.helpers.told import codes, trend
from tests.helpers.transcription import Transcription
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 184, 24
NEEDS_TAKES = True

BARS = 16
GHOSTS = (30, 38, 45, 55)


@dataclass(kw_only=True)
class Case:
    """What was found of one take."""

    name: str
    score: float | None = None
    first: str = ""
    trend: str = ""
    wrong: dict[int, tuple[int, int]] = field(default_factory=dict)
    start_ms: float | None = None
    tempo_percent: float | None = None
    kept: float | None = None
    failed: list[str] = field(default_factory=list)


def graded(take: DrummerTake) -> Case:
    """Grade one take in every way that the table asks for."""
    case = Case(name=take.path.stem)
    written = Transcription(take.path, take.tempo_bpm)
    played = read(take.path)
    matched = 0
    for ghost in sorted(GHOSTS, key=lambda border: border != 45):
        pattern, bars = written.pattern(BARS, ghost)
        asked = GradeOptions(tempo_bpm=take.tempo_bpm, start_s=0.0, bars=bars)
        try:
            grade = grade_take(pattern, played, asked).grade
        except Exception:
            case.failed.append(traceback.format_exc())
            continue
        counts = grade.counts
        case.wrong[ghost] = (counts.too_loud + counts.too_soft, counts.matched)
        if ghost == 45:
            case.score, matched = grade.score.total, counts.matched
            case.first, case.trend = codes(grade)[0], trend(grade)
    pattern, bars = written.pattern(BARS)
    try:
        auto = grade_take(pattern, played, GradeOptions(tempo_bpm=AUTO, start_s=AUTO, bars=bars))
    except Exception:
        case.failed.append(traceback.format_exc())
        return case
    kept_bpm = auto.grade.steadiness.tempo_bpm or auto.grade.tempo_bpm
    case.start_ms = abs(auto.start_s) * 1000.0
    case.tempo_percent = abs(kept_bpm / take.tempo_bpm - 1.0) * 100.0
    case.kept = auto.grade.counts.matched / max(matched, 1)
    return case


def chosen(count: int) -> list[DrummerTake]:
    """So many takes in 4/4, evenly from all."""
    folder = takes_folder()
    assert folder is not None
    takes = [take for take in drummer_takes(folder) if take.meter == "4/4"]
    places = np.unique(np.linspace(0, len(takes) - 1, min(count, len(takes))).round().astype(int))
    return [takes[place] for place in places]


def tables(options: Options) -> Iterator[Table]:
    """The table of figures, and what was advised."""
    cases = list(options.map(graded, chosen(options.count)))
    table = Table("takes by drummers", ("figure", "must", "is"))
    scores = np.array([case.score for case in cases if case.score is not None])

    def at_least(what: str, least: float, is_: float) -> None:
        table.row(what, f">= {least:g}", is_, holds=is_ >= least)

    def at_most(what: str, most: float, is_: float) -> None:
        table.row(what, f"<= {most:g}", is_, holds=is_ <= most)

    at_least("score, median", 92.0, float(np.median(scores)))
    at_least("score, 5th percentile", 78.0, float(np.percentile(scores, 5.0)))
    for ghost in GHOSTS:
        wrong, hits = np.array([case.wrong[ghost] for case in cases if ghost in case.wrong]).T
        at_most(f"wrong loudness, ghost border {ghost}, % of hits", 2.0, _share(wrong, hits))
    told = [case.trend != "" for case in cases]
    at_most("a trend is told in the figures, % of takes", 4.0, 100.0 * float(np.mean(told)))
    advised = [case.first in ("speeding_up", "slowing_down") for case in cases]
    at_most("a trend is told first, % of takes", 4.0, 100.0 * float(np.mean(advised)))
    auto = [case for case in cases if case.start_ms is not None]
    for what, least, good in (
        ("auto: start within 80 ms, %", 98.0, [(c.start_ms or 0) <= 80.0 for c in auto]),
        ("auto: tempo within 1 %, %", 99.0, [(c.tempo_percent or 0) <= 1.0 for c in auto]),
        ("auto: 98 % of the click's matches, %", 97.0, [(c.kept or 0) >= 0.98 for c in auto]),
    ):
        at_least(what, least, 100.0 * float(np.mean(good)))
    failed = [(case.name, words) for case in cases for words in case.failed]
    at_most("tracebacks", 0, len(failed))
    yield table
    first = Table("what is advised first", ("finding", "takes"))
    for code, n in Counter(case.first for case in cases).most_common():
        first.row(code, n)
    yield first
    if failed:
        broken = Table("what failed", ("take", "how"))
        for name, words in failed:
            broken.row(name, words.strip().splitlines()[-1])
        yield broken


def _share(wrong: "np.ndarray[tuple[int], np.dtype[np.int64]]", hits: object) -> float:
    return 100.0 * float(np.sum(wrong)) / float(np.sum(np.asarray(hits)))
