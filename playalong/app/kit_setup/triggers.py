"""Double triggers and crosstalk: found in strokes of which the pad is known, and guards to take.

The strokes are those of the loudness calibration of this sitting; where there are none, each pad
is asked for, one after the other.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from playalong.app.kit_setup.setup_context import SetupContext
from playalong.grading.loudness import level_db
from playalong.midi.hits import Hit, Hits
from playalong.midi.mapping import Heard
from playalong.midi.pads import Guard, pad_of
from playalong.pattern.voices import BY_NAME
from playalong.profile.triggers import (
    Findings,
    Pad,
    Proposal,
    Strokes,
    find,
    proposals,
)
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import LEAVE, SKIP, Button, Buttons
from playalong.screen.kit_pages.kit_drawing import Link, Spot
from playalong.screen.kit_pages.pads import PadsPage
from playalong.screen.kit_pages.triggers import PROPOSED, PadTriggers, TriggersPage

#: With fewer strokes than this of a pad, nothing is shown of it. What the last stroke makes comes
#: within RING_S.
FEWEST, RING_S = 12, 0.1

_TITLE = "Double triggers and crosstalk"
_ANEW = Button(("p", "P"), "P", "strike the pads anew", outcome=Outcome.PADS)
_GO_ON = Button(("p", "P"), "P", "go on striking", outcome=Outcome.PADS)
_BACK = Button((Key.LEFT, "b", "B"), "B", "the pad before", outcome=Outcome.BACK)
_PROMPT = "Strike the {}: {} more."
_HOW = (
    "Single strokes, about two a second, soft and loud ones, and no other pad. What the kit "
    "adds by itself is found in them."
)
_NONE = "Nothing was added on the {}: no pad sounded twice, and none sounded for another."
_FEW = (
    "It takes more strokes to tell of the {}: press P to go on striking. A pad that doubles one "
    "stroke in ten may well have hidden it so far."
)
_SO_FAR = "Nothing in {} strokes, which are too few to tell: {} more."
_SOME = "A guard is used once you say so, and never swallows what a pattern asks for."


def triggers(setup: SetupContext) -> None:
    """Find what the kit adds, and propose guards, until the page is left."""
    for voice, hits in list(setup.struck.items()):
        if _played(hits, voice).expected.sum() < FEWEST:
            del setup.struck[voice]
    if not setup.struck and not _Asking(setup).go():
        return
    while True:
        found = _Found(setup)
        if found.go() is not Outcome.PADS:
            return
        if not found.short:
            setup.struck.clear()
        if not _Asking(setup).go():
            return


def _played(hits: Sequence[Hit], voice: str) -> Strokes:
    """The hits that came while strokes on the pad of ``voice`` were asked for."""
    return Strokes.calibrating(Hits.of(hits), voice)


def _left(setup: SetupContext, voice: str) -> int:
    """How many more strokes on the pad of ``voice`` it takes to tell what it adds."""
    return _played(setup.struck.get(voice, ()), voice).left(voice)


class _Asking:
    """Lets the pads be struck, one after the other."""

    def __init__(self, setup: SetupContext) -> None:
        self._setup, self._at = setup, 0
        #: The pad to which hits belong.
        self._of: str | None = None
        #: How many more strokes it takes of a pad, which has so many hits.
        self._counted: tuple[tuple[str, int], int] = (("", 0), 0)
        self._page = PadsPage(
            theme=setup.context.theme,
            kit=setup.profile.kit,
            prompt="",
            done=0,
            of=len(setup.voices),
            drawing=setup.drawing(),
            buttons=Buttons((SKIP, _BACK, LEAVE)),
            title=_TITLE,
        )

    def go(self) -> bool:
        """Ask for all; False where the page was left."""
        while self._at < len(self._setup.voices):
            if not _left(self._setup, self._voice):
                self._at += 1
                continue
            outcome = self._setup.show(self._page, self._hears, self._before_frame)
            if outcome is Outcome.LEAVE:
                return False
            if outcome is Outcome.BACK:
                self._at = max(0, self._at - 1)
                self._setup.struck.pop(self._voice, None)
                self._of = None
            else:
                self._at += 1
        return bool(self._setup.struck)

    @property
    def _voice(self) -> str:
        return self._setup.voices[self._at]

    @property
    def _hits(self) -> list[Hit]:
        return self._setup.struck.get(self._voice, [])

    @property
    def _left(self) -> int:
        """How many more strokes it takes; looked for when one came, and not in every frame."""
        of = self._voice, len(self._hits)
        if self._counted[0] != of:
            self._counted = of, _left(self._setup, self._voice)
        return self._counted[1]

    def _hears(self, message: Heard) -> None:
        hit = message.unguarded  # what the guards in use keep out is to be found as well
        if hit is not None:
            if pad_of(hit.voice) == self._voice or self._voice in self._setup.struck:
                self._of = self._voice
            # Up to the first stroke on a pad it is the one before that still sounds.
            self._setup.struck.setdefault(self._of or self._voice, []).append(hit)
            self._page.drawing.strike(hit.voice, hit.velocity, self._setup.context.clock.now())

    def _before_frame(self, now_s: float) -> Outcome | None:
        page, left = self._page, self._left
        page.done, page.drawing.lit = self._at, Spot(self._voice)
        page.prompt = _PROMPT.format(BY_NAME[self._voice].label, max(1, left))
        page.notice = " ".join([*self._setup.notices, _HOW])
        is_over = left <= 0 and now_s - self._hits[-1].time_s >= RING_S
        return Outcome.NEXT if is_over else None


class _Found:
    """What was found, and which of the guards are used."""

    def __init__(self, setup: SetupContext) -> None:
        self._setup = setup
        self._findings = find(_played(hits, voice) for voice, hits in setup.struck.items())
        #: How many more strokes it takes, by pads of which too few were played.
        self.short = {voice: left for voice in setup.struck if (left := _left(setup, voice))}
        self._proposals = {one.voice: one for one in proposals(self._findings)}
        self._refused: set[str] = set()

    def go(self) -> Outcome:
        """Show it until the page is left or the pads are to be struck anew."""
        setup, findings = self._setup, self._findings
        # Pads of which there is something to say; all that were struck where there is nothing.
        voices = [*dict.fromkeys((*self._proposals, *setup.profile.pads.guards))]
        using = PROPOSED[:3] if voices else ()
        voices = voices or [pad.voice for pad in findings.pads]
        page = TriggersPage(
            theme=setup.context.theme,
            kit=setup.profile.kit,
            pads=(),
            drawing=setup.drawing(),
            buttons=setup.buttons(*using, *PROPOSED[3:-1], _GO_ON if self.short else _ANEW, LEAVE),
        )
        page.drawing.links = _links(findings)

        def hears(message: Heard) -> None:
            hit = message.hit
            if hit is not None:
                page.drawing.strike(hit.voice, hit.velocity, setup.context.clock.now())

        def before_frame(_now_s: float) -> None:
            page.pads = [self._pad(voice, findings) for voice in voices]
            page.words = " ".join([*setup.notices, self._said])

        while True:
            outcome = setup.show(page, hears, before_frame, by_pads=True)
            if outcome is Outcome.ACCEPT:
                self._use(voices[page.chosen : page.chosen + 1])
            elif outcome is Outcome.ACCEPT_ALL:
                self._use(voices)
            elif outcome is Outcome.REFUSE:
                self._leave_off(voices[page.chosen])
            else:
                return outcome

    @property
    def _said(self) -> str:
        """What is to be said of all that was found."""
        said = [_SOME] if self._proposals else []
        if self.short:
            said.append(_FEW.format(_listed(self.short)))
        fine = [pad.voice for pad in self._findings.pads if pad.voice not in self.short]
        if fine and not self._proposals:
            said.append(_NONE.format(_listed(fine)))
        return " ".join(said)

    def _pad(self, voice: str, findings: Findings) -> PadTriggers:
        doubles = next((one for one in findings.doubles if one.voice == voice), None)
        seconds = (
            list(zip(doubles.delay_ms.tolist(), doubles.change_db.tolist(), strict=True))
            if doubles
            else []
        )
        proposal, used = self._proposals.get(voice), self._setup.profile.pads.guards.get(voice)
        shown = used or (proposal.guard if proposal else Guard())
        words = proposal.words if proposal else f"The {BY_NAME[voice].label} adds nothing."
        if proposal is None and voice in self.short:
            strokes = next((pad.strokes for pad in findings.pads if pad.voice == voice), 0)
            words = _SO_FAR.format(strokes, self.short[voice])
        stands = True if used else False if voice in self._refused else None
        threshold_db = self._threshold_db(voice, shown, findings.pads)
        return PadTriggers(
            voice=voice,
            seconds=seconds,
            mask_ms=shown.mask_ms,
            threshold_db=threshold_db,
            words=words,
            stands=stands,
        )

    def _threshold_db(self, voice: str, guard: Guard, pads: Sequence[Pad]) -> float | None:
        """The threshold against the pad's normal stroke: the middle one of all."""
        own = [
            hit.velocity for hit in self._setup.struck.get(voice, ()) if pad_of(hit.voice) == voice
        ]
        if not guard.threshold or not own or voice not in (pad.voice for pad in pads):
            return None
        return level_db(guard.threshold) - level_db(float(np.median(own)))

    def _use(self, voices: Sequence[str]) -> None:
        """Use what is proposed for these pads; a guard of nothing is none."""
        found = {one: self._proposals[one] for one in voices if one in self._proposals}
        guards = {voice: one.guard for voice, one in found.items() if _keeps_out(one)}
        if guards:
            self._refused -= set(guards)
            self._keep({**self._setup.profile.pads.guards, **guards})

    def _leave_off(self, voice: str) -> None:
        """Use no guard on this pad."""
        self._refused.add(voice)
        guards = dict(self._setup.profile.pads.guards)
        if guards.pop(voice, None) is not None:
            self._keep(guards)

    def _keep(self, guards: dict[str, Guard]) -> None:
        self._setup.learned(pads=replace(self._setup.profile.pads, guards=guards))


def _listed(voices: Iterable[str]) -> str:
    *others, last = [BY_NAME[voice].label for voice in voices]
    return " and ".join(filter(None, [", ".join(others), last]))


def _keeps_out(proposal: Proposal) -> bool:
    return proposal.guard != Guard()


def _links(findings: Findings) -> list[Link]:
    return [
        Link(
            start=one.source,
            end=one.voice,
            words=f"{100 * one.share:.0f} %",
            share=min(1.0, one.share),
        )
        for one in findings.crosstalk
    ]
