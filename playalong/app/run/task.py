"""What is to be played in one run, and how it is judged."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction

from playalong.app.run.along import Along, MapTime
from playalong.grading.verdicts import Rules, Verdict
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.meter import Meter, Tempo
from playalong.pattern.model import Bar, Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.writer import write
from playalong.practice.excerpts import Excerpt
from playalong.profile.profile import Profile
from playalong.records.take_info import FORMAT, Simulated, TakeInfo
from playalong.records.takes import Recording
from playalong.sound.device.output import Sound
from playalong.sound.synth.click import PLAIN, Click, Clicking, Counting, clicks
from playalong.sound.synth.drums import warm
from playalong.sound.synth.notes import notes
from playalong.sound.timeline import RATE
from playalong.sound.voice import heard, speaker
from playalong.support.version import program_version

#: The most clean passes in a row that may be asked before it goes on faster.
MOST_CLEAN = 8


@dataclass(frozen=True, kw_only=True)
class Passes:
    """Bars that are played again and again: ``most`` times, None until told otherwise.

    ``counted``: each pass is counted in. After ``faster_after`` clean passes in a row it goes on
    faster by itself, 0 for never.
    """

    most: int | None = None
    counted: bool = False
    faster_after: int = 0


@dataclass(frozen=True, kw_only=True)
class Task:
    """What is to be played, and how it is judged.

    ``count_in`` in bars; ``between`` is the note value, of a whole note, that clicks softly
    between the beats, None for none. ``rest``: so many bars the click goes on after the last.
    ``company`` is what the program plays along, of the same bars. ``judged`` is False where the
    player only listens, ``clicked`` where no click is to sound after the count-in. Verdicts other
    than those ``shown`` leave no mark on the sheet; where none is, the gauges stay empty. ``about``
    stands beside the title. ``clicking`` says where it clicks; ``along`` is a recording that is
    played along with. ``waits`` is False where a run that has lost its kit is over. ``pattern`` may
    be an ``excerpt`` of a ``whole`` one, or its variations be mixed as the player likes (``free``):
    the take then says so. ``passes``: all bars are played again and again. ``kind`` is what the
    store calls such runs. ``simulated`` is who plays, None for people.
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
    shown: frozenset[Verdict] = frozenset(Verdict)
    about: str = ""
    clicking: Clicking = PLAIN
    along: Along | None = None
    waits: bool = True
    whole: Pattern | None = None
    excerpt: Excerpt | None = None
    free: bool = False
    simulated: Simulated | None = None
    passes: Passes | None = None
    kind: str = "play"

    def written(self) -> tuple[Bar, ...]:
        """The bars of the pattern with the variations in place."""
        return self.pattern.with_variations(self.variations)

    def going_along(self, along: Along) -> "Task":
        """The same along with a recording, whose tempo is on the average that of its beats."""
        task = replace(self, along=along)
        return replace(task, tempo_bpm=round(task.targets().tempo_bpm(self.pattern.meter), 1))

    def meters(self) -> list[Meter]:
        """The meter of every bar of the run: of as many beats as a recording has there."""
        bars, along = self.written(), self.along
        written = [bars[number % len(bars)].meter for number in range(self.bars)]
        if along is None:
            return written
        lengths = along.beats.lengths(along.first_bar, along.first_bar + self.bars - 1)
        return [meter.of_beats(n) for meter, n in zip(written, lengths, strict=True)]

    def time(self) -> Tempo | MapTime:
        """Where written positions are, second 0 being the start of bar 1."""
        if self.along is not None:
            return self.along.time(self.pattern)
        return Tempo(self.tempo_bpm, self.pattern.meter.unit)

    def length_s(self) -> float:
        """How long the bars are, and the rest after them: until another bar would begin."""
        meters = self.meters()
        whole = sum((meter.length for meter in [*meters, *[meters[-1]] * self.rest]), Fraction(0))
        return self.time().seconds(whole)

    def targets(self) -> Targets:
        """The targets, second 0 being the start of bar 1."""
        if self.along is not None:
            return self.along.targets(self.pattern, self.bars, self.variations)
        return lay_out(self.pattern, self.tempo_bpm, self.bars, variations=self.variations)

    def ticks(self, counting: Counting = Counting.STICKS) -> list[Click]:
        """The clicks of the count-in, the run and the rest after it, with what is said."""
        meters = self.meters()
        resting = [meters[-1]] * self.rest
        swung = replace(self.clicking, swing=self.pattern.swing)
        return clicks(
            [*meters, *resting],
            self.time(),
            self.count_in,
            between=self.between,
            clicking=swung,
            rest=self.rest,
            bars=self.written(),
            voice=speaker(counting),
        )

    def count_before(
        self, bar: int, targets: Targets, counting: Counting = Counting.STICKS
    ) -> list[Click]:
        """The clicks that count in before a bar of the run (0 is the first), whatever came before.

        ``targets`` are those of the run, and give the tempo: that of the bar itself.
        """
        meter, bar_s = self.meters()[bar], float(targets.bar_starts_s[bar])
        ends_s = [*targets.bar_starts_s[1:].tolist(), targets.end_s]
        bpm = 60.0 * float(meter.length / meter.unit) / (ends_s[bar] - bar_s)
        written = self.written()
        count = clicks(
            [meter],
            Tempo(bpm, meter.unit),
            clicking=Clicking(swing=self.pattern.swing),
            bars=[written[bar % len(written)]],
            voice=speaker(counting),
        )
        return [replace(tick, time_s=tick.time_s + bar_s) for tick in count if tick.time_s < 0]

    def recording(self, lead_s: float, profile: Profile, targets: Targets) -> Recording:
        """An empty take of this, ``lead_s`` of which come before bar 1."""
        whole = self.pattern if self.whole is None else self.whole
        info = TakeInfo(
            format=FORMAT,
            program=program_version(),
            date=datetime.now().astimezone().isoformat(timespec="seconds"),
            player="" if self.simulated else profile.player,
            kit="" if self.simulated else profile.kit,
            simulated=self.simulated,
            pattern=whole.name,
            pattern_id=pattern_id(whole),
            pattern_text=_text(whole),
            excerpt=None if self.excerpt is None else self.excerpt.as_plain(),
            free=self.free,
            tempo_bpm=self.tempo_bpm,
            bars=self.bars,
            variations=self.variations,
            level=self.rules.level.value,
            capture_ms=self.rules.capture_ms,
            tolerance_ms=self.rules.tolerance_ms,
            left_handed=self.rules.left_handed,
            bands=self.rules.bands.as_plain(),
            pads=profile.pads.for_targets(targets),
            latency_ms=profile.latency.ms if profile.latency else 0.0,
            along=None if self.along is None else self.along.as_plain(self.bars),
        )
        return Recording(self.tempo_bpm, self.pattern.meter.unit, lead_s, info=info.as_plain())


def _text(pattern: Pattern) -> str:
    """The pattern's file; none where it came from no file and cannot be written as one."""
    try:
        return write(pattern)
    except ValueError:
        return ""


def with_company(ticks: Sequence[Click], task: Task) -> list[Sound]:
    """The clicks, and what the program plays along, in order of time."""
    sounds: list[Sound] = [*heard(ticks)]
    if task.company is not None:
        targets = replace(task, pattern=task.company, variations=()).targets()
        company = notes(targets)
        warm({note.voice for note in company}, RATE)  # nothing is made while it sounds
        sounds += company
    if task.along is not None:
        sounds += task.along.sounds
    return sorted(sounds, key=lambda sound: sound.time_s)
