"""One sitting with an assessment, in the window: from what is agreed to the last item.

The machine (``practice.assessment.machine``) says what is next and how much time is left; here its
states become pages and runs, and what the player asks for becomes its events:

| state | what is seen | Enter, or a stroke on the pads |
| --- | --- | --- |
| AGREEING, WARMING_UP, PAUSED, STOPPED | a page of words, with the clock | goes on |
| READY | the bars that come, the time and what is asked; at sight only words | starts |
| LOOKING | the bars | starts before the time is over |
| PLAYING | a run | - |

Where nobody looks on (a window on no screen) it goes on by itself.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from playalong.app.assessment.book import Book, RunState
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.mistakes import mishap_lines
from playalong.app.play.play_session import grade_page
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, show_by_pads
from playalong.app.run.run import Run, RunResult
from playalong.app.run.task import Task
from playalong.midi.port import Port
from playalong.pattern.targets import Targets
from playalong.practice.assessment import phrases
from playalong.practice.assessment.machine import Event, Loss, Sitting, State
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.rows import Rows
from playalong.screen.base.widgets import BACK, LEAVE, NEXT, Button, Buttons
from playalong.screen.pages.ready import ReadyPage
from playalong.screen.pages.sitting import SittingPage
from playalong.support.cautions import CAUTION

#: Gives the port for a run of so many targets; its number, and when bar 1 will start.
Connect = Callable[[Targets, int, float], Port]

#: How often the time that is left is kept, in seconds, while nothing else happens.
KEEP_S = 2.0

_GO_ON = Button((Key.ENTER,), "Enter", "go on", outcome=Outcome.START)
_START = Button((Key.ENTER,), "Enter", "start", outcome=Outcome.START)
_PAUSE = Button(("p", "P"), "P", "stop the clock", outcome=Outcome.PAUSE)
_NEXT = replace(NEXT, words="next item")
_BACK = replace(BACK, words="item before")
_FINISH = Button((Key.ESCAPE,), "Esc", "finish", outcome=Outcome.FINISH)
_YES = Button(("e", "E"), "E", "end here", outcome=Outcome.ACCEPT)

#: What an outcome asks of the machine.
_EVENTS = {
    Outcome.START: Event.GO_ON,
    Outcome.PAUSE: Event.PAUSE,
    Outcome.NEXT: Event.NEXT,
    Outcome.BACK: Event.BACK,
}


@dataclass(frozen=True, slots=True)
class Agreed:
    """What is agreed before it begins: (what, in words), and what should be told besides."""

    rows: Sequence[tuple[str, str]]
    notices: Sequence[str] = ()


class AssessmentSession:
    """Takes the assessment of ``book``; ``tasks`` are those of its items."""

    def __init__(
        self,
        book: Book,
        tasks: Sequence[Task],
        context: RunContext,
        *,
        connect: Connect,
        agreed: Agreed,
    ) -> None:
        self._book, self._tasks, self._context = book, tasks, context
        self._connect, self._agreed = connect, agreed
        self._runs = 0
        #: What went wrong on the way.
        self.trouble: list[str] = []

    @property
    def sitting(self) -> Sitting:
        """Where it stands."""
        return self._book.sitting

    def go(self) -> bool:
        """Go on until it is over; False where the program is left before."""
        sitting, book = self.sitting, self._book
        while sitting.state is not State.CLOSED:
            if sitting.state is State.PLAYING:
                goes_on = self._play()
            elif self._context.window.offscreen:
                goes_on = self._by_itself()
            else:
                goes_on = self._wait(self._page)
            book.keep_progress()
            if not goes_on:
                return False
        if not self._context.window.offscreen:
            self._wait(self._page, until_closed=True)
        return True

    # While nothing is played.

    def _by_itself(self) -> bool:
        """Nobody is there to say when: the time of a page passes, and it goes on."""
        sitting = self.sitting
        if sitting.state is State.WARMING_UP:
            sitting.time_passed(sitting.warm_up_s)
        elif sitting.state is State.LOOKING:
            sitting.time_passed(sitting.look_s)
        elif sitting.assessment.is_homework and sitting.attempts:
            is_last = sitting.item + 1 == len(sitting.assessment.items)
            sitting.tell(Event.FINISH if is_last else Event.NEXT)
        else:
            sitting.tell(Event.GO_ON)
        return True

    def _wait(self, page: Callable[[], Page], until_closed: bool = False) -> bool:
        """Show the page of the state until the state is another; False where one leaves."""
        sitting, state, item = self.sitting, self.sitting.state, self.sitting.item
        while sitting.state is state and sitting.item == item:
            scene = _Waiting(self._context, self._book, page())
            outcome = show_by_pads(self._context, scene)
            if outcome is Outcome.LEAVE:
                return False
            if until_closed and outcome is Outcome.START:
                return True
            if outcome is Outcome.FINISH:
                if self._is_sure():
                    sitting.tell(Event.FINISH)
                continue
            event = None if outcome is None else _EVENTS.get(outcome)
            if event is not None and sitting.may(event):
                sitting.tell(event)
                if event in (Event.NEXT, Event.BACK):
                    return True
        return True

    def _is_sure(self) -> bool:
        page = self._words(phrases.SURE, [replace(_GO_ON, keys=(Key.ENTER, Key.ESCAPE)), _YES])
        outcome = show_by_pads(self._context, _Waiting(self._context, self._book, page))
        return outcome is Outcome.ACCEPT

    def _page(self) -> Page:
        sitting = self.sitting
        if sitting.state is State.READY:
            covered = sitting.current_item.sight_s is not None and sitting.look_s > 0.0
            return self._covered() if covered else self._bars()
        if sitting.state is State.LOOKING:
            return self._bars()
        stands = phrases.STANDS[sitting.state]
        rows: Sequence[tuple[str, str]] = ()
        words: list[str] = []
        if sitting.state is State.AGREEING:
            rows, words = self._agreed.rows, [sitting.assessment.instructions]
        elif sitting.state is State.CLOSED:
            rows = self.item_results()
        # Before it has begun nothing ends by leaving, and when it is over nothing is left to do.
        offered = [_GO_ON, _FINISH if sitting.may(Event.FINISH) else LEAVE]
        if sitting.state is State.AGREEING:
            offered = [_GO_ON, LEAVE]
        return self._words(stands, offered, rows=rows, words=words)

    def _words(
        self,
        said: str,
        offered: Sequence[Button],
        *,
        rows: Sequence[tuple[str, str]] = (),
        words: Sequence[str] = (),
        title: str = "",
    ) -> SittingPage:
        sitting, context = self.sitting, self._context
        assessment = sitting.assessment
        return SittingPage(
            theme=context.theme,
            title=title or assessment.title,
            subtitle=phrases.overview(assessment),
            clock="" if sitting.state in (State.AGREEING, State.CLOSED) else phrases.left(sitting),
            said=said,
            words=[word for word in words if word],
            rows=rows,
            notices=[*self._agreed.notices, CAUTION],
            level=context.level(),
            buttons=self._buttons(offered),
        )

    def _covered(self) -> SittingPage:
        sitting = self.sitting
        lines = [phrases.how(sitting.assessment, sitting.current_item)]
        return self._words(
            phrases.COVERED,
            self._offered(),
            rows=self._requirements(),
            words=lines,
            title=f"{phrases.which_item(sitting).capitalize()}: {sitting.current_item.title}",
        )

    def _bars(self) -> ReadyPage:
        sitting, context, task = self.sitting, self._context, self._tasks[self.sitting.item]
        looking = sitting.state is State.LOOKING
        return ReadyPage(
            theme=context.theme,
            title=_clocked(sitting),
            tempo_bpm=task.tempo_bpm,
            run_bars=task.bars,
            bars=task.written(),
            voices=task.pattern.voices,
            rows=Rows([]),
            facts=self._requirements(),
            rules=task.rules,
            notices=[phrases.LOOKING] if looking else [*self._agreed.notices],
            caution=CAUTION,
            level=context.level(),
            buttons=self._buttons([_START] if looking else self._offered()),
        )

    def _offered(self) -> list[Button]:
        """What is possible before a run."""
        may = self.sitting.may
        pause = [_PAUSE] if may(Event.PAUSE) else []
        there = [_NEXT] if may(Event.NEXT) else []
        back = [_BACK] if may(Event.BACK) else []
        return [_START, *there, *back, *pause, _FINISH]

    def _buttons(self, offered: Sequence[Button]) -> Buttons:
        commands = self._context.pad_commands
        if commands is None:
            return Buttons(offered)
        return Buttons(offered, commands.pads, commands.call)

    def _requirements(self) -> list[tuple[str, str]]:
        sitting = self.sitting
        rows = [(phrases.which_item(sitting), phrases.which_run(sitting))]
        required = phrases.requirements(sitting.assessment, sitting.current_item)
        limits = [line.partition(": ") for line in required]
        return [*rows, *((what, limit) for what, _, limit in limits)]

    def item_results(self) -> list[tuple[str, str]]:
        """What each item came to."""
        found = []
        for number, item in enumerate(self.sitting.assessment.items):
            marks = self._book.marks(number)
            score = "not played" if marks.score is None else f"{marks.score:.0f} of 100"
            found.append((item.title, f"{score}, {marks.mark}" if marks.mark else score))
        return found

    # While something is played.

    def _play(self) -> bool:
        """One run; False where the program is left."""
        sitting, context, clock = self.sitting, self._context, self._context.clock
        task = replace(
            self._tasks[sitting.item],
            about=f"{phrases.which_run(sitting)}  ·  {phrases.left(sitting)}".rstrip(" ·"),
        )
        if task.simulated is not None:
            task = replace(task, simulated=task.simulated.next(self._runs))
        targets, number = task.targets(), self._runs
        self._runs += 1
        last_s = clock.now()

        def time_passes(_: int = 0) -> None:
            nonlocal last_s
            now_s = clock.now()
            sitting.time_passed(now_s - last_s)
            last_s = now_s
            self._book.keep_progress()

        run = Run(task, context, lambda start_s: self._connect(targets, number, start_s))
        time_passes()
        ended = run.play(time_passes)
        context.output.clear()
        time_passes()
        state = _ended(ended)
        graded = self._keep(state, task, ended)
        if state is RunState.INTERRUPTED:
            sitting.lost(Loss.PROGRAM if ended.is_interrupted else Loss.KIT)
            return not ended.is_interrupted
        sitting.tell(Event.PLAYED if state is RunState.PLAYED else Event.BROKEN_OFF)
        if not context.window.offscreen and graded is not None:
            return self._show_grade(task, graded)
        return True

    def _keep(self, state: RunState, task: Task, ended: RunResult) -> Graded:
        if state is RunState.BROKEN_OFF:  # what was not played is missed
            ended.recording.info.pop("until_s", None)
        self.trouble += mishap_lines(ended.mishaps)
        graded = grade_take(task.pattern, ended.recording.take(), Options())
        self._book.add(state, ended.recording, graded)
        memory = self._context.memory
        if memory is not None and ended.log is not None:
            memory.keep(ended.log, ended.recording, graded, file=None)
            self.trouble += [words for words in memory.trouble if words not in self.trouble]
        return graded

    def _show_grade(self, task: Task, graded: Graded) -> bool:
        """What the run came to; the clock goes on."""
        page = grade_page(task, graded, self._context, offered=[_GO_ON])
        scene = _Waiting(self._context, self._book, page)
        return show_by_pads(self._context, scene) is not Outcome.LEAVE


@dataclass
class _Waiting(Scene):
    """A page while the clock of the sitting goes on; over where the state is another."""

    context: RunContext
    book: Book
    page: Page

    def __post_init__(self) -> None:
        self._state = self.book.sitting.state
        self._last_s = self._saved_s = self.context.clock.now()

    def view(self, now_s: float) -> View | None:
        """The page, with the time that is left."""
        sitting = self.book.sitting
        sitting.time_passed(now_s - self._last_s)
        self._last_s = now_s
        if sitting.state is not self._state:
            return None
        if now_s - self._saved_s >= KEEP_S:
            self._saved_s = now_s
            self.book.keep_progress()
        if isinstance(self.page, ReadyPage):
            self.page.title = _clocked(sitting)
        elif isinstance(self.page, SittingPage) and self.page.clock:
            self.page.clock = phrases.left(sitting)
        return View(self.page, 0.0)

    def kit_gone(self, now_s: float) -> None:
        """The time stands still."""
        self.book.sitting.lost(Loss.KIT)

    def press(self, page: Page, press: Press) -> Outcome | None:
        """A press on the page. Who closes the window leaves; strokes that would leave only ask."""
        if press is Key.CLOSE:
            return Outcome.LEAVE
        requested = Outcome.FINISH if press is Outcome.LEAVE else press
        return page.handle(requested)


def _clocked(sitting: Sitting) -> str:
    """The title over the bars that come: the time that is left, and the item."""
    time = phrases.left(sitting)
    return f"{time}  ·  {sitting.current_item.title}" if time else sitting.current_item.title


def _ended(ended: RunResult) -> RunState:
    if ended.lost_port is not None or ended.is_interrupted:
        return RunState.INTERRUPTED
    return RunState.PLAYED if ended.outcome is None else RunState.BROKEN_OFF
