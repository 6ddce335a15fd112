"""Listening back: hear yourself against the pattern, while the sheet goes by again."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from playalong.grading.hits import Hit
from playalong.grading.pauses import Pauses
from playalong.grading.run import Run
from playalong.kit.mapping import CHOKE, Mapper
from playalong.live.loop import Stage
from playalong.pattern.targets import Targets
from playalong.profile.pads import Pads
from playalong.records.takes import Take
from playalong.screen.page import Outcome
from playalong.screen.run_page import RunPage
from playalong.screen.widgets import LEAVE, LISTENING, Buttons
from playalong.sound.click import Click
from playalong.sound.listening import Which, listened
from playalong.sound.output import Sound

_WHICH = {Outcome.YOURS: Which.YOURS, Outcome.PATTERN: Which.PATTERN, Outcome.BOTH: Which.BOTH}
HALF = 0.5

#: From a choice to the first sound, and how long the last may ring.
_LEAD_S, _RING_S = 0.4, 1.5


@dataclass(frozen=True)
class Played:
    """What can be listened to: hits and targets in seconds of the run, chokes, the click."""

    hits: Sequence[Hit]
    targets: Targets
    chokes: Sequence[tuple[float, str]] = ()
    clicks: Sequence[Click] = ()

    def sounds(self, which: Which, speed: float) -> list[Sound]:
        """What is heard; second 0 is bar 1."""
        return listened(self.hits, self.targets, which, speed, self.chokes, self.clicks)

    @classmethod
    def of(cls, take: Take, pads: Pads, run: Run, pauses: Pauses, clicks: Sequence[Click]) -> Self:
        """What a graded take has."""
        hits = [run.hits[number] for number in range(len(run.hits))]
        return cls(hits, run.targets, _chokes(take, pads, pauses), clicks)


def _chokes(take: Take, pads: Pads, pauses: Pauses) -> list[tuple[float, str]]:
    """When the player's hand ended which cymbal, in seconds of the run."""
    mapper, found = Mapper(pads), []
    for time_s, data in take.messages:
        heard = mapper.heard(time_s - take.start_s, data)
        run_s = pauses.run_s(heard.time_s)
        if heard.dropped == CHOKE and heard.voice and run_s is not None and data[2]:
            found.append((run_s, heard.voice))
    return found


def listen_back(
    stage: Stage,
    page: RunPage,
    played: Played,
    which: Which = Which.BOTH,
    speed: float = 1.0,
) -> None:
    """Let the player listen until they have had enough; ``page`` is that of the run.

    It begins with ``which``, at ``speed`` (1, or ``HALF``).
    """
    kept = page.buttons, page.said, page.subtitle
    pads = stage.sticks.pads if stage.sticks else {}
    page.buttons = Buttons([*LISTENING, LEAVE], pads, stage.sticks.call if stage.sticks else "")
    page.said, page.paused = (), ()
    outcome: Outcome | None = Outcome.AGAIN
    while outcome is not Outcome.LEAVE:
        which = _WHICH.get(outcome, which) if outcome else which
        if outcome is Outcome.HALF:
            speed = HALF if speed == 1.0 else 1.0
        page.subtitle = _words(which, speed)
        outcome = _once(stage, page, played, which, speed)
    stage.output.clear()
    page.buttons, page.said, page.subtitle = kept


def _words(which: Which, speed: float) -> str:
    told = "yours on the left, the pattern on the right" if which is Which.BOTH else which.value
    return f"listening: {told}" + ("  ·  half speed" if speed == HALF else "")


def _once(
    stage: Stage, page: RunPage, played: Played, which: Which, speed: float
) -> Outcome | None:
    """Once through; what was asked for meanwhile or, at the end, afterwards."""
    stage.output.clear()
    if stage.sticks is not None:
        stage.sticks.begin()
    start_s = stage.clock.now() + _LEAD_S
    stage.output.schedule(start_s, played.sounds(which, speed))
    end_s = played.targets.end_s
    while True:
        now_s = (stage.clock.now() - start_s) * speed
        page.level.db = stage.output.level_db
        stage.show(page, min(now_s, end_s))
        outcome = stage.asked(page)
        if outcome is None and stage.sticks is not None and now_s > end_s:
            outcome = stage.sticks.asked(page, stage.clock.now())
        if outcome is not None:
            return outcome
        if stage.window.offscreen and now_s > end_s + _RING_S:
            return Outcome.LEAVE
        stage.clock.wait(stage.frame_s)
