"""One run, from the count-in to the last bar.

A hit goes one way: ``hit_input`` gives it the take's time, ``live_judging`` judges it and marks the
sheet; ``interruption`` keeps the run's own time. What each event of the frame loop does depends on
where the run stands (``interruption.State``):

| event | PLAYING | WAITING | LOST |
| --- | --- | --- | --- |
| a message | kept, heard, judged | kept, heard | kept |
| a frame | the sheet goes on; over after the last bar | the sheet stands still | over |
| the kit has gone | WAITING or LOST: what was played by then is judged anew | - | - |
| the kit is back | - | PLAYING: a count-in, and on from the bar line | - |
| something is asked for | over: nothing after it is expected | the same | - |
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf

from playalong.app.mistakes import Mishaps
from playalong.app.run.context import GONE, RunContext
from playalong.app.run.echo import Echo
from playalong.app.run.frame_loop import Scene, View, show, show_by_pads, show_pads
from playalong.app.run.hit_input import HitInput
from playalong.app.run.interruption import Interruption, State
from playalong.app.run.live_judging import LiveJudging
from playalong.app.run.task import Task, with_company
from playalong.grading.matching.pauses import Pauses
from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.midi.port import Port
from playalong.pattern.meter import Meter
from playalong.pattern.targets import Targets
from playalong.records.store.run_log import RunLog
from playalong.records.takes import Recording
from playalong.screen.base.page import Outcome
from playalong.screen.pages.run import CountIn, RunPage
from playalong.sound.synth.click import Click, Kind
from playalong.sound.voice import Word, beat_s, heard
from playalong.support.system import interrupts
from playalong.support.text import counted

#: From the start to the count-in.
LEAD_S = 1.0

#: How long the sheet runs on after the last bar, for late hits and the words on them.
TAIL_S = 0.4

#: What begins so little before a bar line belongs to the bar after it: a recording is joined there.
JOIN_S = 0.05

_COUNTED = (Kind.COUNT_ONE, Kind.COUNT)

BACK = "the kit is back"

#: Where a run is that cannot reach the store.
IN_FILE = "the store cannot be written: this run is kept in a file"
NOT_SAVED = "no disk can be written: this run is kept only while the program runs"


@dataclass(frozen=True)
class HeldPage:
    """What is seen until ``until_s``, in seconds of the run: ``page`` as it is at ``at_s``."""

    page: RunPage
    at_s: float
    until_s: float


@dataclass(frozen=True, kw_only=True)
class RunResult:
    """A run that is over.

    ``hits`` are what was played, in seconds of the run; ``outcome`` what the player asked for
    before it was over, and ``lost_port`` the port that went away, None where neither is so.
    ``next_s`` is when, on the clock, the bar after the last (and after its rest) begins. ``log`` is
    what wrote it to the store meanwhile, None where nothing does. ``is_interrupted``: the program
    was told to end.
    ``mishaps`` are errors of what shows a run, by what failed; they cost nothing that was played.
    """

    recording: Recording
    targets: Targets
    hits: tuple[Hit, ...]
    outcome: Outcome | None
    lost_port: str | None
    page: RunPage
    next_s: float
    pauses: Pauses
    mishaps: Mapping[str, Exception]
    log: RunLog | None = None
    is_interrupted: bool = False


class Run(Scene):
    """One run through a task."""

    def __init__(
        self,
        task: Task,
        context: RunContext,
        connect: Callable[[float], Port],
        *,
        begin_s: float | None = None,
        before: HeldPage | None = None,
        ahead_bars: int | None = None,
    ) -> None:
        """``connect`` gives the port; it is told when, on the clock, bar 1 will start.

        ``begin_s`` is when that is, where the rest of a run before is the count-in of this one.
        With ``ahead_bars`` no sound is given to the device earlier than so many bars before, so
        that the run may still end there (``end_at``).
        """
        self._task, self._context, self._before = task, context, before
        ticks = task.ticks(context.counting)
        count_in_s = -min(0.0, *(tick.time_s for tick in ticks))
        self._begun_s = context.clock.now()
        start_s = self._begun_s + LEAD_S + count_in_s if begin_s is None else begin_s
        self._sounds = with_company(
            [tick for tick in ticks if task.clicked or tick.time_s < 0], task
        )
        hears_drums = context.echo or task.company is not None
        context.output.mix = context.output.mix.under_drums(hears_drums)
        if begin_s is not None:  # it is counted in already
            self._sounds = [
                sound
                for sound in self._sounds
                if beat_s(sound) >= 0 or not isinstance(sound, Click | Word)
            ]
        self._expected = task.targets()
        self._ahead_bars, self._scheduled_s = ahead_bars, -inf
        #: Where it ends, in seconds of the run.
        self._end_s = self._expected.end_s
        self.time = Interruption(
            self._expected,
            start_s,
            capture_s=task.rules.capture_ms / 1000.0,
            waits=task.waits,
            patience_s=context.patience_s,
        )
        self._mishaps = Mishaps()
        self.judging = LiveJudging(task, self._expected, self._mishaps)
        self._length_s = max(self._expected.end_s, task.length_s())
        self._bar = -1
        self._schedule()
        self._each_bar: Callable[[int], None] = lambda _: None
        #: What stands before the context's notices.
        self._notices: tuple[str, ...] = ()
        sheet, gauges = self.judging.sheet, self.judging.gauges
        self.page = RunPage(
            theme=context.theme,
            title=task.pattern.title,
            subtitle=task.about or _progress(None, task),
            tempo_bpm=task.tempo_bpm,
            sheet=sheet,
            timing=gauges.timing,
            ghosts=gauges.ghosts,
            steadiness=gauges.steadiness,
            notices=list(context.notices),
            count_in=_counted(task.meters()[0], ticks),
            level=context.level(),
        )
        profile = context.profile
        pads = profile.pads.for_targets(self._expected)
        late_s = profile.latency.ms / 1000.0 if profile.latency else 0.0
        self._echo = Echo(context.output, pads, start_s + late_s) if context.echo else None
        self._recording = task.recording(LEAD_S + count_in_s, profile, self._expected)
        self._log: RunLog | None = None
        if context.memory is not None and task.judged:
            self._log = context.memory.begin(self._recording, task.kind)
        self._input = HitInput(
            connect(start_s),
            context.stamps,
            pads,
            latency_ms=1000.0 * late_s,
            origin_s=start_s,
            recording=self._recording,
        )
        if begin_s is None:
            self._input.discard()  # what was struck before belongs to no run

    def play(self, each_bar: Callable[[int], None] = lambda _: None) -> RunResult:
        """Play until the last bar is over, the player asks for something, or the port is gone.

        ``each_bar`` is told when a bar of the run begins (0 is the first).
        """
        self._each_bar = each_bar
        context, time = self._context, self.time
        is_interrupted = False
        try:
            outcome = self._shown()
        except KeyboardInterrupt:  # the run so far is kept, and then the program ends
            outcome, is_interrupted = Outcome.LEAVE, True
        lost = time.state is not State.PLAYING
        if outcome is not None or lost:
            self._break_off(context.clock.now())
        elif self._end_s < self._expected.end_s:
            self._break_off(time.start_s + self._end_s)
        self.judging.finish()
        try:
            with self._mishaps.catching("drawing"):
                context.window.frame(self.page, time.run_s(context.clock.now()))
        except KeyboardInterrupt:
            is_interrupted = True
        if is_interrupted:  # all pages end, as those of a window that was closed
            interrupts.answered()
            context.window.is_closed = True
        return RunResult(
            recording=self._recording,
            targets=self.judging.targets,
            hits=tuple(self.judging.played),
            outcome=outcome,
            lost_port=self._input.name if lost else None,
            page=self.page,
            next_s=time.start_s + self._length_s,
            pauses=time.pauses,
            mishaps=self._mishaps.found,
            log=self._log,
            is_interrupted=is_interrupted,
        )

    def _shown(self) -> Outcome | None:
        commands = self._context.pad_commands
        if self._task.judged or commands is None:
            return show(self._context, self, self._input)
        show_pads(self._context, self.page)
        return show_by_pads(self._context, self)

    def notice(self, words: str) -> None:
        """Let ``words`` stand on the page."""
        self._notices = (words,) if words else ()

    def end_at(self, bar: int) -> None:
        """The run ends where ``bar`` of it would begin, of which nothing has been scheduled yet."""
        self._end_s = self._length_s = float(self._expected.bar_starts_s[bar])

    def _schedule(self) -> None:
        """Give the device what may be given to it in this bar."""
        starts_s, ahead = self._expected.bar_starts_s, self._ahead_bars
        until_s = inf
        if ahead is not None and self._bar + 1 + ahead < len(starts_s):
            until_s = float(starts_s[self._bar + 1 + ahead]) - JOIN_S
        if self._end_s < self._expected.end_s:
            until_s = min(until_s, self._end_s - JOIN_S)
        due = [one for one in self._sounds if self._scheduled_s <= beat_s(one) < until_s]
        self._scheduled_s = max(self._scheduled_s, until_s)
        if due:
            self._context.output.schedule(self.time.start_s, due)

    # What the frame loop tells.

    @property
    def by_pads(self) -> bool:
        """Strokes are the run's, where it is judged."""
        return not self._task.judged

    @property
    def stands_still(self) -> bool:
        """While the kit is waited for."""
        return self.time.state is State.WAITING

    def received(self, message: Heard) -> None:
        """A message came: it is kept already."""
        if not self._task.judged:
            return
        if self._echo is not None:
            self._echo.received(message)
        if message.hit is not None:
            self.judging.hit(message.hit)

    def time_passed(self, now_s: float) -> None:
        """All that had come was told."""
        self.judging.time_passed(self.time.run_s(now_s))

    def view(self, now_s: float) -> View | None:
        """The sheet, or what is held before it; None once the run is over."""
        self.time.time_passed(now_s)
        run_s = self.time.run_s(now_s)
        if self.time.state is State.LOST or run_s >= self._end_s + TAIL_S:
            return None
        starts_s = self._expected.bar_starts_s
        while self._bar + 1 < len(starts_s) and run_s >= starts_s[self._bar + 1]:
            self._bar += 1
            self._schedule()
            self.page.subtitle = self._task.about or _progress(self._bar, self._task)
            with self._mishaps.catching("what is said at the bar line"):
                self._each_bar(self._bar)
        said = (*self._context.notices, self._context.output.notice, self._storage_notice())
        self.page.notices[:] = [*self._notices, *dict.fromkeys(filter(None, said))]
        before = self._before
        if before is not None and run_s < before.until_s:
            return View(before.page, before.at_s)
        return View(self.page, run_s)

    def _storage_notice(self) -> str:
        """What is to be said where the run cannot reach the store."""
        if self._log is None or self._log.trouble is None:
            return ""
        return IN_FILE if self._log.file.path is not None else NOT_SAVED

    def survives(self, error: Exception) -> bool:
        """Whatever is wrong with what is seen, the run goes on."""
        self._mishaps.add("drawing", error)
        return True

    def kit_gone(self, now_s: float) -> None:
        """The run stands still, if something is left to be played."""
        if not self._task.judged:
            return
        played = self.judging.played
        there_s = max(self._input.there_s, self._begun_s)
        self.time.gone(now_s, there_s, played[-1].time_s if played else None)
        self._context.output.clear()
        self._judge_anew()
        self.page.paused, self._before = GONE, None

    def kit_back(self, now_s: float) -> None:
        """A count-in, and on from the bar line."""
        if self.time.state is not State.WAITING:
            return
        task, bar_s = self._task, self.time.bar_s
        bar = int((self._expected.bar_starts_s < bar_s).sum())
        counted = task.count_before(bar, self._expected, self._context.counting)
        self.time.back(now_s + LEAD_S + bar_s - counted[0].time_s)
        until_s = self._scheduled_s
        ahead = [sound for sound in self._sounds if bar_s <= beat_s(sound) < until_s]
        if task.along is not None:
            ahead += [
                one.after(bar_s) for one in task.along.sounds if one.time_s < min(bar_s, until_s)
            ]
        self._context.output.schedule(self.time.start_s, [*heard(counted), *ahead])
        self._judge_anew()
        self.page.count_in = _counted(task.meters()[bar], counted)
        self.page.paused = ()
        self.notice(BACK)

    def _judge_anew(self) -> None:
        """Judge again what was played, now that less is expected."""
        self._recording.info["pauses"] = self.time.pauses.as_plain()
        if self._log is not None:
            self._log.changed()
        self.judging.anew(self.time.pauses, self.time.stopped_s)
        self.judging.show_on(self.page)

    def _break_off(self, now_s: float) -> None:
        """Nothing that comes after is expected any more."""
        for message in self._input.read():
            self.received(message)
        self._recording.info["until_s"] = self.time.broken_off(now_s)
        if self.time.pauses.each:
            self._recording.info["pauses"] = self.time.pauses.as_plain()


def _progress(bar: int | None, task: Task) -> str:
    """How far the run has come: the bar that is played, None before the first."""
    bars = counted(task.bars, "bar")
    where = bars if bar is None else f"bar {bar + 1} of {task.bars}"
    return "  ·  ".join([where, *task.variations])


def _counted(meter: Meter, ticks: Sequence[Click]) -> CountIn:
    """What is counted before a bar: the numbers of the beats."""
    times = [tick.time_s for tick in ticks if tick.kind in _COUNTED and tick.time_s < 0]
    numbers = [str(beat + 1) for beat in range(len(meter.beats))]
    bars = len(times) // len(numbers)
    end_s = None if not times else times[-1] + (times[-1] - times[-2] if len(times) > 1 else 1.0)
    return CountIn(tuple(times), tuple(numbers * bars), end_s)
