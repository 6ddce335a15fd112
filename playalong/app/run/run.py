"""One run, from the count-in to the last bar.

A run has its own time line, second 0 being the start of bar 1; what is on the program's clock is
moved onto it here and nowhere else. The take's time line is the same until the kit goes away:
then the run stands still, and goes on at the next bar line when the kit is back.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

from playalong.app.run.along import Along, MapTime
from playalong.app.run.clock import Clock
from playalong.app.run.controls import Sticks, level_steps
from playalong.app.run.echo import Echo
from playalong.grading.gauges import Gauges
from playalong.grading.matching.live_grader import Grader
from playalong.grading.matching.pauses import Pause, Pauses
from playalong.grading.verdicts import MATCHED, Rules, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.midi.mapping import Mapper
from playalong.midi.port import Arrival, Port
from playalong.midi_io.hotplug import LOOK_S, SEEK_S
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.meter import Meter, Tempo
from playalong.pattern.model import Bar, Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.profile.profile import Profile
from playalong.records.takes import Recording
from playalong.screen.base.overlay import Covered
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Level
from playalong.screen.base.window import Window
from playalong.screen.pages.run import CountIn, RunPage
from playalong.screen.sheet.sheet import Sheet
from playalong.sound.device.output import Output, Sound
from playalong.sound.synth.click import PLAIN, Click, Clicking, Kind, clicks
from playalong.sound.synth.drums import warm
from playalong.sound.synth.notes import notes
from playalong.sound.timeline import RATE

FRAME_S = 1 / 60

#: From the start to the count-in.
LEAD_S = 1.0

#: How long the sheet runs on after the last bar, for late hits and the words on them.
TAIL_S = 0.4

#: How often hits are taken from the port while a frame is waited for.
LISTEN_S = 0.002

#: How long a run waits for a kit that has gone.
PATIENCE_S = 600.0

#: A pause begins this long after the last hit before it.
_AFTER_S = 0.001

_COUNTED = (Kind.COUNT_ONE, Kind.COUNT)

GONE = ("The kit is gone: check its cable.", "The run waits, and every hit so far is kept.")
GONE_MEANWHILE = (GONE[0], "Until it is back, keys work the program.")
BACK = "the kit is back"


@dataclass(frozen=True)
class Task:
    """What is to be played, and how it is judged.

    ``count_in`` in bars; ``between`` is the note value, of a whole note, that clicks softly
    between the beats, None for none. ``rest``: so many bars the click goes on after the last.
    ``company`` is what the program plays along, of the same bars. ``judged`` is False where the
    player only listens, ``clicked`` where no click is to sound after the count-in. ``free``
    is where the player may add and leave out: only what answers is shown. ``about`` stands beside
    the title. ``clicking`` says where it clicks; ``along`` is a recording that is played along
    with. ``waits`` is False where a run that has lost its kit is over.
    """

    pattern: Pattern
    tempo_bpm: float
    bars: int
    variations: tuple[str, ...]
    rules: Rules
    count_in: int = 1
    between: Fraction | None = None
    rest: int = 0
    company: Pattern | None = None
    judged: bool = True
    clicked: bool = True
    free: bool = False
    about: str = ""
    clicking: Clicking = PLAIN
    along: Along | None = None
    waits: bool = True

    def written(self) -> tuple[Bar, ...]:
        """The bars of the pattern with the variations in place."""
        return self.pattern.with_variations(self.variations)

    def going_along(self, along: Along) -> "Task":
        """The same along with a recording, whose tempo is on the average that of its beats."""
        task = replace(self, along=along)
        return replace(task, tempo_bpm=round(task.targets().tempo_bpm(self.pattern.meter), 1))

    def meters(self) -> list[Meter]:
        """The meter of every bar of the run."""
        bars = self.written()
        return [bars[number % len(bars)].meter for number in range(self.bars)]

    def time(self) -> Tempo | MapTime:
        """Where written positions are, second 0 being the start of bar 1."""
        if self.along is not None:
            return self.along.time(self.pattern)
        return Tempo(self.tempo_bpm, self.pattern.meter.unit)

    def targets(self) -> Targets:
        """The targets, second 0 being the start of bar 1."""
        if self.along is not None:
            return self.along.targets(self.pattern, self.bars, self.variations)
        return lay_out(self.pattern, self.tempo_bpm, self.bars, self.variations)

    def ticks(self) -> list[Click]:
        """The clicks of the count-in, the run and the rest after it."""
        meters = self.meters()
        resting = [meters[-1]] * self.rest
        swung = replace(self.clicking, swing=self.pattern.swing)
        return clicks(
            [*meters, *resting], self.time(), self.count_in, self.between, swung, self.rest
        )

    def recording(self, lead_s: float, profile: Profile, targets: Targets) -> Recording:
        """An empty take of this, ``lead_s`` of which come before bar 1."""
        info = {
            "pattern": self.pattern.name,
            "tempo_bpm": self.tempo_bpm,
            "bars": self.bars,
            "variations": list(self.variations),
            "capture_ms": self.rules.capture_ms,
            "tolerance_ms": self.rules.tolerance_ms,
            "bands": self.rules.bands.as_plain(),
            "pads": profile.pads.for_targets(targets).as_plain(),
            "latency_ms": profile.latency.ms if profile.latency else 0.0,
        }
        if self.along is not None:
            info["along"] = self.along.as_plain(self.bars)
        return Recording(self.tempo_bpm, self.pattern.meter.unit, lead_s, info)


@dataclass(frozen=True)
class RunContext:
    """Everything around the player.

    ``notices`` are words that stand on the sheet; ``seen`` is told of every frame that was shown,
    with the time in seconds of the run. ``stamps`` learns the port's least delay from run to run.
    ``profile`` says what is known of the kit and its player. With ``echo`` the pads sound through
    the program. A run waits ``patience_s`` for a kit that has gone. ``sticks`` hears strokes that
    work the program, where there is a port for it.
    """

    clock: Clock
    window: Window
    theme: Theme
    output: Output
    notices: tuple[str, ...]
    frame_s: float = FRAME_S
    seen: Callable[[float], None] = lambda _: None
    stamps: StampFilter = field(default_factory=StampFilter)
    profile: Profile = field(default_factory=lambda: Profile("", ""))
    echo: bool = False
    listen_s: float = LISTEN_S
    patience_s: float = PATIENCE_S
    sticks: Sticks | None = None

    def asked(self, page: Page) -> Outcome | None:
        """What was asked for by key or mouse; the level of the sound is moved at once."""
        for press in self.window.presses():
            for _ in range(abs(steps := level_steps(press, page))):
                (self.output.louder if steps > 0 else self.output.softer)()
            outcome = page.handle(press) if not steps else None
            if outcome is not None:
                return outcome
        return None

    def show(self, page: Page, now_s: float) -> None:
        """Show ``page`` as it is at ``now_s`` while no run is on, and say where the kit is gone."""
        self.show_with(page, now_s, self.sticks is None or self.sticks.is_there(self.clock.now()))

    def show_with(self, page: Page, now_s: float, is_there: bool) -> None:
        """The same by whoever knows whether the kit is there."""
        if not is_there and not getattr(page, "paused", ()):
            page = Covered(page, self.theme, GONE_MEANWHILE)
        self.window.frame(page, now_s)
        self.seen(now_s)
        self.output.tend()

    def level(self) -> Level:
        """The level of the sound, for a page."""
        return Level(self.output.level_db)


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
            if self._port.back():
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


def hold(context: RunContext, page: Page, now_s: float, until_s: float | None) -> Outcome | None:
    """Show a page that stands still until a time on the clock, None for no end, or a press.

    Strokes work it as keys do.
    """
    if context.sticks is not None:
        context.sticks.begin()
    while until_s is None or context.clock.now() < until_s:
        level = getattr(page, "level", None)
        if level is not None:
            level.db = context.output.level_db
        context.show(page, now_s)
        outcome = context.asked(page)
        if outcome is None and context.sticks is not None:
            called = context.sticks.asked(page, context.clock.now())
            outcome = None if called is None else page.handle(called)
        if outcome is not None:
            return outcome
        context.clock.wait(context.frame_s)
    return None


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


class Nobody:
    """A port on which nothing comes, while the program plays; see ``kit.ports.Port``."""

    name = "nobody"

    def poll(self) -> list[Arrival]:
        """Nothing."""
        return []

    def is_there(self) -> bool:
        """Always."""
        return True

    def back(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""


def with_company(ticks: Sequence[Click], task: Task) -> list[Sound]:
    """The clicks, and what the program plays along, in order of time."""
    sounds: list[Sound] = [*ticks]
    if task.company is not None:
        targets = replace(task, pattern=task.company, variations=()).targets()
        company = notes(targets)
        warm({note.voice for note in company}, RATE)  # nothing is made while it sounds
        sounds += company
    if task.along is not None:
        sounds += task.along.sounds
    return sorted(sounds, key=lambda sound: sound.time_s)
