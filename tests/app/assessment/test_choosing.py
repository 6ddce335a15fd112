"""From the window: an assessment is chosen, taken, and the player is told where the result is."""

from pathlib import Path

from playalong.app.assessment.choosing import OWN, assessments, take_in_window
from playalong.app.run.clock import SteppedClock
from playalong.app.user_folders import UserFolders
from playalong.profile.profile import Profile
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Page
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.pages.run import RunPage
from playalong.screen.pages.sitting import SittingPage
from tests.app.assessment.test_taking import Kit, Seen
from tests.helpers.stage import context_on, unseen_window

TEXT = """
title = "Zz a teacher's own"
minutes = 3
[[item]]
pattern = "boots-by-the-door"
tempo = 300
bars = 1
"""


INES = Profile(kit="a kit", player="Ines")


def test_a_teachers_own_comes_first_and_a_wrong_file_is_told(tmp_path: Path) -> None:
    home = UserFolders(config=tmp_path / "c", data=tmp_path / "d")
    own = home.data / OWN
    own.mkdir(parents=True)
    (own / "a.toml").write_text(TEXT)
    (own / "b.toml").write_text('title = "B"\n[[item]]\n')
    found, wrong = assessments(home)
    assert found[0].assessment.title == "Zz a teacher's own"
    assert len(found) == 4
    assert "b.toml, line" in wrong[0]


def test_chosen_by_keys_taken_and_told_where_the_result_is(tmp_path: Path) -> None:
    home = UserFolders(config=tmp_path / "c", data=tmp_path / "d")
    (home.data / OWN).mkdir(parents=True)
    (home.data / OWN / "a.toml").write_text(TEXT)
    clock, pages = SteppedClock(), []

    def script(page: Page, _: float) -> Press | None:
        if not pages or pages[-1] is not page:
            pages.append(page)
        if isinstance(page, SittingPage) and page.said.startswith("The result"):
            return Key.ESCAPE
        return None if isinstance(page, RunPage) else Key.ENTER

    with unseen_window() as window:
        context = context_on(Seen(window, script), clock, frame_s=0.05, listen_s=0.05)
        trouble = take_in_window(
            context, Kit(clock), Profile(kit="a kit", player="Ines"), home=home
        )
    assert trouble == ()
    assert isinstance(pages[0], SettingsPage)
    last = pages[-1]
    assert isinstance(last, SittingPage)
    (result,) = (home.data / "results").glob("*.zip")
    assert str(result) in last.words[0]


def test_who_goes_back_takes_none(tmp_path: Path) -> None:
    home = UserFolders(config=tmp_path / "c", data=tmp_path / "d")
    clock = SteppedClock()
    with unseen_window() as window:
        context = context_on(Seen(window, lambda page, _: Key.ESCAPE), clock)
        assert take_in_window(context, Kit(clock), INES, home=home) == ()
    assert not (home.data / "results").exists()
