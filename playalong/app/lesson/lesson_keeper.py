"""What is kept of a lesson: taken up again another day, written after each repetition."""

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from playalong.app.lesson.plan_lines import plan_lines
from playalong.app.memory import write_take
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice.feedback import KNOWN
from playalong.practice.lesson import Lesson
from playalong.records import lessons
from playalong.records.takes import Recording, TakeError
from playalong.screen.pages.plan import PlanLine
from playalong.support.files import short_name

T = TypeVar("T")


def begun(
    pattern: Pattern, rules: Rules, store: Path, *, player: str
) -> tuple[Lesson, tuple[str, ...]]:
    """The lesson of ``player`` on ``pattern`` as the file ``store`` keeps it, or a new one; and
    what is to tell.
    """
    saved, word = lessons.read(store, player, pattern)
    if saved is not None:
        lesson = Lesson.from_plain(pattern, _plain(saved), rules)
        return lesson, lesson.notices
    for earlier in lessons.changed(store, player, pattern):
        changed = Lesson.changed(pattern, _plain(earlier), rules)
        if changed is not None:
            return changed, changed.notices
    return Lesson(pattern, rules), tuple(filter(None, [word]))


def _plain(text: str) -> Any:
    """What was kept as plain objects, None where it cannot be read, which the lesson says."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def is_finished(lesson: Lesson) -> bool:
    """Whether every step is learned or passed by."""
    return all(line.record.state in KNOWN for line in lesson.overview())


def overview_of(pattern: Pattern, rules: Rules, store: Path, *, player: str) -> list[PlanLine]:
    """The plan as it stands, for a page or a list."""
    return plan_lines(begun(pattern, rules, store, player=player)[0])


class LessonKeeper:
    """Keeps a lesson of ``player`` in the file ``store``, and its takes in a folder of their own.

    ``trouble`` is what went wrong meanwhile, each thing once: it stops nobody.
    """

    def __init__(self, pattern: Pattern, store: Path, takes: Path, *, player: str) -> None:
        self.store, self.player = store, player
        self.trouble: list[str] = []
        self._pattern, self._was_moved = pattern, False
        named = f"{pattern.name}-practice-{datetime.now():%Y-%m-%d-%H%M%S}"
        self._takes = takes / short_name(named)

    def tell(self, words: str) -> None:
        """Something went wrong."""
        if words not in self.trouble:
            self.trouble.append(words)

    def lesson(self, lesson: Lesson) -> None:
        """Keep how far the lesson has come."""
        progress = json.dumps(lesson.as_plain())
        words = self._try_write(
            lambda: lessons.write(self.store, self.player, self._pattern, progress=progress)
        )
        if words:
            self.tell(words)

    def take(self, recording: Recording, number: int) -> Path | None:
        """Keep the take of the repetition ``number``, elsewhere if it must be; its path."""

        def written() -> Path:
            name = f"{number:03}"
            path, moved = write_take(
                recording, self._takes, name, elsewhere=f"{self._takes.name}-{name}"
            )
            if moved and not self._was_moved:
                self.trouble.append(moved)
                self._was_moved = True
            return path

        return self._try_write(written)

    def _try_write(self, write: Callable[[], T]) -> T | None:
        try:
            return write()
        except (TakeError, lessons.LessonError) as error:
            self.tell(str(error))
            return None
