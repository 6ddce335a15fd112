"""The click on the kit's own module, for those whose computer sound comes late."""

import time
from collections.abc import Sequence

from playalong.midi.messages import note_off, note_on
from playalong.midi_io.outputs import Sending, open_output
from playalong.sound.device.output import FADE_S, Output, Sound
from playalong.sound.mix import Mix, Part
from playalong.sound.synth.click import CHANNEL, Click, midi
from playalong.sound.timeline import QUIET_DB, Placed
from playalong.sound.voice import Word

#: How long a note of the click lasts.
_HELD_S = 0.05


class KitClick:
    """An output whose clicks go to the kit as notes; everything else to another output.

    The level of the sound, and of the click in it, are that of the notes' velocity. It is moved
    for what is scheduled after that.
    """

    def __init__(self, output: Output, port: str) -> None:
        """``port`` is the MIDI output, by a part of its name; PortError where there is none."""
        self._output = output
        self.silent = False
        self.notice = "the click is on the kit"
        self._sending = Sending(open_output(port), time.perf_counter, time.sleep)

    @property
    def level_db(self) -> float:
        """The level of the computer's own sound."""
        return self._output.level_db

    @level_db.setter
    def level_db(self, level_db: float) -> None:
        self._output.level_db = level_db

    @property
    def mix(self) -> Mix:
        """Click, drums and recording; the click moves the velocity of the kit's notes."""
        return self._output.mix

    @mix.setter
    def mix(self, mix: Mix) -> None:
        self._output.mix = mix

    @property
    def latency_s(self) -> float:
        """That of the computer's own sound."""
        return self._output.latency_s

    def louder(self) -> None:
        """One step up."""
        self._output.louder()

    def softer(self) -> None:
        """One step down."""
        self._output.softer()

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Clicks go to the kit, the rest is heard here; a module has no voice: sticks count."""
        clicks = [one.click if isinstance(one, Word) else one for one in sounds]
        sounds = [one for one in clicks if not isinstance(one, Click)]
        self._output.schedule(start_s, sounds)
        click_db = self._output.level_db - QUIET_DB + self.mix.of(Part.CLICK)
        self._sending.schedule(
            [
                message
                for one in clicks
                if isinstance(one, Click)
                for message in _messages(start_s + one.time_s, one, click_db)
            ]
        )

    def now(self, sound: Sound) -> Placed:
        """As the other output does."""
        return self._output.now(sound)

    @property
    def answer_s(self) -> float:
        """That of the other output."""
        return self._output.answer_s

    def answer(self, struck_s: float, sound: Sound) -> Placed:
        """As the other output does."""
        return self._output.answer(struck_s, sound)

    def fade(self, sound: Placed, seconds: float = FADE_S) -> None:
        """As the other output does."""
        self._output.fade(sound, seconds)

    def tend(self) -> None:
        """As the other output does."""
        self._output.tend()

    def clear(self) -> None:
        """Take away all that has not begun to sound."""
        self._output.clear()
        self._sending.clear()

    def close(self) -> None:
        """Let go of both."""
        self._sending.close()
        self._output.close()


def _messages(at_s: float, click: Click, louder_db: float) -> list[tuple[float, bytes]]:
    """A click's note, by so many decibel louder than at the level at which the sound starts."""
    note, velocity = midi(click.kind)
    return [
        (at_s, note_on(CHANNEL, note, moved_velocity(velocity, louder_db))),
        (at_s + _HELD_S, note_off(CHANNEL, note)),
    ]


def moved_velocity(velocity: int, louder_db: float) -> int:
    """A velocity so many decibel louder, 1 to 127, by the square law of the Downloadable Sounds
    specification."""
    return min(max(round(velocity * float(10.0 ** (louder_db / 40.0))), 1), 127)
