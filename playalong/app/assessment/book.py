"""The book of a sitting: every run as it was played, and at the end the result.

It is written as it comes, so that a program that ends before the sitting does loses nothing but
the run that was on. ``result.json`` is described in ``plain_result``.
"""

import json
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Any

from playalong.app.grade.take_grading import Graded
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.writer import write
from playalong.practice.assessment.machine import Sitting
from playalong.practice.assessment.marks import ItemMarks, item_marks
from playalong.practice.assessment.model import Assessment
from playalong.profile.profile import Profile
from playalong.records import profiles
from playalong.records.assessments.files import AssessmentFile
from playalong.records.assessments.results import (
    ASSESSMENT,
    FORMAT,
    MOST_BYTES,
    MOST_RUNS,
    RESULT,
    calibration_name,
    digest,
)
from playalong.records.assessments.sittings import SittingFolder, file_stem, write_result
from playalong.records.tables import TomlError
from playalong.records.take_info import Simulated
from playalong.records.takes import Recording
from playalong.support.errors import UserError
from playalong.support.files import FileError
from playalong.support.text import quoted
from playalong.support.version import program_version

#: Of the bytes that a result may have, so many are for its runs.
_ROOM = MOST_BYTES * 9 // 10


class RunState(StrEnum):
    """How a run ended: to its last bar, broken off by the player, or by what was lost."""

    PLAYED = "played"
    BROKEN_OFF = "broken off"
    INTERRUPTED = "interrupted"


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEntry:
    """One run: of which item (0 is the first), whether it counts, and where its files are.

    ``calibration`` is the file of that with which it was played, empty where somebody simulated
    played; ``left_handed`` the leading hand.
    """

    item: int
    is_rehearsal: bool
    number: int
    state: RunState
    began: str
    calibration: str
    left_handed: bool

    @property
    def counts(self) -> bool:
        """Whether it is an attempt that counts."""
        return not self.is_rehearsal and self.state is not RunState.INTERRUPTED

    @property
    def stem(self) -> str:
        """The name of its files in the result, without folder and ending."""
        return f"{self.item + 1:02}-{'r' if self.is_rehearsal else 'a'}{self.number}"

    @property
    def take(self) -> str:
        """The name of its take in the result."""
        return f"takes/{self.stem}.mid"

    @property
    def grade(self) -> str:
        """The name of its grade in the result."""
        return f"grades/{self.stem}.json"

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for JSON."""
        return {
            "item": self.item,
            "rehearsal": self.is_rehearsal,
            "number": self.number,
            "state": self.state.value,
            "began": self.began,
            "calibration": self.calibration,
            "left_handed": self.left_handed,
            "take": self.take,
            "grade": self.grade,
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "RunEntry":
        """As ``as_plain`` gave it; KeyError, TypeError or ValueError for anything else."""
        return cls(
            item=int(plain["item"]),
            is_rehearsal=bool(plain["rehearsal"]),
            number=int(plain["number"]),
            state=RunState(plain["state"]),
            began=str(plain["began"]),
            calibration=str(plain["calibration"]),
            left_handed=bool(plain["left_handed"]),
        )


class Book:
    """The book of ``who`` with the assessment in ``file``; kept below ``folder``.

    ``simulated`` is who plays, None for people, with their ``profile``.
    """

    def __init__(
        self,
        file: AssessmentFile,
        folder: Path,
        *,
        who: str,
        profile: Profile,
        left_handed: bool = False,
        simulated: Simulated | None = None,
    ) -> None:
        self.file, self.who, self._profile = file, who, profile
        self._left_handed, self._simulated = left_handed, simulated
        is_simulated = simulated is not None
        self._folder = SittingFolder.of(folder, file.text, who, is_simulated=is_simulated)
        self._calibration = ""
        #: One after the other, and beside what is being played.
        self._writer = ThreadPoolExecutor(1)
        self.runs: list[RunEntry] = []
        self.grades: dict[str, Mapping[str, Any]] = {}
        self.began = _now()
        self.sitting = Sitting(file.assessment)
        self.is_resumed = self._take_up()
        #: What went wrong in keeping it.
        self.trouble: list[str] = []

    @property
    def assessment(self) -> Assessment:
        """What is taken."""
        return self.file.assessment

    def _take_up(self) -> bool:
        """Go on with what was kept; whether there was something."""
        plain = self._folder.progress()
        try:
            sitting = Sitting.resumed(self.assessment, plain["sitting"])
            runs = [RunEntry.from_plain(one) for one in plain["runs"]]
            files = self._folder.files()
            grades = {run.grade: json.loads(files[run.grade]) for run in runs}
            began = datetime.fromisoformat(plain["began"])
        except (KeyError, TypeError, ValueError, OSError):
            return False
        self.runs, self.grades, self.began = runs, grades, began
        if self.assessment.is_homework:  # each sitting begins with what is agreed
            self.sitting = Sitting(self.assessment)
        else:
            self.sitting = sitting
        return bool(runs) or bool(sitting.interruptions)

    def check_days(self) -> None:
        """UserError where the days of homework are over."""
        days = self.assessment.days
        if days and self.runs and _now() >= self.began + timedelta(days=days):
            over = self.began + timedelta(days=days)
            raise UserError(
                f"The {days} days of {quoted(self.assessment.title)} were over on "
                f"{over:%Y-%m-%d}: its result is written."
            )

    def begin(self) -> None:
        """Keep what the result begins with; FileError where it cannot be kept."""
        if self._folder.has_begun():
            return
        for name, text in _pattern_texts(self.assessment).items():
            self._folder.keep(name, text.encode())
        self._folder.keep(ASSESSMENT, self.file.text.encode())

    def _save_calibration(self) -> str:
        """The name of the file with the calibration, which is saved before a run that has it.

        It may have become another one since the sitting began; empty for somebody simulated.
        """
        if self._simulated is None and not self._calibration:
            with suppress(TomlError):
                text = (profiles.as_text(self._profile) or "").encode()
                files, number = self._folder.files(), 1
                while files.get(calibration_name(number), text) != text:
                    number += 1
                self._folder.keep(calibration_name(number), text)
                self._calibration = calibration_name(number)
        return self._calibration

    def tries(self, item: int, is_rehearsal: bool) -> int:
        """How many runs there are of an item, of one kind."""
        return sum(run.item == item and run.is_rehearsal is is_rehearsal for run in self.runs)

    def keep_progress(self) -> None:
        """Keep how far the sitting has come, meanwhile."""
        plain = {
            "sitting": self.sitting.as_plain(),
            "runs": [run.as_plain() for run in self.runs],
            "began": self.began.isoformat(timespec="seconds"),
        }
        self._writer.submit(self._write_progress, plain)

    def _write_progress(self, plain: Mapping[str, Any]) -> None:
        try:
            self._folder.keep_progress(plain)
        except FileError as error:
            if str(error) not in self.trouble:
                self.trouble.append(str(error))

    def add(self, state: RunState, recording: Recording, graded: Graded) -> RunEntry:
        """A run is over; its take and grade are kept. FileError where they cannot be."""
        sitting, calibration = self.sitting, self._save_calibration()
        run = RunEntry(
            item=sitting.item,
            is_rehearsal=sitting.is_rehearsal,
            number=self.tries(sitting.item, sitting.is_rehearsal) + 1,
            state=state,
            began=str(recording.info.get("date", "")),
            calibration=calibration,
            left_handed=self._left_handed,
        )
        grade = graded.as_json()
        self._folder.keep(run.take, recording.as_bytes())
        self._folder.keep(run.grade, json.dumps(grade, indent=1).encode())
        self.runs.append(run)
        self.grades[run.grade] = grade
        return run

    def marks(self, item: int) -> ItemMarks:
        """What an item has come to by now."""
        return marks_of(self.assessment, item, runs=self.runs, grades=self.grades)

    def finish(self, out: Path) -> Path:
        """Write the result into the folder ``out``; its path. FileError where it cannot be.

        Where more was played than a result has room for, runs that do not count are left out of it.
        """
        files = self._folder.files()
        runs = _fitting(self.assessment, self.runs, grades=self.grades, files=files)
        needed = {name for run in runs for name in (run.take, run.grade, run.calibration)}
        for name in {name for run in self.runs for name in (run.take, run.grade, run.calibration)}:
            if name not in needed:
                files.pop(name, None)
        result = plain_result(
            self.file,
            who=self.who,
            began=self.began,
            sitting=self.sitting,
            runs=runs,
            grades=self.grades,
            simulated=self._simulated,
            left_out=len(self.runs) - len(runs),
        )
        files[RESULT] = json.dumps(result, indent=1).encode()
        stem = file_stem(self.file.path.stem) or "assessment"
        name = f"{stem}-{file_stem(self.who) or 'player'}-{_now():%Y-%m-%d-%H%M}"
        return write_result(out, name, files)

    def close(self, is_over: bool) -> None:
        """Let go; where the sitting ``is_over``, nothing is left to be taken up again."""
        self._writer.shutdown()
        if is_over and not self.assessment.is_homework:
            self._folder.clear()


def marks_of(
    assessment: Assessment,
    item: int,
    *,
    runs: Sequence[RunEntry],
    grades: Mapping[str, Mapping[str, Any]],
) -> ItemMarks:
    """What the attempts at an item come to."""
    return item_marks(
        assessment,
        assessment.items[item],
        [grades[run.grade] for run in runs if run.item == item and run.counts],
    )


def _fitting(
    assessment: Assessment,
    runs: Sequence[RunEntry],
    *,
    grades: Mapping[str, Mapping[str, Any]],
    files: Mapping[str, bytes],
) -> list[RunEntry]:
    """The runs that there is room for: what was lost goes first, then rehearsals, then the oldest
    of the attempts that do not count.
    """
    counted: list[RunEntry] = []
    for number in range(len(assessment.items)):
        attempts = [run for run in runs if run.item == number and run.counts]
        marks = marks_of(assessment, number, runs=runs, grades=grades)
        counted += [attempts[one] for one in marks.counted]
    others = [run for run in runs if run not in counted]
    by_worth = sorted(others, key=lambda run: (run.counts, run.is_rehearsal))  # keeps their order
    sizes = {run.stem: len(files[run.take]) + len(files[run.grade]) for run in runs}
    size, gone = sum(sizes.values()), set[str]()
    for run in by_worth:
        if len(runs) - len(gone) <= MOST_RUNS and size <= _ROOM:
            break
        gone.add(run.stem)
        size -= sizes[run.stem]
    return [run for run in runs if run.stem not in gone]


def plain_result(
    file: AssessmentFile,
    *,
    who: str,
    began: datetime,
    sitting: Sitting,
    runs: Sequence[RunEntry],
    grades: Mapping[str, Mapping[str, Any]],
    simulated: Simulated | None,
    left_out: int,
) -> dict[str, Any]:
    """``result.json``.

    ``left_s`` is the time that was left at the end; ``items`` say of each which attempts counted
    and what they came to; each of ``runs`` names its files. ``left_out`` is how many more runs were
    played than there was room for.
    """
    assessment = file.assessment
    return {
        "format": FORMAT,
        "program": program_version(),
        "assessment": {
            "title": assessment.title,
            "name": assessment.name,
            "kind": assessment.kind.value,
            "digest": digest(file.text.encode()),
        },
        "patterns": [
            {"name": name, "pattern_id": pattern_id(pattern)}
            for name, pattern in assessment.patterns.items()
        ],
        "player": who,
        "simulated": None
        if simulated is None
        else {"skill": simulated.skill, "seed": simulated.seed},
        "began": began.isoformat(timespec="seconds"),
        "ended": _now().isoformat(timespec="seconds"),
        "left_s": round(sitting.left_s, 3),
        "pauses": assessment.pauses - sitting.pauses,
        "interruptions": [one.as_plain() for one in sitting.interruptions],
        "runs": [run.as_plain() for run in runs],
        "left_out": left_out,
        "items": [
            {
                "title": item.title,
                **marks_of(assessment, number, runs=runs, grades=grades).as_plain(),
            }
            for number, item in enumerate(assessment.items)
        ],
    }


def _pattern_texts(assessment: Assessment) -> dict[str, str]:
    """The patterns by the names of their files in the result."""
    return {
        f"patterns/{number:02}.toml": write(pattern)
        for number, pattern in enumerate(assessment.patterns.values(), 1)
    }


def _now() -> datetime:
    return datetime.now().astimezone()
