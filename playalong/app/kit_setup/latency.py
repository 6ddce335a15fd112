"""Measuring latency: play along to clicks, from the computer or from the kit itself.

A round has ``CLICKS``; where that is not sure enough, another one counts together with it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from playalong.app.kit_setup import profile_text as kit_words
from playalong.app.kit_setup.setup_context import SetupContext
from playalong.app.run.run import LEAD_S
from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.pattern.meter import Meter, Tempo
from playalong.pattern.voices import BY_NAME
from playalong.profile.latency import (
    CLICK_ON_KIT,
    PLAYED_ALONG,
    Latency,
    Measured,
    measured,
    typed,
)
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import ACCEPT, LEAVE, START, Button, Buttons
from playalong.screen.kit_pages.latency import LatencyPage
from playalong.sound.device.output import Output
from playalong.sound.synth.click import Click, clicks
from playalong.support.errors import UserError

#: So many clicks are played along to, in bars of four after one that is counted in.
CLICKS = 24
_METER = Meter.parse("4/4")

#: The tempi that can be chosen, and the one to begin with: a slow click can tell a long delay.
TEMPI_BPM, USUAL_BPM = (45, 60, 80, 100, 120), 80

_AGAIN = Button(("a", "A"), "A", "again", outcome=Outcome.AGAIN)
#: Once there is something to keep, the pad that starts keeps it, and the one that goes back
#: measures again.
_ANEW = Button(("a", "A"), "A", "again", outcome=Outcome.BACK)
_MORE = Button((Key.ENTER,), "Enter", "another round", outcome=Outcome.START)
_ON_KIT = Button(("k", "K"), "K", "click on the kit", outcome=Outcome.CLICK_ON_KIT)
_ON_COMPUTER = Button(("k", "K"), "K", "click on the computer", outcome=Outcome.CLICK_ON_KIT)
_SLOWER = Button((Key.LEFT,), "←", "slower", outcome=Outcome.SLOWER)
_FASTER = Button((Key.RIGHT,), "→", "faster", outcome=Outcome.FASTER)
_LOUDER = Button((Key.UP,), "↑", "louder", outcome=Outcome.LOUDER)
_SOFTER = Button((Key.DOWN,), "↓", "softer", outcome=Outcome.SOFTER)

_SILENT = (
    "The computer plays no sound: the click is only seen, and eyes are slower than ears. Better "
    "let the kit sound the click, or type in a figure that was measured."
)
_GONE = "The kit was gone meanwhile: measure again."
_BY_KIT = "The kit itself sounds the click."
_HOW = "Strike one pad with every click: one bar is counted in, then come {} clicks at {} bpm."

#: Gives the output on which the kit sounds the click, by the name of its port; PortError where
#: there is none.
ToKit = Callable[[str], Output]


def latency(setup: SetupContext, to_kit: ToKit, starts_on_kit: bool = False) -> None:
    """Measure the latency, or let it be typed in, until the page is left."""
    page = _Latency(setup, to_kit)
    try:
        if starts_on_kit:
            page.change_output()
        page.go()
    finally:
        page.close()


@dataclass
class _Playing:
    """The clicks as they are heard, (CLICKS,) in seconds, and the hits that came."""

    counted_s: NDArray[np.float64]
    click_s: NDArray[np.float64]
    hits: list[Hit] = field(default_factory=list)

    @property
    def beat_s(self) -> float:
        return float(self.click_s[1] - self.click_s[0])

    @property
    def hit_s(self) -> NDArray[np.float64]:
        return np.array([hit.time_s for hit in self.hits], np.float64)

    def nearest_ms(self, now_s: float) -> list[float | None]:
        """For each click that nothing more can answer by now, its nearest hit within half a
        beat, in milliseconds after it, None where there is none."""
        passed = self.click_s[self.click_s + self.beat_s / 2.0 <= now_s]
        found = []
        for click_s in passed.tolist():
            apart_ms = [(hit.time_s - click_s) * 1000.0 for hit in self.hits]
            near_ms = [ms for ms in apart_ms if abs(ms) <= self.beat_s * 500.0]
            found.append(min(near_ms, key=abs, default=None))
        return found


class _Latency:
    """The page, and what is going on on it."""

    def __init__(self, setup: SetupContext, to_kit: ToKit) -> None:
        self._setup, self._to_kit = setup, to_kit
        self._on_kit: Output | None = None
        self._tempo = TEMPI_BPM.index(USUAL_BPM)
        self._playing: _Playing | None = None
        #: Rounds that count together with the next.
        self._rounds: list[_Playing] = []
        self._found: Measured | None = None
        self._page = LatencyPage(theme=setup.context.theme, kit=setup.profile.kit, of=CLICKS)
        self._words = self._how()
        self._answers = {
            Outcome.START: self._begin,
            Outcome.AGAIN: self._begin_anew,
            Outcome.BACK: self._begin_anew,
            Outcome.CLICK_ON_KIT: self.change_output,
            Outcome.SLOWER: lambda: self._change_tempo(-1),
            Outcome.FASTER: lambda: self._change_tempo(1),
            Outcome.LOUDER: setup.context.output.louder,
            Outcome.SOFTER: setup.context.output.softer,
        }

    def go(self) -> None:
        """Show it until it is left."""
        while True:
            self._page.buttons = self._buttons()
            is_still = self._playing is None
            outcome = self._setup.show(
                self._page, self._hears, self._before_frame, by_pads=is_still
            )
            if outcome is Outcome.LEAVE:
                return
            if outcome is Outcome.ACCEPT and self._found and self._found.latency:
                self._setup.learned(latency=self._found.latency)
                return
            if outcome is Outcome.TYPED:
                known = self._typed()
                if known is not None:
                    self._setup.learned(latency=known)
                    return
            if outcome in self._answers:
                self._answers[outcome]()

    def close(self) -> None:
        """Silence the click."""
        self._output.clear()
        if self._on_kit is not None:
            self._on_kit.close()

    @property
    def _output(self) -> Output:
        return self._on_kit or self._setup.context.output

    @property
    def _how_measured(self) -> str:
        return CLICK_ON_KIT if self._on_kit else PLAYED_ALONG

    def _how(self) -> list[str]:
        said = [_HOW.format(CLICKS, TEMPI_BPM[self._tempo])]
        if self._on_kit is not None:
            said.append(_BY_KIT)
        elif self._setup.context.output.silent:
            said.append(_SILENT)
        return said

    def _buttons(self) -> Buttons:
        if self._playing is not None:
            return Buttons((_AGAIN, _LOUDER, _SOFTER, LEAVE))
        where = _ON_COMPUTER if self._on_kit else _ON_KIT
        first = (ACCEPT, _ANEW) if self._found and self._found.latency else (START,)
        if self._rounds:
            first = (_MORE, _ANEW)
        return self._setup.buttons(*first, where, _SLOWER, _FASTER, _LOUDER, _SOFTER, LEAVE)

    def _hears(self, message: Heard) -> None:
        hit = message.hit
        if hit is not None and self._playing is not None and not BY_NAME[hit.voice].by_itself:
            self._playing.hits.append(hit)

    def _before_frame(self, now_s: float) -> Outcome | None:
        """NEXT once the last click is over: the pads work the page again."""
        page, playing = self._page, self._playing
        known = self._setup.profile.latency
        page.now = kit_words.latency(known) if known else ""
        if playing is not None and not self._setup.is_there:
            self._output.clear()
            self._playing, self._words, page.errors_ms = None, [_GONE, *self._how()], ()
            self._rounds = []
        elif playing is not None:
            page.errors_ms = playing.nearest_ms(now_s)
            self._words = [_counted(playing, now_s)]
            if now_s > playing.click_s[-1] + playing.beat_s:
                self._end(playing)
        page.words = [*self._setup.notices, *self._words]
        return Outcome.NEXT if playing is not None and self._playing is None else None

    def _begin_anew(self) -> None:
        """The first round."""
        self._rounds = []
        self._begin()

    def _begin(self) -> None:
        """Count in, and click."""
        self._output.clear()
        start_s = self._setup.context.clock.now() + LEAD_S
        tempo = Tempo(float(TEMPI_BPM[self._tempo]), _METER.unit)
        found: list[Click] = clicks([_METER] * (CLICKS // len(_METER.beats)), tempo)
        start_s -= found[0].time_s
        self._output.schedule(start_s, found)
        at_s = np.array([start_s + click.time_s for click in found])
        self._playing, self._found = _Playing(at_s[:-CLICKS], at_s[-CLICKS:]), None
        self._page.errors_ms, self._page.median_ms, self._page.interval_ms = (), None, None

    def _end(self, playing: _Playing) -> None:
        """The last click was answered, or not: what comes of it."""
        rounds = [*self._rounds, playing]
        hit_s = np.sort(np.concatenate([one.hit_s for one in rounds]))
        click_s = np.concatenate([one.click_s for one in rounds])
        found = measured(click_s, hit_s, self._how_measured)
        self._playing, self._found, self._words = None, found, [found.words]
        self._rounds = rounds if found.wants_more else []
        if len(found.errors_ms):
            errors_ms = _by_click(click_s, hit_s[found.used], found.errors_ms)
            self._page.errors_ms = errors_ms[-len(playing.click_s) :]
        if found.latency is not None and found.latency.plus_minus_ms is not None:
            middle_ms, sure_ms = found.latency.ms, found.latency.plus_minus_ms
            self._page.median_ms = middle_ms
            self._page.interval_ms = middle_ms - sure_ms, middle_ms + sure_ms

    def change_output(self) -> None:
        """Let the kit sound the click, or the computer again."""
        self._output.clear()
        self._playing = self._found = None
        self._rounds = []
        if self._on_kit is not None:
            self._on_kit.close()
            self._on_kit = None
        else:
            try:
                self._on_kit = self._to_kit(self._setup.port.name)
            except UserError as error:
                self._words = [str(error), *self._how()]
                return
        self._words = self._how()

    def _change_tempo(self, by: int) -> None:
        self._tempo = min(max(0, self._tempo + by), len(TEMPI_BPM) - 1)
        self._found, self._rounds, self._words = None, [], self._how()

    def _typed(self) -> Latency | None:
        """What was typed in, None where it is no figure that can be."""
        try:
            return typed(float(self._page.typed))
        except ValueError as error:
            said = str(error)
            plain = said if said.startswith("A delay") else _NO_FIGURE.format(self._page.typed)
            self._words, self._page.typed = [plain], ""
            return None


_NO_FIGURE = '"{}" is no figure: type milliseconds, as in 12.5.'


def typed_in(ms: float) -> Latency:
    """A latency in milliseconds that the user knows; UserError where it cannot be."""
    try:
        return typed(ms)
    except ValueError as error:
        raise UserError.of([str(error)]) from None


def _counted(playing: _Playing, now_s: float) -> str:
    """What is counted at a time, as the click is seen where it is not heard."""
    answered = int((playing.click_s <= now_s).sum())
    if answered:
        return f"Click {answered} of {len(playing.click_s)}."
    counted = int((playing.counted_s <= now_s).sum())
    return "  ".join(str(number + 1) for number in range(counted)) or "Ready ..."


def _by_click(
    click_s: NDArray[np.float64], hit_s: NDArray[np.float64], errors_ms: NDArray[np.float64]
) -> list[float | None]:
    """The errors, (k,) of the answered clicks, for all clicks: None where one has no answer."""
    found: list[float | None] = [None] * len(click_s)
    for at_s, error_ms in zip((hit_s - errors_ms / 1000.0).tolist(), errors_ms, strict=True):
        found[int(np.abs(click_s - at_s).argmin())] = float(error_ms)
    return found
