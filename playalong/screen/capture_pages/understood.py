"""The page of what was understood: the bars, unsure strokes hatched, and what can be changed.

A box is hatched, from its left, by the part of the rounds in which its stroke did not come:
its row has the number.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import pygame

from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.rows import CHANGING
from playalong.screen.base.widgets import HEAR, LEAVE, Button, Buttons
from playalong.screen.pages.ready import ReadyPage, unplayed
from playalong.screen.sheet import bar_picture

KEEP = Button((Key.ENTER,), "Enter", "keep it", outcome=Outcome.START)
PLAY_AGAIN = Button(("a", "A"), "A", "play it again", outcome=Outcome.AGAIN)

#: A stroke by its bar, its position there, its voice.
Place = tuple[int, Fraction, str]


@dataclass(kw_only=True)
class UnderstoodPage(ReadyPage):
    """``came`` says of unsure strokes in how many of how many rounds they came."""

    came: Mapping[Place, tuple[int, int]] = field(default_factory=dict)
    buttons: Buttons = field(
        default_factory=lambda: Buttons([KEEP, *CHANGING, HEAR, PLAY_AGAIN, LEAVE]), repr=False
    )

    def _draw_bars(self, pen: Pen, rect: pygame.Rect) -> int:
        places = []
        for number, bar in enumerate(self.bars):
            for place, stroke in enumerate(bar.strokes):
                grade = unplayed(number, place, bar)
                seen = self.came.get((number, stroke.at, stroke.voice))
                if seen is not None:
                    came, rounds = seen
                    grade = replace(grade, targets=rounds, clean=rounds, missed=rounds - came)
                places.append(grade)
        bars: Sequence[bar_picture.GradedBar] = bar_picture.graded_bars(self.bars, places)
        shown = bars[: bar_picture.fitting(pen, rect, bars)]
        bar_picture.draw(pen, rect, shown, voices=self.voices, rules=self.rules, ahead=True)
        return len(shown)
