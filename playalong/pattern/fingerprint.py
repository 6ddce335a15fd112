"""A fingerprint of what a pattern asks to be played.

Two files have the same one exactly if they mean the same to a player: the same bars, strokes,
tempo, swing and variations. How they are written down makes no difference (spaces, comments, the
order of lines, a finer grid), nor what they are called, what they say about themselves, or how
they are to be learned (title, about, chunks, practice).
"""

from collections.abc import Iterable
from hashlib import sha256
from json import dumps
from typing import Any

from playalong.pattern.meter import Meter
from playalong.pattern.model import Pattern, Stroke

#: Hexadecimal digits: 64 bits, so that among a million patterns two of one fingerprint are to be
#: expected in one case of 30 million.
DIGITS = 16

#: Part of what is hashed: a later way to hash must not be taken for this one.
_KIND = "playalong pattern 1"


#: Where a pattern, which never changes, keeps its fingerprint once it is known.
_CACHED_AS = "_fingerprint"


def pattern_id(pattern: Pattern) -> str:
    """The fingerprint: ``DIGITS`` lower-case hexadecimal digits."""
    attributes = vars(pattern)
    if _CACHED_AS not in attributes:
        attributes[_CACHED_AS] = _fingerprint(pattern)
    return str(attributes[_CACHED_AS])


def _fingerprint(pattern: Pattern) -> str:
    meaning = [
        _KIND,
        _meter(pattern.meter),
        float(pattern.tempo),
        str(pattern.swing),
        [[_meter(bar.meter), _strokes(bar.strokes)] for bar in pattern.bars],
        sorted(
            [
                name,
                sorted(
                    [
                        change.bar,
                        _strokes(change.added),
                        sorted([str(at), voice] for at, voice in change.taken),
                    ]
                    for change in variation.changes
                ),
            ]
            for name, variation in pattern.variations.items()
        ),
    ]
    return sha256(dumps(meaning, separators=(",", ":")).encode()).hexdigest()[:DIGITS]


def _meter(meter: Meter) -> list[Any]:
    """Groups and unit: "4/4" and "1+1+1+1/4" are the same."""
    return [list(meter.groups), meter.denominator]


def _strokes(strokes: Iterable[Stroke]) -> list[Any]:
    return [
        [
            str(stroke.at),
            stroke.voice,
            stroke.dynamic,
            stroke.optional,
            stroke.graces,
            stroke.is_open,
            stroke.hand or "",
            *([str(stroke.roll.length), stroke.roll.strokes] if stroke.roll else []),
        ]
        for stroke in sorted(strokes, key=lambda one: one.place)
    ]
