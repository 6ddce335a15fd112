"""What was unsure or left out, to be taken or dropped; the pattern as it is then."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from playalong.capture.understanding import Captured, Stray
from playalong.pattern.model import Bar, Pattern, Stroke, divisions
from playalong.pattern.voices import BY_NAME


class State(StrEnum):
    """What becomes of a stroke."""

    TAKEN = "taken"
    OPTIONAL = "optional"
    LEFT_OUT = "left out"


@dataclass(frozen=True, kw_only=True)
class Item:
    """A stroke that is to be looked at: its bar of the pattern (0 is the first), the stroke, in how
    many of how many rounds it came, what is unsure of it (``understanding``), and how it stands."""

    bar: int
    stroke: Stroke
    came: int
    rounds: int
    doubts: tuple[str, ...]
    state: State

    @property
    def key(self) -> tuple[int, Fraction, str]:
        """Where it is: bar, position, voice."""
        return self.bar, self.stroke.at, self.stroke.voice


def items(captured: Captured) -> list[Item]:
    """What is unsure, in the order of the pattern; then what was left out, the commonest first."""
    unsure = [
        Item(
            bar=one.bar,
            stroke=one.stroke,
            came=one.came,
            rounds=one.rounds,
            doubts=one.doubts,
            state=State.OPTIONAL if one.stroke.optional else State.TAKEN,
        )
        for one in captured.strokes
        if one.doubts
    ]
    return unsure + _left_out(captured)


def _left_out(captured: Captured) -> list[Item]:
    bars = captured.pattern.bars
    rounds = [len(range(bar, captured.bars_played, len(bars))) for bar in range(len(bars))]
    places: dict[tuple[int, Fraction, str], list[Stray]] = defaultdict(list)
    for stray in captured.strays:
        if 1 <= stray.bar <= captured.bars_played:
            bar = (stray.bar - 1) % len(bars)
            if not any(
                one.at == stray.at and one.voice == stray.voice for one in bars[bar].strokes
            ):
                places[bar, stray.at, stray.voice].append(stray)
    found = [
        Item(
            bar=bar,
            stroke=Stroke(at=at, voice=voice),
            came=len({stray.bar for stray in strays}),
            rounds=rounds[bar],
            doubts=(),
            state=State.LEFT_OUT,
        )
        for (bar, at, voice), strays in places.items()
    ]
    return sorted(found, key=lambda one: (-one.came, one.key))


def changed(item: Item, step: int) -> Item:
    """The item one state on, or back."""
    states = list(State)
    return replace(item, state=states[(states.index(item.state) + step) % len(states)])


def picked(pattern: Pattern, chosen: Iterable[Item]) -> Pattern:
    """The pattern with each item as it stands."""
    of_bar: Mapping[int, list[Item]] = defaultdict(list)
    for item in chosen:
        of_bar[item.bar].append(item)
    bars = []
    for number, bar in enumerate(pattern.bars):
        own = {(item.stroke.at, item.stroke.voice): item for item in of_bar[number]}
        strokes = [one for one in bar.strokes if (one.at, one.voice) not in own]
        strokes += [
            replace(item.stroke, optional=item.state is State.OPTIONAL)
            for item in own.values()
            if item.state is not State.LEFT_OUT
        ]
        ordered = tuple(sorted(strokes, key=lambda one: one.place))
        bars.append(Bar(bar.meter, ordered, divisions(bar.meter, ordered)))
    return replace(pattern, bars=tuple(bars))


def label(item: Item) -> str:
    """The voice as it is called on the screen."""
    return BY_NAME[item.stroke.voice].label
