"""From MIDI messages to hits, as the kit's profile has it.

A note-on is a hit, whatever its channel; velocity 0 is a note-off (MIDI 1.0). Controller 88 just
before it adds to its velocity (CA-031, High Resolution Velocity Prefix, from memory). Controller 4
is where the hi-hat pedal stands: once a channel has told it, it decides whether a stroke on the
hi-hat was open, half open or closed; until then the note number does. Aftertouch is a hand that
chokes a cymbal, and no hit.

The same messages through a new ``Mapper`` with the same pads give the same hits.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from playalong.midi.hits import Hit, Hits, refined
from playalong.midi.messages import (
    CHANNEL_PRESSURE,
    CONTROL_CHANGE,
    FOOT_CONTROLLER,
    HIGHEST,
    KEY_PRESSURE,
    KIND_BITS,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM_CHANGE,
    SYSTEM,
    VELOCITY_PREFIX,
    channel_of,
    kind_of,
    whole,
)
from playalong.midi.pads import Guard, Pads, pad_of
from playalong.pattern.voices import BY_NAME

#: Why a message that might be a hit is none.
DOUBLE_TRIGGER, TOO_SOFT, UNKNOWN_PAD, CHOKE = "double trigger", "too soft", "unknown pad", "choke"

#: How far the pedal is pressed, in words, by the voice that a stroke on the hi-hat then is.
_PRESSED = {"hi-hat": "closed", "hi-hat-half": "half open", "hi-hat-open": "open"}

#: What is said of messages that are no hit, with their values.
_WORDS = {
    NOTE_OFF: "note {} ends",
    NOTE_ON: "note {} ends",
    CONTROL_CHANGE: "controller {}, value {}",
    PROGRAM_CHANGE: "program {}",
    CHANNEL_PRESSURE: "choke",
    PITCH_BEND: "pitch bend",
}

_NO_GUARD = Guard()


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One message, and how it was understood.

    ``time_s`` is when, in the seconds that the ``Mapper`` was given; ``data`` are its bytes.
    ``note``, ``velocity`` and ``voice`` are None where it has none; ``hit`` is None where it is no
    hit, and ``dropped`` then says why one might have thought so: "double trigger", "too soft",
    "unknown pad" or "choke", else "". ``pedal`` is what a stroke on the hi-hat would be from now
    on, where the pedal moved, else "".
    """

    time_s: float
    data: bytes
    note: int | None = None
    velocity: float | None = None
    voice: str | None = None
    hit: Hit | None = None
    dropped: str = ""
    pedal: str = ""

    @property
    def words(self) -> str:
        """The message in a teacher's words, empty where nobody needs to see it: clock, active
        sensing, a module's own messages.
        """
        kind = kind_of(self.data)
        if kind == SYSTEM:
            return ""
        message = whole(self.data)
        if not message:
            return "a message that is not whole"
        channel, values = channel_of(message), message[1:]
        if self.velocity is not None:
            return f"note {values[0]}, velocity {self.velocity:g}, channel {channel}"
        if self.pedal:
            return f"pedal {values[1]}: {_PRESSED[self.pedal]}"
        if kind == KEY_PRESSURE:
            pad = f"the {BY_NAME[self.voice].label}" if self.voice else f"note {values[0]}"
            return f"choke of {pad}" if values[1] else f"{pad} let go"
        return f"{_WORDS[kind].format(*values)}, channel {channel}"

    @property
    def unguarded(self) -> Hit | None:
        """The hit that it would be if no pad had a guard."""
        if self.voice is None or self.velocity is None:
            return None
        return Hit(self.time_s, self.voice, self.velocity)


class Mapper:
    """Turns the messages of one port into hits; ``unknown`` counts notes of no known voice.

    Every message goes through ``hit`` or ``heard``, in order, and through one of them only: what
    came before decides what it means.
    """

    def __init__(self, pads: Pads | None = None) -> None:
        """``pads`` say what the notes mean; by default the one table of voices."""
        pads = pads or Pads()
        self.unknown: Counter[int] = Counter()
        self._voices = [pads.voice(note) for note in range(HIGHEST + 1)]
        self._by_pedal = [pads.pedal.voice(value) for value in range(HIGHEST + 1)]
        self._guards = {
            voice: (pad_of(voice), guard)
            for voice in BY_NAME
            if (guard := pads.guard(voice)) != _NO_GUARD
        }
        #: Of each pad with a guard, the last hit.
        self._last: dict[str, Hit] = {}
        self._fine: dict[int, int] = {}
        #: By channel, what a stroke on the hi-hat is as the pedal stands.
        self._hat: dict[int, str] = {}

    def hit(self, time_s: float, data: bytes) -> Hit | None:
        """The hit that a message means, if it means one."""
        if len(data) < 3 or (data[1] | data[2]) > HIGHEST:
            return None
        kind = data[0] & KIND_BITS
        if kind == NOTE_ON and data[2]:
            return self._struck(time_s, channel_of(data), data[1], value=data[2])[1]
        if kind == CONTROL_CHANGE:
            self._turned(channel_of(data), data[1], data[2])
        return None

    def heard(self, time_s: float, data: bytes) -> Heard:
        """What a message says, and the hit that it means, if it means one."""
        kind, message = kind_of(data), whole(data)
        if not message:
            return Heard(time_s=time_s, data=data)
        channel, values = channel_of(message), message[1:]
        if kind == NOTE_ON and values[1]:
            velocity, hit, dropped = self._struck(time_s, channel, values[0], value=values[1])
            voice = self._voice(channel, values[0])
            return Heard(
                time_s=time_s,
                data=data,
                note=values[0],
                velocity=velocity,
                voice=voice,
                hit=hit,
                dropped=dropped,
            )
        if kind == CONTROL_CHANGE:
            self._turned(channel, *values)
            if values[0] == FOOT_CONTROLLER:
                return Heard(time_s=time_s, data=data, pedal=self._hat[channel])
        if kind == KEY_PRESSURE:
            voice = self._voices[values[0]]
            return Heard(time_s=time_s, data=data, note=values[0], voice=voice, dropped=CHOKE)
        return Heard(time_s=time_s, data=data, dropped=CHOKE if kind == CHANNEL_PRESSURE else "")

    def _voice(self, channel: int, note: int) -> str | None:
        voice = self._voices[note]
        return self._hat.get(channel, voice) if voice in _PRESSED else voice

    def _turned(self, channel: int, controller: int, value: int) -> None:
        if controller == FOOT_CONTROLLER:
            self._hat[channel] = self._by_pedal[value]
        elif controller == VELOCITY_PREFIX:
            self._fine[channel] = value

    def _struck(
        self, time_s: float, channel: int, note: int, *, value: int
    ) -> tuple[float, Hit | None, str]:
        """The velocity of a note-on, the hit that it is, and why it is none."""
        more = self._fine.pop(channel, 0) if self._fine else 0
        velocity = refined(value, more)
        voice = self._voice(channel, note)
        if voice is None:
            self.unknown[note] += 1
            return velocity, None, UNKNOWN_PAD
        hit = Hit(time_s, voice, velocity)
        if voice in self._guards:
            pad, guard = self._guards[voice]
            if velocity < guard.threshold:
                return velocity, None, TOO_SOFT
            last = self._last.get(pad)
            if (
                last is not None
                and velocity <= last.velocity
                and (time_s - last.time_s) * 1000.0 < guard.mask_ms
            ):
                return velocity, None, DOUBLE_TRIGGER
            self._last[pad] = hit
        return velocity, hit, ""


def hits_of(
    messages: Iterable[tuple[float, bytes]], pads: Pads | None = None, start_s: float = 0.0
) -> tuple[Hits, Counter[int]]:
    """The hits of kept messages, and how many notes of no known voice there are by number.

    Times are counted from ``start_s``, as they were while the take was played.
    """
    mapper = Mapper(pads)
    hits = (mapper.hit(time_s - start_s, data) for time_s, data in messages)
    return Hits.of(hit for hit in hits if hit is not None), mapper.unknown
