"""Setting the beats of a recording: tap along, check by ear and eye, change, undo.

What is heard is the recording with a click on each beat, as one stream, so that a change is heard
at once. Hits from the pads are taps while the player has asked to tap; else strokes work the page,
while it plays too. Whatever is changed is kept at once.
"""

from collections.abc import Callable

import numpy as np

from playalong.app.recording.background import work_on_page
from playalong.app.recording.beats_draft import Draft, DraftError
from playalong.app.recording.recording_sounds import (
    HIGHEST_DB,
    LOUDNESS_STEP_DB,
    LOWEST_DB,
    Clicked,
)
from playalong.app.run.along import RecordingPart
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, show
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.midi.mapping import Heard
from playalong.midi.port import Port
from playalong.pattern.beat_map import BeatMap
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.pages.beats import SETTINGS, BeatsPage, Setting, nearest
from playalong.sound.recordings.beat_finding import find
from playalong.sound.recordings.decoding import Progress, Recording
from playalong.sound.recordings.onsets import FEWEST, GAP_BEATS, Onsets, continued, refined
from playalong.sound.timeline import RATE
from playalong.support.errors import UserError
from playalong.support.text import printable

#: From the press to the sound.
LEAD_S = 0.3

#: A tap may come so much before the place from which it plays.
_EARLY_S = 0.15

_BEGIN = (
    "First tap the beats: ask for it below, then strike any pad, or the space bar, once on each "
    "beat, the first time on a 1. A few bars are enough."
)
_TAPPING = (
    "Tap on each beat, the first time on a 1. After a few bars leave off, and wait; or press Enter."
)
_CHECK = "Check them: play, and hear whether the clicks fall on the beat."
_NEW = f'{_CHECK} "{Setting.CHANGES}" takes it back.'
_STAY = "The beats stay as they were."

_WAYS = {Outcome.SLOWER: -1, Outcome.FASTER: 1}


class BeatsSession(Scene):
    """The beats of ``recording``, from ``beats`` or from none to what the player leaves."""

    def __init__(
        self,
        context: RunContext,
        recording: Recording,
        beats: BeatMap | None,
        *,
        port: Port | None,
        keep: Callable[[BeatMap | None], object],
        per_bar: int = 4,
    ) -> None:
        """``port`` is the kit's, None where there is none. ``keep`` keeps a map, or with None keeps
        none any more, and may raise UserError; ``per_bar`` is how many beats a bar will have where
        there are none yet.
        """
        self._context, self._recording, self._keep = context, recording, keep
        self._draft = Draft(beats, beats.per_bar if beats else per_bar)
        self._before: list[Draft] = []
        self._after: list[Draft] = []
        self._onsets: Onsets | None = None
        self._sound = Clicked(recording, beats)
        profile = context.profile
        late_ms = profile.latency.ms if profile.latency else 0.0
        self._input = (
            None
            if port is None
            else HitInput(port, context.stamps, profile.pads, latency_ms=late_ms)
        )
        #: Where in the recording it stands or began to play, and when on the clock that was.
        self._from_s = beats.bar_start_s(0) if beats else 0.0
        self._since_s: float | None = None
        self._taps: list[float] | None = None
        #: Why the beats could not be kept, where they could not.
        self._trouble = ""
        pad_commands = context.pad_commands
        self._page = BeatsPage(
            theme=context.theme,
            title=printable(recording.path.name),
            length_s=recording.length_s,
            overview=recording.overview,
            words=_BEGIN if beats is None else _CHECK,
            level=context.level(),
            pads=_pads(pad_commands) if pad_commands else {},
            call=pad_commands.call if pad_commands else "",
            chosen=SETTINGS.index(Setting.ORIGIN if beats is None else Setting.LINE),
        )

    @property
    def bars(self) -> tuple[int, int]:
        """The first and last bar to be played, counted from 0."""
        return self._draft.bars()

    @property
    def recording_db(self) -> float:
        """How loud the recording is to be under the click."""
        return self._sound.level_db

    def go(self) -> BeatMap | None:
        """Until the player leaves; the beats as they are then, if there are any.

        They are kept: each change was, at once.
        """
        self._stand()
        while True:
            outcome = show(
                self._context, self, self._input, pad_commands=self._context.pad_commands
            )
            if outcome is Outcome.LEAVE:
                self._stop()
                return self._draft.beats
            if outcome is not None:
                self._answer(outcome)

    def _answer(self, outcome: Outcome) -> None:
        if outcome is Outcome.START:
            self._play() if self._since_s is None else self._stop()
        elif outcome is Outcome.AGAIN:
            self._tap()
        elif outcome is Outcome.UNDO:
            self._undo()
        elif outcome is Outcome.REDO:
            self._redo()
        elif outcome in _WAYS:
            self._step(self._page.setting, _WAYS[outcome])

    # What the frame loop tells.

    @property
    def by_pads(self) -> bool:
        """Strokes work the page unless they are taps."""
        return self._taps is None

    def received(self, message: Heard) -> None:
        """A hit while it plays is a tap, where taps are asked for."""
        if message.hit is None or self._taps is None or self._since_s is None:
            return
        at_s = self._from_s + message.hit.time_s - self._since_s
        if at_s > self._from_s - _EARLY_S:
            self._taps.append(at_s)

    def view(self, now_s: float) -> View:
        """The page as it is now."""
        if self._has_left_off(self._at_s()):
            self._stop()
        elif self._since_s is not None and self._at_s() >= self._end_s():
            self._ended()
        self._write_page()
        return View(self._page, self._at_s())

    def press(self, page: Page, press: Press) -> Outcome | None:
        """A press may be a tap, or move the line."""
        outcome = page.handle(press)
        wanted_s, self._page.wanted_s = self._page.wanted_s, None
        if self._page.struck:
            if self._taps is not None:
                self._taps.append(self._at_s())
            self._page.struck = 0
        if wanted_s is not None:
            self._move(wanted_s)
        return outcome

    # Time goes by.

    def _at_s(self) -> float:
        """Where in the recording it is."""
        if self._since_s is None:
            return self._from_s
        return max(self._from_s, self._from_s + self._context.clock.now() - self._since_s)

    def _has_left_off(self, at_s: float) -> bool:
        """Whether the player taps no more: further taps would lie too far from those there are."""
        taps = self._taps
        if taps is None or len(taps) < FEWEST:
            return False
        return at_s - taps[-1] > (GAP_BEATS + 1) * float(np.median(np.diff(taps)))

    def _end_s(self) -> float:
        """Where it ends: with the loop, or with the recording."""
        loop, beats = self._draft.loop, self._draft.beats
        if self._taps is None and loop is not None and beats is not None:
            end_s = beats.bar_start_s(loop[1] + 1)
            if self._from_s < end_s:
                return min(end_s, self._recording.length_s)
        return self._recording.length_s

    def _write_page(self) -> None:
        page, draft, context = self._page, self._draft, self._context
        page.beats, page.per_bar, page.loop = draft.beats, draft.per_bar, draft.loop
        page.playing, page.tapping = self._since_s is not None, self._taps is not None
        page.taps = self._taps or ()
        page.recording_db, page.changes = self._sound.level_db, len(self._before)
        said = (self._trouble, *context.notices, self._recording.notice, context.output.notice)
        page.notices = list(dict.fromkeys(filter(None, said)))

    def _say(self, words: str) -> None:
        self._page.words = words

    # Playing.

    def _play(self) -> None:
        if self._from_s >= self._recording.length_s - 0.01:
            self._from_s = 0.0
        context = self._context
        context.output.clear()
        self._since_s = context.clock.now() + LEAD_S
        begin = round(self._from_s * RATE)
        context.output.schedule(self._since_s, [RecordingPart(self._sound, begin, 0.0)])

    def _stop(self) -> None:
        """Stop where it is, and make beats of what was tapped."""
        if self._since_s is None:
            return
        for message in self._input.read() if self._input is not None else ():
            self.received(message)
        taps, self._taps = self._taps, None
        if taps is None:  # who has tapped, and must tap again, does so from the same place
            self._from_s = min(self._at_s(), self._recording.length_s)
        self._since_s = None
        self._context.output.clear()
        self._sound.beats = self._draft.beats
        if taps is not None:
            self._make_beats(taps)
        self._stand()

    def _stand(self) -> None:
        """Nothing plays: strokes work the page from now on."""
        if self._input is not None:
            self._input.discard()
        if self._context.pad_commands is not None:
            self._context.pad_commands.begin()

    def _ended(self) -> None:
        """The end: of the bars that are played over and over, or of all."""
        loop, beats = self._draft.loop, self._draft.beats
        if self._taps is None and loop is not None and beats is not None:
            self._move(beats.bar_start_s(loop[0]))
        else:
            self._stop()

    def _move(self, at_s: float) -> None:
        """On from another place, playing or not."""
        self._from_s = min(max(at_s, 0.0), self._recording.length_s)
        if self._since_s is not None:
            self._play()

    # Beats.

    def _tap(self) -> None:
        self._stop()
        self._taps = []
        self._sound.beats = None  # the old ones would mislead
        if self._input is not None:
            self._input.discard()
        self._say(_TAPPING)
        self._play()

    def _make_beats(self, taps: list[float]) -> None:
        per_bar = self._draft.per_bar
        is_new = self._found(
            lambda onsets: continued(refined(taps, onsets, per_bar), onsets),
            f"{len(taps)} taps, and the beats from the beginning to the end: ",
        )
        if is_new:
            self._page.chosen = SETTINGS.index(Setting.CHANGES)

    def _find(self) -> None:
        self._stop()
        is_new = self._found(lambda onsets: find(onsets, self._draft.per_bar), "Found by itself: ")
        beats = self._draft.beats
        if is_new and beats is not None:
            self._page.chosen = SETTINGS.index(Setting.PACE)  # one stroke halves or doubles it
            self._say(f"{self._page.words} {half_or_double(beats)}")

    def _found(self, beats_of: Callable[[Onsets], BeatMap], words: str) -> bool:
        """New beats from the onsets of the recording, if there are any; else the old ones stay."""

        def work(progress: Progress) -> BeatMap:
            if self._onsets is None:
                self._onsets = Onsets.of(self._recording, progress)
            return beats_of(self._onsets)

        try:
            beats = work_on_page(
                self._context, self._page.title, "Listening for the beats", work=work
            )
        except UserError as error:
            self._say(f"{error} {_STAY if self._draft.beats else ''}".rstrip())
            return False
        self._take(self._draft.with_beats(beats))
        self._say(f"{words}{len(beats)} in all. {_NEW}")
        self._from_s = max(0.0, beats.bar_start_s(0))
        return True

    def _step(self, setting: Setting, way: int) -> None:
        """One step less or more."""
        at_s = self._at_s()
        if setting is Setting.LINE:
            self._move(self._beside(at_s, way))
        elif setting is Setting.LOUDNESS:
            level_db = self._sound.level_db + way * LOUDNESS_STEP_DB
            self._sound.level_db = min(max(level_db, LOWEST_DB), HIGHEST_DB)
        elif setting is Setting.ORIGIN:
            self._find()  # less is AGAIN
        else:
            try:
                changed = self._draft.changed(setting, way, at_s)
            except DraftError as error:
                self._say(str(error))
                return
            self._say("")
            self._take(changed)
            if setting in (Setting.FIRST, Setting.LAST):
                self._to_loop(at_s)

    def _to_loop(self, at_s: float) -> None:
        """The line into the bars that are played, so that they are seen, and heard at once."""
        loop, beats = self._draft.loop, self._draft.beats
        if loop is not None and beats is not None:
            begin_s, end_s = beats.loop(*loop)
            if not begin_s <= at_s < end_s:
                self._move(begin_s)

    def _beside(self, at_s: float, way: int) -> float:
        """A beat on or back; a second where there are no beats."""
        beats = self._draft.beats
        if beats is None:
            return at_s + way
        return beats.seconds(float(nearest(beats, at_s) + way))

    def _take(self, draft: Draft) -> None:
        if draft == self._draft:
            return
        self._before.append(self._draft)
        self._after.clear()
        self._set(draft)

    def _undo(self) -> None:
        if not self._before:
            self._say("There is nothing to take back.")
            return
        self._after.append(self._draft)
        self._set(self._before.pop())
        self._say("Taken back.")

    def _redo(self) -> None:
        if not self._after:
            self._say("Nothing was taken back.")
            return
        self._before.append(self._draft)
        self._set(self._after.pop())
        self._say("Made again.")

    def _set(self, draft: Draft) -> None:
        """``draft`` is heard, seen and kept from now on."""
        is_new = draft.beats != self._draft.beats
        self._draft = draft
        self._sound.beats = draft.beats
        if is_new:
            try:
                self._keep(draft.beats)
                self._trouble = ""
            except UserError as error:
                self._trouble = str(error)


def half_or_double(beats: BeatMap) -> str:
    """What else the tempo of found beats may be, in words."""
    bpm = 60.0 / float(np.median(np.diff(beats.times_s)))
    return f"It is counted at {bpm:.0f} bpm: ← counts it at {bpm / 2:.0f}, → at {2 * bpm:.0f}."


def _pads(pad_commands: PadCommands) -> dict[Outcome, str]:
    """Which pad does what: the one that starts plays, and neither taps nor keeps."""
    return {
        outcome: voice
        for outcome, voice in pad_commands.pads.items()
        if outcome is not Outcome.AGAIN
    }
