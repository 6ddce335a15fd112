"""A pattern out of a Standard MIDI File, written by a program or played: see ``form``.

Notes are set to a grid beat by beat. Where every note of the file lies on one, to the tick, it was
written, and the coarsest grid that has all of a beat's notes is taken. Else it was played: the grid
is the one that explains the notes best, errors of ``PLAYED_MS`` against the places that a grid has.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from io import BytesIO
from itertools import pairwise
from math import log
from statistics import fmean
from typing import Any

import mido

from playalong.interchange.midi.form import (
    BAR,
    CHARSET,
    DRUMS,
    GRACE_VELOCITY,
    MARK,
    METER,
    SOUNDING,
    SWING,
    VELOCITIES,
)
from playalong.interchange.reading import Read, one_round
from playalong.pattern.meter import NOTES, STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke, divisions
from playalong.pattern.notation import MOST_STEPS
from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM
from playalong.pattern.voices import BY_NOTE, STAFF_ORDER
from playalong.support.errors import UserError
from playalong.support.text import counted, printable

#: A file of more bytes, or with more bars, is no groove.
MOST_BYTES, MOST_BARS = 500_000, 1_000

#: The spread of a player's errors around the grid, in milliseconds (the median of drummers
#: to a metronome is 24 ms around the click, less around their own middle).
PLAYED_MS = 20.0

#: A note so close before a louder one of its voice is a grace stroke, in seconds: a flam's lies
#: 20 to 40 ms ahead (common practice), a drag's first as far again.
_GRACE_S, _MOST_GRACES = 0.045, 2

#: A note so early belongs to the beat that comes, in beats, where the file was played.
_EARLY = Fraction(1, 10)

#: The grids by which a file is known as written, the coarsest first; those that a player means.
_GRIDS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 16)
_PLAYED_GRIDS = (1, 2, 3, 4, 6, 8)

#: Ghost notes are no louder than this on the mean (drummers' are at 45 or less), accents no
#: softer (our own choice); and so far apart are kinds of strokes, in steps of velocity.
_GHOST, _ACCENT, _APART = 50, 106, 12

#: The share of a voice's strokes that is no kind of its own where they were played; and that which
#: is its plain strokes, however soft or loud it is (our own choice).
_FEW, _PLAIN = 0.1, 0.8

#: What a tempo is where the file says none: the standard's.
_USUAL_US, _USUAL_METER = 500_000, Meter.parse("4/4")

#: As far as a pattern may swing.
_MOST_SWING = 80

#: What mido raises over bytes that mean nothing.
_DAMAGED = (EOFError, OSError, ValueError, IndexError, KeyError, TypeError, AttributeError)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one channel plays in one track; both are counted from 1."""

    track: int
    channel: int
    name: str
    notes: int

    def __str__(self) -> str:
        named = f' "{self.name}"' if self.name else ""
        return f"track {self.track}{named}, channel {self.channel}: {counted(self.notes, 'note')}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Note:
    """A note that begins: in whole notes from the start of the file."""

    at: Fraction
    voice: str
    velocity: int
    graces: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class MidiFile:
    """What is in a file: ``notes`` are (track, channel, tick, note, velocity), both from 0.

    ``meters`` are (tick, meter), ``markers`` (tick, words), ``words`` the texts of this program.
    """

    title: str
    ticks: int
    tempo_us: int
    tempi: int
    meters: tuple[tuple[int, Meter], ...]
    markers: tuple[tuple[int, str], ...]
    words: tuple[str, ...]
    track_names: tuple[str, ...]
    notes: tuple[tuple[int, int, int, int, int], ...]
    end: int

    @property
    def is_own(self) -> bool:
        """Whether this program wrote it."""
        return "pattern" in self.words

    def parts(self) -> list[Part]:
        """What plays in it."""
        found = Counter((track, channel) for track, channel, *_ in self.notes)
        return [
            Part(track=track + 1, channel=channel + 1, name=self.track_names[track], notes=notes)
            for (track, channel), notes in sorted(found.items())
        ]


def read(data: bytes, name: str) -> MidiFile:
    """What is in the file with these bytes; ``name`` is what it is called in words of UserError."""
    if len(data) > MOST_BYTES:
        raise UserError(f"{name} is too large for a groove: {MOST_BYTES:,} bytes are the most.")
    try:
        file = mido.MidiFile(file=BytesIO(data), charset="latin-1")
        return _read(file)
    except _DAMAGED:
        raise UserError(f"{name} is no Standard MIDI File, or is damaged.") from None


def _read(file: Any) -> MidiFile:
    if file.ticks_per_beat <= 0:
        raise ValueError("time code")
    meters: list[tuple[int, Meter]] = []
    markers: list[tuple[int, str]] = []
    words: list[str] = []
    names: list[str] = []
    tempi: list[int] = []
    notes: list[tuple[int, int, int, int, int]] = []
    end = 0
    for track, messages in enumerate(file.tracks):
        tick, name = 0, ""
        for message in messages:
            tick += message.time
            match message.type:
                case "note_on" if message.velocity:
                    notes.append((track, message.channel, tick, message.note, message.velocity))
                case "set_tempo":
                    tempi.append(message.tempo)
                case "time_signature":
                    meter = Meter.parse(f"{message.numerator}/{message.denominator}")
                    meters.append((tick, meter))
                case "marker":
                    markers.append((tick, _text(message.text)))
                case "track_name":
                    name = name or _text(message.name)
                case "text" if _text(message.text).startswith(MARK):
                    word = _text(message.text).removeprefix(MARK)
                    if word.startswith(METER):
                        meters.append((tick, Meter.parse(word.removeprefix(METER))))
                    words.append(word)
        names.append(name)
        end = max(end, tick)
    return MidiFile(
        title=names[0] if names else "",
        ticks=file.ticks_per_beat,
        tempo_us=tempi[0] if tempi else _USUAL_US,
        tempi=len(set(tempi)),
        meters=tuple(sorted(meters, key=lambda one: one[0])),
        markers=tuple(markers),
        words=tuple(words),
        track_names=tuple(names),
        notes=tuple(sorted(notes, key=lambda one: one[2])),
        end=end,
    )


def _text(text: str) -> str:
    """A text of the file: in UTF-8, or else in Latin-1."""
    try:
        found = text.encode("latin-1").decode(CHARSET)
    except UnicodeError:
        found = text
    return printable(found).strip()


def pattern_of(
    file: MidiFile,
    name: str,
    *,
    title: str = "",
    track: int | None = None,
    channel: int | None = None,
    bars: tuple[int, int] | None = None,
    start_s: float = 0.0,
) -> Read:
    """The pattern in a file, whose bar 1 starts ``start_s`` after its beginning.

    ``track`` and ``channel`` count from 1: by default the drums' channel on all tracks, or the only
    one there is. ``bars`` are the first and the last, from 1: by default all from the first to the
    last that have notes, and of bars that come again and again one round. UserError where there is
    nothing to read.
    """
    notices: list[str] = []
    whole = 4 * file.ticks
    s_per_whole = 4 * file.tempo_us / 1e6
    voiced = list(_voiced(_chosen(file, track, channel), whole, notices=notices))
    notes = _with_graces(voiced, float(_GRACE_S / s_per_whole), file.is_own)
    begin = Fraction(round(start_s / s_per_whole * whole), whole)
    notes = [note for note in notes if note.at >= begin - _EARLY / 4]
    if not notes:
        raise UserError(f"It has no drums from {start_s:g} s on.")
    lines = _bar_lines(file, whole, notes[-1].at, begin=begin)
    errors_ms: list[float] = []
    by_bar = list(_by_bar(notes, lines, early=Fraction(0)))
    if file.is_own or all(
        _grid([note], start, meter, whole=whole) for (start, meter), own in by_bar for note in own
    ):
        placed = [_written(own, start, meter, whole=whole) for (start, meter), own in by_bar]
    else:
        by_bar = list(_by_bar(notes, lines, early=_EARLY))
        placed = [
            _played(own, start, meter, s_per_whole=s_per_whole, errors_ms=errors_ms)
            for (start, meter), own in by_bar
        ]
    loudness = _Loudness(notes, file.is_own, is_played=bool(errors_ms))
    found = [
        _bar(meter, own, loudness, notices=notices)
        for ((_, meter), _), own in zip(by_bar, placed, strict=True)
    ]
    found = _chosen_bars(found, bars, file.is_own, notices=notices)
    if errors_ms:
        mean_ms = sum(map(abs, errors_ms)) / len(errors_ms)
        notices.append(
            f"It was played: each stroke is at its nearest place, {mean_ms:.0f} ms away."
        )
    if file.tempi > 1:
        notices.append("Its tempo changes: the first one is taken.")
    meter = found[0].meter
    tempo = round(60e6 / file.tempo_us / float(meter.unit * 4), 2)
    pattern = Pattern(
        name=name,
        title=title or file.title or name,
        meter=meter,
        tempo=float(min(FASTEST_BPM, max(SLOWEST_BPM, tempo))),
        bars=tuple(found),
        swing=_swing(file),
    )
    return Read(pattern=pattern, notices=tuple(dict.fromkeys(notices)))


def _chosen(
    file: MidiFile, track: int | None, channel: int | None
) -> list[tuple[int, int, int, int, int]]:
    """The notes of the track and the channel that are asked for."""
    parts = file.parts()
    if not parts:
        raise UserError("There is no note in it.")
    listed = [str(part) for part in parts]
    if channel is None:
        channels = {one.channel for one in parts if track is None or one.track == track}
        if DRUMS + 1 in channels:
            channel = DRUMS + 1
        elif len(channels) == 1:
            (channel,) = channels
        else:
            raise UserError("Say which --track or --channel has the drums. There is:", *listed)
    found = [
        note
        for note in file.notes
        if note[1] == channel - 1 and (track is None or note[0] == track - 1)
    ]
    if not found:
        raise UserError("There is no note on this track and channel. There is:", *listed)
    return found


def _voiced(
    notes: Iterable[tuple[int, int, int, int, int]], whole: int, *, notices: list[str]
) -> Iterator[_Note]:
    strange: Counter[int] = Counter()
    found = 0
    for _, _, tick, note, velocity in notes:
        voice = BY_NOTE.get(note)
        if voice is None:
            strange[note] += 1
            continue
        found += 1
        yield _Note(at=Fraction(tick, whole), voice=voice.name, velocity=velocity)
    for note, many in sorted(strange.items()):
        notices.append(f"Note {note} is no drum of the kit: {counted(many, 'stroke')} left out.")
    if not found:
        raise UserError("None of its notes is a drum of the General MIDI map.")


def _with_graces(notes: Sequence[_Note], close: float, is_own: bool) -> list[_Note]:
    """The notes with their grace strokes, one or two, in the main stroke; ``close`` in whole notes.

    A grace stroke is softer than its main stroke; in files of this program it has its own velocity.
    """
    by_voice: dict[str, list[_Note]] = {}
    for note in notes:
        by_voice.setdefault(note.voice, []).append(note)
    found: list[_Note] = []
    for own in by_voice.values():
        group: list[_Note] = []
        for note in own:
            was_main = is_own and group and group[-1].velocity != GRACE_VELOCITY
            if group and (was_main or float(note.at - group[-1].at) > close):
                found += _as_graces(group, is_own)
                group = []
            group.append(note)
        found += _as_graces(group, is_own)
    return sorted(found, key=lambda one: (one.at, STAFF_ORDER[one.voice]))


def _as_graces(group: list[_Note], is_own: bool) -> list[_Note]:
    """Notes of a voice close together: the last with the others as grace strokes, if they are."""
    *before, main = group
    softer = [
        note.velocity == GRACE_VELOCITY if is_own else note.velocity + _APART < main.velocity
        for note in before
    ]
    if not before or len(before) > _MOST_GRACES or not all(softer):
        return group
    return [replace(main, graces=len(before))]


# Bars.


def _bar_lines(
    file: MidiFile, whole: int, last: Fraction, *, begin: Fraction
) -> list[tuple[Fraction, Meter]]:
    """Where each bar begins, with its meter, up to the end of the file and the ``last`` note.

    Bar 1 is at its marker in a file of this program, at ``begin`` in others.
    """
    meters: dict[Fraction, Meter] = {}
    for tick, meter in file.meters:
        meters[Fraction(tick, whole)] = meter
    marked = [tick for tick, words in file.markers if words == f"{BAR}1"]
    at = Fraction(marked[0], whole) if file.is_own and marked else begin
    changes, lines = sorted(meters.items()), list[tuple[Fraction, Meter]]()
    end = Fraction(file.end, whole)
    while at < end or at <= last:
        meter = next((one for since, one in reversed(changes) if since <= at), _USUAL_METER)
        lines.append((at, meter))
        at += meter.length
        if len(lines) > MOST_BARS:
            raise UserError(f"It has more than {MOST_BARS:,} bars: cut out those of the groove.")
    return lines


def _by_bar(
    notes: Sequence[_Note], lines: Sequence[tuple[Fraction, Meter]], *, early: Fraction
) -> Iterator[tuple[tuple[Fraction, Meter], list[_Note]]]:
    """The notes of each bar; one that is ``early`` beats before it is of the bar that comes."""
    at = 0
    for start, meter in lines:
        end = start + meter.length - early * meter.beats[-1]
        if start == lines[-1][0]:
            end = start + meter.length
        own = []
        while at < len(notes) and notes[at].at < end:
            own.append(notes[at])
            at += 1
        yield (start, meter), own


def _by_beat(
    own: Sequence[_Note], start: Fraction, meter: Meter, *, early: Fraction
) -> list[list[_Note]]:
    """The notes of a bar, beat by beat; one that is ``early`` is of the beat that comes."""
    found: list[list[_Note]] = [[] for _ in meter.beats]
    for note in own:
        at = max(Fraction(0), note.at - start)
        beat = meter.beat_of(at)
        end = meter.beat_starts[beat] + (1 - early) * meter.beats[beat]
        found[min(beat + (at >= end), len(found) - 1)].append(note)
    return found


# Places.


def _nearest(at: Fraction, meter: Meter, parts: int) -> Fraction:
    """The nearest place of a grid of so many parts to a beat."""
    beat = meter.beat_of(max(at, Fraction(0)))
    start, length = meter.beat_starts[beat], meter.beats[beat]
    return max(Fraction(0), start + Fraction(round((at - start) / length * parts), parts) * length)


def _grid(
    notes: Sequence[_Note], start: Fraction, meter: Meter, *, whole: int, any_grid: bool = False
) -> int | None:
    """The coarsest grid on which the notes lie to the tick, None where there is none.

    Of the usual ones, or of any that a pattern may have.
    """
    for parts in range(1, MOST_STEPS + 1) if any_grid else _GRIDS:
        places = [start + _nearest(note.at - start, meter, parts) for note in notes]
        ticks = zip(places, notes, strict=True)
        if all(round(place * whole) == note.at * whole for place, note in ticks):
            return parts
    return None


_Placed = list[tuple[Fraction, _Note]]


def _written(own: Sequence[_Note], start: Fraction, meter: Meter, *, whole: int) -> _Placed:
    """Each note at its place, on the coarsest grid that has all notes of its beat."""
    placed: _Placed = []
    for notes in _by_beat(own, start, meter, early=Fraction(0)):
        together = _grid(notes, start, meter, whole=whole, any_grid=True)
        for note in notes:
            parts = together or _grid([note], start, meter, whole=whole) or MOST_STEPS
            last = meter.length - meter.beats[-1] / parts
            placed.append((min(_nearest(note.at - start, meter, parts), last), note))
    return placed


def _played(
    own: Sequence[_Note],
    start: Fraction,
    meter: Meter,
    *,
    s_per_whole: float,
    errors_ms: list[float],
) -> _Placed:
    """Each note at the nearest place of the grid that explains its beat best.

    A grid of n parts costs each note the logarithm of n: among so many places one is right.
    """
    placed: _Placed = []
    for notes in _by_beat(own, start, meter, early=_EARLY):
        places = [note.at - start for note in notes]

        def off_ms(at: Fraction, parts: int) -> float:
            return 1e3 * s_per_whole * float(at - _nearest(at, meter, parts))

        def cost(parts: int, places: Sequence[Fraction] = places) -> float:
            return sum((off_ms(at, parts) / PLAYED_MS) ** 2 / 2.0 + log(parts) for at in places)

        best = min(_PLAYED_GRIDS, key=cost)
        last = meter.length - meter.beats[-1] / best
        for note, at in zip(notes, places, strict=True):
            errors_ms.append(off_ms(at, best))
            placed.append((min(_nearest(at, meter, best), last), note))
    return placed


# Strokes.


class _Loudness:
    """What the velocities of a file mean.

    In a file of this program each dynamic has its velocity. In others the strokes of a voice are of
    one kind where their velocities leave no gap of ``_APART`` between them: a hi-hat that breathes
    is even. Of several kinds a soft one is of ghost notes, a loud one of accents, by its mean. In
    what was played a few strokes (``_FEW``) are no kind of their own.
    """

    def __init__(self, notes: Sequence[_Note], is_own: bool, *, is_played: bool) -> None:
        self._is_own = is_own
        self._kinds: dict[str, list[tuple[int, Dynamic]]] = {}
        for voice in {note.voice for note in notes}:
            own = sorted(note.velocity for note in notes if note.voice == voice)
            few = _FEW * len(own) if is_played else 0.0
            kinds = [[own[0]]]
            for before, velocity in pairwise(own):
                if velocity - before >= _APART and len(kinds[-1]) > few:
                    kinds.append([])
                kinds[-1].append(velocity)
            if len(kinds) > 1 and len(kinds[-1]) <= few:
                kinds[-2:] = [kinds[-2] + kinds[-1]]
            self._kinds[voice] = [
                (kind[-1], _named(kind, len(kind) / len(own) if len(kinds) > 1 else 1.0))
                for kind in kinds
            ]

    def of(self, note: _Note) -> Dynamic:
        """The dynamic of a note."""
        if self._is_own:
            return min(VELOCITIES, key=lambda one: abs(VELOCITIES[one] - note.velocity))
        kinds = self._kinds[note.voice]
        return next(dynamic for loudest, dynamic in kinds if note.velocity <= loudest)


def _named(velocities: Sequence[int], share: float) -> Dynamic:
    """What strokes of these velocities are, that share of the strokes of their drum."""
    mean = fmean(velocities)
    if share > _PLAIN:
        return Dynamic.NORMAL
    if mean <= _GHOST:
        return Dynamic.GHOST
    return Dynamic.ACCENT if mean >= _ACCENT else Dynamic.NORMAL


def _bar(meter: Meter, placed: _Placed, loudness: _Loudness, *, notices: list[str]) -> Bar:
    """A bar of strokes: of two of one voice at one place the louder."""
    found: dict[tuple[Fraction, str], Stroke] = {}
    for at, note in sorted(placed, key=lambda one: one[1].velocity):
        is_open = note.voice == "hi-hat-open"
        voice = "hi-hat" if is_open else note.voice
        dynamic = loudness.of(note)
        if dynamic is Dynamic.GHOST and (is_open or note.graces):  # nothing is written so
            dynamic = Dynamic.NORMAL
        if (at, voice) in found:
            notices.append("Of two strokes on one drum at one place the louder is taken.")
        graces = 0 if is_open else note.graces
        found[at, voice] = Stroke(
            at=at, voice=voice, dynamic=dynamic, graces=graces, is_open=is_open
        )
    strokes = tuple(sorted(found.values(), key=lambda stroke: stroke.place))
    return Bar(meter, strokes, divisions(meter, strokes))


def _chosen_bars(
    found: list[Bar], bars: tuple[int, int] | None, is_own: bool, *, notices: list[str]
) -> list[Bar]:
    """The bars that are asked for, or those with notes, once where they come again."""
    if bars is not None:
        first, last = bars
        if not 1 <= first <= last <= len(found):
            raise UserError(f"There are no bars {first} to {last}: it has {len(found)}.")
        return found[first - 1 : last]
    if is_own:
        return found
    with_notes = [number for number, bar in enumerate(found) if bar.strokes]
    first, last = with_notes[0], with_notes[-1]
    if first:
        notices.append(
            f"Its first {counted(first, 'bar')} have no notes: bar 1 is bar {first + 1}."
        )
    found = found[first : last + 1]
    return one_round(found, notices=notices)


def _swing(file: MidiFile) -> WrittenSwing:
    """What the file says of swing, straight where it says nothing, or stands as it sounds."""
    said = next((word.removeprefix(SWING) for word in file.words if word.startswith(SWING)), "")
    percent, _, notes = said.partition(" ")
    by_name = {name: note for note, name in NOTES.items()}
    try:
        found = Fraction(percent)
    except (ValueError, ZeroDivisionError):
        return STRAIGHT
    if SOUNDING in file.words or not 50 <= found <= _MOST_SWING:
        return STRAIGHT
    return WrittenSwing(found, by_name.get(notes, STRAIGHT.note))
