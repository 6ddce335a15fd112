"""The click: when it sounds, and what it sounds like.

Before bar 1 it is counted: two sticks struck together, on every beat, or a voice
(``sound.voice``). After that ``Clicking`` says what sounds. A click is a short knock on wood, made
here: two damped partials, higher and stronger for the 1 of a bar, so that the bar can be heard as
well as counted, and lower and softer between the beats. The sticks are held wooden bars, a little
different from one another.

**Off-beats.** The off-beat of a beat lies half-way through it: in 4/4 the eighth after each beat,
in 7/8, whose beats are eighths, the sixteenth. A beat made of three units, as in 12/8 or as the
last of 2+2+3/8, has no half: its off-beat is the last of the three, where a shuffle has its short
note (common practice). So 12/8 and a 4/4 that swings at two thirds have the same off-beats. With
off-beats only, nothing is stressed: a stress there would be heard as a 1. So that the first bar
can be counted, they begin in the count-in, soft and between the counts; at bar 1 the counts end
and the off-beats step forward, each where the ear expects it.

**Swing.** A click sits where a stroke of the pattern that is written there would sound.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cache
from itertools import chain, count, repeat
from typing import Protocol

import numpy as np

from playalong.pattern.meter import STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import Bar, Stroke, divisions
from playalong.pattern.targets import Place, sounding
from playalong.sound.synth.parts import Band, Part, Samples, Tone, mixed
from playalong.sound.timeline import Frames


class Kind(StrEnum):
    """The kinds of click."""

    COUNT_ONE = "count one"
    COUNT = "count"
    ONE = "one"
    BEAT = "beat"
    OFF_BEAT = "off-beat"
    BETWEEN = "between"


class Places(StrEnum):
    """Where it clicks."""

    BEATS = "beats"
    EIGHTHS = "beats and eighths"
    OFF_BEATS = "off-beats"


@dataclass(frozen=True, slots=True)
class Gap:
    """Bars with the click, then bars without, over and over: the player carries the time.

    ``sounding`` bars, 1 or more, then ``silent`` ones; each round there are ``widening`` more of
    these. ValueError where a number is too low.
    """

    sounding: int
    silent: int
    widening: int = 0

    def __post_init__(self) -> None:
        if self.sounding < 1 or self.silent < 0 or self.widening < 0:
            raise ValueError("a gap click needs 1 bar or more that sounds, and no number below 0")

    def bars(self) -> Iterator[bool]:
        """For each bar from bar 1 on, without an end, whether it clicks."""
        for silent in count(self.silent, self.widening):
            yield from repeat(True, self.sounding)
            yield from repeat(False, silent)


class Counting(StrEnum):
    """What counts in: sticks, or a voice that says the numbers, or what lies between as well.
    ``THROUGHOUT`` the voice goes on in every bar that clicks.
    """

    STICKS = "two sticks"
    NUMBERS = "one two three four"
    SUBDIVISION = "one e and a"
    THROUGHOUT = "one e and a, all through"


@dataclass(frozen=True, slots=True)
class Clicking:
    """What sounds after the count-in.

    ``swing`` is that of the pattern. Without a ``gap`` every bar clicks.
    """

    places: Places = Places.BEATS
    swing: WrittenSwing = STRAIGHT
    gap: Gap | None = None


PLAIN = Clicking()

#: What lies so near is at one time: times of one position may differ in their last digits.
_TOGETHER_S = 1e-6


@dataclass(frozen=True, slots=True)
class Click:
    """A click at a time: seconds, 0 being the start of bar 1.

    Where there is a ``word``, the name of a clip of ``sound.voice``, that is said in its place.
    """

    time_s: float
    kind: Kind
    word: str = ""

    def frames(self, rate: int) -> Frames:
        """What is heard, mono (n,) at ``rate`` frames a second."""
        return sample(self.kind, rate)


class Timing(Protocol):
    """What places written positions in time, as ``pattern.beats.Tempo`` does."""

    def seconds(self, whole: Fraction, /) -> float:
        """When the position ``whole`` (whole notes from the start of bar 1) comes, in seconds."""
        ...


@dataclass(frozen=True, slots=True)
class Said:
    """A word that is said, the name of its clip, at a time in seconds; on a beat or between."""

    time_s: float
    word: str
    is_beat: bool


class Speaking(Protocol):
    """A voice that counts, as ``sound.voice.Speaker`` does."""

    @property
    def counting(self) -> Counting:
        """What it says, and where."""
        ...

    def said(
        self, bar: Bar, meter: Meter, at: Fraction, *, tempo: Timing, swing: WrittenSwing
    ) -> Sequence[Said]:
        """The words of a bar that begins at ``at``, none where the sticks count it."""
        ...


def clicks(
    meters: Sequence[Meter],
    tempo: Timing,
    count_in: int = 1,
    *,
    between: Fraction | None = None,
    clicking: Clicking = PLAIN,
    rest: int = 0,
    bars: Sequence[Bar] = (),
    voice: Speaking | None = None,
) -> list[Click]:
    """The clicks of a count-in of ``count_in`` bars, in the first meter, and of all ``meters``.

    ``tempo`` starts at bar 1; the count-in lies before it. The last ``rest`` of ``meters`` are a
    rest in which the next repetition is counted in: they sound as a count-in does, and no gap
    silences them. ``between`` is the note value (of a whole note) that sounds softly inside each
    beat, counted from its start, whatever ``clicking`` has there; None to leave it to that.
    ``voice`` counts what is written in ``bars``, over and over; without one sticks do.
    """
    at = -count_in * meters[0].length
    run = len(meters) - rest
    gap = repeat(True) if clicking.gap is None else clicking.gap.bars()
    each = chain(
        ((meters[0], True, True) for _ in range(count_in)),
        ((meter, False, sounds) for meter, sounds in zip(meters[:run], gap, strict=False)),
        ((meter, True, True) for meter in meters[run:]),
    )
    found = list[Click]()
    for number, (meter, counted, sounds) in enumerate(each, -count_in):
        if sounds:
            own = [
                Click(tempo.seconds(at + position), kind)
                for position, kind in _bar(meter, counted, between, clicking=clicking)
            ]
            if voice is not None and bars and (counted or voice.counting is Counting.THROUGHOUT):
                bar = bars[number % len(bars) if 0 <= number < run else 0]
                words = voice.said(bar, meter, at, tempo=tempo, swing=clicking.swing)
                own = _with_words(own, words, counted)
            found += own
        at += meter.length
    return found


def _with_words(own: Sequence[Click], words: Sequence[Said], counted: bool) -> list[Click]:
    """The clicks of a bar with its words: where it is counted in their place, else beside them."""
    said = []
    for word in words:
        at = next((one for one in own if abs(one.time_s - word.time_s) < _TOGETHER_S), None)
        on_beat = Kind.COUNT if counted else Kind.BEAT
        kind = at.kind if at is not None else on_beat if word.is_beat else Kind.BETWEEN
        said.append(Click(word.time_s, kind, word.word))
    spoken_s = [word.time_s for word in words] if counted else []
    left = [
        one for one in own if all(abs(one.time_s - time_s) >= _TOGETHER_S for time_s in spoken_s)
    ]
    return sorted([*left, *said], key=lambda click: click.time_s)


def _bar(
    meter: Meter, counted: bool, between: Fraction | None, *, clicking: Clicking
) -> Iterator[tuple[Fraction, Kind]]:
    """The clicks of a bar, in order, where they sound."""
    off_only = clicking.places is Places.OFF_BEATS
    beat, one = (Kind.COUNT, Kind.COUNT_ONE) if counted else (Kind.BEAT, Kind.ONE)
    inner = Kind.OFF_BEAT if off_only and not counted else Kind.BETWEEN
    written: list[tuple[Fraction, Kind]] = []
    for number, start in enumerate(meter.beat_starts):
        if counted or not off_only:
            written.append((start, beat if start else one))
        written += [
            (start + into, inner) for into in _inside(meter, number, between, clicking=clicking)
        ]
    # As the strokes of a voice that is written so.
    strokes = tuple(Stroke(at=position, voice="cowbell") for position, _ in written)
    bar = Bar(meter, strokes, divisions(meter, strokes))
    for stroke, (_, kind) in zip(strokes, written, strict=True):
        yield sounding(bar, Place(0, stroke), clicking.swing), kind


def _inside(
    meter: Meter, beat: int, between: Fraction | None, *, clicking: Clicking
) -> Iterator[Fraction]:
    """Where it clicks inside a beat, in whole notes from its start."""
    length, units = meter.beats[beat], meter.groups[beat]
    step = between or {Places.BEATS: length, Places.EIGHTHS: Fraction(1, 8)}.get(clicking.places)
    if step is None:
        has_half = units == 1 or units % 2 == 0
        yield length / 2 if has_half else length - Fraction(1, meter.denominator)
        return
    into = step
    while into < length:
        yield into
        into += step


#: The channel on which drum modules listen, counted from 1 (General MIDI Level 1).
CHANNEL = 10

#: General MIDI Level 1 percussion key map: 37 side stick, 76 high and 77 low wood block.
_MIDI = {
    Kind.COUNT_ONE: (37, 118),
    Kind.COUNT: (37, 100),
    Kind.ONE: (76, 112),
    Kind.BEAT: (77, 92),
    Kind.OFF_BEAT: (77, 92),
    Kind.BETWEEN: (77, 52),
}


def midi(kind: Kind) -> tuple[int, int]:
    """Note number and velocity of a click, for a drum module that is to sound it itself."""
    return _MIDI[kind]


#: The bending modes of a free bar over the first, from the third on: the squares of the roots of
#: cos(x) * cosh(x) = 1 (Fletcher and Rossing, The Physics of Musical Instruments, chapter 2, from
#: memory). The lowest two are held still by the hands.
BAR_MODES = (5.404, 8.933, 13.344)

#: The first mode of each of the two sticks, in Hz: no two weigh the same.
_STICKS_HZ = (342.0, 371.0)

_STICKS: tuple[Part, ...] = (
    *(
        Tone(hz=hz * ratio, ring_s=0.16 / (1 + number), level=0.75**number)
        for hz in _STICKS_HZ
        for number, ratio in enumerate(BAR_MODES)
    ),
    Band(low_hz=2500, high_hz=9000, ring_s=0.012, level=0.35),
)

#: Frequency in Hz of each knock.
_KNOCKS_HZ = {
    Kind.ONE: 1760.0,
    Kind.BEAT: 1175.0,
    Kind.OFF_BEAT: 880.0,
    Kind.BETWEEN: 880.0,
}

#: The peak of each kind.
_PEAKS = {
    Kind.COUNT_ONE: 0.9,
    Kind.COUNT: 0.6,
    Kind.ONE: 0.9,
    Kind.BEAT: 0.6,
    Kind.OFF_BEAT: 0.6,
    Kind.BETWEEN: 0.25,
}


def peak(kind: Kind) -> float:
    """The peak of a click, of full scale 1."""
    return _PEAKS[kind]


_LENGTH_S, _DECAY_S, _RISE_S = 0.06, 0.009, 0.0005

#: The second partial: its frequency (that of a free wooden bar), share and decay.
_UPPER, _UPPER_SHARE, _UPPER_DECAY_S = 2.76, 0.4, 0.003


@cache
def sample(kind: Kind, rate: int) -> Frames:
    """The sound of a click, mono, (n,) at ``rate`` frames a second; its first frame sounds."""
    hz = _KNOCKS_HZ.get(kind)
    sound = mixed(_STICKS, 1.0, rate) if hz is None else _knock(hz, rate)
    # A very short rise: a knock without the crack of a sudden step. Frame 0 is one step into it.
    sound *= np.minimum(1.0, np.arange(1, 1 + len(sound)) / (_RISE_S * rate))
    return np.asarray(_PEAKS[kind] * sound / np.abs(sound).max(), dtype=np.float32)


def _knock(hz: float, rate: int) -> Samples:
    # Frame 0 is one step into the sound: every partial is silent at 0 itself.
    time_s = np.arange(1, 1 + round(_LENGTH_S * rate)) / rate
    lower = np.sin(2 * np.pi * hz * time_s)
    upper = np.sin(2 * np.pi * _UPPER * hz * time_s) * np.exp(-time_s / _UPPER_DECAY_S)
    return np.asarray((lower + _UPPER_SHARE * upper) * np.exp(-time_s / _DECAY_S))
