"""Runs that were broken off: told, kept and graded, or thrown away."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TypeVar

from playalong.app.grade.expected import own_pattern
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.memory import Memory, write_take
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.midi.messages import NOTE_ON, kind_of
from playalong.records.store.runs import BrokenOff
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording
from playalong.screen.base.page import Outcome
from playalong.screen.history_pages.choices import GRADE, KEEP, LATER, THROW_AWAY, ChoicesPage
from playalong.support.errors import UserError

T = TypeVar("T")


def describe(found: BrokenOff) -> str:
    """Which run it is, and how much of it is kept."""
    row, strokes = found.row, strokes_in(found)
    count = f"{strokes} stroke{'' if strokes == 1 else 's'}"
    return f"{row.title or row.kind}, {row.began:%Y-%m-%d %H:%M}, {row.player}: {count} kept"


def strokes_in(found: BrokenOff) -> int:
    """How many strokes of a run reached the disk."""
    return sum(kind_of(data) == NOTE_ON and data[-1] > 0 for _, data in found.messages)


def take_up(
    memory: Memory, found: BrokenOff, folder: Path, *, graded: bool = True
) -> Graded | None:
    """Keep a run that was broken off, and grade what was played; None without a grade.

    UserError where it cannot be kept; the run then stays as it is.
    """
    recording = Recording.resumed(found.info, found.messages)
    recording.info.setdefault("until_s", _last_s(recording))
    said = TakeInfo.from_plain(recording.info)
    pattern, grade = own_pattern(said), None
    if graded and pattern is not None:
        try:
            grade = grade_take(pattern, recording.take(), Options())
        except UserError:
            grade = None  # the take is kept all the same
    name = f"{said.pattern or 'run'}-{found.row.began:%Y-%m-%d-%H%M%S}"
    path, _ = write_take(recording, folder, name)
    memory.keep_broken_off(found, recording, grade, file=path)
    return grade


def _last_s(recording: Recording) -> float:
    return max(0.0, recording.seconds - float(recording.info.get("start_s", 0.0)))


def offer(context: RunContext, memory: Memory, who: str | None = None) -> None:
    """Ask on a page what becomes of runs that were broken off, of ``who`` or of anybody."""
    for found in memory.broken_off(who):
        page = ChoicesPage(
            context.theme,
            "A run was broken off",
            said=f"{describe(found)}.",
            lines=["The program ended before the run did. What had been played is here."],
            offered=[GRADE, KEEP, THROW_AWAY, LATER],
        )
        outcome = hold(context, page, 0.0)
        if outcome is Outcome.LEAVE:
            return
        if outcome is Outcome.THROW_AWAY:
            try_on_page(context, partial(memory.throw_away, found))
            continue
        is_graded = outcome is Outcome.GRADE
        keep = partial(take_up, memory, found, memory.folder / "takes", graded=is_graded)
        graded = try_on_page(context, keep)
        if graded is not None:
            score, advice = graded.grade.score.total, graded.grade.advice
            say_on_page(context, "A run was broken off", f"{score:.0f} of 100. {advice}")


def say_on_page(context: RunContext, title: str, said: str, *, lines: Sequence[str] = ()) -> None:
    """A page that says something, until it is left."""
    hold(context, ChoicesPage(context.theme, title, said=said, lines=lines), 0.0)


def try_on_page(context: RunContext, do: Callable[[], T]) -> T | None:
    """What ``do`` gives; None where it cannot be, and a page says why."""
    try:
        return do()
    except UserError as error:
        first, *more = error.lines
        say_on_page(context, "This cannot be done", first, lines=more)
        return None
