"""Pauses: a run that stood still because the kit was gone.

The take's clock goes on in a pause, the run's stands still. A run goes on at the bar line after
the one in which it stopped, or plays the last bar once more; what lies between is not asked. Nor
is what was written just before the kit was missed, unless it was answered: the player is never
blamed for the cable. All hits stay in the take; those within a pause are not judged.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A pause from ``from_s`` on, on the take's clock; at ``stopped_s`` the run stood still.

    All times of a pause are in seconds from bar 1. Which of the three below it is says how it
    stands; their fields stand in a file in the order from_s, stopped_s, until_s, on_s, bar_s.
    """

    from_s: float
    stopped_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPause(Pause):
    """The kit is still away; once it is back, targets are asked again from ``bar_s`` on."""

    bar_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EndedPause(Pause):
    """The run went on. Hits count from ``until_s`` on the take's clock, where the run's is at
    ``on_s``; targets are asked again from ``bar_s`` on.
    """

    until_s: float
    on_s: float
    bar_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LastPause(Pause):
    """Nothing followed: what was written after ``stopped_s`` is not asked."""


AnyPause = OpenPause | EndedPause | LastPause


@dataclass(frozen=True, slots=True)
class Pauses:
    """The pauses of a run, in order; only the last one may be open, or a last one."""

    each: tuple[AnyPause, ...] = ()

    def run_s(self, take_s: float) -> float | None:
        """The run's time at ``take_s`` on the take's clock, None within a pause."""
        moved_s = 0.0
        for pause in self.each:
            if take_s < pause.from_s:
                break
            if not isinstance(pause, EndedPause) or take_s < pause.until_s:
                return None
            moved_s = pause.on_s - pause.until_s
        return take_s + moved_s

    def hits(self, hits: Hits) -> Hits:
        """``hits`` on the take's clock, on the run's; without those within a pause."""
        if not self.each:
            return hits
        times_s = [self.run_s(at_s) for at_s in hits.time_s.tolist()]
        inside = np.array([at_s is not None for at_s in times_s], np.bool_)
        time_s = np.array([at_s for at_s in times_s if at_s is not None], np.float64)
        return Hits.sorted(time_s, hits.voice[inside], hits.velocity[inside])

    def expected(self, targets: Targets, hits: Hits, capture_s: float) -> Targets:
        """The targets that are asked, ``hits`` being on the run's clock.

        ``capture_s`` is the capture window: what was written so shortly before a pause is asked
        only if it was answered.
        """
        if not self.each:
            return targets
        at_s, keep = targets.time_s, np.ones(len(targets), np.bool_)
        for pause in self.each:
            unsure = at_s >= pause.stopped_s - capture_s
            if not isinstance(pause, LastPause):
                unsure &= at_s < pause.bar_s
            heard = hits.time_s < pause.stopped_s
            answered = _near(targets, hits, heard, capture_s=capture_s)
            keep &= ~unsure | (answered & (at_s < pause.stopped_s + capture_s))
        return targets.only(keep)

    def and_then(self, pause: AnyPause) -> "Pauses":
        """These, and ``pause`` after them."""
        return Pauses((*self.each, pause))

    def with_last(self, pause: AnyPause) -> "Pauses":
        """These, with ``pause`` in the place of the last: it stands otherwise now."""
        return Pauses((*self.each[:-1], pause))

    def as_plain(self) -> list[list[float | None]]:
        """The pauses as plain lists for a file, None standing for what never came."""
        return [_plain(pause) for pause in self.each]

    @classmethod
    def from_plain(cls, plain: Any) -> "Pauses":
        """What ``as_plain`` gave; none where it makes no sense."""
        try:
            return cls(tuple(_pause(row) for row in plain))
        except (TypeError, ValueError):
            return cls()


def _plain(pause: AnyPause) -> list[float | None]:
    begun: list[float | None] = [pause.from_s, pause.stopped_s]
    match pause:
        case OpenPause(bar_s=bar_s):
            return [*begun, None, None, bar_s]
        case EndedPause(until_s=until_s, on_s=on_s, bar_s=bar_s):
            return [*begun, until_s, on_s, bar_s]
    return [*begun, None, None, None]


def _pause(row: Any) -> AnyPause:
    """The pause of one row; TypeError or ValueError where it is none."""
    from_s, stopped_s, until_s, on_s, bar_s = row
    begun = {"from_s": float(from_s), "stopped_s": float(stopped_s)}
    if bar_s is None:
        return LastPause(**begun)
    if until_s is None or on_s is None:
        return OpenPause(**begun, bar_s=float(bar_s))
    return EndedPause(**begun, until_s=float(until_s), on_s=float(on_s), bar_s=float(bar_s))


def _near(
    targets: Targets, hits: Hits, heard: NDArray[np.bool_], *, capture_s: float
) -> NDArray[np.bool_]:
    """Which targets have one of the ``heard`` hits of their voice within the window, (n,)."""
    near = np.zeros(len(targets), np.bool_)
    for code in np.unique(targets.voice):
        rows = targets.voice == code
        times = hits.time_s[heard & (targets.counts_as[hits.voice] == code)]
        after = np.searchsorted(times, targets.time_s[rows] - capture_s)
        near[rows] = after < np.searchsorted(times, targets.time_s[rows] + capture_s, side="right")
    return near
