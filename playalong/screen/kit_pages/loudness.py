"""The page on which the loudness of pads is learned: soft strokes, normal ones and accents.

The velocity curve of a pad: its strokes from left to right, the soft ones first, each group in
order of velocity; height is loudness, as in the rows of the sheet. Behind each group lies the
band that its strokes give.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pygame

from playalong.grading.loudness import Band
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME
from playalong.screen.base import marks
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    ACCEPT,
    HEAD,
    LEAVE,
    MARGIN,
    TO_LEFT,
    TO_RIGHT,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)
from playalong.screen.sheet.geometry import height_of

#: What can be asked for.
TOUCHING = (
    Button((Key.BACKSPACE, "u", "U"), "U", "take back a stroke", outcome=Outcome.UNDO),
    Button(("a", "A"), "A", "the pad again", outcome=Outcome.AGAIN),
    TO_RIGHT,
    TO_LEFT,
    ACCEPT,
    LEAVE,
)

#: How a teacher calls the three.
STROKES = {Dynamic.GHOST: "soft", Dynamic.NORMAL: "normal", Dynamic.ACCENT: "accent"}

#: Parts of the width: where the picture begins, and the list of pads.
_PICTURE, _LIST = 0.36, 0.74

#: In units: from one row of boxes to the next, room for its name, the widest box, and a list line.
_ROW, _NAME, _BOX, _LINE = 44, 92, 30, 28

#: How much wider the place of a stroke is than its mark, in units.
_GROUP_GAP = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class PadLine:
    """How a pad stands: calibrated or not, whether something is wrong with it, and in words."""

    voice: str
    words: str
    done: bool
    is_off: bool = False


@dataclass(kw_only=True)
class LoudnessPage(ButtonPage):
    """Learning how loud a pad is struck. Everything may be set anew between frames.

    ``voice`` is the pad that is asked for, None when all are done, ``dynamic`` how; so many
    strokes ``of`` each are wanted. ``strokes`` are the velocities (1 to 127) so far, in any order,
    and ``bands`` what they give. Where ``curve_of`` names a pad, the picture is its ``curve``, as
    ``strokes`` are given, with these bands: that of the pad that was just done. ``words`` are told
    under the boxes, in the colour of what is off where ``is_off``.
    """

    theme: Theme
    kit: str
    voice: str | None
    dynamic: Dynamic | None
    strokes: Mapping[Dynamic, Sequence[float]] = field(default_factory=dict)
    bands: Mapping[Dynamic, Band] = field(default_factory=dict)
    of: int = 8
    words: Sequence[str] = ()
    is_off: bool = False
    pads: Sequence[PadLine] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons(TOUCHING), repr=False)
    curve_of: str | None = None
    curve: Mapping[Dynamic, Sequence[float]] = field(default_factory=dict)

    def looks(self, now_s: float) -> tuple[object, ...]:
        """All that is seen, which nothing changes by itself."""
        strokes, curve = (
            tuple((dynamic, *velocities) for dynamic, velocities in each.items())
            for each in (self.strokes, self.curve)
        )
        asked = (self.theme, self.kit, self.voice, self.dynamic, self.of, self.curve_of)
        told = (tuple(self.words), self.is_off, tuple(self.pads), self.buttons.shown)
        return asked, told, strokes, curve, tuple(self.bands.items())

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it moves only when something is set anew."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        done = sum(pad.done for pad in self.pads)
        head(
            pen, "How loud is loud", self.kit, tempo=f"{done} of {len(self.pads)} pads", clean=None
        )
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top, bottom = pen.px(HEAD + 10), foot(pen, self.buttons) - pen.px(16)
        picture, listed = (left + (right - left) * part for part in (_PICTURE, _LIST))
        gap = pen.px(24)
        self._draw_prompt(pen, area(left=left, top=top, right=picture - gap, bottom=bottom))
        self._draw_curve(pen, area(left=picture, top=top, right=listed - gap, bottom=bottom))
        self._draw_pads(pen, area(left=listed, top=top, right=right, bottom=bottom))

    def _draw_prompt(self, pen: Pen, rect: pygame.Rect) -> None:
        colours = pen.colours
        pad = BY_NAME[self.voice].label if self.voice else ""
        prompt = f"{pad}: {STROKES[self.dynamic]}" if pad and self.dynamic else pad
        base: float = rect.top + pen.px(ADVICE)
        for line in pen.wrapped(prompt or "Every pad is done.", ADVICE, rect.width, bold=True):
            pen.text(line, ADVICE, (rect.left, base), bold=True)
            base += pen.px(ADVICE * 1.3)
        step: float = min(pen.px(_BOX), (rect.width - pen.px(_NAME)) / self.of)
        for dynamic in (Dynamic.ACCENT, Dynamic.NORMAL, Dynamic.GHOST):
            now = dynamic is self.dynamic
            pen.text(STROKES[dynamic], BODY, (rect.left, base), bold=now)
            done = len(self.strokes.get(dynamic, ()))
            for place in range(self.of):
                x = rect.left + pen.px(_NAME) + place * step
                middle = base - pen.capital(BODY) / 2
                box = area(
                    left=x,
                    top=middle - step / 2 + 1,
                    right=x + step - pen.px(4),
                    bottom=middle + step / 2,
                )
                if place < done:
                    pen.box(box, fill=colours.ink, edge=colours.ink)
                else:
                    edge = colours.ahead_edge if now else colours.rule
                    pen.box(box, fill=colours.ahead if now else colours.row, edge=edge)
            base += min(pen.px(_ROW), step * 1.6)
        base += pen.px(8)
        size, colour = BODY + 1, colours.off if self.is_off else colours.ink
        for words in self.words:
            for line in pen.wrapped(words, size, rect.width):
                if base <= rect.bottom:
                    pen.text(line, size, (rect.left, base), colour=colour)
                base += pen.px(size * 1.35)

    def _draw_curve(self, pen: Pen, rect: pygame.Rect) -> None:
        colours = pen.colours
        base = rect.top + pen.px(LABEL)
        title = pen.text("Velocity curve", LABEL, (rect.left, base), bold=True)
        if self.curve_of is not None:
            whose = f"of the {BY_NAME[self.curve_of].label}"
            pen.text(whose, LABEL, (title.right + pen.px(8), base), colour=colours.quiet)
        numbers = pen.width("127", SMALL) + pen.px(8)
        plot = area(
            left=rect.left + numbers,
            top=rect.top + pen.px(LABEL * 1.8),
            right=rect.right,
            bottom=rect.bottom - pen.px(SMALL * 1.8),
        )
        pen.fill(plot, colours.row)
        for velocity in (16, 32, 64, 96, 127):
            y = plot.bottom - height_of(velocity) * plot.height
            pen.level_line(y, plot.left, plot.right, colour=colours.line, width=1)
            beside = (plot.left - pen.px(6), y + pen.capital(SMALL) / 2)
            pen.text(str(velocity), SMALL, beside, colour=colours.quiet, align=1.0)
        pen.level_line(plot.bottom, plot.left, plot.right, colour=colours.rule, width=1)
        wide = plot.width / len(STROKES)
        for place, (dynamic, name) in enumerate(STROKES.items()):
            self._draw_group(
                pen,
                area(
                    left=plot.left + place * wide,
                    top=plot.top,
                    right=plot.left + (place + 1) * wide,
                    bottom=plot.bottom,
                ),
                dynamic,
            )
            under = (plot.left + (place + 0.5) * wide, plot.bottom + pen.px(SMALL * 1.5))
            pen.text(name, SMALL, under, colour=colours.quiet, align=0.5)

    def _draw_group(self, pen: Pen, rect: pygame.Rect, dynamic: Dynamic) -> None:
        """The strokes of one dynamic, and its band behind them."""
        colours, band = pen.colours, self.bands.get(dynamic)
        inside = rect.inflate(-pen.px(_GROUP_GAP), 0)
        if band is not None:
            top, bottom = (rect.bottom - height_of(v) * rect.height for v in (band.high, band.low))
            box = area(
                left=inside.left, top=top, right=inside.right, bottom=max(bottom, top + pen.px(3))
            )
            pen.box(box, fill=colours.ahead, edge=colours.ahead_edge)
        strokes = self.strokes if self.curve_of is None else self.curve
        velocities = sorted(strokes.get(dynamic, ()))
        step = inside.width / max(self.of, len(velocities))
        radius = max(2, min(pen.px(6), round(step * 0.45)))
        for place, velocity in enumerate(velocities):
            at = (
                inside.left + (place + 0.5) * step,
                rect.bottom - height_of(velocity) * rect.height,
            )
            fits = band is None or band.low <= velocity <= band.high
            mark = (
                marks.dot(radius, colours.ink)
                if fits
                else marks.ring(radius, width=pen.px(1.6), colour=colours.off, inside=colours.row)
            )
            pen.mark(mark, at)

    def _draw_pads(self, pen: Pen, rect: pygame.Rect) -> None:
        colours, radius = pen.colours, pen.px(6)
        pen.text("Pads", LABEL, (rect.left, rect.top + pen.px(LABEL)), bold=True)
        base = rect.top + pen.px(LABEL * 1.8 + BODY)
        x, step = rect.left + pen.px(20), pen.px(SMALL * 1.3)
        entries = [(pad, pen.wrapped(pad.words, SMALL, rect.right - x)) for pad in self.pads]
        spoken = sum(len(lines) for pad, lines in entries if pad.words)
        # Where all is too much, only what is wrong is told, and what is being struck.
        room = rect.bottom - base - spoken * step
        all_of_it = room >= len(entries) * pen.px(_LINE)
        for pad, lines in entries:
            if base > rect.bottom:
                break
            now = pad.voice == self.voice
            at = (rect.left + radius, base - pen.capital(BODY) / 2)
            colour = colours.off if pad.is_off else colours.ink
            if pad.done and not pad.is_off:
                pen.mark(marks.dot(radius, colour), at)
            else:
                pen.mark(marks.ring(radius, width=pen.px(1.6), colour=colour, inside=None), at)
            pen.text(BY_NAME[pad.voice].label, BODY, (x, base), bold=now)
            if pad.words and (all_of_it or now or pad.is_off):
                for line in lines:
                    base += step
                    if base <= rect.bottom:
                        pen.text(
                            line, SMALL, (x, base), colour=colour if pad.is_off else colours.quiet
                        )
            base += pen.px(_LINE)
