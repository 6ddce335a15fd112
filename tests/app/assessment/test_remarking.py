"""A teacher's word in the window: rows are chosen, words typed, and kept beside the result."""

from pathlib import Path

import pytest

from playalong.app.assessment.remarking import choose_result, remark_in_window
from playalong.app.run.clock import SteppedClock
from playalong.practice.assessment.remarks import Remark
from playalong.records.assessments.remark_files import read_remark, remark_path, write_remark
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Page
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.support.errors import UserError
from tests.app.assessment.test_taking import Seen
from tests.helpers.result_changes import SHORT, result_of
from tests.helpers.stage import context_on, unseen_window

TEXT = SHORT.replace("minutes = 5", 'minutes = 5\nby-eye = ["posture"]')


@pytest.fixture
def result(tmp_path: Path) -> Path:
    return result_of(tmp_path, "Ines", "intermediate", seed=1, text=TEXT)


class Teacher:
    """Somebody who types ``words`` into the rows of these names, one after the other."""

    def __init__(self, *words: tuple[str, tuple[str, ...]]) -> None:
        self._left = list(words)
        self._typing: list[str] = []
        self.names: list[str] = []

    def __call__(self, page: Page, _: float) -> Press | None:
        if isinstance(page, TypedPage):
            if page.typed != self._typing[0]:
                return self._typing[0][len(page.typed)]
            self._typing.pop(0)
            return Key.ENTER
        assert isinstance(page, SettingsPage)
        self.names = [choice.name for choice in page.rows.choices]
        if not self._left:
            return Key.ESCAPE
        name, typed = self._left[0]
        if page.rows.choice.name != name:
            return Key.DOWN
        self._left.pop(0)
        self._typing = list(typed)
        return Key.ENTER


def test_rows_become_a_remark_beside_the_result(result: Path) -> None:
    before = result.read_bytes()
    teacher = Teacher(
        ("on the whole: posture", ("upright",)),
        ("1. Late Bus Home: mark", ("good", "the stand slipped")),
        ("2. Boots by the Door: comment", ("Calmer.",)),
    )
    with unseen_window() as window:
        remark_in_window(context_on(Seen(window, teacher), SteppedClock()), result)
    assert result.read_bytes() == before
    said, other = read_remark(result, 2)
    assert other == ""
    assert said.by_eye == {"posture": "upright"}
    assert (said.of(0).mark, said.of(0).because) == ("good", "the stand slipped")
    assert said.of(1).comments == ("Calmer.",)


def test_nothing_typed_says_nothing(result: Path) -> None:
    presses = iter([Key.ENTER, Key.ENTER, Key.ESCAPE, Key.ESCAPE])
    with unseen_window() as window:
        context = context_on(Seen(window, lambda page, _: next(presses)), SteppedClock())
        remark_in_window(context, result)
    assert not remark_path(result).exists()


def test_a_result_is_chosen_from_those_that_are_kept(result: Path) -> None:
    presses = iter([Key.ENTER, Key.ESCAPE, Key.ESCAPE])
    titles: list[str] = []

    def script(page: Page, _: float) -> Press:
        assert isinstance(page, SettingsPage)
        titles.append(page.title)
        return next(presses)

    with unseen_window() as window:
        choose_result(context_on(Seen(window, script), SteppedClock()), result.parent)
    assert titles == ["Results", "Your word on Ines", "Results"]


def test_a_word_on_another_result_is_not_written_over(result: Path) -> None:
    write_remark(result, Remark(result="0" * 64, comments=("Good.",)))
    with unseen_window() as window, pytest.raises(UserError, match="another result"):
        remark_in_window(context_on(window, SteppedClock()), result)
