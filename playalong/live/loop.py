"""One run, from the count-in to the last bar.

A run has its own time line, second 0 being the start of bar 1; what is on the program's clock is
moved onto it here and nowhere else.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from playalong.grading.gauges import Gauges
from playalong.grading.grader import Grader
from playalong.grading.hits import Hit
from playalong.grading.verdicts import MATCHED, Judged, Rules
from playalong.kit.mapping import Mapper
from playalong.kit.ports import Arrival, Port
from playalong.kit.stamps import StampFilter
from playalong.live.clock import Clock
from playalong.pattern.beats import Meter, Tempo
from playalong.pattern.model import Bar, Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.records.takes import Recording
from playalong.screen.chart import Sheet
from playalong.screen.page import Outcome, Page
from playalong.screen.run_page import CountIn, RunPage
from playalong.screen.theme import Theme
from playalong.screen.window import Window
from playalong.sound.click import Click, Kind, clicks
from playalong.sound.drums import warm
from playalong.sound.notes import Note, notes
from playalong.sound.output import Output
from playalong.sound.timeline import RATE

FRAME_S = 1 / 60

#: From the start to the count-in.
LEAD_S = 1.0

#: How long the sheet runs on after the last bar, for late hits and the words on them.
TAIL_S = 0.4

#: How often the port is asked whether it is still there.
LOOK_S = 0.5


@dataclass(frozen=True)
class Task:
    """What is to be played, and how it is judged.

    ``count_in`` in bars; ``between`` is the note value, of a whole note, that clicks softly
    between the beats, None for none. ``rest``: so many bars the click goes on after the last.
    ``company`` is what the program plays along, of the same bars. ``judged`` is False where the
    player only listens, ``clicked`` where no click is to sound after the count-in. ``free``
    is where the player may add and leave out: only what answers is shown. ``about`` stands beside
    the title.
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

    def written(self) -> tuple[Bar, ...]:
        """The bars of the pattern with the variations in place."""
        return self.pattern.with_variations(self.variations)

    def meters(self) -> list[Meter]:
        """The meter of every bar of the run."""
        bars = self.written()
        return [bars[number % len(bars)].meter for number in range(self.bars)]

    def targets(self) -> Targets:
        """The targets, second 0 being the start of bar 1."""
        return lay_out(self.pattern, self.tempo_bpm, self.bars, self.variations)

    def recording(self, lead_s: float) -> Recording:
        """An empty take of this, ``lead_s`` of which come before bar 1."""
        info = {
            "pattern": self.pattern.name,
            "tempo_bpm": self.tempo_bpm,
            "bars": self.bars,
            "variations": list(self.variations),
            "capture_ms": self.rules.capture_ms,
            "tolerance_ms": self.rules.tolerance_ms,
            "bands": self.rules.bands.as_plain(),
        }
        return Recording(self.tempo_bpm, self.pattern.meter.unit, lead_s, info)


@dataclass(frozen=True)
class Stage:
    """Everything around the player.

    ``notices`` are words that stand on the sheet; ``seen`` is told of every frame that was shown,
    with the time in seconds of the run. ``stamps`` learns the port's least delay from run to run.
    """

    clock: Clock
    window: Window
    theme: Theme
    output: Output
    notices: tuple[str, ...]
    frame_s: float = FRAME_S
    seen: Callable[[float], None] = lambda _: None
    stamps: StampFilter = field(default_factory=StampFilter)


@dataclass(frozen=True)
class Before:
    """What is seen until ``until_s``, in seconds of the run: ``page`` as it is at ``now_s``."""

    page: RunPage
    now_s: float
    until_s: float


@dataclass(frozen=True)
class Ended:
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


class Run:
    """One run through a task."""

    def __init__(
        self,
        task: Task,
        stage: Stage,
        connect: Callable[[float], Port],
        begin_s: float | None = None,
        before: Before | None = None,
    ) -> None:
        """``connect`` gives the port; it is told when, on the clock, bar 1 will start.

        ``begin_s`` is when that is, where the rest of a run before is the count-in of this one.
        """
        self._task, self._stage, self._before = task, stage, before
        tempo = Tempo(task.tempo_bpm, task.pattern.meter.unit)
        bars = task.written()
        meters = task.meters()
        resting = [meters[-1]] * task.rest
        ticks = clicks([*meters, *resting], tempo, task.count_in, task.between)
        count_in_s = -min(tick.time_s for tick in ticks)
        ready_s = stage.clock.now() + LEAD_S + count_in_s
        self._start_s = ready_s if begin_s is None else begin_s
        sounds = [
            tick
            for tick in ticks
            if (tick.time_s >= 0 and task.clicked) or (tick.time_s < 0 and begin_s is None)
        ]
        stage.output.schedule(self._start_s, with_company(sounds, task))

        self._targets = task.targets()
        self._grader = Grader(self._targets, task.rules)
        self._gauges = Gauges(self._targets, task.rules, task.tempo_bpm)
        self._sheet = Sheet(self._targets, bars, task.rules, task.pattern.swing)
        self._recording = task.recording(LEAD_S + count_in_s)
        self._mapper = Mapper()
        self._hits: dict[int, Hit] = {}
        self._played: list[Hit] = []
        rest_s = sum(tempo.seconds(meter.length) for meter in resting)
        self._next_s = self._start_s + self._targets.end_s + rest_s
        self.page = RunPage(
            stage.theme,
            title=task.pattern.title,
            subtitle=task.about or _progress(None, task),
            tempo_bpm=task.tempo_bpm,
            sheet=self._sheet,
            timing=self._gauges.timing,
            ghosts=self._gauges.ghosts,
            steadiness=self._gauges.steadiness,
            notices=list(stage.notices),
            count_in=_counted(meters[0], ticks, task.count_in),
        )
        self._port = connect(self._start_s)
        if begin_s is None:
            self._port.poll()  # what was struck before belongs to no run

    def play(self, each_bar: Callable[[int], None] = lambda _: None) -> Ended:
        """Play until the last bar is over, the player asks for something, or the port is gone.

        ``each_bar`` is told when a bar of the run begins (0 is the first).
        """
        stage, clock = self._stage, self._stage.clock
        look_s, bar = clock.now() + LOOK_S, -1
        lost: str | None = None
        outcome: Outcome | None = None
        while True:
            frame_s = clock.now()
            now_s = frame_s - self._start_s
            self._listen(now_s)
            if now_s >= self._targets.end_s + TAIL_S:
                break
            if bar + 1 < self._targets.bars and now_s >= self._targets.bar_starts_s[bar + 1]:
                bar += 1
                self.page.subtitle = self._task.about or _progress(bar, self._task)
                each_bar(bar)
            self._show(now_s)
            outcome = self._asked()
            if outcome is not None:
                self._break_off(now_s)
                break
            if frame_s >= look_s:
                look_s = frame_s + LOOK_S
                if not self._port.is_there():
                    lost = self._port.name
                    self._break_off(now_s)
                    break
            clock.wait(frame_s + stage.frame_s - clock.now())
        if self._task.judged:
            self._say(self._grader.finish())
        stage.window.frame(self.page, clock.now() - self._start_s)
        return Ended(
            self._recording,
            self._targets,
            tuple(self._played),
            outcome,
            lost,
            self.page,
            self._next_s,
        )

    def _show(self, now_s: float) -> None:
        stage, before = self._stage, self._before
        if before is not None and now_s < before.until_s:
            stage.window.frame(before.page, before.now_s)
        else:
            stage.window.frame(self.page, now_s)
        stage.seen(now_s)
        stage.output.tend()

    def _asked(self) -> Outcome | None:
        for press in self._stage.window.presses():
            outcome = self.page.handle(press)
            if outcome is not None:
                return outcome
        return None

    def _listen(self, now_s: float) -> None:
        for arrival in self._port.poll():
            stamp_s = self._stage.stamps.time_s(arrival.stamp_s, arrival.arrival_s)
            # From here on the hit has the time that the kept take will give back.
            time_s = self._recording.keep(stamp_s - self._start_s, arrival.data)
            hit = self._mapper.hit(time_s, arrival.data)
            if hit is None:
                continue
            number = len(self._played)
            self._played.append(hit)
            words = self._grader.hit(hit)
            if words:
                self._hits[number] = hit
                self._sheet.hit(number, hit)
                self._say(words)
        if self._task.judged:
            self._say(self._grader.time_passed(now_s))

    def _say(self, words: list[Judged]) -> None:
        for word in words:
            if not self._task.free or word.verdict in MATCHED:
                self._sheet.judged(word)
            if word.settled and word.hit is not None:
                self._gauges.heard(word, self._hits.pop(word.hit))

    def _break_off(self, now_s: float) -> None:
        """What comes after is not asked for any more."""
        self._listen(now_s)
        self._recording.info["until_s"] = max(0.0, now_s)


def hold(stage: Stage, page: Page, now_s: float, until_s: float | None) -> Outcome | None:
    """Show a page that stands still until a time on the clock, None for no end, or a press."""
    while until_s is None or stage.clock.now() < until_s:
        stage.window.frame(page, now_s)
        stage.seen(now_s)
        stage.output.tend()
        for press in stage.window.presses():
            outcome = page.handle(press)
            if outcome is not None:
                return outcome
        stage.clock.wait(stage.frame_s)
    return None


def _progress(bar: int | None, task: Task) -> str:
    """How far the run has come: the bar that is played, None before the first."""
    bars = "1 bar" if task.bars == 1 else f"{task.bars} bars"
    where = bars if bar is None else f"bar {bar + 1} of {task.bars}"
    return "  ·  ".join([where, *task.variations])


def _counted(meter: Meter, ticks: Sequence[Click], bars: int) -> CountIn:
    """What is counted before bar 1: the numbers of the beats."""
    times = [tick.time_s for tick in ticks if tick.time_s < 0 and tick.kind is not Kind.BETWEEN]
    numbers = [str(beat + 1) for beat in range(len(meter.beats))]
    return CountIn(tuple(times), tuple(numbers * bars))


class Nobody:
    """A port on which nothing comes, while the program plays; see ``kit.ports.Port``."""

    name = "nobody"

    def poll(self) -> list[Arrival]:
        """Nothing."""
        return []

    def is_there(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""


def with_company(ticks: Sequence[Click], task: Task) -> list[Click | Note]:
    """The clicks, and what the program plays along, in order of time."""
    sounds: list[Click | Note] = [*ticks]
    if task.company is not None:
        company = notes(lay_out(task.company, task.tempo_bpm, task.bars))
        warm({note.voice for note in company}, RATE)  # nothing is made while it sounds
        sounds += company
    return sorted(sounds, key=lambda sound: sound.time_s)
