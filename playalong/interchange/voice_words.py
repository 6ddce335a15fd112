"""Which voice people mean by the name of an instrument: "Hi-Hat (closed)", "bass drum 1"."""

import re

#: Words that name a voice, in the order in which they are looked for.
_WORDS = (
    ("hi-hat-pedal", r"(?:hi.?hat|hat).*(?:foot|pedal)|(?:foot|pedal).*hat"),
    ("ride-bell", r"ride.*bell|bell.*ride"),
    ("cross-stick", r"cross.?stick|side.?stick|rim.?click|rim.?knock"),
    ("rim-shot", r"rim.?shot"),
    ("hi-hat", r"hi.?hat"),
    ("snare", r"snare"),
    ("kick", r"bass|kick"),
    ("crash", r"crash"),
    ("ride", r"ride"),
    ("splash", r"splash"),
    ("china", r"china"),
    ("cowbell", r"cow.?bell"),
    ("tambourine", r"tambourine"),
    ("floor-tom", r"floor|low.*tom"),
    ("mid-tom", r"mid.*tom|(?:second|2).*tom|tom.*2"),
    ("high-tom", r"tom"),
)


def voice_in(words: str) -> str:
    """The voice that ``words`` name, "" where they name none."""
    said = words.lower()
    return next((voice for voice, sought in _WORDS if re.search(sought, said)), "")
