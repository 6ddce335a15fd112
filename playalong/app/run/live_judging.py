"""What is played, judged as it comes: the grader, and what shows its verdicts.

Each hit goes on from here in one way: to the grader, and what that answers to the sheet and the
gauges. When less is expected after a pause, all that was played is judged again.
"""

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

    Times are in seconds of the run. ``played`` are all hits so far, ``targets`` what is expected of
    them by now.
    """

    def __init__(self, task: Task, expected: Targets) -> None:
        self._task, self._expected = task, expected
        self._begin(expected, [])

    def _begin(self, targets: Targets, played: list[Hit]) -> None:
        task = self._task
        self.targets, self.played = targets, played
        self.sheet = Sheet(targets, task.written(), task.rules, task.pattern.swing)
        self._grader = Grader(targets, task.rules)
        self.gauges = Gauges(targets, task.rules, task.tempo_bpm)
        #: By number, the hits that have no settled verdict yet.
        self._unsettled: dict[int, Hit] = {}
        for number, hit in enumerate(played):
            self._judge(number, hit)

    def anew(self, pauses: Pauses, until_s: float) -> None:
        """After ``pauses`` less is expected; what was played from ``until_s`` on counts no more."""
        played = [hit for hit in self.played if hit.time_s < until_s]
        capture_s = self._task.rules.capture_ms / 1000.0
        self._begin(pauses.asked(self._expected, Hits.of(played), capture_s), played)
        self.time_passed(until_s)

    def hit(self, hit: Hit) -> None:
        """A hit was played."""
        self.played.append(hit)
        self._judge(len(self.played) - 1, hit)

    def time_passed(self, now_s: float) -> None:
        """All hits before ``now_s`` were told."""
        if self._task.judged:
            self._show(self._grader.time_passed(now_s))

    def finish(self) -> None:
        """No more hits will come."""
        if self._task.judged:
            self._show(self._grader.finish())

    def show_on(self, page: RunPage) -> None:
        """Let ``page`` show the sheet and the gauges."""
        gauges, page.sheet = self.gauges, self.sheet
        page.timing, page.ghosts, page.steadiness = gauges.timing, gauges.ghosts, gauges.steadiness

    def _judge(self, number: int, hit: Hit) -> None:
        events = self._grader.hit(hit)
        if events:
            self._unsettled[number] = hit
            self.sheet.hit(number, hit)
            self._show(events)

    def _show(self, events: list[VerdictEvent]) -> None:
        for event in events:
            if event.verdict in self._task.shown:
                self.sheet.judged(event)
            if event.settled and event.hit is not None:
                self.gauges.heard(event, self._unsettled.pop(event.hit))
