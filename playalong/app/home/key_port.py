"""Where there is no kit at hand, the computer's keys are pads.

The keys are those that no page asks for anything else. Shift makes an accent. A key says nothing
of loudness, and a keyboard is late by its own measure: it is for trying things out.
"""

from collections.abc import Callable

from playalong.midi.messages import PERCUSSION_CHANNEL, note_on
from playalong.midi.port import Arrival
from playalong.pattern.voices import note_of
from playalong.screen.base.window import Window

#: What each key strikes, and how hard (velocity 1 to 127).
KEYS: dict[str, tuple[str, int]] = {
    " ": ("kick", 90),
    "c": ("snare", 90),
    "x": ("snare", 24),
    "j": ("hi-hat", 85),
    "i": ("hi-hat-open", 85),
    "z": ("ride", 85),
    "q": ("crash", 100),
    "v": ("high-tom", 90),
    "g": ("mid-tom", 90),
    "r": ("floor-tom", 90),
}
_ACCENT = 118

#: Said where keys are pads.
WORDS = "No kit: space kick, C snare (X soft), J hi-hat, Z ride, V G R toms, Q crash"


class KeyPort:
    """The keys of ``window`` as a port; see ``midi.port.Port``. ``now`` is the program's clock."""

    name = "the computer's keys"

    def __init__(self, window: Window, now: Callable[[], float]) -> None:
        self._window, self._now = window, now
        window.listen_for_strokes()

    def poll(self) -> list[Arrival]:
        """What was typed since the last call, as strokes."""
        now_s = self._now()
        return [
            Arrival(stamp_s=now_s, arrival_s=now_s, data=message)
            for letter in self._window.strokes()
            if (message := _message(letter)) is not None
        ]

    def is_there(self) -> bool:
        """Always."""
        return True

    def reopen(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""


def _message(letter: str) -> bytes | None:
    struck = KEYS.get(letter.lower())
    if struck is None:
        return None
    voice, velocity = struck
    accented = letter.isupper()
    return note_on(PERCUSSION_CHANNEL, note_of(voice), _ACCENT if accented else velocity)
