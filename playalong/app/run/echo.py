"""The player's pads sounding through the program, for kits without a module."""

from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.midi.messages import CHANNEL_PRESSURE, KEY_PRESSURE, kind_of
from playalong.midi.pads import Pads
from playalong.pattern.voices import BY_NAME
from playalong.sound.device.output import Output
from playalong.sound.synth.drums import warm
from playalong.sound.synth.notes import HATS, RINGING_HATS, Note, one_cymbal
from playalong.sound.timeline import RATE, Placed

_CYMBALS = frozenset({"crash", "ride", "ride-bell", "china", "splash"})


class Echo:
    """Sounds every hit a constant time after its stroke; a closed hi-hat and a hand end what rings.

    ``origin_s`` is when, on the clock, second 0 of the hits was at the pads.
    """

    def __init__(self, output: Output, pads: Pads, origin_s: float) -> None:
        self._output, self._pads, self._origin_s = output, pads, origin_s
        self._ringing: dict[str, Placed] = {}
        self._number = 0
        warm(BY_NAME, RATE)  # nothing is made while it sounds

    def received(self, message: Heard) -> None:
        """Sound what a message means, if it means anything to be heard."""
        self._choke(message.data)
        if message.hit is not None:
            self._sound(message.hit)

    def _sound(self, hit: Hit) -> None:
        if hit.voice in HATS:
            self._end(RINGING_HATS)
        self._number += 1
        note = Note(time_s=0.0, voice=hit.voice, velocity=hit.velocity, variant=self._number)
        placed = self._output.answer(self._origin_s + hit.time_s, note)
        if hit.voice in RINGING_HATS or hit.voice in _CYMBALS:
            self._ringing[hit.voice] = placed

    def _choke(self, data: bytes) -> None:
        """A hand on a cymbal ends it."""
        kind = kind_of(data)
        if kind == KEY_PRESSURE and len(data) > 2 and data[2]:
            self._end(one_cymbal(self._pads.voice(data[1]) or ""))
        elif kind == CHANNEL_PRESSURE and len(data) > 1 and data[1]:
            self._end(_CYMBALS)

    def _end(self, voices: frozenset[str]) -> None:
        for voice in voices & self._ringing.keys():
            self._output.fade(self._ringing.pop(voice))
