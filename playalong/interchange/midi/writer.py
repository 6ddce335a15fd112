"""A pattern as a Standard MIDI File that any sequencer opens: see ``form``."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from io import BytesIO
from itertools import pairwise
from math import lcm
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
    has_own_words,
)
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.targets import BUZZ_S, GRACE_S, Place, sounding
from playalong.pattern.voices import note_of
from playalong.support.errors import UserError

#: Ticks to a quarter note: as many as sequencers like, times what the pattern's grid needs, and the
#: most that the header of a file has room for.
_TICKS, _MOST_TICKS = 480, 32_767

#: A note lasts so long, in whole notes, where the next of its kind does not come sooner.
_LONG = Fraction(1, 32)

#: What the longest tempo of the format is, in microseconds to a quarter note.
_SLOWEST_US = 2**24 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Event:
    """Something at a tick; ``order`` says what comes first of what falls together."""

    tick: int
    order: int
    message: Any
    number: int = 0


def write(
    pattern: Pattern,
    *,
    tempo_bpm: float | None = None,
    bars: int | None = None,
    variations: Sequence[str] = (),
    as_it_sounds: bool = False,
) -> bytes:
    """The file of ``bars`` bars (by default the pattern once), over and over from bar 1.

    ``tempo_bpm`` counts the beats of the pattern's meter. UserError for a variation that the
    pattern does not have, or a tempo that the format has no room for.
    """
    for name in variations:
        if name not in pattern.variations:
            known = ", ".join(pattern.variations) or "none"
            raise UserError(f'"{pattern.title}" has no variation "{name}"; it has: {known}')
    round_ = pattern.with_variations(variations)
    count = len(round_) if bars is None else bars
    played = [round_[number % len(round_)] for number in range(count)]
    # A grace stroke before the first bar line needs a bar to stand in.
    needs_room = any(stroke.graces and not stroke.at for stroke in played[0].strokes)
    before = played[0].meter.length if needs_room else Fraction(0)
    swing = "" if pattern.swing.is_straight else str(pattern.swing)
    sounds = replace(pattern, bars=round_) if as_it_sounds else None
    bpm = (tempo_bpm or pattern.tempo) * float(pattern.meter.unit) * 4
    tempo_us = round(60e6 / bpm)
    if not 1 <= tempo_us <= _SLOWEST_US:
        raise UserError(f"{bpm:g} quarter notes a minute is no tempo that a MIDI file can have.")
    whole = 4 * _ticks_of(played)
    grace = max(1, round(GRACE_S * bpm / 240.0 * whole))
    file = mido.MidiFile(type=1, ticks_per_beat=whole // 4, charset=CHARSET)
    heads = list(_heads(played, whole, before, swing=swing, sounds=sounds is not None))
    heads.append(_Event(tick=0, order=0, message=mido.MetaMessage("set_tempo", tempo=tempo_us)))
    buzz = BUZZ_S * bpm / 240.0 * whole
    notes = list(_notes(played, whole, grace, buzz=buzz, begin=before, sounds=sounds))
    end = sum((bar.meter.length for bar in played), before) * whole
    file.tracks.append(_track(pattern.title, heads, int(end)))
    file.tracks.append(_track("drums", notes, int(end)))
    data = BytesIO()
    file.save(file=data)
    return data.getvalue()


def _ticks_of(bars: Sequence[Bar]) -> int:
    """So many ticks to a quarter note that every place is a whole one, if there is room."""
    parts = lcm(*(stroke.at.denominator for bar in bars for stroke in bar.strokes), 4)
    exact = lcm(_TICKS, lcm(parts, 4) // 4)
    return exact if exact <= _MOST_TICKS else _TICKS * (_MOST_TICKS // _TICKS)


def _heads(
    bars: Sequence[Bar], whole: int, begin: Fraction, *, swing: str, sounds: bool
) -> Iterator[_Event]:
    """Markers, meters and texts."""
    at, before = begin, None
    words = [f"{MARK}pattern"]
    if swing:
        words.append(f"{MARK}{SWING}{swing}")
    if swing and sounds:
        words.append(f"{MARK}{SOUNDING}")
    for number, text in enumerate(words):
        message = mido.MetaMessage("text", text=text)
        yield _Event(tick=0, order=2, number=number, message=message)
    for number, bar in enumerate(bars, 1):
        tick = int(at * whole) if number > 1 else 0
        if bar.meter != before:
            before, (over, under) = bar.meter, (sum(bar.meter.groups), bar.meter.denominator)
            message = mido.MetaMessage("time_signature", numerator=over, denominator=under)
            yield _Event(tick=tick, order=1, message=message)
            if has_own_words(bar.meter):
                text = f"{MARK}{METER}{bar.meter.written}"
                message = mido.MetaMessage("text", text=text)
                yield _Event(tick=tick, order=3, message=message)
        marker = mido.MetaMessage("marker", text=f"{BAR}{number}")
        yield _Event(tick=int(at * whole), order=4, message=marker)
        at += bar.meter.length


def _notes(
    bars: Sequence[Bar],
    whole: int,
    grace: int,
    *,
    buzz: float,
    begin: Fraction,
    sounds: Pattern | None,
) -> Iterator[_Event]:
    """Notes on and off; ``grace`` is how far a grace stroke is ahead, in ticks, and ``buzz`` how
    far apart the strokes of a buzz are.
    """
    struck: dict[int, list[tuple[int, int]]] = {}
    for number, bar in enumerate(bars):
        for stroke in bar.strokes:
            at = stroke.at
            if sounds is not None:
                at = sounding(bar, Place(number % len(sounds.bars), stroke), sounds.swing)
            tick = round((begin + at) * whole)
            note = note_of("hi-hat-open" if stroke.is_open else stroke.voice)
            own = struck.setdefault(note, [])
            room = tick - own[-1][0] if own else tick  # they stay behind the stroke before
            apart = max(1, min(grace, room // (stroke.graces + 1)))
            for ahead in range(stroke.graces, 0, -1):
                own.append((max(0, tick - ahead * apart), GRACE_VELOCITY))
            own.append((tick, VELOCITIES[stroke.dynamic]))
            own += _bounces(stroke, tick, whole, buzz=buzz)
        begin += bar.meter.length
    long = int(_LONG * whole)
    for note, own in struck.items():
        own.sort()
        ends = [min(tick + long, later) for (tick, _), (later, _) in pairwise(own)]
        for (tick, velocity), end in zip(own, [*ends, own[-1][0] + long], strict=True):
            shared = {"channel": DRUMS, "note": note}
            on = mido.Message("note_on", velocity=velocity, **shared)
            off = mido.Message("note_off", **shared)
            yield _Event(tick=tick, order=6, number=note, message=on)
            last = max(tick + 1, min(end, int(begin * whole)))  # not beyond the last bar line
            yield _Event(tick=last, order=5, number=note, message=off)


def _bounces(stroke: Stroke, tick: int, whole: int, *, buzz: float) -> list[tuple[int, int]]:
    """The strokes that a roll goes on with; ``buzz`` is the ticks between those of a buzz."""
    if stroke.roll is None:
        return []
    lasts = float(stroke.roll.length * whole)
    count = max(stroke.roll.strokes or round(lasts / buzz), 1)
    velocity = VELOCITIES[Dynamic.NORMAL if stroke.roll.strokes else Dynamic.GHOST]
    return [(tick + round(place * lasts / count), velocity) for place in range(1, count)]


def _track(name: str, events: list[_Event], end: int) -> Any:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=name))
    now = 0
    for event in sorted(events, key=lambda one: (one.tick, one.order, one.number)):
        track.append(event.message.copy(time=event.tick - now))
        now = event.tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track
