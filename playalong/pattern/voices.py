"""The one table of voices: names, note numbers, staff order, and what folds into what.

Note numbers are those of the General MIDI Level 1 percussion key map (MIDI Manufacturers
Association), and the numbers that electronic kits commonly add for edges and rims: 22, 26, 58,
and 40, 47, 50, 52, 55 in the meaning given here (from memory of the mapping published with the
Groove MIDI Dataset, Gillick et al., ICML 2019).

A voice that folds into another counts as that other, unless the pattern has a line for it: a
cross-stick is a snare hit where the pattern writes no cross-stick.
"""

from collections.abc import Collection
from dataclasses import KW_ONLY, dataclass
from enum import StrEnum


class Limb(StrEnum):
    """Who plays a voice, as is usual (common practice); a hand where the sticking says which."""

    HAT_HAND = "hi-hat hand"
    SNARE_HAND = "snare hand"
    KICK_FOOT = "kick foot"
    HAT_FOOT = "hi-hat foot"
    RIGHT_HAND = "right hand"
    LEFT_HAND = "left hand"


@dataclass(frozen=True, slots=True)
class Voice:
    """One sounding part of the kit.

    ``name`` is the word in pattern files, takes and reports; ``label`` the word on screen;
    ``notes`` its MIDI note numbers, the first being the one that is written (none where no number
    is usual: the pedal tells it, or the kit's own profile); ``staff_line`` its height on the
    five-line staff counted in half spaces from the bottom line, as drum notation usually has it
    (common practice). ``folds_into`` names the voice it counts as where a pattern has no line for
    it. A ``by_itself`` voice may be sounded by the kit or the foot without being meant, and is
    judged only where the pattern has a line for it.
    """

    name: str
    label: str
    notes: tuple[int, ...]
    _: KW_ONLY
    staff_line: int
    limb: Limb
    folds_into: str | None = None
    by_itself: bool = False


_LEAD, _SNARE, _KICK, _HAT = Limb.HAT_HAND, Limb.SNARE_HAND, Limb.KICK_FOOT, Limb.HAT_FOOT

#: All voices in staff order, the highest first.
VOICES: tuple[Voice, ...] = (
    Voice("china", "china", (52,), staff_line=11, limb=_LEAD, folds_into="crash"),
    Voice("splash", "splash", (55,), staff_line=11, limb=_LEAD, folds_into="crash"),
    Voice("crash", "crash", (49, 57), staff_line=10, limb=_LEAD),
    Voice("hi-hat-open", "open hi-hat", (46, 26), staff_line=9, limb=_LEAD, folds_into="hi-hat"),
    Voice(
        "hi-hat-half", "half-open hi-hat", (), staff_line=9, limb=_LEAD, folds_into="hi-hat-open"
    ),
    Voice("hi-hat", "hi-hat", (42, 22), staff_line=9, limb=_LEAD),
    Voice("ride-bell", "ride bell", (53,), staff_line=8, limb=_LEAD, folds_into="ride"),
    Voice("ride", "ride", (51, 59), staff_line=8, limb=_LEAD),
    Voice("cowbell", "cowbell", (56,), staff_line=8, limb=_LEAD),
    Voice("tambourine", "tambourine", (54,), staff_line=8, limb=_LEAD),
    Voice("high-tom", "high tom", (48, 50), staff_line=7, limb=_LEAD),
    Voice("mid-tom", "mid tom", (45, 47), staff_line=6, limb=_LEAD),
    Voice("cross-stick", "cross-stick", (37,), staff_line=5, limb=_SNARE, folds_into="snare"),
    Voice("rim-shot", "rim shot", (40,), staff_line=5, limb=_SNARE, folds_into="snare"),
    Voice("snare", "snare", (38,), staff_line=5, limb=_SNARE),
    Voice("floor-tom", "floor tom", (43, 41, 58), staff_line=3, limb=_LEAD),
    Voice("kick", "kick", (36, 35), staff_line=1, limb=_KICK),
    Voice("hi-hat-pedal", "hi-hat foot", (44,), staff_line=-1, limb=_HAT, by_itself=True),
    Voice(
        "foot-splash",
        "foot splash",
        (),
        staff_line=-1,
        limb=_HAT,
        folds_into="hi-hat-pedal",
        by_itself=True,
    ),
)

BY_NAME: dict[str, Voice] = {voice.name: voice for voice in VOICES}
#: The row of toms, the highest first.
TOMS = ("high-tom", "mid-tom", "floor-tom")
STAFF_ORDER: dict[str, int] = {voice.name: place for place, voice in enumerate(VOICES)}
BY_NOTE: dict[int, Voice] = {note: voice for voice in VOICES for note in voice.notes}


def folded(voice: str, written: Collection[str]) -> str:
    """The voice as which a hit counts, where the pattern has lines for ``written``."""
    while voice not in written:
        into = BY_NAME[voice].folds_into
        if into is None:
            break
        voice = into
    return voice


def is_judged(voice: str, written: Collection[str]) -> bool:
    """Whether a hit of ``voice`` is judged at all in a pattern with lines for ``written``."""
    return folded(voice, written) in written or not BY_NAME[voice].by_itself


def note_of(voice: str) -> int:
    """The note that is written for ``voice``: that of what it folds into where it has none."""
    own = BY_NAME[voice]
    while not own.notes and own.folds_into is not None:
        own = BY_NAME[own.folds_into]
    return own.notes[0]
