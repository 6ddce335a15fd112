"""Listening back: hear yourself against the pattern, while the sheet goes by again."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, show_by_pads
from playalong.app.run.pad_commands import also
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.matching.pauses import Pauses
from playalong.midi.hits import Hit
from playalong.midi.mapping import CHOKE, Mapper
from playalong.midi.pads import Pads
from playalong.pattern.targets import Targets
from playalong.records.takes import Take
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import LEAVE, LISTENING, Buttons
from playalong.screen.pages.run import RunPage
from playalong.sound.device.output import Sound
from playalong.sound.listening import Which, listened
from playalong.sound.synth.click import Click

_WHICH = {Outcome.YOURS: Which.YOURS, Outcome.PATTERN: Which.PATTERN, Outcome.BOTH: Which.BOTH}
HALF = 0.5

#: From a choice to the first sound, and how long the last may ring.
_LEAD_S, _RING_S = 0.4, 1.5


@dataclass(frozen=True, kw_only=True)
class Playback:
    """What can be listened to: hits and targets in seconds of the run, chokes, the click."""

    hits: Sequence[Hit]
    targets: Targets
    chokes: Sequence[tuple[float, str]] = ()
    clicks: Sequence[Click] = ()

    def sounds(self, which: Which, speed: float) -> list[Sound]:
        """What is heard; second 0 is bar 1."""
        return listened(
            self.hits, self.targets, which, speed=speed, chokes=self.chokes, clicks=self.clicks
        )

    @classmethod
    def of(
        cls, take: Take, pads: Pads, run: MatchedRun, *, pauses: Pauses, clicks: Sequence[Click]
    ) -> Self:
        """What a graded take has."""
        hits = [run.hits[number] for number in range(len(run.hits))]
        return cls(
            hits=hits, targets=run.targets, chokes=_chokes(take, pads, pauses), clicks=clicks
        )


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
    context: RunContext,
    page: RunPage,
    played: Playback,
    *,
    which: Which = Which.BOTH,
    speed: float = 1.0,
) -> None:
    """Let the player listen until they have had enough; ``page`` is that of the run.

    It begins with ``which``, at ``speed`` (1, or ``HALF``).
    """
    before = page.buttons, page.said, page.subtitle
    own = context.pad_commands.pads if context.pad_commands else {}
    pads = {**also(own), **own}
    page.buttons = Buttons(
        [*LISTENING, LEAVE], pads, context.pad_commands.call if context.pad_commands else ""
    )
    page.said, page.paused = (), ()
    context.output.mix = context.output.mix.under_drums(True)
    outcome: Outcome | None = Outcome.AGAIN
    while outcome is not Outcome.LEAVE:
        which = _WHICH.get(outcome, which) if outcome else which
        if outcome is Outcome.HALF:
            speed = HALF if speed == 1.0 else 1.0
        page.subtitle = _words(which, speed)
        outcome = _once(context, page, played, which=which, speed=speed)
    context.output.clear()
    page.buttons, page.said, page.subtitle = before


def _words(which: Which, speed: float) -> str:
    heard = "yours on the left, the pattern on the right" if which is Which.BOTH else which.value
    return f"listening: {heard}" + ("  ·  half speed" if speed == HALF else "")


@dataclass(kw_only=True)
class _Once(Scene):
    """Once through. Strokes work the page at the end only: until then somebody may play along."""

    context: RunContext
    page: RunPage
    start_s: float
    end_s: float
    speed: float
    _is_over: bool = False

    @property
    def by_pads(self) -> bool:
        """Strokes work the page once all was heard."""
        return self._is_over

    def view(self, now_s: float) -> View | None:
        """The sheet as it goes by; where nobody sees it, until the last has rung out."""
        run_s = (now_s - self.start_s) * self.speed
        self._is_over = run_s > self.end_s
        if self.context.window.offscreen and run_s > self.end_s + _RING_S:
            return None
        return View(self.page, min(run_s, self.end_s))


def _once(
    context: RunContext, page: RunPage, played: Playback, *, which: Which, speed: float
) -> Outcome:
    """Once through; what was asked for meanwhile or, at the end, afterwards."""
    context.output.clear()
    start_s = context.clock.now() + _LEAD_S
    context.output.schedule(start_s, played.sounds(which, speed))
    once = _Once(
        context=context, page=page, start_s=start_s, end_s=played.targets.end_s, speed=speed
    )
    return show_by_pads(context, once) or Outcome.LEAVE
