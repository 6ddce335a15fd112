"""Drum tab, as people post it: a line of text for each voice, a column for each step.

    Title: Late Bus Home
    Time: 4/4   Tempo: 84
       1 e & a 2 e & a 3 e & a 4 e & a
    HH|x---x---x---x---|
    SD|----O-------O---|
    BD|o-----o-o-------|

There is no standard. The letters of voices and strokes below are those that are met most often
(common practice); a legend in the file goes before them. Columns of a bar are even parts of it.
"""

from dataclasses import dataclass

from playalong.interchange.left_out import left_out
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.voices import BY_NAME

#: The letters of a voice; the first are those that are written. Capitals do not matter.
LETTERS: dict[str, tuple[str, ...]] = {
    "hi-hat": ("HH", "H", "HI", "HC", "HHC", "CH"),
    "hi-hat-pedal": ("HF", "FH", "HP", "PH", "LH"),
    "hi-hat-open": ("OH", "HO", "HHO"),
    "snare": ("SD", "S", "SN", "SNR"),
    "kick": ("BD", "B", "K", "KD", "BS"),
    "crash": ("CC", "C", "CR", "C1", "C2", "CRASH"),
    "ride": ("RD", "R", "RC", "RI", "RIDE"),
    "ride-bell": ("RB", "BE"),
    "splash": ("SC", "SP"),
    "china": ("CN", "CHI", "CHINA"),
    "high-tom": ("T1", "HT", "TH", "T"),
    "mid-tom": ("T2", "MT", "TM"),
    "floor-tom": ("FT", "F", "T3", "T4", "LT", "FT1"),
    "cross-stick": ("SS", "XS", "CS", "RK"),
    "rim-shot": ("RS",),
    "cowbell": ("CB", "COW"),
    "tambourine": ("TB", "TA"),
    "foot-splash": ("FS",),
}
VOICE_OF = {letters: voice for voice, known in LETTERS.items() for letters in known}

#: The line of stickings.
STICKING = ("ST", "RL", "LR")

#: What is struck with a stick and rings: its plain stroke is an x. Of all else it is an o.
CYMBALS = frozenset(
    {"hi-hat", "hi-hat-open", "crash", "ride", "ride-bell", "splash", "china"}
    | {"cross-stick", "rim-shot", "cowbell", "tambourine", "hi-hat-pedal", "foot-splash"}
)

RESTS = "-. _"
BAR_LINE = "|"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What a character stands for; ``voice`` where it is another than that of its line."""

    dynamic: Dynamic = Dynamic.NORMAL
    graces: int = 0
    is_open: bool = False
    voice: str = ""


_ACCENT, _GHOST = Dynamic.ACCENT, Dynamic.GHOST

#: The strokes of any line.
MARKS: dict[str, Mark] = {
    "x": Mark(),
    "o": Mark(),
    "X": Mark(dynamic=_ACCENT),
    "O": Mark(dynamic=_ACCENT),
    "g": Mark(dynamic=_GHOST),
    "f": Mark(graces=1),
    "F": Mark(dynamic=_ACCENT, graces=1),
    "d": Mark(graces=2),
    "D": Mark(dynamic=_ACCENT, graces=2),
}

#: Those that mean something of their own on the lines of some voices.
OWN_MARKS: dict[str, dict[str, Mark]] = {
    "hi-hat": {
        "o": Mark(is_open=True),
        "O": Mark(dynamic=_ACCENT, is_open=True),
        "+": Mark(),
        "p": Mark(voice="hi-hat-pedal"),
    },
    "ride": {"b": Mark(voice="ride-bell"), "B": Mark(dynamic=_ACCENT, voice="ride-bell")},
    "crash": {"#": Mark()},
    "snare": {
        "@": Mark(voice="cross-stick"),
        "c": Mark(voice="cross-stick"),
        "r": Mark(voice="rim-shot"),
        "R": Mark(dynamic=_ACCENT, voice="rim-shot"),
    },
}

#: More columns to a bar than this nobody reads.
MOST_COLUMNS = 384


def not_carried(pattern: Pattern) -> list[str]:
    """What of a pattern drum tab has no place for, in words."""
    strokes = [stroke for bar in pattern.bars for stroke in bar.strokes]
    nameless = dict.fromkeys(s.voice for s in strokes if s.voice not in LETTERS)
    notices = [f"{BY_NAME[voice].label} has no letters, and is left out" for voice in nameless]
    return notices + left_out(pattern)
