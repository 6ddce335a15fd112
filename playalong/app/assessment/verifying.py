"""A result verified: its files as they were written, its takes as they were asked, and every figure
that of these hits.

What this shows: the figures, the marks and what was asked belong to the hits in the file. What it
cannot show is who played them, or whether other attempts were left out.

* Files: the digests of all of them, and the way they are packed.
* Takes: each says how it was asked; that is held against the assessment, calibration and player.
* Figures: each take is graded anew, and each figure held against the one in the result. Where the
  result was graded by another version of the program, figures that differ are told side by side,
  as such.
* Marks: worked out anew from the figures that were told.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from playalong.app.assessment.book import RunEntry, RunState, marks_of
from playalong.app.assessment.tasks import item_task
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.run.task import Task
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.model import Pattern
from playalong.pattern.old_brackets import read_stored
from playalong.pattern.reader import PatternError
from playalong.pattern.targets import Targets
from playalong.practice.assessment.marks import ItemMarks
from playalong.practice.assessment.model import Assessment
from playalong.practice.assessment.reader import AssessmentError
from playalong.practice.assessment.reader import read as read_assessment
from playalong.profile.profile import Profile
from playalong.records.assessments.results import (
    ASSESSMENT,
    DIGESTS,
    FORMAT,
    MOST_RUNS,
    RESULT,
    ResultError,
    digest,
    plain_of,
    read_result,
)
from playalong.records.profiles import from_text
from playalong.records.tables import TomlError
from playalong.records.take_info import TakeInfo
from playalong.records.takes import TakeError, from_bytes
from playalong.support.errors import UserError
from playalong.support.text import printable
from playalong.support.version import program_version

#: Figures are told to a millionth: on another machine the last digit may fall the other way.
ALIKE = 2e-6

#: What a take says of itself and the assessment asks for, with what it is called.
_EXPECTED_INFO = {
    "pattern": "the pattern",
    "pattern_id": "the pattern",
    "pattern_text": "the pattern",
    "excerpt": "the part of the pattern",
    "free": "the way of playing",
    "tempo_bpm": "the tempo",
    "bars": "the number of bars",
    "variations": "the variations",
    "until_s": "the end of the run",
    "pauses": "the pauses of the run",
    "level": "the level",
    "capture_ms": "the capture window",
    "tolerance_ms": "the tolerance",
    "left_handed": "the leading hand",
    "bands": "the calibration of loudness",
    "pads": "the notes of the pads",
    "latency_ms": "the latency",
    "player": "the player",
    "kit": "the kit",
}

#: Of a take that goes along with a recording the beats say how fast it was, and how close strokes
#: come that a pad must tell apart.
_NOT_ALONG = ("tempo_bpm", "pads")

#: Somebody of whom nothing is known.
NOBODY = Profile(kit="", player="")

#: So many figures that differ are listed of a run.
_MOST_LISTED = 6


@dataclass(frozen=True, slots=True)
class Difference:
    """A figure by its place in the grade, as the result has it and as it is of these hits."""

    what: str
    reported: Any
    now: Any

    def __str__(self) -> str:
        was, now = _short(self.reported), _short(self.now)
        return f"{self.what} is {was} in the result, {now} of these hits"


@dataclass(frozen=True, kw_only=True)
class RunCheck:
    """One run: the grade that was reported, the grade of its hits, and where they differ.

    ``graded`` is None where the take cannot be graded; ``version`` the other version of the program
    that graded it, empty where it was this one.
    """

    run: RunEntry
    reported: Mapping[str, Any]
    now: Mapping[str, Any]
    differences: tuple[Difference, ...]
    graded: Graded | None
    version: str = ""

    @property
    def figures(self) -> int:
        """How many figures there are."""
        return _figures(self.now)

    @property
    def name(self) -> str:
        """Which it is, in words."""
        kind = "rehearsal" if self.run.is_rehearsal else "attempt"
        return f"item {self.run.item + 1}, {kind} {self.run.number}"


@dataclass(frozen=True, kw_only=True)
class Verified:
    """A result and what was found.

    ``plain`` is ``result.json``; ``items`` what each item came to as it was reported; ``items_now``
    the same by the grades of this program. ``wrong`` tells, a line each, what is not as it was
    written, or does not fit; ``version`` which other versions graded runs of it, empty where this
    one did. ``profile`` is that of the last run.
    """

    path: Path
    plain: Mapping[str, Any]
    assessment: Assessment
    profile: Profile
    runs: tuple[RunCheck, ...]
    items: tuple[ItemMarks, ...]
    items_now: tuple[ItemMarks, ...]
    wrong: tuple[str, ...]
    version: str = ""

    @property
    def fits(self) -> bool:
        """Whether all of it fits."""
        return not self.wrong

    @property
    def player(self) -> str:
        """Who is said to have played."""
        return str(self.plain["player"])

    @property
    def digest(self) -> str:
        """That of the assessment: results of one assessment have the same."""
        return str(self.plain["assessment"]["digest"])

    def counted(self, item: int) -> tuple[RunCheck, ...]:
        """The runs of an item that count."""
        attempts = [run for run in self.runs if run.run.item == item and run.run.counts]
        return tuple(attempts[number] for number in self.items[item].counted)


def peek(path: Path) -> tuple[str, str, str, str] | None:
    """What a result says without being verified: player, digest of the assessment, when it ended,
    and the assessment's title.

    None where it says nothing.
    """
    try:
        plain = plain_of(read_result(path).files[RESULT])
        about = plain["assessment"]
        return str(plain["player"]), str(about["digest"]), str(plain["ended"]), str(about["title"])
    except (UserError, KeyError, TypeError):
        return None


def verify(path: Path) -> Verified:
    """The result in the file at ``path``, verified; ResultError where it cannot be read at all."""
    unpacked = read_result(path)
    files = unpacked.files
    plain = plain_of(files[RESULT])
    try:
        return _verified(path, files, plain, wrong=list(unpacked.changed))
    except UserError as error:
        raise ResultError(f"{path}: {error.lines[0]}") from None
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, RecursionError) as error:
        what = printable(str(error))[:60]
        raise ResultError(
            f"{path}: result.json is not as this program writes it ({what})."
        ) from None


def _verified(
    path: Path, files: Mapping[str, bytes], plain: Mapping[str, Any], *, wrong: list[str]
) -> Verified:
    if int(plain["format"]) > FORMAT:
        raise ResultError("It was written by a newer version of playalong: update the program.")
    text = files[ASSESSMENT].decode()
    named = plain["patterns"]
    texts = tuple(
        (str(one["name"]), files[f"patterns/{number:02}.toml"].decode())
        for number, one in enumerate(named, 1)
    )
    assessment = _assessment(str(plain["assessment"]["name"]), text, texts)
    if plain["assessment"]["digest"] != digest(files[ASSESSMENT]):
        wrong.append("The assessment is not the one of which result.json tells.")
    for one in named:
        pattern = assessment.patterns.get(one["name"])
        if pattern is None or pattern_id(pattern) != one["pattern_id"]:
            wrong.append(f"The pattern {printable(str(one['name']))} has been changed.")
    if len(plain["runs"]) > MOST_RUNS:
        raise ResultError(f"It tells of {len(plain['runs']):,} runs: that is no result.")
    runs = [RunEntry.from_plain(one) for one in plain["runs"]]
    if len({run.stem for run in runs}) < len(runs):
        raise ResultError("It tells of a run twice: that is no result.")
    wrong += _of_no_run(assessment, runs, plain=plain, files=files)
    sources = _Sources(files=files, plain=plain, text=text, patterns=texts)
    checks = []
    for run in runs:
        check, trouble = _run(assessment, run, sources)
        checks.append(check)
        wrong += trouble
        if not check.version:
            wrong += _difference_lines(check)
    reported_grades = {check.run.grade: check.reported for check in checks}
    now_grades = {check.run.grade: check.now or check.reported for check in checks}
    numbers = range(len(assessment.items))
    items = tuple(
        marks_of(assessment, number, runs=runs, grades=reported_grades) for number in numbers
    )
    wrong += _wrong_marks(assessment, items, plain)
    return Verified(
        path=path,
        plain=plain,
        assessment=assessment,
        profile=sources.profile(runs[-1]) if runs else NOBODY,
        runs=tuple(checks),
        items=items,
        items_now=tuple(
            marks_of(assessment, number, runs=runs, grades=now_grades) for number in numbers
        ),
        wrong=tuple(dict.fromkeys(wrong)),
        version=", ".join(dict.fromkeys(check.version for check in checks if check.version)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sources:
    """What a result holds, as texts: ``patterns`` are (name, text)."""

    files: Mapping[str, bytes]
    plain: Mapping[str, Any]
    text: str
    patterns: tuple[tuple[str, str], ...]

    def profile(self, run: RunEntry) -> Profile:
        """With which calibration a run was played."""
        return _profile(self.files[run.calibration].decode()) if run.calibration else NOBODY


@lru_cache(maxsize=16)
def _assessment(name: str, text: str, texts: tuple[tuple[str, str], ...]) -> Assessment:
    known = dict(texts)

    def find(pattern: str) -> Pattern:
        return read_stored(known[pattern], pattern)

    try:
        return read_assessment(text, name, find)
    except (AssessmentError, PatternError) as error:
        raise ResultError(f"The assessment in it cannot be read. {error.lines[0]}") from None


@lru_cache(maxsize=64)
def _profile(calibration: str) -> Profile:
    if not calibration:
        return NOBODY
    try:
        return from_text(calibration, "its file")
    except TomlError as error:
        raise ResultError(f"The calibration in it cannot be read. {error.lines[0]}") from None


@lru_cache(maxsize=256)
def _prepared_item(
    name: str,
    text: str,
    patterns: tuple[tuple[str, str], ...],
    *,
    number: int,
    left_handed: bool,
) -> tuple[Task, Targets, Mapping[str, Any]]:
    """An item as a task, its targets, and what a take of it by nobody says of itself."""
    assessment = _assessment(name, text, patterns)
    task = item_task(assessment, assessment.items[number], left_handed=left_handed)
    targets = task.targets()
    return task, targets, task.recording(0.0, NOBODY, targets).info


def _expected(
    prepared: tuple[Task, Targets, Mapping[str, Any]], profile: Profile, is_simulated: bool
) -> Mapping[str, Any]:
    """What a take of an item says of itself, as a player with this calibration plays it."""
    task, targets, info = prepared
    bands = profile.bands or task.rules.bands
    own = TakeInfo(
        player="" if is_simulated else profile.player,
        kit="" if is_simulated else profile.kit,
        pads=profile.pads.for_targets(targets),
        bands=bands.as_plain(),
        latency_ms=profile.latency.ms if profile.latency else 0.0,
    ).as_plain()
    changed = ("player", "kit", "pads", "bands", "latency_ms")
    return {**info, **{key: own.get(key) for key in changed}}


def _run(assessment: Assessment, run: RunEntry, sources: _Sources) -> tuple[RunCheck, list[str]]:
    """One run graded anew, and what of its take is not as it was asked."""
    item, files, plain = assessment.items[run.item], sources.files, sources.plain
    reported = plain_of(files[run.grade])
    if not reported:
        raise ResultError(f"{run.grade} in it is no grade.")
    try:
        take = from_bytes(files[run.take], run.take)
        graded = grade_take(assessment.pattern_of(item), take, Options())
    except (TakeError, UserError) as error:
        check = RunCheck(run=run, reported=reported, now={}, differences=(), graded=None)
        return check, [f"{check.name}: {error}"]
    now = graded.as_json()
    version = printable(str(reported.get("program")))
    now["program"] = reported.get("program")  # which version it was is told once, for all of it
    check = RunCheck(
        run=run,
        reported=reported,
        now=now,
        differences=tuple(_differences(reported, now, "")),
        graded=graded,
        version="" if version == program_version() else version,
    )
    is_simulated = plain["simulated"] is not None
    prepared = _prepared_item(
        assessment.name,
        sources.text,
        sources.patterns,
        number=run.item,
        left_handed=run.left_handed,
    )
    expected = _expected(prepared, sources.profile(run), is_simulated)
    wrong = []
    left_out: tuple[str, ...] = ("until_s", "pauses") if run.state is RunState.INTERRUPTED else ()
    if item.recording:
        left_out += _NOT_ALONG
    for key, what in _EXPECTED_INFO.items():
        if key not in left_out and take.info.get(key) != expected.get(key):
            wrong.append(f"{check.name}: {what} of the take is not that of the assessment.")
    if ("along" in take.info) is not bool(item.recording):
        wrong.append(f"{check.name}: the take was not played along with what is asked.")
    if (take.info.get("simulated") is None) is is_simulated:
        wrong.append(f"{check.name}: the take was not played by who is named.")
    if not is_simulated and take.info.get("player") != plain["player"]:
        wrong.append(f"{check.name}: the take names another player than the result.")
    if bool(run.calibration) is is_simulated:
        wrong.append(f"{check.name}: its calibration is not that of who is named.")
    if take.info.get("program") != reported.get("program"):
        wrong.append(f"{check.name}: the take was kept by another version than its grade.")
    if take.info.get("date") != run.began:
        wrong.append(f"{check.name}: the take began at another time than the result says.")
    return check, wrong


def _of_no_run(
    assessment: Assessment,
    runs: list[RunEntry],
    *,
    plain: Mapping[str, Any],
    files: Mapping[str, bytes],
) -> Iterator[str]:
    """What the list of runs and the files say otherwise."""
    known = {RESULT, ASSESSMENT, DIGESTS}
    known |= {f"patterns/{number:02}.toml" for number in range(1, len(plain["patterns"]) + 1)}
    known |= {name for run in runs for name in (run.take, run.grade, run.calibration)}
    yield from (f"{name} belongs to no run." for name in files if name not in known)
    for run, one in zip(runs, plain["runs"], strict=True):
        if run.as_plain() != one:
            yield "A run names other files than its own."
    for number, item in enumerate(assessment.items):
        own = [run for run in runs if run.item == number]
        if assessment.is_homework:
            continue
        if sum(run.counts for run in own) > item.attempts:
            yield f"Item {number + 1} has more attempts than there are."
        played = [run for run in own if run.is_rehearsal and run.state is not RunState.INTERRUPTED]
        if len(played) > item.rehearsals:
            yield f"Item {number + 1} has more rehearsals than there are."


def _difference_lines(check: RunCheck) -> Iterator[str]:
    """The figures of a run that differ, in words."""
    for difference in check.differences[:_MOST_LISTED]:
        yield f"{check.name}: {difference}."
    more = len(check.differences) - _MOST_LISTED
    if more > 0:
        yield f"{check.name}: {more} more figures differ."


def _wrong_marks(
    assessment: Assessment, items: tuple[ItemMarks, ...], plain: Mapping[str, Any]
) -> Iterator[str]:
    """Marks that do not follow from the figures."""
    reported = plain["items"]
    if len(reported) != len(items):
        yield "The result tells of other items than the assessment has."
        return
    for number, (item, marks) in enumerate(zip(assessment.items, items, strict=True)):
        now = json.loads(json.dumps({"title": item.title, **marks.as_plain()}))
        for difference in _differences(reported[number], now, ""):
            what, was, fits = difference.what, _short(difference.reported), _short(difference.now)
            yield f"item {number + 1}: {what} is {was}, by its figures it is {fits}."


def _differences(reported: Any, now: Any, at: str) -> Iterator[Difference]:
    """Where two plain objects differ, by the names that lead there."""
    if reported == now:  # most often all of it is; True and 1 are alike then, which no figure is
        return
    if isinstance(reported, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*now, *reported]):
            where = f"{at}.{key}" if at else str(key)
            if key not in reported or key not in now:
                yield Difference(where, reported.get(key), now.get(key))
            else:
                yield from _differences(reported[key], now[key], where)
    elif isinstance(reported, list) and isinstance(now, list) and len(reported) == len(now):
        for number, pair in enumerate(zip(reported, now, strict=True)):
            yield from _differences(*pair, f"{at}[{number + 1}]")
    elif not _alike(reported, now):
        yield Difference(printable(at), reported, now)


def _alike(reported: Any, now: Any) -> bool:
    if _is_number(reported) and _is_number(now):
        return bool(abs(reported - now) <= ALIKE)
    return type(reported) is type(now) and bool(reported == now)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _figures(plain: Any) -> int:
    """How many figures and words there are."""
    if isinstance(plain, dict):
        return sum(map(_figures, plain.values()))
    if isinstance(plain, list):
        return sum(map(_figures, plain))
    return 1


def _short(value: Any) -> str:
    text = "nothing" if value is None else value if isinstance(value, str) else json.dumps(value)
    shown = printable(text)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."
