"""The page before the first run: what will be played, how, on what, and how loud."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.grading.grade import PlaceGrade
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import CHANGING, Rows
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import (
    HEAD,
    HEAR,
    LEAVE,
    LEVEL_HIGH,
    LEVEL_WIDE,
    MARGIN,
    START,
    Button,
    ButtonPage,
    Buttons,
    Level,
    foot,
    head,
    table,
)
from playalong.screen.sheet import bar_picture
from playalong.screen.sheet.recording_strip import RecordingStrip
from playalong.support.text import counted

PRACTISE = Button(("p", "P"), "P", "step by step", outcome=Outcome.PRACTISE)

#: What can be asked for before a run.
READY = (START, *CHANGING, HEAR, PRACTISE, LEAVE)

#: The same where the pattern may be changed and printed too.
READY_OWN = (
    *READY[:-1],
    Button(("e", "E"), "E", "change", outcome=Outcome.EDIT),
    Button(("s", "S"), "S", "print", outcome=Outcome.PRINT),
    LEAVE,
)

#: In units: the least height of the choices and of what stands beside them, and the room between
#: the parts.
_ROWS, _GAP = 84, 9

#: In units: how high the recording is drawn, with the bars over it, and the rows below it where
#: they find so much room. The picture may then be so much lower than it should be.
_STRIP, _MORE_ROWS, _TIGHT = 66, 128, 0.85

#: Less than this part of the picture is not drawn beside a recording.
_LEAST = 0.7

#: The part of the width that the choices take.
_CHOICES = 0.56


@dataclass(kw_only=True)
class ReadyPage(ButtonPage):
    """What is to be played. Everything may be set anew between frames.

    ``rows`` are the choices: tempo, bars and the like; there may be none. ``bars`` are as written
    with what is chosen, ``voices`` their rows. ``facts`` are (what, in words): port, latency and
    the like. ``recording`` is what is played along with, if anything. ``notices`` and ``caution``
    are told at the foot.
    """

    theme: Theme
    title: str
    tempo_bpm: float
    run_bars: int
    bars: Sequence[Bar]
    voices: Sequence[str]
    rows: Rows = field(default_factory=lambda: Rows([]))
    facts: Sequence[tuple[str, str]] = ()
    rules: Rules = field(default_factory=Rules)
    notices: Sequence[str] = ()
    caution: str = ""
    level: Level = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(READY), repr=False)
    recording: RecordingStrip | None = None

    def handle(self, press: Press) -> Outcome | None:
        """LESS or MORE of the chosen row, or what a button is for."""
        outcome = self.buttons.handle(press)
        if not self.rows.choices:
            return outcome
        return self.rows.handle(press if outcome is None else outcome) or _passed(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, [*self.notices, self.caution]) - pen.px(_GAP)
        top, gap = pen.px(HEAD), pen.px(_GAP)
        wanted = min(self.rows.height(pen), round((bottom - top) * 0.5))
        hands = any(stroke.hand for bar in self.bars for stroke in bar.strokes)
        picture = pen.px(bar_picture.wanted(len(self.voices), hands))
        strip = pen.px(_STRIP) + gap if self.recording is not None else 0
        room = bottom - top - gap - picture - strip
        if strip:  # its bars are chosen by the rows: the picture is lower
            tight = round(_TIGHT * picture) + strip
            room = max(room, min(pen.px(_MORE_ROWS), bottom - top - gap - tight))
        rows = max(pen.px(_ROWS), min(wanted, room))
        bars_room = area(left=left, top=top, right=right, bottom=bottom - rows - gap - strip)
        shown = len(self.bars)
        # Where the writing is large and there are many voices, the recording goes before.
        if not strip or bars_room.height >= _LEAST * picture:
            shown = self._draw_bars(pen, bars_room)
        if self.recording is not None:
            end = bottom - rows - gap
            self.recording.draw(
                pen, area(left=left, top=end - pen.px(_STRIP), right=right, bottom=end)
            )
        bars = counted(self.run_bars, "bar")
        if shown < len(self.bars):
            which = "the first is" if shown == 1 else f"the first {shown} are"
            bars = f"{bars}  ·  of the {len(self.bars)} of the pattern {which} shown"
        head(pen, self.title, bars, tempo=f"{self.tempo_bpm:g} bpm", clean=None)
        beside = float(left)
        if self.rows.choices:
            middle = left + (right - left) * _CHOICES
            self.rows.draw(pen, area(left=left, top=bottom - rows, right=middle, bottom=bottom))
            beside = middle + pen.px(40)
        facts = area(left=beside, top=bottom - rows, right=right, bottom=bottom)
        if self.level.db is not None:
            if self.rows.choices:
                facts.height -= pen.px(LEVEL_HIGH)
            else:
                facts.width -= pen.px(LEVEL_WIDE + _GAP)
            self.level.draw(pen, (right - pen.px(LEVEL_WIDE), bottom - pen.px(LEVEL_HIGH)))
        table(pen, facts, self.facts)

    def _draw_bars(self, pen: Pen, rect: pygame.Rect) -> int:
        """The first bars as written: on the sheet they will come as boxes of this colour.

        Returns how many there is room for.
        """
        bars = bar_picture.graded_bars(
            self.bars,
            [
                unplayed(number, place, bar)
                for number, bar in enumerate(self.bars)
                for place in range(len(bar.strokes))
            ],
        )
        shown = bars[: bar_picture.fitting(pen, rect, bars)]
        bar_picture.draw(pen, rect, shown, voices=self.voices, rules=self.rules, ahead=True)
        return len(shown)


def _passed(outcome: Outcome | None) -> Outcome | None:
    """What a button asks for, other than a way through the rows."""
    return None if outcome in {button.outcome for button in CHANGING} else outcome


def unplayed(number: int, place: int, bar: Bar) -> PlaceGrade:
    """The grade of a stroke that nobody has played yet."""
    stroke = bar.strokes[place]
    return PlaceGrade(
        bar=number,
        count=bar.meter.count(stroke.at),
        voice=stroke.voice,
        dynamic=stroke.dynamic,
        targets=0,
        clean=0,
        missed=0,
        wrong_drum=0,
        early=0,
        late=0,
        too_soft=0,
        too_loud=0,
        wrong_hi_hat=0,
        wrong_ornament=0,
        mean_ms=None,
        mean_db=None,
    )
