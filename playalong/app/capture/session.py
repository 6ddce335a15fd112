"""A groove played in, in the window: played, looked at, taken or dropped, kept as a file.

While it is played strokes work nothing; who rests for ``REST_S`` after a few bars is done. On the
page of what was understood every choice is a row, changed by pads, keys or mouse.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Literal

from playalong.app.capture.played_in import Known, of_hits
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, hold, show
from playalong.app.run.hit_input import HitInput
from playalong.capture import phrases
from playalong.capture.bars import ClickHeard, Reading
from playalong.capture.folding import LENGTHS
from playalong.capture.picking import State, changed, items, picked
from playalong.capture.understanding import Captured, again
from playalong.midi.hits import Hit, Hits
from playalong.midi.mapping import Heard
from playalong.midi.pads import Pads
from playalong.midi.port import Port
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.meter import Tempo
from playalong.pattern.model import Pattern
from playalong.pattern.targets import lay_out
from playalong.records.pattern_files import load_pattern
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.capture_pages.listening import ListeningPage, offered
from playalong.screen.capture_pages.understood import UnderstoodPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from playalong.sound.synth.click import clicks
from playalong.sound.synth.notes import Note
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.text import printable

#: A pattern, and the file that it is in.
SavedPattern = tuple[Pattern, Path]

#: So long a rest ends the listening, after so many strokes.
REST_S, ENOUGH_STROKES = 3.0, 12

_PLAY = (
    "Play the groove, four bars or more, from its 1. Then rest: it is written down. "
    "To a click it is read most surely."
)
TO_CLICK = (
    "The click counts one bar in. Begin with it on the 1, play four bars or more, then rest: "
    "it is written down."
)

#: The tempo of the click until another is asked for, a step of it, and its ends.
_CLICK_BPM, _STEP_BPM, _SLOWEST_BPM, _FASTEST_BPM = 90.0, 2.0, 30.0, 300.0

#: The click begins so soon, and goes on for so many bars.
_LEAD_S, _CLICK_BARS = 0.4, 64

#: What somebody simulated plays, how well, and for how many bars.
_SHOWN, _WHO, _SEED, _SHOWN_BARS = "late-bus-home", "professional", 7, 8

#: The lengths that a pattern may be given.
_LENGTHS = tuple(LENGTHS)

#: Rows of the page beside the strokes.
_COUNTED, _BARS = "count it as", "bars"

#: More strokes than this nobody goes through.
_MOST_ITEMS = 24

#: What a groove is called until somebody says.
_UNTITLED = "Groove"


class CaptureSession:
    """Plays in grooves until one is kept, or the player leaves."""

    def __init__(
        self,
        context: RunContext,
        port: Port,
        known: Known,
        *,
        save: Callable[[Pattern], SavedPattern],
        hear: Callable[[Pattern], None],
        has_kit: bool = True,
    ) -> None:
        """``save`` writes a pattern into a file, ``hear`` plays one; without a kit somebody
        simulated can be asked to play."""
        self._context, self._known = context, known
        self._save, self._hear, self._has_kit = save, hear, has_kit
        self._click_bpm = known.click_bpm
        profile = context.profile
        late_ms = profile.latency.ms if profile.latency else 0.0
        self._input = HitInput(port, context.stamps, profile.pads, latency_ms=late_ms)

    def go(self) -> SavedPattern | None:
        """The pattern that was kept, and where; None where none was."""
        notice = ""
        while not self._context.window.is_closed:
            heard = self._listen(notice)
            if heard is None:
                return None
            hits, click = heard
            try:
                captured = of_hits(hits, self._known, _UNTITLED, click=click)
            except UserError as error:
                notice = " ".join(error.lines)
                continue
            saved = self._look_at(captured)
            if saved is not Outcome.AGAIN:
                return saved
            notice = ""
        return None

    def _listen(self, notice: str) -> tuple[Hits, ClickHeard | None] | None:
        """What was played, and the click that it was played to; None where the player leaves."""
        outcome: Outcome | None = Outcome.LISTEN
        input, is_simulated = self._input, False
        while not self._context.window.is_closed:
            click = self._counted_in(simulated=is_simulated)
            if is_simulated:
                input = self._somebody(click)
            scene = _Listening(
                self._context,
                notice,
                click=click,
                has_kit=self._has_kit,
                is_simulated=is_simulated,
            )
            input.discard()
            outcome = show(self._context, scene, input)
            self._context.output.clear()
            if outcome is Outcome.LEAVE:
                return None
            if outcome is Outcome.LISTEN:
                self._click_bpm = None if self._click_bpm else self._known.tempo_bpm or _CLICK_BPM
            elif outcome in (Outcome.SLOWER, Outcome.FASTER) and self._click_bpm:
                step = _STEP_BPM if outcome is Outcome.FASTER else -_STEP_BPM
                bpm = min(max(self._click_bpm + step, _SLOWEST_BPM), _FASTEST_BPM)
                self._click_bpm = bpm
            elif outcome is not Outcome.WATCH:
                return Hits.of(scene.hits), click
            input, is_simulated, notice = self._input, outcome is Outcome.WATCH, ""
        return None

    def _counted_in(self, *, simulated: bool) -> ClickHeard | None:
        """Let the click begin; None where there is none."""
        if self._click_bpm is None or (simulated and self._known.click_bpm is None):
            return None
        meter = self._known.click_meter
        tempo = Tempo(self._click_bpm, meter.unit)
        ticks = clicks([meter] * _CLICK_BARS, tempo)
        start_s = self._context.clock.now() + _LEAD_S + tempo.seconds(meter.length)
        self._context.output.schedule(start_s, ticks)
        return ClickHeard(tempo_bpm=self._click_bpm, start_s=start_s)

    def _somebody(self, click: ClickHeard | None) -> HitInput:
        """Somebody simulated, who plays a pattern of the program's, to a click that there is."""
        pattern = load_pattern(_SHOWN)
        clock = self._context.clock
        start_s = clock.now() + _LEAD_S if click is None else click.start_s
        bpm = pattern.tempo if click is None else click.tempo_bpm
        targets = lay_out(pattern, bpm, _SHOWN_BARS)
        performance = perform(targets, SKILLS[_WHO], _SEED)
        port = SimulatedPort(performance, start_s, clock.now)
        return HitInput(port, StampFilter(), Pads())

    def _look_at(self, captured: Captured) -> "SavedPattern | Literal[Outcome.AGAIN] | None":
        """What the player keeps, None to leave, or AGAIN to play again."""
        looked = Looked(captured)
        while not self._context.window.is_closed:
            page = looked.page(self._context)
            outcome = hold(self._context, page, 0.0)
            looked.chosen = page.rows.chosen
            if outcome is Outcome.AGAIN:
                return Outcome.AGAIN
            if outcome is Outcome.HEAR:
                self._hear(looked.pattern)
            elif outcome in (Outcome.LESS, Outcome.MORE):
                looked.change(1 if outcome is Outcome.MORE else -1)
            elif outcome is Outcome.LEAVE:
                return None
            elif outcome is Outcome.START and any(bar.strokes for bar in looked.pattern.bars):
                saved = self._keep(looked.pattern)
                if saved is not None:
                    return saved
        return None

    def _keep(self, pattern: Pattern) -> SavedPattern | None:
        """Ask for the title, and write the file; None where the player goes back."""
        page = TypedPage(
            theme=self._context.theme,
            title="Play it in",
            prompt="What is it called?",
            typed=self._known.title or _UNTITLED,
        )
        while hold(self._context, page, 0.0) is Outcome.ACCEPT:
            title = printable(page.typed).strip()
            if title:
                return self._save(replace(pattern, title=title))
            page.notice, page.is_off = "Give it a title of a letter or more.", True
        return None


class _Listening(Scene):
    """What is played, until there is a rest."""

    def __init__(
        self,
        context: RunContext,
        notice: str,
        *,
        click: ClickHeard | None = None,
        has_kit: bool = True,
        is_simulated: bool = False,
    ) -> None:
        """Somebody simulated is heard."""
        self.hits: list[Hit] = []
        self._output, self._is_simulated = context.output, is_simulated
        self._page = ListeningPage(
            theme=context.theme,
            words=_PLAY if click is None else TO_CLICK,
            notice=notice,
            caution=CAUTION,
            tempo="" if click is None else f"{click.tempo_bpm:g} bpm",
            buttons=offered(click is not None, has_kit),
        )

    @property
    def by_pads(self) -> bool:
        """Strokes are the groove."""
        return False

    def received(self, message: Heard) -> None:
        """A stroke of the groove."""
        if message.hit is not None:
            hit = message.hit
            self.hits.append(hit)
            self._page.hits = self.hits
            if self._is_simulated:
                velocity = round(hit.velocity)
                self._output.now(
                    Note(time_s=0.0, voice=hit.voice, velocity=velocity, variant=len(self.hits))
                )

    def view(self, now_s: float) -> View | None:
        """The page, until the rest after what was played."""
        enough = len(self.hits) >= ENOUGH_STROKES
        if enough and now_s - self.hits[-1].time_s > REST_S:
            return None
        return View(self._page, now_s)


class Looked:
    """What was understood as it stands now: how it is counted, how long it is, which strokes."""

    def __init__(self, captured: Captured) -> None:
        self.chosen = 0
        self._lengths = [n for n in _LENGTHS if n <= captured.bars_played]
        self._take(captured)

    def _take(self, captured: Captured) -> None:
        self._captured = captured
        self._items = items(captured)[:_MOST_ITEMS]

    @property
    def pattern(self) -> Pattern:
        """The pattern with what is taken."""
        return picked(self._captured.pattern, self._items)

    def change(self, step: int) -> None:
        """The chosen row, one on or back."""
        row = self.chosen
        captured = self._captured
        if row == 0:
            choices = captured.choices
            at = [one is captured.reading for one in choices].index(True)
            self._recount(choices[(at + step) % len(choices)], None)
        elif row == 1:
            lengths = self._lengths
            own = len(captured.pattern.bars)
            at = lengths.index(own) if own in lengths else 0
            self._recount(captured.reading, lengths[(at + step) % len(lengths)])
        else:
            self._items[row - 2] = changed(self._items[row - 2], step)

    def _recount(self, reading: Reading, bars: int | None) -> None:
        try:
            self._take(again(self._captured, reading, bars=bars))
        except UserError:  # fewer bars in this reading: it stays as it is
            return

    def page(self, context: RunContext) -> UnderstoodPage:
        """The page as it stands."""
        captured, pattern = self._captured, self.pattern
        seen = {item.key: (item.came, item.rounds) for item in self._items}
        rows = [
            Choice(name=_COUNTED, value=self._counted()),
            Choice(name=_BARS, value=str(len(pattern.bars))),
            *(
                Choice(
                    name=phrases.place(item, pattern), value=f"{item.state}, {phrases.why(item)}"
                )
                for item in self._items
            ),
        ]
        out = sum(item.state is State.LEFT_OUT for item in self._items)
        facts = [
            ("bars played", str(captured.bars_played)),
            ("understood", str(len(captured.understood))),
            ("unsure", str(len(self._items) - out)),
            ("left out", str(out)),
        ]
        if captured.reading is captured.choices[0] and len(captured.choices) > 1:
            facts.append(("or", phrases.choice(captured.choices[1], captured.reading)))
        if pattern.variations:
            facts.append(("variations", str(len(pattern.variations))))
        return UnderstoodPage(
            theme=context.theme,
            title="What was understood",
            tempo_bpm=pattern.tempo,
            run_bars=len(pattern.bars),
            bars=pattern.bars,
            voices=pattern.voices,
            rows=Rows(rows, min(self.chosen, len(rows) - 1)),
            facts=facts,
            came=seen,
            level=context.level(),
        )

    def _counted(self) -> str:
        captured = self._captured
        reading = captured.reading
        best = captured.choices[0]
        words = f"{phrases.counting(reading)}{phrases.swinging(captured.pattern.swing)}"
        if reading is not best:
            return f"{words}: {phrases.choice(reading, best)}"
        return words
