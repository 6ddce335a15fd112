"""The page on which latency is measured: the clicks, and where each hit fell against its click."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    ACCEPT,
    HEAD,
    LEAVE,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)

#: What can be asked for.
MEASURING = (
    ACCEPT,
    Button(("a", "A"), "A", "again", outcome=Outcome.AGAIN),
    Button(("k", "K"), "K", "click on the kit", outcome=Outcome.CLICK_ON_KIT),
    LEAVE,
)

#: While a figure is typed in.
_TYPING = (
    Button((Key.ENTER,), "Enter", "take this figure", outcome=Outcome.TYPED),
    Button((Key.ESCAPE,), "Esc", "do not", outcome=Outcome.UNDO),
)

#: What a figure is made of, and how many letters it has at most.
_FIGURE, _LONGEST = "0123456789.-", 7

#: In units: the line of beats, and what the ruler's numbers take below it.
_BEATS, _NUMBERS = 44, 26

#: The least that the ruler reaches to each side, in ms, and its steps.
_AXIS_MS, _RULER_MS = 60.0, (10, 20, 50, 100, 200)

#: The least room between two numbers of the ruler, in units.
_CLOSEST = 44


@dataclass(kw_only=True)
class LatencyPage(ButtonPage):
    """Measuring latency. Everything may be set anew between frames.

    ``errors_ms`` has the hit of each click, in ms after it, None for a click without one; it
    grows while the clicks go by. ``median_ms`` and ``interval_ms`` (low, high) are the figure and
    its uncertainty. ``now`` is what is in use, in words; ``typed`` is the figure as it is typed in.
    """

    theme: Theme
    kit: str
    now: str = ""
    errors_ms: Sequence[float | None] = ()
    of: int = 16
    median_ms: float | None = None
    interval_ms: tuple[float, float] | None = None
    words: Sequence[str] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons(MEASURING), repr=False)
    typed: str = ""
    _typing: Buttons = field(default_factory=lambda: Buttons(_TYPING), init=False, repr=False)

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; digits, minus and point are typed in, and TYPED takes them."""
        if press is Key.CLOSE:
            return Outcome.LEAVE
        if press is Key.BACKSPACE:
            self.typed = self.typed[:-1]
            return None
        figure = press.replace(",", ".") if isinstance(press, str) else ""
        if len(figure) == 1 and figure in _FIGURE:
            self.typed = (self.typed + figure)[:_LONGEST]
            return None
        if not self.typed:
            return super().handle(press)
        outcome = self._typing.handle(press)
        if outcome is Outcome.UNDO:
            self.typed = ""
            return None
        return outcome

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome, now that a figure is typed in or not."""
        return (self._typing if self.typed else self.buttons).offers(outcome)

    def looks(self, now_s: float) -> tuple[object, ...]:
        """All that is seen, which nothing changes by itself."""
        figures = (tuple(self.errors_ms), self.of, self.median_ms, self.interval_ms)
        words = (self.kit, self.now, tuple(self.words), self.typed)
        return self.theme, words, figures, self.buttons.shown

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it moves only when something is set anew."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        facts = [self.kit, *([f"now {self.now}"] if self.now else [])]
        head(pen, "Latency", "  ·  ".join(facts), tempo=self._figure(), clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = self._draw_foot(pen) - pen.px(14)
        top = pen.px(HEAD + 8)
        self._draw_beats(pen, area(left=left, top=top, right=right, bottom=top + pen.px(_BEATS)))
        step = pen.px(LABEL * 1.4)
        lines = [line for words in self.words for line in pen.wrapped(words, LABEL, right - left)]
        said = bottom - step * len(lines)
        for number, line in enumerate(lines):
            pen.text(line, LABEL, (left, said + (number + 0.8) * step))
        self._draw_ruler(
            pen,
            area(left=left, top=top + pen.px(_BEATS + 10), right=right, bottom=said - pen.px(10)),
        )

    def _figure(self) -> str:
        if self.median_ms is None:
            return ""
        figure = f"{self.median_ms:.0f} ms"
        if self.interval_ms is not None:
            low_ms, high_ms = self.interval_ms
            figure += f" ± {max(self.median_ms - low_ms, high_ms - self.median_ms):.0f}"
        return figure.replace("-", "−")

    def _draw_foot(self, pen: Pen) -> int:
        if not self.typed:
            return foot(pen, self.buttons, ["Or type the figure in."])
        return foot(pen, self._typing, [f"typed in: {self.typed} ms".replace("-", "−")])

    def _draw_beats(self, pen: Pen, rect: pygame.Rect) -> None:
        """A mark for each click: solid where it has its hit, a cross where it has none."""
        colours, radius = pen.colours, max(2, pen.px(9))
        pen.level_line(rect.centery, rect.left, rect.right, colour=colours.line, width=1)
        step = rect.width / self.of
        for beat in range(self.of):
            at = (rect.left + (beat + 0.5) * step, rect.centery)
            if beat >= len(self.errors_ms):
                mark = marks.ring(
                    radius, width=pen.px(1.8), colour=colours.ink, inside=colours.paper
                )
            elif self.errors_ms[beat] is None:
                mark = marks.cross(radius, pen.px(2), colours.off)
            else:
                mark = marks.dot(radius, colours.ink)
            pen.mark(mark, at)

    def _draw_ruler(self, pen: Pen, rect: pygame.Rect) -> None:
        """Each hit where it fell: a line for each click, the first above; the box is the figure."""
        colours = pen.colours
        plot = area(
            left=rect.left, top=rect.top, right=rect.right, bottom=rect.bottom - pen.px(_NUMBERS)
        )
        if plot.height < pen.px(20):
            return
        played = [error for error in self.errors_ms if error is not None]
        low = min(-_AXIS_MS, *played, *(self.interval_ms or ())) if played else -_AXIS_MS
        high = max(_AXIS_MS, *played, *(self.interval_ms or ())) if played else _AXIS_MS
        spare = 0.06 * (high - low)
        per_ms = plot.width / (high - low + 2 * spare)

        def x(ms: float) -> float:
            return plot.left + (ms - low + spare) * per_ms

        pen.fill(plot, colours.row)
        self._draw_numbers(pen, plot, x=x, low_ms=low - spare, high_ms=high + spare)
        if self.interval_ms is not None:
            first, last = map(x, self.interval_ms)
            box = area(
                left=first, top=plot.top, right=max(last, first + pen.px(3)), bottom=plot.bottom
            )
            pen.box(box, colours.ahead, colours.ahead_edge)
        pen.upright(x(0.0), plot.top, plot.bottom, colour=colours.ink, width=1.4)
        if self.median_ms is not None:
            pen.upright(
                x(self.median_ms), plot.top, plot.bottom, colour=colours.ahead_edge, width=3
            )
        row = plot.height / self.of
        dot = marks.dot(max(2, min(pen.px(6), round(row * 0.45))), colours.ink)
        for beat, error in enumerate(self.errors_ms):
            if error is not None:
                pen.mark(dot, (x(error), plot.top + (beat + 0.5) * row))
        pen.level_line(plot.bottom, plot.left, plot.right, colour=colours.rule, width=1)

    def _draw_numbers(
        self,
        pen: Pen,
        plot: pygame.Rect,
        *,
        x: Callable[[float], float],
        low_ms: float,
        high_ms: float,
    ) -> None:
        step = next((ms for ms in _RULER_MS if x(ms) - x(0.0) >= pen.px(_CLOSEST)), _RULER_MS[-1])
        base = plot.bottom + pen.px(SMALL * 1.5)
        early = pen.text("early", SMALL, (plot.left, base), colour=pen.colours.quiet)
        late = pen.text("late, ms", SMALL, (plot.right, base), colour=pen.colours.quiet, align=1.0)
        for number in range(int(low_ms // step), int(high_ms // step) + 2):
            ms = number * step
            if not low_ms <= ms <= high_ms:
                continue
            pen.upright(
                x(ms), plot.bottom, plot.bottom + pen.px(4), colour=pen.colours.rule, width=1
            )
            words = str(ms).replace("-", "−")
            half = pen.width(words, SMALL) / 2 + pen.px(6)
            if early.right < x(ms) - half and x(ms) + half < late.left:
                pen.text(words, SMALL, (x(ms), base), colour=pen.colours.quiet, align=0.5)
