"""From MIDI messages to hits, by the one table of voices.

A note-on is a hit, whatever its channel; velocity 0 is a note-off (MIDI 1.0). Controller 88 just
before it adds to its velocity (CA-031, High Resolution Velocity Prefix, from memory).
"""

from collections import Counter

from playalong.grading.hits import Hit, refined
from playalong.pattern.kit import BY_NOTE

_NOTE_ON, _CONTROL = 0x90, 0xB0
_FINE_VELOCITY = 88


class Mapper:
    """Turns the messages of one port into hits; ``unknown`` counts notes of no known voice."""

    def __init__(self) -> None:
        self.unknown: Counter[int] = Counter()
        self._fine: dict[int, int] = {}

    def hit(self, time_s: float, data: bytes) -> Hit | None:
        """The hit that a message means, if it means one."""
        if len(data) < 3:
            return None
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == _CONTROL and data[1] == _FINE_VELOCITY:
            self._fine[channel] = data[2]
        if kind != _NOTE_ON or not data[2]:
            return None
        velocity = refined(data[2], self._fine.pop(channel, 0))
        voice = BY_NOTE.get(data[1])
        if voice is None:
            self.unknown[data[1]] += 1
            return None
        return Hit(time_s, voice.name, velocity)
