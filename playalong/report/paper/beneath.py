"""What stands under a line of music: the count as it is spoken, and the hands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from playalong.report.paper.letters import width
from playalong.report.paper.piece import Piece, Place, Words

#: In millimetres: from the music to the count, from there to the hands, and between two words.
_COUNT, _HANDS, _APART = 5.2, 4.6, 0.5

#: Sizes in points.
_BEAT, _PART, _HAND = 9.5, 8.0, 8.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A place of the count: what is said, whether it is a beat, whether anything is struck there,
    and the hand ("R", "L") that strikes.
    """

    place: Place
    words: str
    is_beat: bool
    is_struck: bool
    hand: str = ""


def with_count(piece: Piece, count: Sequence[Said], lengths: Mapping[int, Fraction]) -> Piece:
    """The piece with the count under it: beats and what is struck first, and what else has room."""
    placed = [(said, x) for said in count if (x := piece.x_at(said.place, lengths)) is not None]
    if not placed:
        return piece
    base, words, taken = _COUNT, list[Words](), list[tuple[float, float]]()
    for said, x in sorted(placed, key=lambda one: (not one[0].is_beat, not one[0].is_struck)):
        size = _BEAT if said.is_beat else _PART
        half = width(said.words, size, said.is_beat) / 2
        x = max(x, half)  # nothing begins left of the music
        left, right = x - half - _APART, x + half + _APART
        if said.words and not any(left < end and start < right for start, end in taken):
            taken.append((left, right))
            words.append(
                Words(
                    x=x,
                    y=base,
                    text=said.words,
                    size=size,
                    bold=said.is_beat,
                    is_quiet=not said.is_struck,
                    align=0.5,
                )
            )
    hands = [(said.hand, x) for said, x in placed if said.hand]
    if hands:
        base += _HANDS
        words += [Words(x=x, y=base, text=hand, size=_HAND, align=0.5) for hand, x in hands]
    return replace(piece, under=words, depth=base + 1.0)
