"""A lesson that is played through, and of each of its takes what was shown then.

What was shown is taken twice: from what the session made of the run, and from the run itself, whose
targets and hits come from the live loop and from no file.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from playalong.app.grade.take_grading import Graded
from playalong.app.lesson import lesson_session
from playalong.app.lesson.lesson_session import LessonSession
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run, RunResult
from playalong.app.run.task import Task
from playalong.grading.grade_run import grade, judged_hits
from playalong.grading.text import as_json
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.midi.port import Port
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.practice.plan import Kind
from playalong.records.take_info import Simulated
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import Skill


@dataclass(frozen=True, kw_only=True)
class LessonTake:
    """One take: its file, what was shown, and what the run held (None in free playing)."""

    path: Path
    kind: Kind
    task: Task
    shown: Any
    live: Any | None


def told(graded: Graded) -> Any:
    """What a script would read of a grade, with every hit."""
    return json.loads(json.dumps(graded.as_json(with_hits=True)))


def by_the_run(pattern: Pattern, ended: RunResult, tempo_bpm: float, *, rules: Rules) -> Any:
    """The grade of what the live loop held in its hands, with every hit."""
    found, run = grade(
        pattern, tempo_bpm, targets=ended.targets, hits=Hits.of(ended.hits), rules=rules
    )
    return json.loads(json.dumps(as_json(found, judged_hits(run))))


def played_lesson(
    pattern: Pattern,
    rules: Rules,
    context: RunContext,
    *,
    folder: Path,
    skill: Skill,
    simulated: Simulated,
    most: int = 10_000,
) -> list[LessonTake]:
    """All takes of a lesson of ``skill``, kept in ``folder``.

    After ``most`` takes every step is left out that is not learned at once.
    """
    graded: list[Graded] = []
    runs: list[tuple[Task, RunResult]] = []
    kinds: list[Kind] = []

    def connect(targets: Targets, number: int, start_s: float) -> Port:
        performance = perform(targets, skill, simulated.seed + number)
        return SimulatedPort(performance, start_s, context.clock.now)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lesson_session, "grade_take", _kept(lesson_session.grade_take, graded))
        playing = Run.play

        def played(run: Run, *given: Any) -> RunResult:
            ended = playing(run, *given)
            if run._task.judged:
                runs.append((run._task, ended))
            return ended

        patch.setattr(Run, "play", played)
        session = LessonSession(
            pattern,
            rules,
            context,
            connect=connect,
            lesson_folder=folder / "lessons",
            takes_folder=folder / "takes",
            simulated=simulated,
        )
        then = session.lesson.played

        def answered(result: Any) -> Any:
            kinds.append(session.lesson.step.kind)
            return then(result) if len(graded) < most else session.lesson.skip()

        patch.setattr(session.lesson, "played", answered)
        session.go()
    paths = sorted((folder / "takes").rglob("*.mid"))
    return [
        LessonTake(
            path=path,
            kind=kind,
            task=task,
            shown=told(one),
            live=None
            if task.free
            else by_the_run(task.pattern, ended, task.tempo_bpm, rules=task.rules),
        )
        for path, kind, one, (task, ended) in zip(paths, kinds, graded, runs, strict=True)
    ]


def _kept(grading: Callable[..., Graded], into: list[Graded]) -> Callable[..., Graded]:
    def kept(*given: Any) -> Graded:
        into.append(grading(*given))
        return into[-1]

    return kept
