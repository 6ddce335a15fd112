"""How a pattern stands in MusicXML 4.0 (W3C Music Notation Community Group, final report of 2021):
what both ways have in common.

=================  =============================================================================
a voice            an instrument of one part "Drum set": its name, its General MIDI note
a stroke           an unpitched note at the voice's height, with the usual head: an x for cymbals
dynamics           a ghost note has its head in parentheses, an accent its mark
an open hi-hat     an instrument of its own, and the mark "open"
a flam, a drag     one or two slashed grace notes before the stroke
a roll             the tremolo of its first stroke, unmeasured for a buzz; not how long it lasts
a hand             a lyric, R or L (other programs: a fingering)
swing              the element of that name
hands and feet     two voices of the staff, stems up and down
=================  =============================================================================
"""

from playalong.interchange.left_out import left_out
from playalong.pattern.meter import Meter
from playalong.pattern.model import Pattern
from playalong.pattern.voices import BY_NAME, Limb

VERSION, PROGRAM = "4.0", "playalong"

#: The middle of the heads, by voice; all others are ordinary.
HEADS = dict.fromkeys(
    ("hi-hat", "hi-hat-half", "ride", "crash", "splash", "china", "cross-stick", "hi-hat-pedal"),
    "x",
) | {
    "hi-hat-open": "circle-x",
    "foot-splash": "circle-x",
    "ride-bell": "diamond",
    "cowbell": "triangle",
    "tambourine": "triangle",
    "rim-shot": "slashed",
}

#: The steps of the staff: half spaces from its bottom line, which is E4 under a percussion clef.
STEPS = "CDEFGAB"
BOTTOM = 4 * len(STEPS) + STEPS.index("E")

FEET = (Limb.KICK_FOOT, Limb.HAT_FOOT)

#: Note types by their length, as a power of two: 0 is a whole note.
TYPES = ("whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th")


def not_carried(pattern: Pattern) -> list[str]:
    """What of a pattern is not written, in words."""
    signature = f"{sum(pattern.meter.groups)}/{pattern.meter.denominator}"
    notices = []
    if len(set(pattern.meter.groups)) == 1 and Meter.parse(signature) != pattern.meter:
        notices.append(f"{signature} is written, not in how many it is counted")
    return notices + left_out(pattern)


def is_foot(voice: str) -> bool:
    """Whether a foot plays it."""
    return BY_NAME[voice].limb in FEET
