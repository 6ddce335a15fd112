"""What a player is asked: a mark to beat in each exercise, and a tempo, kept near 85 % success.

The mark is the player's own: a figure that they stay within in about 85 of 100 rounds. After a
round that stays within it the mark comes down a little, after one that does not it goes up by 85/15
as much (a weighted up-down rule: Kaernbach, Simple adaptive testing with the weighted up-down
method, Perception & Psychophysics 49, 1991, from memory). 85 % after Wilson, Shenhav, Straccia
and Cohen, The eighty five percent rule for optimal learning, Nature Communications 10, 2019. Half
of each step goes to all exercises alike, so that what is known of a player helps where they never
played; steps shrink with what is known.

The tempo climbs where the figure is that of the player's level and nothing is missing, and falls
where much is, or the figure is far from it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import exp
from typing import Any

from playalong.grading.levels import Level
from playalong.practice.warm_up.degrees import Warmth, limit
from playalong.practice.warm_up.exercises import BY_NAME, Exercise

#: What share of the rounds should succeed.
SUCCESS = 0.85

#: A new player's mark lies so far over what their level reaches in the middle.
_ROOM = 1.3

#: Steps of the mark, in parts of its logarithm: the first, the last, and after how many rounds
#: they are half as large.
_FIRST, _LAST, _HALF_AFTER = 0.5, 0.06, 6.0

#: What a round needs beside its figure: the share of strokes played, and at most so much beside.
PLAYED, BESIDE = 0.85, 0.15

#: One step faster, one slower; and from which figures on, of the player's level.
_FASTER, _SLOWER = 1.05, 0.93
_GOOD, _FAR = 1.0, 1.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of a player in one exercise.

    ``easier``: how far the mark lies from that of a new player, as a logarithm; ``tempo_bpm``;
    ``rounds`` and ``right``: played, and within the mark; ``best``: the most degrees of a bout;
    ``last``: the day of the last one, "" before the first.
    """

    easier: float = 0.0
    tempo_bpm: float = 0.0
    rounds: int = 0
    right: int = 0
    best: float = 0.0
    last: str = ""


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What is known of a player over all exercises: ``easier`` and ``rounds`` of all alike."""

    easier: float = 0.0
    rounds: int = 0
    each: Mapping[str, Known] = field(default_factory=dict)

    def of(self, exercise: Exercise) -> Known:
        """What is known in one exercise."""
        known = self.each.get(exercise.name, Known())
        return known if known.tempo_bpm else replace(known, tempo_bpm=exercise.slowest_bpm)

    def mark(self, exercise: Exercise, level: Level) -> float:
        """The figure to stay within."""
        easier = self.easier + self.of(exercise).easier
        return _ROOM * limit(exercise, level) * exp(easier)

    def after_round(self, exercise: Exercise, is_right: bool) -> "Knowledge":
        """With one more round that stayed within the mark, or did not."""
        known = self.of(exercise)
        step = SUCCESS - 1.0 if is_right else SUCCESS
        own = 0.5 * step * _size(known.rounds)
        known = replace(
            known,
            easier=known.easier + own,
            rounds=known.rounds + 1,
            right=known.right + is_right,
        )
        return Knowledge(
            self.easier + 0.5 * step * _size(self.rounds),
            self.rounds + 1,
            {**self.each, exercise.name: known},
        )

    def after_bout(
        self, exercise: Exercise, level: Level, whole: Warmth, *, day: str
    ) -> "Knowledge":
        """With one more bout: the tempo of the next, the best, the day."""
        known = self.of(exercise)
        reached = limit(exercise, level)
        value = whole.figure
        well = value is not None and value <= _GOOD * _ROOM * reached
        far = value is None or value > _FAR * _ROOM * reached
        tempo_bpm = known.tempo_bpm
        if whole.there < PLAYED or whole.beside > BESIDE or far:
            tempo_bpm *= _SLOWER
        elif well and whole.there >= 0.95:
            tempo_bpm *= _FASTER
        tempo_bpm = min(max(tempo_bpm, exercise.slowest_bpm), exercise.fastest_bpm)
        known = replace(known, tempo_bpm=tempo_bpm, best=max(known.best, whole.degrees), last=day)
        return replace(self, each={**self.each, exercise.name: known})

    def as_plain(self) -> dict[str, Any]:
        """As plain objects, for a file or the store."""
        return {
            "easier": self.easier,
            "rounds": self.rounds,
            "each": {
                name: {
                    "easier": one.easier,
                    "tempo_bpm": one.tempo_bpm,
                    "rounds": one.rounds,
                    "right": one.right,
                    "best": one.best,
                    "last": one.last,
                }
                for name, one in self.each.items()
            },
        }

    @classmethod
    def from_plain(cls, plain: Any) -> "Knowledge":
        """What ``as_plain`` gave; what is not of that kind is left out."""
        if not isinstance(plain, Mapping):
            return cls()
        each = {}
        found = plain.get("each")
        for name, one in found.items() if isinstance(found, Mapping) else ():
            if name in BY_NAME and isinstance(one, Mapping):
                each[name] = Known(
                    easier=_number(one.get("easier")),
                    tempo_bpm=_number(one.get("tempo_bpm")),
                    rounds=int(_number(one.get("rounds"))),
                    right=int(_number(one.get("right"))),
                    best=_number(one.get("best")),
                    last=str(one.get("last") or ""),
                )
        return cls(_number(plain.get("easier")), int(_number(plain.get("rounds"))), each)


def is_within(whole: Warmth, mark: float) -> bool:
    """Whether a round counts as one that went well: all there, and within the mark."""
    there = whole.there >= PLAYED and whole.beside <= BESIDE
    return there and whole.figure is not None and whole.figure <= mark


def _size(rounds: int) -> float:
    return max(_LAST, _FIRST / (1.0 + rounds / _HALF_AFTER))


def _number(value: Any) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and abs(value) < 1e9 else 0.0
