"""One run, from the count-in to the last bar.

A run has its own time line, second 0 being the start of bar 1; what is on the program's clock is
moved onto it here and nowhere else. The take's time line is the same until the kit goes away:
then the run stands still, and goes on at the next bar line when the kit is back.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from playalong.app.run.context import GONE, RunContext
from playalong.app.run.echo import Echo
from playalong.app.run.task import Task, with_company
from playalong.grading.gauges import Gauges
from playalong.grading.matching.live_grader import Grader
from playalong.grading.matching.pauses import Pause, Pauses
from playalong.grading.verdicts import MATCHED, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.midi.mapping import Mapper
from playalong.midi.port import Arrival, Port
from playalong.midi_io.hotplug import LOOK_S, SEEK_S
from playalong.pattern.meter import Meter, Tempo
from playalong.pattern.targets import Targets
from playalong.records.takes import Recording
from playalong.screen.base.page import Outcome
from playalong.screen.pages.run import CountIn, RunPage
from playalong.screen.sheet.sheet import Sheet
from playalong.sound.synth.click import Click, Kind, clicks

#: From the start to the count-in.
LEAD_S = 1.0

#: How long the sheet runs on after the last bar, for late hits and the words on them.
TAIL_S = 0.4


#: A pause begins this long after the last hit before it.
_AFTER_S = 0.001

_COUNTED = (Kind.COUNT_ONE, Kind.COUNT)

BACK = "the kit is back"


@dataclass(frozen=True)
class HeldPage:
    """What is seen until ``until_s``, in seconds of the run: ``page`` as it is at ``now_s``."""

    page: RunPage
    now_s: float
    until_s: float


@dataclass(frozen=True)
class RunResult:
    """A run that is over.

    ``hits`` are what was played, in seconds of the run; ``outcome`` what the player asked for
    before it was over, and ``lost_port`` the port that went away, None where neither is so.
    ``next_s`` is when, on the clock, the bar after the last (and after its rest) begins.
    """

    recording: Recording
    targets: Targets
    hits: tuple[Hit, ...]
    outcome: Outcome | None
    lost_port: str | None
    page: RunPage
    next_s: float
    pauses: Pauses


class Run:
    """One run through a task."""

    def __init__(
        self,
        task: Task,
        context: RunContext,
        connect: Callable[[float], Port],
        begin_s: float | None = None,
        before: HeldPage | None = None,
    ) -> None:
        """``connect`` gives the port; it is told when, on the clock, bar 1 will start.

        ``begin_s`` is when that is, where the rest of a run before is the count-in of this one.
        """
        self._task, self._context, self._before = task, context, before
        ticks = task.ticks()
        count_in_s = -min(0.0, *(tick.time_s for tick in ticks))
        ready_s = context.clock.now() + LEAD_S + count_in_s
        #: Second 0 on the clock, of the take and of the run, which a pause moves.
        self._take_s = self._start_s = ready_s if begin_s is None else begin_s
        self._sounds = with_company(
            [tick for tick in ticks if task.clicked or tick.time_s < 0], task
        )
        counted = [sound for sound in self._sounds if sound.time_s >= 0 or begin_s is None]
        context.output.schedule(self._start_s, counted)

        self._asked_for = self._targets = task.targets()
        profile = context.profile
        pads = profile.pads.for_targets(self._targets)
        self._late_s = profile.latency.ms / 1000.0 if profile.latency else 0.0
        self._recording = task.recording(LEAD_S + count_in_s, profile, self._targets)
        self._mapper = Mapper(pads)
        self._echo = Echo(context.output, pads) if context.echo else None
        self._played: list[Hit] = []
        self._pauses = Pauses()
        self._waits_since_s: float | None = None
        self._next_s = self._start_s + max(
            self._targets.end_s, task.time().seconds(_length(task.meters(), task.rest))
        )
        self._judge_anew()
        self.page = RunPage(
            context.theme,
            title=task.pattern.title,
            subtitle=task.about or _progress(None, task),
            tempo_bpm=task.tempo_bpm,
            sheet=self._sheet,
            timing=self._gauges.timing,
            ghosts=self._gauges.ghosts,
            steadiness=self._gauges.steadiness,
            notices=list(context.notices),
            count_in=_counted(task.meters()[0], ticks),
            level=context.level(),
        )
        self._port = connect(self._take_s)
        self._look_s = self._there_s = context.clock.now()
        if begin_s is None:
            self._port.poll()  # what was struck before belongs to no run

    def _judge_anew(self) -> None:
        """Grader, gauges and sheet for what is asked, and all that was played so far."""
        task = self._task
        hits = Hits.of(self._played)
        capture_s = task.rules.capture_ms / 1000.0
        self._targets = self._pauses.asked(self._asked_for, hits, capture_s)
        self._grader = Grader(self._targets, task.rules)
        self._gauges = Gauges(self._targets, task.rules, task.tempo_bpm)
        self._sheet = Sheet(self._targets, task.written(), task.rules, task.pattern.swing)
        self._hits: dict[int, Hit] = {}
        for number, hit in enumerate(self._played):
            self._judge(number, hit)

    def play(self, each_bar: Callable[[int], None] = lambda _: None) -> RunResult:
        """Play until the last bar is over, the player asks for something, or the port is gone.

        ``each_bar`` is told when a bar of the run begins (0 is the first).
        """
        context, clock, starts_s = self._context, self._context.clock, self._asked_for.bar_starts_s
        bar = -1
        lost: str | None = None
        outcome: Outcome | None = None
        while True:
            frame_s = clock.now()
            self._listen(frame_s)
            now_s = self._now_s(frame_s)
            if now_s >= self._asked_for.end_s + TAIL_S:
                break
            while bar + 1 < len(starts_s) and now_s >= starts_s[bar + 1]:
                bar += 1
                self.page.subtitle = self._task.about or _progress(bar, self._task)
                each_bar(bar)
            self._show(now_s)
            outcome = context.asked(self.page)
            if outcome is not None:
                self._break_off(clock.now())
                break
            if not self._is_heard(clock.now()):
                lost = self._port.name
                self._break_off(clock.now())
                break
            self._wait(frame_s + context.frame_s)
        if self._task.judged:
            self._say(self._grader.finish())
        context.window.frame(self.page, self._now_s(clock.now()))
        return RunResult(
            self._recording,
            self._targets,
            tuple(self._played),
            outcome,
            lost,
            self.page,
            self._next_s,
            self._pauses,
        )

    def _wait(self, until_s: float) -> None:
        """Wait for the next frame, and listen all the while."""
        clock = self._context.clock
        while (left_s := until_s - clock.now()) > 0:
            clock.wait(min(left_s, self._context.listen_s))
            if left_s > self._context.listen_s:
                self._listen(clock.now())

    def _now_s(self, clock_s: float) -> float:
        """The run's time: in a pause that of the moment at which it stopped."""
        if self._waits_since_s is not None:
            return self._pauses.each[-1].stopped_s
        return clock_s - self._start_s

    def _show(self, now_s: float) -> None:
        context, before = self._context, self._before
        self.page.level.db = context.output.level_db
        said = (*context.notices, context.output.message)
        self.page.notices[:] = [*self._notices, *dict.fromkeys(filter(None, said))]
        if before is not None and now_s < before.until_s:
            context.window.frame(before.page, before.now_s)
        else:
            context.window.frame(self.page, now_s)
        context.seen(now_s)
        context.output.tend()

    #: What stands before the context's notices.
    _notices: tuple[str, ...] = ()

    def notice(self, words: str) -> None:
        """Let ``words`` stand on the page."""
        self._notices = (words,)

    def _listen(self, clock_s: float) -> None:
        for arrival in self._port.poll():
            self._arrived(arrival)
        if self._task.judged:
            self._say(self._grader.time_passed(self._now_s(clock_s)))

    def _arrived(self, arrival: Arrival) -> None:
        stamp_s = self._context.stamps.time_s(arrival.stamp_s, arrival.arrival_s, arrival.stream)
        # From here on the hit has the time that the kept take will give back.
        take_s = self._recording.keep(stamp_s - self._late_s - self._take_s, arrival.data)
        hit = self._mapper.hit(take_s, arrival.data)
        if self._echo is not None:
            self._echo.message(arrival.data)
        if hit is None:
            return
        if self._echo is not None:
            self._echo.hit(hit)
        run_s = self._pauses.run_s(take_s)
        if run_s is None:
            return
        number = len(self._played)
        self._played.append(replace(hit, time_s=run_s))
        self._judge(number, self._played[number])

    def _judge(self, number: int, hit: Hit) -> None:
        words = self._grader.hit(hit)
        if words:
            self._hits[number] = hit
            self._sheet.hit(number, hit)
            self._say(words)

    def _say(self, words: list[VerdictEvent]) -> None:
        for word in words:
            if not self._task.free or word.verdict in MATCHED:
                self._sheet.judged(word)
            if word.settled and word.hit is not None:
                self._gauges.heard(word, self._hits.pop(word.hit))

    def _is_heard(self, clock_s: float) -> bool:
        """Look after the port now and then; False when it is gone and is not waited for."""
        if clock_s < self._look_s:
            return True
        self._look_s = clock_s + (LOOK_S if self._waits_since_s is None else SEEK_S)
        if self._waits_since_s is not None:
            if self._port.reopen():
                self._go_on(clock_s)
            return clock_s - (self._waits_since_s or clock_s) < self._context.patience_s
        if self._port.is_there():
            self._there_s = clock_s
            return True
        self._stop(clock_s)
        return self._waits_since_s is not None

    def _stop(self, clock_s: float) -> None:
        """The kit is gone: the run stands still, if something is left to be played.

        In the last bar that is this bar, once more: it stands still just before it.
        """
        self._listen(clock_s)
        run_to_take_s = self._start_s - self._take_s
        stopped_s = self._there_s - self._start_s
        if self._played:
            stopped_s = max(stopped_s, self._played[-1].time_s + _AFTER_S)
        self._context.output.clear()
        capture_s = self._task.rules.capture_ms / 1000.0
        starts_s, bar_s = self._asked_for.bar_starts_s, float("inf")
        if self._task.waits and (self._asked_for.time_s > stopped_s).any():
            ahead = starts_s[starts_s >= stopped_s + capture_s]
            bar_s = float(ahead[0] if len(ahead) else starts_s[-1])
            self._waits_since_s = clock_s
            if not len(ahead):
                stopped_s = bar_s - capture_s
                self._played = [hit for hit in self._played if hit.time_s < stopped_s]
        pause = Pause(stopped_s + run_to_take_s, stopped_s, bar_s=bar_s)
        self._pauses = Pauses((*self._pauses.each, pause))
        self._recording.info["pauses"] = self._pauses.as_plain()
        self._renew()
        self.page.paused = GONE

    def _go_on(self, clock_s: float) -> None:
        """The kit is back: a count-in, and on from the bar line."""
        task, pause = self._task, self._pauses.each[-1]
        bar = int((self._asked_for.bar_starts_s < pause.bar_s).sum())
        meters = task.meters()
        count = clicks(
            [meters[bar]], Tempo(_local_bpm(self._asked_for, bar, meters[bar]), meters[bar].unit)
        )
        counted = [
            replace(tick, time_s=tick.time_s + pause.bar_s) for tick in count if tick.time_s < 0
        ]
        length_s = pause.bar_s - counted[0].time_s
        moved_s = clock_s + LEAD_S + length_s - pause.bar_s - self._start_s
        self._start_s += moved_s
        self._next_s += moved_s
        capture_s = task.rules.capture_ms / 1000.0
        on_s = pause.bar_s - capture_s
        until_s = on_s + self._start_s - self._take_s
        self._pauses = self._pauses.end(replace(pause, until_s=until_s, on_s=on_s))
        self._recording.info["pauses"] = self._pauses.as_plain()
        self._waits_since_s = None
        self._there_s = clock_s
        ahead = [sound for sound in self._sounds if sound.time_s >= pause.bar_s]
        if task.along is not None:
            ahead += [one.after(pause.bar_s) for one in task.along.sounds]
        self._context.output.schedule(self._start_s, [*counted, *ahead])
        self._renew()
        self.page.count_in = _counted(meters[bar], counted)
        self.page.paused = ()
        self.notice(BACK)

    def _renew(self) -> None:
        """Judge again what was played, now that something else is asked."""
        self._judge_anew()
        if self._task.judged:
            self._say(self._grader.time_passed(self._pauses.each[-1].stopped_s))
        page, gauges = self.page, self._gauges
        page.sheet = self._sheet
        page.timing, page.ghosts, page.steadiness = gauges.timing, gauges.ghosts, gauges.steadiness

    def _break_off(self, clock_s: float) -> None:
        """What comes after is not asked for any more."""
        self._listen(clock_s)
        if self._waits_since_s is not None:
            pause = replace(self._pauses.each[-1], bar_s=float("inf"))
            self._pauses = self._pauses.end(pause)
            self._waits_since_s = None
            self._recording.info["pauses"] = self._pauses.as_plain()
            self._recording.info["until_s"] = max(0.0, pause.stopped_s)
            return
        now_s = self._now_s(clock_s)
        if self._pauses.each and self._pauses.each[-1].bar_s == float("inf"):
            now_s = self._pauses.each[-1].stopped_s
        self._recording.info["until_s"] = max(0.0, now_s)


def _progress(bar: int | None, task: Task) -> str:
    """How far the run has come: the bar that is played, None before the first."""
    bars = "1 bar" if task.bars == 1 else f"{task.bars} bars"
    where = bars if bar is None else f"bar {bar + 1} of {task.bars}"
    return "  ·  ".join([where, *task.variations])


def _counted(meter: Meter, ticks: Sequence[Click]) -> CountIn:
    """What is counted before a bar: the numbers of the beats."""
    times = [tick.time_s for tick in ticks if tick.kind in _COUNTED and tick.time_s < 0]
    numbers = [str(beat + 1) for beat in range(len(meter.beats))]
    bars = len(times) // len(numbers)
    end_s = None if not times else times[-1] + (times[-1] - times[-2] if len(times) > 1 else 1.0)
    return CountIn(tuple(times), tuple(numbers * bars), end_s)


def _length(meters: Sequence[Meter], rest: int) -> Fraction:
    """How long the bars are in whole notes, with ``rest`` more like the last."""
    return sum((meter.length for meter in [*meters, *[meters[-1]] * rest]), Fraction(0))


def _local_bpm(targets: Targets, bar: int, meter: Meter) -> float:
    """The tempo of one bar of a run."""
    ends_s = [*targets.bar_starts_s.tolist(), targets.end_s]
    length_s = [end - start for start, end in pairwise(ends_s)][bar]
    return float(60.0 * float(meter.length / meter.unit) / length_s)
