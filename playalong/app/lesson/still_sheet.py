"""The sheet of a repetition that is over: it stands still at the stroke that is spoken of."""

from dataclasses import dataclass

from playalong.app.grade.take_grading import Graded
from playalong.app.listen_back import Playback
from playalong.app.run.frame_loop import View
from playalong.app.run.run import RunResult
from playalong.screen.pages.run import RunPage

#: How far past the stroke that is spoken of, or the last one, the sheet stands still.
STILL_S = 0.25

#: So many bars at most are heard of a long run: to the end of the one that is spoken of.
HEARD_BARS = 2


@dataclass(frozen=True, kw_only=True)
class StillSheet:
    """The page of a run as it is at ``at_s`` of it; ``playback`` is what can be heard of it, None
    where it was broken off.
    """

    page: RunPage
    at_s: float
    playback: Playback | None = None

    @property
    def view(self) -> View:
        """What is seen."""
        return View(self.page, self.at_s)

    @classmethod
    def of(cls, ended: RunResult, graded: Graded | None = None) -> "StillSheet":
        """That of a run; once it is graded, with the stroke that is spoken of marked."""
        page, targets = ended.page, ended.targets
        at_s = float(targets.time_s[-1]) if len(targets) else 0.0
        if graded is not None:
            page.sheet.marked = spoken_of(graded)
        if page.sheet.marked is not None:
            at_s = page.sheet.marked[0]
        return cls(
            page=page,
            at_s=min(targets.end_s, at_s + STILL_S),
            playback=None if graded is None else _playback(graded, at_s),
        )


def spoken_of(graded: Graded) -> tuple[float, str] | None:
    """The last stroke of the place that the advice speaks of: its time in the run, its voice."""
    found = graded.grade.findings[0] if graded.grade.findings else None
    if found is None or not found.places:
        return None
    targets = graded.run.targets
    spots = {(spot.bar, spot.count) for spot in found.places}
    bars = graded.expected.pattern.bars
    for number in reversed(range(len(targets))):
        place = targets.places[targets.place[number]]
        count = bars[place.bar].meter.count(place.stroke.at)
        is_meant = found.voice in (None, place.stroke.voice)
        if is_meant and (place.bar + 1, count) in spots:
            return float(targets.time_s[number]), place.stroke.voice
    return None


def _playback(graded: Graded, at_s: float) -> Playback:
    """The bar with the stroke at ``at_s`` and the one before it."""
    run = graded.run
    hits = [run.hits[number] for number in range(len(run.hits))]
    starts_s = [*run.targets.bar_starts_s.tolist(), run.targets.end_s]
    bar = max(n for n, start_s in enumerate(starts_s[:-1]) if n == 0 or start_s <= at_s)
    span_s = starts_s[max(0, bar + 1 - HEARD_BARS)], starts_s[bar + 1]
    return Playback(hits=hits, targets=run.targets, span_s=span_s)
