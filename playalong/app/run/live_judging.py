"""What is played, judged as it comes: the grader, and what shows its verdicts.

Each hit goes one way: from the take's time line onto the run's, to the grader, and what that
answers to the sheet and the gauges. When less is expected after a pause, all that was played is
judged again. Where one of these fails the others go on: what was played is kept, and graded from
there.
"""

from dataclasses import replace

from playalong.app.mistakes import Mishaps
from playalong.app.run.task import Task
from playalong.grading.gauges import Gauges
from playalong.grading.matching.live_grader import Grader
from playalong.grading.matching.pauses import Pauses
from playalong.grading.verdicts import VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.pattern.targets import Targets
from playalong.screen.pages.run import RunPage
from playalong.screen.sheet.sheet import Sheet


class LiveJudging:
    """Judges the hits of a run through ``task``; ``expected`` are its targets.

    ``played`` are all hits so far that count, in seconds of the run; ``targets`` what is expected
    by now; ``mishaps`` takes what goes wrong.
    """

    def __init__(self, task: Task, expected: Targets, mishaps: Mishaps) -> None:
        self._task, self._expected, self._mishaps = task, expected, mishaps
        self._pauses = Pauses()
        self._begin(expected, [])

    def _begin(self, targets: Targets, played: list[Hit]) -> None:
        task = self._task
        self.targets, self.played = targets, played
        self.sheet = Sheet(targets, task.written(), task.rules, swing=task.pattern.swing)
        self._grader = Grader(targets, task.rules)
        self.gauges = Gauges(targets, task.rules, task.tempo_bpm)
        #: By number, the hits that have no settled verdict yet.
        self._unsettled: dict[int, Hit] = {}
        for number, hit in enumerate(played):
            self._judge(number, hit)

    def anew(self, pauses: Pauses, until_s: float) -> None:
        """After ``pauses`` less is expected; what was played from ``until_s`` on counts no more."""
        played = [hit for hit in self.played if hit.time_s < until_s]
        self._pauses, capture_s = pauses, self._task.rules.capture_ms / 1000.0
        self._begin(pauses.expected(self._expected, Hits.of(played), capture_s), played)
        self.time_passed(until_s)

    def hit(self, hit: Hit) -> None:
        """A hit was played, in seconds of the take; within a pause it does not count."""
        run_s = self._pauses.run_s(hit.time_s)
        if run_s is not None:
            self.played.append(replace(hit, time_s=run_s))
            self._judge(len(self.played) - 1, self.played[-1])

    def time_passed(self, now_s: float) -> None:
        """All hits before ``now_s`` were told."""
        if self._task.judged:
            with self._mishaps.catching("judging"):
                self._show(self._grader.time_passed(now_s))

    def finish(self) -> None:
        """No more hits will come."""
        if self._task.judged:
            with self._mishaps.catching("judging"):
                self._show(self._grader.finish())

    def show_on(self, page: RunPage) -> None:
        """Let ``page`` show the sheet and the gauges."""
        gauges, page.sheet = self.gauges, self.sheet
        page.timing, page.ghosts, page.steadiness = gauges.timing, gauges.ghosts, gauges.steadiness

    def _judge(self, number: int, hit: Hit) -> None:
        with self._mishaps.catching("judging"):
            events = self._grader.hit(hit)
            if events:
                self._unsettled[number] = hit
                self.sheet.hit(number, hit)
                self._show(events)

    def _show(self, events: list[VerdictEvent]) -> None:
        for event in events:
            if event.verdict in self._task.shown:
                with self._mishaps.catching("the sheet"):
                    self.sheet.judged(event)
            # What is settled may be heard otherwise in the end; the gauges have shown it by then.
            if event.settled and event.hit in self._unsettled and self._task.shown:
                with self._mishaps.catching("the gauges"):
                    self.gauges.heard(event, self._unsettled.pop(event.hit))
