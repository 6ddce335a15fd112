"""How a pattern stands in a Standard MIDI File (1.0, RP-001): what both ways have in common.

=================  =============================================================================
a stroke           a note of the General MIDI percussion key map on channel 10
its dynamic        its velocity: ``VELOCITIES``
an open hi-hat     note 46
a flam, a drag     one or two softer notes ``targets.GRACE_S`` apart before the stroke
a roll             the notes that it is made of, those of a buzz ``targets.BUZZ_S`` apart
a bar              a marker "bar 1" where it begins
meter and tempo    meta events; the words of the meter, where they say more than the numbers, a text
swing              a text; the notes stand as written, or as they sound where that is asked for
the title          the name of the first track
=================  =============================================================================

What the format has no place for is told (``left_out``): variations, stickings, optional strokes,
chunks and what is asked of a lesson; and voices that have no note of their own.
"""

from playalong.interchange.left_out import left_out
from playalong.pattern.meter import Meter
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.voices import BY_NAME

#: How the letters of texts are written; what cannot be read so is Latin-1, as the standard has it.
CHARSET = "utf-8"

#: Channel 10 of those that people count from 1.
DRUMS = 9

#: How loud each dynamic is: in the middle of its range in the usual sounds (our own choice).
VELOCITIES = {Dynamic.GHOST: 30, Dynamic.NORMAL: 80, Dynamic.ACCENT: 115}

#: A grace stroke, which is softer than its main stroke.
GRACE_VELOCITY = 45

#: Texts of files that this program wrote begin so.
MARK = "playalong: "
SWING, METER, SOUNDING = "swing ", "meter ", "as it sounds"

#: A marker at a bar line, with its number.
BAR = "bar "


def has_own_words(meter: Meter) -> bool:
    """Whether a meter says more than the numbers of a time signature can."""
    plain = Meter.parse(f"{sum(meter.groups)}/{meter.denominator}")
    return plain != meter


def not_carried(pattern: Pattern) -> list[str]:
    """What of a pattern the format has no place for, in words."""
    strokes = [stroke for bar in pattern.bars for stroke in bar.strokes]
    unnamed = dict.fromkeys(BY_NAME[s.voice].label for s in strokes if not BY_NAME[s.voice].notes)
    notices = [f"{label} becomes the note of what is nearest" for label in unnamed]
    if any(stroke.hand for stroke in strokes):
        notices.append("stickings are left out")
    return notices + left_out(pattern)
