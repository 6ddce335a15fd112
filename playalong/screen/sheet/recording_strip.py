"""A recording from its beginning to its end in one strip, and the bars of it that are played."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pygame
from numpy.typing import NDArray

from playalong.pattern.beat_map import BeatMap
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import SMALL

#: In units: the line of numbers above the sound, and the least room from one to the next.
_NUMBERS, _APART = 24, 12

#: The sound takes this part of the height.
_TALL = 0.94


@dataclass(kw_only=True)
class RecordingStrip:
    """``bars`` are the first and last that are played, counted from 0; ``overview`` gives the least
    and greatest of so many even parts from one second to another, (columns, 2).
    """

    beats: BeatMap
    length_s: float
    overview: Callable[[float, float, int], NDArray[np.float32]] = field(repr=False)
    bars: tuple[int, int]

    def draw(self, pen: Pen, rect: pygame.Rect) -> None:
        """Draw it into ``rect``: the sound, a line for each bar, the played ones on a ground."""
        colours = pen.colours
        sound = area(
            left=rect.left, top=rect.top + pen.px(_NUMBERS), right=rect.right, bottom=rect.bottom
        )
        per_s = sound.width / max(self.length_s, 1e-3)
        first, last = self.bars
        begin_s, end_s = self.beats.bar_start_s(first), self.beats.bar_start_s(last + 1)
        pen.fill(sound, colours.row)
        left, right = sound.left + begin_s * per_s, sound.left + end_s * per_s
        played = area(left=left, top=sound.top, right=right, bottom=sound.bottom).clip(sound)
        pen.box(played, fill=colours.ahead, edge=colours.ahead_edge)
        self._draw_sound(pen, sound)
        self._draw_bars(pen, sound, per_s)
        base = rect.top + pen.capital(SMALL) + pen.px(4)
        words = f"bar {first + 1}" if first == last else f"bars {first + 1} to {last + 1}"
        half = pen.width(words, SMALL, bold=True) / 2
        middle = min(max((left + right) / 2, rect.left + half), rect.right - half)
        pen.text(words, SMALL, (middle, base), bold=True, align=0.5)
        for x, number, align in ((rect.left, 1, 0.0), (rect.right, self.beats.bars, 1.0)):
            text = f"bar {number}" if number == 1 else str(number)
            wide = pen.width(text, SMALL) + pen.px(_APART)
            if abs(x - middle) > half + wide:
                pen.text(text, SMALL, (x, base), colour=colours.quiet, align=align)

    def _draw_sound(self, pen: Pen, sound: pygame.Rect) -> None:
        found = self.overview(0.0, self.length_s, sound.width)
        loudest = float(np.abs(found).max(initial=0.0)) or 1.0
        half = sound.height / 2.0
        for column, (low, high) in enumerate((found / loudest * half * _TALL).tolist()):
            top = round(sound.centery - high)
            tall = max(1, round(high - low))
            pen.surface.fill(pen.colours.rule, (sound.left + column, top, 1, tall))

    def _draw_bars(self, pen: Pen, sound: pygame.Rect, per_s: float) -> None:
        """A line for each bar, or for each of those for which there is room."""
        starts_s = self.beats.seconds(self.beats.bar_beats.astype(np.float64))
        xs = sound.left + starts_s * per_s
        step = 1
        while step < len(xs) and sound.width / max(1, len(xs)) * step < pen.px(6):
            step *= 2
        for x in xs[::step].tolist():
            if sound.left <= x <= sound.right:
                pen.upright(
                    x,
                    sound.bottom - sound.height // 4,
                    sound.bottom,
                    colour=pen.colours.ink,
                    width=0.9,
                )
