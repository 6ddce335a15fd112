"""A run through bars that are played again and again: each pass has a grade of its own."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import View
from playalong.app.run.run import TAIL_S, HeldPage, Run
from playalong.app.run.task import Task
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.score import score
from playalong.midi.hits import Hit, Hits
from playalong.midi.port import Port
from playalong.pattern.targets import Targets
from playalong.practice.repetition import bar_tallies, lacks, together

#: So many bars ahead the device is given what sounds: a run can end where a pass does.
AHEAD_BARS = 1


@dataclass(frozen=True, kw_only=True)
class Pass:
    """One time through: its ``score`` of 100, whether it was clean, and at what speed (per cent)
    it was played; ``run`` is what was played, its second 0 the beginning of the pass.
    """

    score: float
    is_clean: bool
    percent: int
    run: MatchedRun


class PassRun(Run):
    """A run of ``task``, whose bars are passes of ``pass_bars``, one after the other.

    ``on_pass`` is given each pass as soon as it is over and its last hits have come; they are
    played at ``percent`` of the speed. ``number`` passes were played before it.
    """

    def __init__(
        self,
        task: Task,
        context: RunContext,
        connect: Callable[[float], Port],
        *,
        pass_bars: int,
        on_pass: Callable[[Pass], None],
        percent: int = 100,
        number: int = 0,
        begin_s: float | None = None,
        before: HeldPage | None = None,
    ) -> None:
        super().__init__(
            task, context, connect, begin_s=begin_s, before=before, ahead_bars=AHEAD_BARS
        )
        self._pass_bars, self._on_pass, self._percent = pass_bars, on_pass, percent
        self._before_it, self._graded = number, 0

    def view(self, now_s: float) -> View | None:
        """As any run's; a pass that is over is graded first."""
        ends_s = [*self._expected.bar_starts_s[self._pass_bars :: self._pass_bars].tolist()]
        ends_s.append(self._expected.end_s)
        run_s = self.time.run_s(now_s)
        while self._graded < len(ends_s) and ends_s[self._graded] <= self._end_s:
            if run_s < ends_s[self._graded] + min(TAIL_S, self._task.rules.capture_ms / 1000.0):
                break
            with self._mishaps.catching("the grade of a pass"):
                self._on_pass(self._pass(self._graded))
            self._graded += 1
        view = super().view(now_s)
        if self._bar >= 0:
            number, bar = divmod(self._bar, self._pass_bars)
            self.page.subtitle = (
                f"pass {number + self._before_it + 1}  ·  bar {bar + 1} of {self._pass_bars}"
            )
        return view

    def last_pass(self) -> None:
        """It ends with the pass that goes on now; with the next, where that one cannot be ended."""
        bar = -(-(self._bar + 1 + AHEAD_BARS) // self._pass_bars) * self._pass_bars
        if bar >= self._expected.bars:
            return
        self.end_at(bar)
        along = self._task.along
        if along is not None and along.ending is not None:
            ends = replace(along.ending, time_s=along.ending.time_s + self._end_s)
            self._context.output.schedule(self.time.start_s, [ends])

    def _pass(self, number: int) -> Pass:
        task = self._task
        targets, hits = of_pass(
            self.judging.targets, self.judging.played, number, bars=self._pass_bars
        )
        run = MatchedRun.of(targets, hits, task.rules)
        tally = together(bar_tallies(run))
        lacking = lacks([tally], task.rules.level, task.rules.tolerance_ms, once=True)
        return Pass(
            score=score(run).total,
            is_clean=not lacking and tally.strokes > 0,
            percent=self._percent,
            run=run,
        )


def of_pass(
    targets: Targets, played: Sequence[Hit], number: int, *, bars: int
) -> tuple[Targets, Hits]:
    """The targets of pass ``number`` (from 0) of so many bars each, and the hits that are its own.

    Half-way between the last stroke of one pass and the first of the next one goes over to the
    other.
    """
    first = number * bars
    part = targets.part(first, bars)
    low_s, high_s = _between(targets, first), _between(targets, first + bars)
    start_s = float(targets.bar_starts_s[first])
    own = [
        replace(hit, time_s=hit.time_s - start_s) for hit in played if low_s <= hit.time_s < high_s
    ]
    return part, Hits.of(own)


def _between(targets: Targets, bar: int) -> float:
    """From when on hits belong to ``bar``, and to none before."""
    if bar >= targets.bars:
        return float("inf")
    line_s = float(targets.bar_starts_s[bar])
    before, after = targets.time_s[targets.bar < bar], targets.time_s[targets.bar >= bar]
    if not bar or not len(before) or not len(after):
        return line_s if bar else float("-inf")
    return float((before.max() + after.min()) / 2.0)
