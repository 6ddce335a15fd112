"""Listening back: hear yourself against the pattern, while the sheet goes by again."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, show_by_pads, show_pads
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

#: What is struck so little before a part of a run belongs to it.
BEFORE_S = 0.1


@dataclass(frozen=True, kw_only=True)
class Playback:
    """What can be listened to: hits and targets in seconds of the run, chokes, the click.

    ``span_s`` is the part of the run that is heard, None for all of it.
    """

    hits: Sequence[Hit]
    targets: Targets
    chokes: Sequence[tuple[float, str]] = ()
    clicks: Sequence[Click] = ()
    span_s: tuple[float, float] | None = None

    @property
    def begin_s(self) -> float:
        """Where in the run it begins, in seconds."""
        return 0.0 if self.span_s is None else self.span_s[0]

    @property
    def end_s(self) -> float:
        """Where it ends."""
        return self.targets.end_s if self.span_s is None else self.span_s[1]

    def sounds(self, which: Which, speed: float) -> list[Sound]:
        """What is heard; second 0 is bar 1."""
        sounds = listened(
            self.hits, self.targets, which, speed=speed, chokes=self.chokes, clicks=self.clicks
        )
        if self.span_s is None:
            return sounds
        first_s, last_s = ((at_s - BEFORE_S) / speed for at_s in self.span_s)
        return [sound for sound in sounds if first_s <= sound.time_s < last_s]

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
    then: Which | None = None,
    speed: float = 1.0,
) -> None:
    """Let the player listen until they have had enough; ``page`` is that of the run.

    It begins with ``which``, at ``speed`` (1, or ``HALF``), and goes on with ``then``.
    """
    before = page.buttons, page.said, page.subtitle
    page.buttons = Buttons([*LISTENING, LEAVE])
    show_pads(context, page)
    page.said, page.paused = (), ()
    context.output.mix = context.output.mix.under_drums(True)
    outcome: Outcome | None = Outcome.AGAIN
    while outcome is not Outcome.LEAVE:
        which = _WHICH.get(outcome, which) if outcome else which
        if outcome is Outcome.HALF:
            speed = HALF if speed == 1.0 else 1.0
        page.subtitle = _words(which, speed)
        outcome = _once(context, page, played, which=which, speed=speed, stays=then is None)
        if then is not None and outcome is None:
            which, outcome = then, Outcome.AGAIN
        then = None
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
    span_s: tuple[float, float]
    speed: float
    stays: bool
    _is_over: bool = False

    @property
    def by_pads(self) -> bool:
        """Strokes work the page once all was heard."""
        return self._is_over

    def view(self, now_s: float) -> View | None:
        """The sheet as it goes by; where nobody sees it, until the last has rung out."""
        begin_s, end_s = self.span_s
        run_s = begin_s + (now_s - self.start_s) * self.speed
        self._is_over = run_s > end_s
        stays = self.stays and not self.context.window.offscreen
        if not stays and run_s > end_s + _RING_S * self.speed:
            return None
        return View(self.page, min(run_s, end_s))


def _once(
    context: RunContext,
    page: RunPage,
    played: Playback,
    *,
    which: Which,
    speed: float,
    stays: bool,
) -> Outcome | None:
    """Once through; what was asked for meanwhile or, where it ``stays``, at the end; None where it
    does not.
    """
    context.output.clear()
    start_s = context.clock.now() + _LEAD_S
    context.output.schedule(start_s - played.begin_s / speed, played.sounds(which, speed))
    once = _Once(
        context=context,
        page=page,
        start_s=start_s,
        span_s=(played.begin_s, played.end_s),
        speed=speed,
        stays=stays,
    )
    return show_by_pads(context, once) or (Outcome.LEAVE if stays else None)
