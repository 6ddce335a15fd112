"""Bars of a recording or of a pattern, again and again until told otherwise.

Passes follow one another on a sheet that runs on, unless each is to be counted in; each leaves its
grade on the edge of the sheet. Where that was asked for, it goes on faster by itself after clean
passes: what is under way is played to its end, then the new tempo is counted in. One run, and so
one take, goes as far as the speed does, and no further than ``LONGEST_S``.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from threading import Thread

from playalong.app.listen_back import Playback
from playalong.app.play.looped import Looped, looped
from playalong.app.play.pass_run import Pass, PassRun
from playalong.app.recording.background import LeftError, work_on_page
from playalong.app.run.context import RunContext
from playalong.app.run.run import HeldPage, RunResult
from playalong.app.run.task import Passes, Task
from playalong.grading.grade import Code, Grade
from playalong.midi.port import Port
from playalong.screen.pages.run import PassMark, RunPage
from playalong.sound.recordings.decoding import Progress
from playalong.support.errors import UserError

#: How much faster it goes on after clean passes, in per cent of the recording's speed.
FASTER_PERCENT = 5

#: No run, and so no take, lasts longer; after it the next begins with a count-in.
LONGEST_S = 600.0

#: How long the next speed is waited for before a page says so.
_PATIENCE_S = 0.2


class LoopSession:
    """Plays the bars of ``task``, which has ``passes``; what goes along with a recording can be
    cut ``again``.

    ``connect`` gives the port; it is told what is played, and when, on the clock, bar 1 will start.
    ``passes`` are all that were played, in order; ``page`` that of the last run.
    """

    def __init__(
        self, task: Task, context: RunContext, connect: Callable[[Task, float], Port]
    ) -> None:
        if task.passes is None or (task.along is not None and task.along.again is None):
            raise ValueError("these bars are not to be played again and again")
        self._task, self._context, self._connect = task, context, connect
        self._how: Passes = task.passes
        self._looped: Looped = looped(task)
        self.passes: list[Pass] = []
        self.page: RunPage | None = None
        self._clean = 0
        self._faster: _Making | None = None
        self._run: PassRun | None = None

    @property
    def percent(self) -> int:
        """At what speed it is played now."""
        return self._looped.percent

    @property
    def words(self) -> str:
        """Which bars these are."""
        return self._looped.words

    def runs(self) -> Iterator[tuple[Task, RunResult]]:
        """Until the player leaves it, or all passes asked for are played; each run of it."""
        begin_s: float | None = None
        before: HeldPage | None = None
        while (rounds := self._rounds()) > 0:
            task = self._laid_out(rounds)
            run = PassRun(
                task,
                self._context,
                partial(self._connect, task),
                pass_bars=self._looped.bars,
                percent=self.percent,
                on_pass=self._on_pass,
                number=len(self.passes),
                begin_s=begin_s,
                before=before,
            )
            self._run, self.page = run, run.page
            run.page.passes = self.marks()
            run.notice(self._words())
            ended = run.play()
            yield task, ended
            if ended.outcome is not None or ended.lost_port is not None or ended.is_interrupted:
                break
            begin_s = before = None
            if self._faster is not None and not self._go_faster():
                break
            rest_s = ended.next_s - self._context.clock.now()
            if task.rest and rest_s > 0.0:
                begin_s = ended.next_s
                before = HeldPage(ended.page, self._looped.pass_s, -rest_s / 2.0)
        self._context.output.clear()

    def playback(self) -> Playback | None:
        """The last pass, to be listened to."""
        if not self.passes:
            return None
        run = self.passes[-1].run
        hits = [run.hits[number] for number in range(len(run.hits))]
        return Playback(hits=hits, targets=run.targets)

    def _rounds(self, percent: int | None = None) -> int:
        """How many passes the next run is to have at a speed; none where all were played."""
        most = self._how.most
        left = None if most is None else most - len(self.passes)
        pass_s = self._looped.pass_s * self.percent / (percent or self.percent)
        fits = 1 if self._how.counted else max(1, int(LONGEST_S / pass_s))
        return fits if left is None else min(fits, left)

    def _laid_out(self, rounds: int) -> Task:
        self._looped = self._looped.in_rounds(rounds)
        # Where the next pass may be faster, it is counted in when its tempo is known.
        may_be_faster = 0 < self._how.faster_after <= self._clean + 1 and self._may_go_faster()
        is_last = self._how.most is not None and len(self.passes) + rounds >= self._how.most
        has_rest = self._how.counted and not may_be_faster and not is_last
        rest = max(1, self._task.count_in) if has_rest else 0
        return self._looped.task(replace(self._task, rest=rest, passes=None))

    def _on_pass(self, played: Pass) -> None:
        """A pass is over."""
        self.passes.append(played)
        self._clean = self._clean + 1 if played.is_clean else 0
        run = self._run
        if run is None:
            return
        run.page.passes = self.marks()
        after = self._how.faster_after
        if after and self._clean >= after and self._faster is None and self._may_go_faster():
            percent = min(self.percent + FASTER_PERCENT, self._looped.fastest)
            self._faster = _Making(self._looped, percent, max(1, self._rounds(percent)))
            run.last_pass()
        run.notice(self._words())

    def _may_go_faster(self) -> bool:
        return self.percent < self._looped.fastest

    def _go_faster(self) -> bool:
        """On at the next speed; False where the player did not wait for it."""
        making, self._faster, self._clean = self._faster, None, 0
        if making is None:
            return True
        try:
            self._looped = making.made(self._context, self._task.pattern.title)
        except LeftError:
            return False
        return True

    def _words(self) -> str:
        if self._faster is not None:
            percent = self._faster.percent
            return f"{self._clean} clean in a row: after this pass {percent} % of the speed"
        if len(self.passes) * self._looped.pass_s >= LONGEST_S:
            return "Ten minutes and more: let both hands rest, and stop on pain"
        return f"{self.words}, again and again, at {self.percent} % of the speed"

    def marks(self) -> tuple[PassMark, ...]:
        """All passes so far, for a page."""
        return tuple(
            PassMark(score=round(one.score), is_clean=one.is_clean, percent=one.percent)
            for one in self.passes
        )


def most_won(grades: Sequence[Grade]) -> list[str]:
    """What was found in runs, in words, that first which mending would win most in all of them.

    That there is nothing to find is said first only where nothing was found in any of them.
    """
    gains: dict[tuple[object, ...], float] = defaultdict(float)
    texts: dict[tuple[object, ...], str] = {}
    for grade in grades:
        for finding in grade.findings:
            kind = (finding.code, finding.voice, finding.limb)
            is_clean = finding.code is Code.CLEAN
            gains[kind] += -1.0 if is_clean else finding.gain * grade.counts.targets
            texts[kind] = finding.text
    return [texts[kind] for kind in sorted(texts, key=lambda kind: -gains[kind])]


class _Making(Thread):
    """The same bars at another speed, made while they are played on."""

    def __init__(self, played: Looped, percent: int, rounds: int) -> None:
        super().__init__(daemon=True)
        self.percent = percent
        self._played, self._rounds = played, rounds
        self._found: list[Looped] = []
        self.start()

    def run(self) -> None:
        with suppress(UserError):  # it is tried anew, and told, where it is asked for
            self._found.append(self._made(lambda _: None))

    def made(self, context: RunContext, title: str) -> Looped:
        """It, waited for on a page where it is not there yet; LeftError where that is left."""
        self.join(_PATIENCE_S)
        if self._found:
            return self._found[0]
        return work_on_page(context, title, "Making it faster", work=self._made)

    def _made(self, progress: Progress) -> Looped:
        return self._played.at(self.percent, self._rounds, progress)
