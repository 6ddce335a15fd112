"""The beats of a recording as they are being set: each change is a new draft, the old one is kept.

Changes stand in one table, by what is set and which way.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from playalong.pattern.beat_map import BeatMap
from playalong.screen.pages.beats import Setting, nearest

#: How far beats are nudged at once.
NUDGE_MS = 5.0

MOST_TO_THE_BAR = 16

#: The line is on a beat where it is so near, in beats.
_ON_BEAT = 0.1

NO_BEATS = "There are no beats yet: tap along first, or let them be found."


class DraftError(ValueError):
    """A change that cannot be made; its text is for the player."""


@dataclass(frozen=True)
class Draft:
    """``beats``, None while there are none; and the ``loop`` of bars to be played, None for all.

    ``per_bar`` is how many beats a bar has, or will have.
    """

    beats: BeatMap | None = None
    per_bar: int = 4
    loop: tuple[int, int] | None = None

    def changed(self, setting: Setting, way: int, at_s: float) -> "Draft":
        """The draft after one step of ``setting``: ``way`` is 1 for more, -1 for less.

        ``at_s`` is where in the recording the player is. DraftError says why it cannot be.
        """
        try:
            return _CHANGES[setting](self, way, at_s)._fitting()
        except DraftError:
            raise
        except ValueError as error:
            raise DraftError(f"{str(error)[:1].upper()}{str(error)[1:]}.") from None

    def with_beats(self, beats: BeatMap) -> "Draft":
        """With new ``beats``, all of which are played."""
        return Draft(beats, beats.per_bar)

    def bars(self) -> tuple[int, int]:
        """The first and last bar to be played."""
        return self.loop or (0, max(0, (self.beats.bars if self.beats else 0) - 1))

    def _fitting(self) -> "Draft":
        """Without a loop of bars that are not there."""
        if self.loop is None or self.beats is None:
            return self
        last = self.beats.bars - 1
        whole = self.loop == (0, last) or self.loop[0] > last
        return replace(self, loop=None if whole else (self.loop[0], min(self.loop[1], last)))

    def known(self) -> BeatMap:
        """The beats; DraftError where there are none."""
        if self.beats is None:
            raise DraftError(NO_BEATS)
        return self.beats


def _all(draft: Draft, way: int, _: float) -> Draft:
    return replace(draft, beats=draft.known().nudge(way * NUDGE_MS))


def _one(draft: Draft, way: int, at_s: float) -> Draft:
    beats = draft.known()
    return replace(draft, beats=beats.nudge_beat(nearest(beats, at_s), way * NUDGE_MS))


def _pace(draft: Draft, way: int, _: float) -> Draft:
    beats = draft.known()
    return replace(draft, beats=beats.doubled() if way > 0 else beats.halved())


def _bar_1(draft: Draft, way: int, _: float) -> Draft:
    return replace(draft, beats=draft.known().moved_bar_1(way))


def _per_bar(draft: Draft, way: int, at_s: float) -> Draft:
    beats = draft.beats
    if beats is None:
        return replace(draft, per_bar=_beats_to_bar(draft.per_bar + way))
    here = nearest(beats, at_s)
    changed = beats.with_per_bar(here, _beats_to_bar(beats.per_bar_at(here) + way))
    return replace(draft, beats=changed, per_bar=changed.per_bar)


def _beats_to_bar(beats: int) -> int:
    if not 1 <= beats <= MOST_TO_THE_BAR:
        raise DraftError(f"A bar has 1 to {MOST_TO_THE_BAR} beats.")
    return beats


def _beat(draft: Draft, way: int, at_s: float) -> Draft:
    """A beat more where the line is; half-way to the next where it is on a beat."""
    beats = draft.known()
    here = nearest(beats, at_s)
    if way < 0:
        return replace(draft, beats=beats.removed(here))
    is_on_it = abs(beats.beat(at_s) - here) < _ON_BEAT
    return replace(draft, beats=beats.inserted(beats.seconds(here + 0.5) if is_on_it else at_s))


def _bar(draft: Draft, way: int, at_s: float) -> Draft:
    beats = draft.known()
    here = nearest(beats, at_s)
    if way > 0:
        return replace(draft, beats=beats.begun_at(here))
    if here not in dict(beats.changes):
        raise DraftError("Bars are counted through here already.")
    return replace(draft, beats=beats.counted_through(here))


def _this_bar(draft: Draft, way: int, at_s: float) -> Draft:
    beats = draft.known()
    bar, _ = beats.place(nearest(beats, at_s))
    if bar < 0:
        raise DraftError("Here bar 1 has not begun: move the line, or begin bar 1 here.")
    changed = beats.with_bar(bar, _beats_to_bar(beats.beats_in(bar) + way))
    return replace(draft, beats=changed, per_bar=changed.per_bar)


def _first(draft: Draft, way: int, _: float) -> Draft:
    first, last = draft.bars()
    return _looped(draft, first + way, max(last, first + way))


def _last(draft: Draft, way: int, _: float) -> Draft:
    first, last = draft.bars()
    return _looped(draft, min(first, last + way), last + way)


def _looped(draft: Draft, first: int, last: int) -> Draft:
    draft.known().loop(first, last)  # ValueError where there are no such bars
    return replace(draft, loop=(first, last))


_CHANGES: dict[Setting, Callable[[Draft, int, float], Draft]] = {
    Setting.ALL: _all,
    Setting.ONE: _one,
    Setting.BEAT: _beat,
    Setting.PACE: _pace,
    Setting.BAR_1: _bar_1,
    Setting.BAR: _bar,
    Setting.THIS_BAR: _this_bar,
    Setting.PER_BAR: _per_bar,
    Setting.FIRST: _first,
    Setting.LAST: _last,
}
