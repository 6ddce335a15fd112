"""A voice that counts: one two three four, and what is said between; each word on its beat.

The words are files in ``assets/voice`` (its README says whose voice it is, and how they were made),
each at two paces. A word is on its beat by its onset, where a listener hears it begin: what leads
up to it, as the f of four, comes before the beat.

**What is said at which tempo.** A word is said only where it is over before the next one begins:
all of a bar at the natural pace, or else all quickly. Where that cannot be, what is said between
the beats is left out of the bar, the finest first (1 e & a, then 1 &, then 1). Where its numbers
have no room themselves, or there is no word for one, the sticks count that bar. So in 4/4
sixteenths are said up to some 90 bpm, eighths up to 185 and numbers up to 300.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise
from typing import Protocol

import numpy as np

from playalong.pattern.meter import Meter, WrittenSwing, spoken_count
from playalong.pattern.model import Bar
from playalong.pattern.targets import counted_at
from playalong.sound.synth.click import Click, Counting, Kind, Said, Timing, peak
from playalong.sound.timeline import Frames
from playalong.support import resources as shipped

#: Of every file: frames a second, and how long after its beginning the beat is.
VOICE_RATE, BEAT_S = 24_000, 0.1

#: The file of each word that is counted; its endings for each pace, the natural one first.
STEMS = {
    **{
        str(number): word
        for number, word in enumerate(
            ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"), 1
        )
    },
    "11": "eleven",
    "12": "twelve",
    "e": "e",
    "&": "and",
    "a": "a",
    "trip": "trip",
    "let": "let",
    "ta": "ta",
}
PACES = ("", "-quick")

#: Into how many parts a beat is counted where there is no room for so many.
_COARSER = {8: 4, 6: 3, 4: 2, 3: 1, 2: 1}

#: Below this part of full scale a word is not heard: there it begins and ends.
_HEARD = 0.001


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Clip:
    """A word as it sounds: mono (n,) at ``VOICE_RATE``, as loud as the sticks that count.

    It begins ``lead_s`` before its beat and ends ``tail_s`` after it.
    """

    sound: Frames
    lead_s: float
    tail_s: float


@cache
def clips() -> dict[str, Clip]:
    """All words, by the names of their files; those that cannot be read are missing."""
    import miniaudio

    found = {}
    for path in sorted((shipped.folder("assets") / "voice").glob("*.flac")):
        try:
            decoded = miniaudio.flac_read_s16(path.read_bytes())
        except (OSError, miniaudio.MiniaudioError):
            continue
        sound = np.frombuffer(decoded.samples, np.int16).astype(np.float32) / np.float32(32768.0)
        heard = np.flatnonzero(np.abs(sound) > _HEARD)
        if decoded.sample_rate != VOICE_RATE or decoded.nchannels != 1 or not len(heard):
            continue
        first, last = int(heard[0]), int(heard[-1]) + 1
        found[path.stem] = Clip(
            sound=sound[first:last],
            lead_s=BEAT_S - first / VOICE_RATE,
            tail_s=last / VOICE_RATE - BEAT_S,
        )
    return found


@dataclass(frozen=True, slots=True)
class Word:
    """A click that is a word, as it sounds: it begins before its beat."""

    click: Click

    @property
    def time_s(self) -> float:
        """When it begins."""
        return self.click.time_s - clips()[self.click.word].lead_s

    def frames(self, rate: int) -> Frames:
        """What is heard, mono (n,) at ``rate`` frames a second."""
        return _sounding(self.click.word, self.click.kind, rate)


@cache
def _sounding(word: str, kind: Kind, rate: int) -> Frames:
    """A word as loud as a click of its kind."""
    sound = clips()[word].sound
    count = round(len(sound) * rate / VOICE_RATE)
    # Silence around it, so that its end has no part in its beginning.
    padded = np.pad(sound, VOICE_RATE // 100)
    size = round(len(padded) * rate / VOICE_RATE)
    made = np.fft.irfft(np.fft.rfft(padded), size) * (size / len(padded))
    begin = round(VOICE_RATE // 100 * rate / VOICE_RATE)
    gain = peak(kind) / peak(Kind.COUNT)
    return np.asarray(gain * made[begin : begin + count], np.float32)


def heard(clicks: Sequence[Click]) -> list[Click | Word]:
    """The clicks as they sound."""
    return [Word(click) if click.word else click for click in clicks]


class Timed(Protocol):
    """What begins at a time."""

    @property
    def time_s(self) -> float:
        """When, in seconds."""
        ...


def beat_s(sound: Timed) -> float:
    """Where a sound belongs, in seconds: a word on its beat, any other where it begins."""
    return sound.click.time_s if isinstance(sound, Word) else sound.time_s


def speaker(counting: Counting) -> "Speaker | None":
    """Who says it; None where sticks count."""
    return None if counting is Counting.STICKS else Speaker(counting)


@dataclass(frozen=True, slots=True)
class Speaker:
    """Says bars as ``counting`` has it."""

    counting: Counting

    def said(
        self, bar: Bar, meter: Meter, at: Fraction, *, tempo: Timing, swing: WrittenSwing
    ) -> list[Said]:
        """The words of a bar that begins at ``at`` (whole notes), in order; none where the sticks
        count it. ``meter`` is what is counted, ``bar`` what is written there.
        """
        is_written = meter.groups == bar.meter.groups

        def places(beat: int, parts: int) -> Iterator[tuple[float, str]]:
            """When each word of a beat of so many parts is said, in seconds, and which it is."""
            for part, syllable in enumerate(spoken_count(parts, meter.groups[beat])):
                if part and not syllable:
                    continue
                into = meter.beat_starts[beat] + meter.beats[beat] * part / parts
                written = counted_at(bar, into, swing) if is_written else into
                yield tempo.seconds(at + written), syllable or str(beat + 1)

        is_cut = is_written and self.counting is not Counting.NUMBERS
        divisions = bar.divisions if is_cut else (1,) * len(meter.beats)
        for finest in sorted({*divisions, *_COARSER.values()}, reverse=True):
            each = [
                place
                for beat, parts in enumerate(divisions)
                for place in places(beat, _cut(parts, finest))
            ]
            for pace in range(len(PACES)):
                words = _fitting(each, tempo.seconds(at + meter.length), pace)
                if words:
                    return words
        return []


def _cut(parts: int, finest: int) -> int:
    """Into how many parts a beat is counted that is written in ``parts``, ``finest`` at most."""
    while parts > finest:
        parts = _COARSER.get(parts, 1)
    return parts


def _fitting(places: Sequence[tuple[float, str]], end_s: float, pace: int) -> list[Said]:
    """The words of a bar, each over before the next begins, and the last before that of the bar
    that begins at ``end_s``; none where they have no room, or one of them is missing.
    """
    names = [_names(word)[pace : pace + 1] for _, word in [*places, (end_s, "1")]]
    if not all(names):
        return []
    clip = [clips()[name] for (name,) in names]
    times_s = [*(time_s for time_s, _ in places), end_s]
    for number, (before, after) in enumerate(pairwise(clip)):
        if times_s[number] + before.tail_s > times_s[number + 1] - after.lead_s:
            return []
    return [
        Said(time_s, name, is_beat=word.isdigit())
        for (time_s, word), (name,) in zip(places, names, strict=False)
    ]


def _names(word: str) -> list[str]:
    """The clips of a word, the natural pace first; none where it is not there at every pace."""
    stem = STEMS.get(word)
    names = [f"{stem}{pace}" for pace in PACES]
    return names if stem is not None and all(name in clips() for name in names) else []
