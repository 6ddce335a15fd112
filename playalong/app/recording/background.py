"""Work that takes its time, with its progress in the window or in the terminal."""

from collections.abc import Callable
from dataclasses import replace
from threading import Thread
from typing import Generic, TypeVar

from playalong.app.run.clock import RealClock
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, show
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.pages.wait import WaitPage
from playalong.sound.recordings.decoding import Progress
from playalong.support.errors import UserError
from playalong.support.terminal import print_progress

Result = TypeVar("Result")

#: Something that is done, and tells how far it has come.
Work = Callable[[Progress], Result]

#: How often the terminal is told.
_STEP = 0.1


class LeftError(UserError):
    """The player did not wait for it."""


def work_on_page(context: RunContext, title: str, words: str, *, work: Work[Result]) -> Result:
    """Do ``work`` behind a page that says so and stays alive; ``LeftError`` where it is left.

    What the work raises is raised here.
    """
    page = WaitPage(theme=context.theme, title=title, words=words)
    doing = _Doing(work, page)
    show(replace(context, clock=_UntilDone(doing)), _Waiting(doing, page))
    return doing.result()


def work_in_terminal(words: str, work: Work[Result]) -> Result:
    """Do ``work`` and say on standard error how far it has come, where somebody sees it."""
    said = -1

    def progress(share: float) -> None:
        nonlocal said
        step = int(share / _STEP)
        if step > said:
            said = step
            print_progress(f"{words}: {step * _STEP:.0%}")

    try:
        return work(progress)
    finally:
        if said >= 0:
            print_progress(f"{words}: {said * _STEP:.0%}", is_last=True)


class _Doing(Thread, Generic[Result]):
    """The work, in a thread of its own."""

    def __init__(self, work: Work[Result], page: WaitPage) -> None:
        super().__init__(daemon=True)
        self.is_left = False
        self._work, self._page = work, page
        self._made: list[Result] = []
        self._error: BaseException | None = None
        self.start()

    def run(self) -> None:
        try:
            self._made.append(self._work(self._progress))
        except BaseException as error:
            self._error = error

    def _progress(self, share: float) -> None:
        self._page.share = share
        if self.is_left:
            raise LeftError("It was left before it was ready.")

    def result(self) -> Result:
        """What came of it; raises what it raised."""
        if self._error is not None:
            raise self._error
        return self._made[0]


class _Waiting(Scene):
    """The page that is shown while the work is done."""

    def __init__(self, doing: "_Doing[Result]", page: WaitPage) -> None:
        self._doing, self._page = doing, page

    def view(self, now_s: float) -> View | None:
        """The page, until the work is done."""
        return View(self._page, 0.0) if self._doing.is_alive() else None

    def press(self, page: Page, press: Press) -> Outcome | None:
        """Who leaves sees the page until the work has noticed."""
        if page.handle(press) is Outcome.LEAVE:
            self._doing.is_left = True
        return None


class _UntilDone(RealClock):
    """The clock on the wall: work takes its time, whatever the program's clock does.

    It waits no longer than the work takes.
    """

    def __init__(self, doing: Thread) -> None:
        self._doing = doing

    def wait(self, seconds: float) -> None:
        """Wait for the work."""
        self._doing.join(max(0.0, seconds))
