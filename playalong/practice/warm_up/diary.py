"""The diary: the curves of other days, and what got better. Nothing of it counts for today."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import isfinite
from statistics import median
from typing import Any

from playalong.practice.warm_up.exercises import BY_NAME

#: So many days are kept.
MOST_DAYS = 90

#: A point of the curve for so many seconds is kept.
_EACH_S = 5.0

#: What got better is looked for over so many days, between so many bouts at either end at most.
_MONTH, _ENDS = 30, 3

#: Less than this is no change: a part of the figure.
_CHANGE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class BoutEntry:
    """One bout of a day: its figure, None where there was none, and what it was worth."""

    exercise: str
    figure: float | None
    degrees: float
    right: int
    rounds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One warm-up: the day (ISO 8601), its curve of (seconds, degrees), its bouts."""

    day: str
    curve: tuple[tuple[float, float], ...]
    bouts: tuple[BoutEntry, ...] = ()

    @property
    def warmest(self) -> float:
        """The highest temperature."""
        return max((temperature for _, temperature in self.curve), default=0.0)

    @property
    def seconds(self) -> float:
        """How long was played."""
        return self.curve[-1][0] if self.curve else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Better:
    """What got better in a month: an exercise, its figure then and now."""

    exercise: str
    then: float
    now: float


@dataclass(frozen=True, slots=True)
class Diary:
    """The warm-ups of a player, the latest last."""

    days: tuple[Day, ...] = field(default=())

    def with_day(self, day: Day) -> "Diary":
        """With one more warm-up; the oldest go."""
        return Diary((*self.days, _thinned(day))[-MOST_DAYS:])

    def curves(self, count: int = 4) -> Sequence[Day]:
        """The latest warm-ups, to be drawn behind that of today."""
        return self.days[-count:]

    def best(self, exercise: str) -> float | None:
        """The best figure of an exercise so far, the mark to beat; None where there is none."""
        return min(
            (
                bout.figure
                for day in self.days
                for bout in day.bouts
                if bout.exercise == exercise and bout.figure is not None
            ),
            default=None,
        )

    def better(self, today: str) -> Better | None:
        """What got better most in the last month, None where nothing is known to have."""
        since = (date.fromisoformat(today[:10]) - timedelta(days=_MONTH)).isoformat()
        figures: dict[str, list[float]] = {}
        for day in self.days:
            for bout in day.bouts if day.day[:10] >= since else ():
                if bout.figure is not None and bout.figure > 0.0:
                    figures.setdefault(bout.exercise, []).append(bout.figure)
        found = []
        for name, course in figures.items():
            ends = min(_ENDS, len(course) // 2)
            if ends >= 2:
                then, now = median(course[:ends]), median(course[-ends:])
                found.append(Better(exercise=name, then=then, now=now))
        most = min(found, key=lambda one: one.now / one.then, default=None)
        return most if most is not None and most.now < (1.0 - _CHANGE) * most.then else None

    def as_plain(self) -> list[dict[str, Any]]:
        """As plain objects, for the store."""
        return [
            {
                "day": one.day,
                "curve": [[round(s, 1), round(t, 1)] for s, t in one.curve],
                "bouts": [
                    {
                        "exercise": bout.exercise,
                        "figure": bout.figure,
                        "degrees": round(bout.degrees, 1),
                        "right": bout.right,
                        "rounds": bout.rounds,
                    }
                    for bout in one.bouts
                ],
            }
            for one in self.days
        ]

    @classmethod
    def from_plain(cls, plain: Any) -> "Diary":
        """What ``as_plain`` gave; what is not of that kind is left out."""
        return cls(tuple(filter(None, map(_day, plain if isinstance(plain, list) else ()))))


def _day(plain: Any) -> Day | None:
    try:
        date.fromisoformat(plain["day"][:10])
        curve = tuple((float(s), float(t)) for s, t in plain["curve"])
        bouts = tuple(_bouts(plain["bouts"]))
    except (AttributeError, KeyError, TypeError, ValueError):
        return None
    is_sound = curve and all(isfinite(s) and isfinite(t) for s, t in curve)
    return Day(day=plain["day"], curve=curve, bouts=bouts) if is_sound else None


def _bouts(plain: Iterable[Mapping[str, Any]]) -> Iterable[BoutEntry]:
    for one in plain:
        if one["exercise"] in BY_NAME:
            yield BoutEntry(
                exercise=one["exercise"],
                figure=None if one["figure"] is None else float(one["figure"]),
                degrees=float(one["degrees"]),
                right=int(one["right"]),
                rounds=int(one["rounds"]),
            )


def _thinned(day: Day) -> Day:
    thinned = [day.curve[0]] if day.curve else []
    for point in day.curve[1:]:
        if point[0] - thinned[-1][0] >= _EACH_S or point is day.curve[-1]:
            thinned.append(point)
    return Day(day=day.day, curve=tuple(thinned), bouts=day.bouts)
