"""The page on which the beats of a recording are set: its sound on the sheet, the beats over it.

The sheet runs under a line that stands still. What stands at the line is what is heard, and the
beat next to it is the one that is moved alone. Below lie the whole recording and the course of its
tempo, and under these the settings: one is chosen, and has a less and a more.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import pygame
from numpy.typing import NDArray

from playalong.pattern.beat_map import BeatMap
from playalong.screen.base import marks
from playalong.screen.base.fonts import Colour
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    LEVEL_HIGH,
    LEVEL_WIDE,
    MARGIN,
    NO_PADS,
    Button,
    Buttons,
    Level,
    foot,
    head,
)
from playalong.support.text import counted

#: Gives (columns, 2), the least and greatest of each of so many even parts of a recording, from
#: one second to another; full scale is 1.
Overview = Callable[[float, float, int], NDArray[np.float32]]


class Setting(StrEnum):
    """What can be set."""

    LINE = "the line"
    ALL = "all beats"
    ONE = "the beat here"
    BEAT = "a beat"
    PACE = "tempo"
    BAR_1 = "bar 1 begins"
    BAR = "a bar"
    THIS_BAR = "this bar"
    PER_BAR = "beats to the bar"
    FIRST = "play from"
    LAST = "play to"
    LOUDNESS = "recording"
    SHEET = "on the sheet"
    ORIGIN = "beats"
    CHANGES = "changes"


#: What less and more are called.
_WAYS: dict[Setting, tuple[str, str]] = {
    Setting.LINE: ("a beat back", "a beat on"),
    Setting.ALL: ("5 ms earlier", "5 ms later"),
    Setting.ONE: ("5 ms earlier", "5 ms later"),
    Setting.BEAT: ("take one out", "put one in"),
    Setting.PACE: ("halve", "double"),
    Setting.BAR_1: ("a beat earlier", "a beat later"),
    Setting.BAR: ("count through", "it begins"),
    Setting.THIS_BAR: ("a beat fewer", "a beat more"),
    Setting.PER_BAR: ("one fewer", "one more"),
    Setting.FIRST: ("a bar earlier", "a bar later"),
    Setting.LAST: ("a bar earlier", "a bar later"),
    Setting.LOUDNESS: ("softer", "louder"),
    Setting.SHEET: ("less", "more"),
    Setting.ORIGIN: ("tap them", "find them"),
    Setting.CHANGES: ("take one back", "make it again"),
}

SETTINGS = tuple(Setting)

_PLAY = Button((Key.ENTER,), "Enter", "play", outcome=Outcome.START)
_STOP = Button((Key.ENTER,), "Enter", "stop", outcome=Outcome.START)
_DOWN = Button((Key.DOWN,), "↓", "down", outcome=Outcome.NEXT)
_UP = Button((Key.UP,), "↑", "up", outcome=Outcome.BACK)
_TAP = Button(("t", "T"), "T", "tap the beats", outcome=Outcome.AGAIN)
_UNDO = Button(("u", "U"), "U", "undo", outcome=Outcome.UNDO)
_KEEP = Button((Key.ESCAPE, Key.CLOSE, "k", "K"), "Esc", "keep them", outcome=Outcome.LEAVE)

_TO = {Outcome.NEXT: 1, Outcome.BACK: -1}

#: Settings whose less or more has a button of its own: so that strokes can ask for it as well.
_SAME = {
    (Setting.ORIGIN, Outcome.SLOWER): Outcome.AGAIN,
    (Setting.CHANGES, Outcome.SLOWER): Outcome.UNDO,
    (Setting.CHANGES, Outcome.FASTER): Outcome.REDO,
}

#: Seconds on the sheet.
SPANS_S = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
_SPAN = 3

#: Where the line stands, as a part of the sheet's width.
_LINE_AT = 0.35

#: In units: bar numbers above the sheet; the whole recording; its tempo; the words above these;
#: a line of settings; a line of words; between one thing and the next; around a chosen setting.
_NUMBERS, _WHOLE, _COURSE, _OVER, _SETTING, _LINE, _GAP, _AROUND = 26, 34, 34, 24, 28, 24, 12, 6

#: The least room, in units, for a column of settings, between two beats and between two numbers.
_COLUMN, _CLOSEST, _APART = 210, 13, 14

#: The least range of the course of the tempo, as a part of the tempo.
_LEAST_RANGE = 0.04

#: Pixels of a sheet that are drawn at once and kept, and how many such pieces.
_PIECE, _PIECES = 256, 64


class _Scale(NamedTuple):
    """Seconds across a box: ``begin_s`` at its left edge, ``per_s`` pixels to each."""

    rect: pygame.Rect
    begin_s: float
    per_s: float

    def x(self, time_s: float) -> float:
        return self.rect.left + (time_s - self.begin_s) * self.per_s

    def time_s(self, x: float) -> float:
        return self.begin_s + (x - self.rect.left) / self.per_s


@dataclass(kw_only=True)
class BeatsPage:
    """Setting the beats of a recording. Everything may be set anew between frames.

    It is drawn as it is at a second of the recording, which stands at the line. ``loop`` are the
    first and last bar to be played, counted from 0, None for all. ``changes`` were made so far, and
    can be taken back. ``taps`` are the taps so far, in seconds of the recording. ``pads`` and
    ``call`` are as for ``Buttons``.

    SLOWER and FASTER ask for less and more of the ``setting``. A click on a sheet leaves in
    ``wanted_s`` where the player wants to be; while ``tapping``, such a click and space count up
    ``struck``. Whoever shows the page takes both away.
    """

    theme: Theme
    title: str
    length_s: float
    overview: Overview = field(repr=False)
    beats: BeatMap | None = None
    per_bar: int = 4
    loop: tuple[int, int] | None = None
    recording_db: float = 0.0
    changes: int = 0
    playing: bool = False
    tapping: bool = False
    taps: Sequence[float] = ()
    words: str = ""
    notices: Sequence[str] = ()
    level: Level = field(default_factory=Level, repr=False)
    pads: Mapping[Outcome, str] = field(default_factory=lambda: NO_PADS, repr=False)
    call: str = ""
    chosen: int = 0
    span: int = _SPAN
    wanted_s: float | None = None
    struck: int = 0

    def __post_init__(self) -> None:
        self._made: dict[tuple[int, bool, bool, bool], Buttons] = {}
        self._pieces: dict[tuple[object, ...], pygame.Surface] = {}
        self._sheets: tuple[_Scale, ...] = ()
        self._cells: list[pygame.Rect] = []
        self._course: tuple[BeatMap | None, NDArray[np.float64]] = (None, np.zeros(0))
        self._peak: float | None = None

    @property
    def setting(self) -> Setting:
        """The chosen setting."""
        return SETTINGS[self.chosen]

    @property
    def span_s(self) -> float:
        """How many seconds are on the sheet."""
        return SPANS_S[self.span]

    @property
    def buttons(self) -> Buttons:
        """What can be asked for now."""
        state = (self.chosen, self.playing, self.tapping, self.beats is None)
        if state not in self._made:
            call = "" if self.tapping else self.call  # strokes are taps then
            pads = NO_PADS if self.tapping else self.pads
            self._made[state] = Buttons(self._offered(), pads, call)
        return self._made[state]

    def _offered(self) -> tuple[Button, ...]:
        if self.tapping:
            return (_STOP, LEAVE)
        less, more = _WAYS[self.setting]
        return (
            _UP,
            _DOWN,
            Button((Key.LEFT,), "←", less, outcome=Outcome.SLOWER),
            Button((Key.RIGHT,), "→", more, outcome=Outcome.FASTER),
            _STOP if self.playing else _PLAY,
            _TAP,
            _UNDO,
            LEAVE if self.beats is None else _KEEP,
        )

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; choosing a setting, the sheet's width and a place stay here."""
        if press is Key.SPACE and self.tapping:
            self.struck += 1
            return None
        if isinstance(press, Click):
            self._clicked(press)
        outcome = self.buttons.handle(press)
        if outcome in _TO:
            self.chosen = (self.chosen + _TO[outcome]) % len(SETTINGS)
            return None
        if self.setting is Setting.SHEET and outcome in (Outcome.SLOWER, Outcome.FASTER):
            step = 1 if outcome is Outcome.FASTER else -1
            self.span = min(max(self.span + step, 0), len(SPANS_S) - 1)
            return None
        return outcome and _SAME.get((self.setting, outcome), outcome)

    def _clicked(self, click: Click) -> None:
        at = (click.x, click.y)
        for scale in self._sheets:
            if scale.rect.collidepoint(at):
                if self.tapping:
                    self.struck += 1
                else:
                    self.wanted_s = min(max(scale.time_s(click.x), 0.0), self.length_s)
        if self.tapping:
            return
        for number, cell in enumerate(self._cells):
            if cell.collidepoint(at):
                self.chosen = number

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome now."""
        return self.buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page with second ``now_s`` of the recording at the line."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        where = f"{_clock(now_s)} of {_clock(self.length_s)}"
        state = "tap on each beat" if self.tapping else "playing" if self.playing else ""
        head(
            pen,
            self.title,
            "  ·  ".join(filter(None, (where, state))),
            tempo=self._tempo(now_s),
            clean=None,
        )
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        low = foot(pen, self.buttons, self.notices) - pen.px(_GAP)
        bottom = self._draw_words(pen, left=left, right=right, bottom=low)
        bottom = self._draw_settings(
            pen, left=left, right=right, bottom=bottom, now_s=now_s
        ) - pen.px(_GAP)
        course = area(left=left, top=bottom - pen.px(_COURSE), right=right, bottom=bottom)
        whole = area(left=left, top=course.top - pen.px(_WHOLE), right=right, bottom=course.top)
        over = whole.top - pen.px(_OVER)
        self._sheets = (
            self._sheet(
                area(
                    left=left, top=pen.px(HEAD + _NUMBERS), right=right, bottom=over - pen.px(_GAP)
                ),
                now_s,
            ),
            _Scale(whole, 0.0, whole.width / max(self.length_s, 1e-3)),
        )
        self._draw_sheet(pen, self._sheets[0], now_s)
        self._draw_whole(pen, self._sheets[1], now_s)
        self._draw_course(pen, course, over + pen.px(LABEL))

    def _tempo(self, now_s: float) -> str:
        beats = self.beats
        if beats is None:
            return ""
        return f"{beats.tempo_bpm(beats.place(nearest(beats, now_s))[0]):.1f} bpm"

    # The sheet.

    def _sheet(self, rect: pygame.Rect, now_s: float) -> _Scale:
        """Where seconds are: on whole columns of the recording, so that it does not flicker."""
        column_s = self.span_s / rect.width
        first = round(now_s / column_s) - round(_LINE_AT * rect.width)
        return _Scale(rect, first * column_s, rect.width / self.span_s)

    def _draw_sheet(self, pen: Pen, scale: _Scale, now_s: float) -> None:
        rect, colours = scale.rect, pen.colours
        if rect.height < pen.px(_LINE):
            return
        pen.fill(rect, colours.row)
        inside = pen.surface.get_clip()
        pen.surface.set_clip(rect)
        self._draw_loop(pen, scale)
        self._draw_sound(pen, scale)
        pen.surface.set_clip(inside)
        pen.level_line(rect.bottom, rect.left, rect.right, colour=colours.rule, width=1)
        self._draw_beats(pen, scale, now_s)
        self._draw_taps(pen, scale)
        x = rect.left + round(_LINE_AT * rect.width)
        pen.upright(x, rect.top - pen.px(4), rect.bottom + pen.px(4), colour=colours.ink, width=2.4)
        pen.mark(marks.pointer(pen.px(6), colours.ink), (x, rect.top - pen.px(5)))

    def _draw_loop(self, pen: Pen, scale: _Scale) -> None:
        """The bars that are to be played lie on a ground of their own."""
        if self.beats is None or self.loop is None:
            return
        begin_s, end_s = (
            self.beats.bar_start_s(self.loop[0]),
            self.beats.bar_start_s(self.loop[1] + 1),
        )
        rect = scale.rect
        box = area(
            left=scale.x(begin_s), top=rect.top, right=scale.x(end_s), bottom=rect.bottom
        ).clip(rect)
        pen.fill(box, pen.colours.ahead)

    def _draw_sound(self, pen: Pen, scale: _Scale) -> None:
        """The recording, in pieces that are drawn once."""
        rect = scale.rect
        column_s = 1.0 / scale.per_s
        first = round(scale.begin_s / column_s)
        for number in range(first // _PIECE, (first + rect.width) // _PIECE + 1):
            piece = self._piece(number, column_s, rect.height, ink=pen.colours.rule)
            pen.surface.blit(piece, (rect.left + number * _PIECE - first, rect.top))

    def _piece(self, number: int, column_s: float, height: int, *, ink: Colour) -> pygame.Surface:
        """Piece ``number`` of the recording: ``_PIECE`` columns of ``column_s`` seconds."""
        kind = (number, column_s, height, ink)
        if kind not in self._pieces:
            while len(self._pieces) >= _PIECES:
                del self._pieces[next(iter(self._pieces))]
            begin_s = number * _PIECE * column_s
            end_s = begin_s + _PIECE * column_s
            found = self.overview(begin_s, end_s, _PIECE)
            is_there = np.linspace(begin_s, end_s, _PIECE, endpoint=False)
            there = (is_there >= 0.0) & (is_there < self.length_s)
            self._pieces[kind] = _drawn(found / self._loudest(), there, height, ink=ink)
        return self._pieces[kind]

    def _loudest(self) -> float:
        """The greatest size in the recording."""
        if self._peak is None:
            whole = self.overview(0.0, self.length_s, _PIECE)
            self._peak = float(np.abs(whole).max(initial=0.0)) or 1.0
        return self._peak

    def _draw_beats(self, pen: Pen, scale: _Scale, now_s: float) -> None:
        """A line for each beat, a stronger one with its number for the 1 of a bar."""
        beats, rect, colours = self.beats, scale.rect, pen.colours
        if beats is None:
            return
        low, high = (beats.beat(scale.time_s(x)) for x in (rect.left, rect.right))
        first, last = max(0, int(np.ceil(low))), min(len(beats) - 1, int(np.floor(high)))
        if first > last:
            return
        apart = rect.width / max(high - low, 1e-6)
        base = rect.top - pen.px(13)
        free = float(rect.left)
        here = nearest(beats, now_s)
        for beat in range(first, last + 1):
            x = scale.x(beats.times_s[beat])
            bar, inside = beats.place(beat)
            if beat == here:
                pen.mark(marks.dot(pen.px(6), colours.ink), (x, rect.bottom))
            if inside:
                if apart >= pen.px(_CLOSEST):
                    pen.upright(
                        x, rect.top + rect.height // 6, rect.bottom, colour=colours.ink, width=0.9
                    )
                continue
            length = beats.beats_in(bar)
            is_new = bar > 0 and length != beats.beats_in(bar - 1)
            if apart * beats.per_bar < pen.px(_CLOSEST) and bar % 4 and not is_new:
                continue
            pen.upright(x, rect.top - pen.px(4), rect.bottom, colour=colours.ink, width=1.8)
            number = f"{bar + 1}: {counted(length, 'beat')}" if is_new else str(bar + 1)
            half = pen.width(number, BODY, bold=True) / 2
            if bar >= 0 and x - half >= free and x + half <= rect.right:
                pen.text(number, BODY, (x, base), bold=True, align=0.5)
                free = x + half + pen.px(_APART)

    def _draw_taps(self, pen: Pen, scale: _Scale) -> None:
        rect = scale.rect
        mark = marks.dot(pen.px(6), pen.colours.ink)
        for tap_s in self.taps:
            x = scale.x(tap_s)
            if rect.left < x < rect.right:
                pen.mark(mark, (x, rect.top + pen.px(14)))

    # The whole recording.

    def _draw_whole(self, pen: Pen, scale: _Scale, now_s: float) -> None:
        rect, colours = scale.rect, pen.colours
        pen.fill(rect, colours.row)
        self._draw_loop(pen, scale)
        inside = pen.surface.get_clip()
        pen.surface.set_clip(rect)
        self._draw_sound(pen, scale)
        pen.surface.set_clip(inside)
        pen.upright(scale.x(now_s), rect.top, rect.bottom, colour=colours.ink, width=2.4)

    def _draw_course(self, pen: Pen, rect: pygame.Rect, base: float) -> None:
        """The tempo of each bar over the whole recording, and how it goes in words."""
        colours, beats = pen.colours, self.beats
        title = pen.text("The whole recording", LABEL, (rect.left, base), bold=True)
        pen.level_line(rect.bottom, rect.left, rect.right, colour=colours.rule, width=1)
        at = (title.right + pen.px(14), base)
        if beats is None:
            pen.text("no beats yet", BODY, at, colour=colours.quiet)
            return
        tempos = self._tempos(beats)
        if not len(tempos):
            pen.text("less than a bar of beats", BODY, at, colour=colours.quiet)
            return
        low, high = float(tempos.min()), float(tempos.max())
        bars = counted(len(tempos), "bar")
        tempo_range = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
        words = f"{bars}, {len(beats)} beats, {tempo_range} bpm"
        size = pen.fitted(words, (BODY, SMALL), rect.right - at[0])
        pen.text(words, size, at, colour=colours.quiet)
        middle, room = (low + high) / 2.0, max(high - low, _LEAST_RANGE * high)
        scale = _Scale(rect, 0.0, rect.width / max(self.length_s, 1e-3))
        edge = pen.px(5)
        points = [
            (
                min(max(scale.x(beats.bar_start_s(bar)), rect.left), rect.right - 1),
                rect.centery - (tempo - middle) / room * (rect.height - 2 * edge),
            )
            for bar, tempo in enumerate([*tempos.tolist(), float(tempos[-1])])
        ]
        pen.stroke(points, colours.ink, 1.6)

    def _tempos(self, beats: BeatMap) -> NDArray[np.float64]:
        """(bars,) the tempo of each bar, in beats in a minute."""
        if self._course[0] is not beats:
            starts = beats.bar_beats
            starts_s = beats.seconds(starts.astype(np.float64))
            self._course = (beats, 60.0 * np.diff(starts) / np.diff(starts_s))
        return self._course[1]

    # Settings and words.

    def _draw_settings(
        self, pen: Pen, *, left: float, right: float, bottom: float, now_s: float
    ) -> float:
        """The settings with their values in columns, and the sound's level; the upper edge."""
        known = self.level.db is not None
        end = right - pen.px(LEVEL_WIDE + 24) if known else right
        columns = max(2, min(3, int((end - left) / pen.px(_COLUMN))))
        rows = -(-len(SETTINGS) // columns)
        step, wide = pen.px(_SETTING), (end - left) / columns
        top = bottom - max(rows * step, pen.px(LEVEL_HIGH) if known else 0)
        values = self._values(now_s)
        self._cells = []
        for number, setting in enumerate(SETTINGS):
            column, row = divmod(number, rows)
            x, y = left + column * wide, top + row * step
            cell = area(left=x, top=y, right=x + wide - pen.px(_GAP), bottom=y + step - pen.px(4))
            self._cells.append(cell)
            if number == self.chosen and not self.tapping:
                pen.box(cell, pen.colours.ahead, pen.colours.ahead_edge)
            base = cell.centery + pen.capital(BODY) / 2
            inside = pen.px(_AROUND)
            label = pen.text(setting, BODY, (cell.left + inside, base), colour=pen.colours.quiet)
            room = cell.right - inside - label.right - pen.px(8)
            value = values.get(setting, "")
            size = pen.fitted(value, (BODY, SMALL), room, bold=True)
            pen.text(value, size, (cell.right - inside, base), bold=True, align=1.0)
        self.level.draw(pen, (right - pen.px(LEVEL_WIDE), top))
        return top

    def _values(self, now_s: float) -> dict[Setting, str]:
        beats = self.beats
        values = {
            Setting.PER_BAR: str(self.per_bar),
            Setting.LOUDNESS: f"{self.recording_db:.0f} dB".replace("-", "−"),
            Setting.SHEET: f"{self.span_s:.0f} s",
            Setting.LINE: _clock(now_s),
            Setting.CHANGES: str(self.changes),
        }
        if beats is None:
            return values
        here = nearest(beats, now_s)
        bar, inside = beats.place(here)
        first, last = self.loop or (0, max(0, beats.bars - 1))
        return values | {
            Setting.LINE: f"bar {bar + 1}, beat {inside + 1}" if bar >= 0 else "before bar 1",
            Setting.ALL: f"from {_clock(beats.times_s[0])}",
            Setting.ONE: f"{beats.times_s[here]:.3f} s",
            Setting.BEAT: f"{here + 1} of {len(beats)}",
            Setting.PACE: f"{beats.tempo_bpm(bar):.0f} bpm",
            Setting.BAR_1: f"on beat {beats.first + 1}",
            Setting.BAR: "goes on here" if inside else "begins here",
            Setting.THIS_BAR: counted(beats.beats_in(bar), "beat"),
            Setting.PER_BAR: str(beats.per_bar_at(here)),
            Setting.FIRST: f"bar {first + 1}",
            Setting.LAST: f"bar {last + 1}",
            Setting.ORIGIN: str(len(beats)),
        }

    def _draw_words(self, pen: Pen, *, left: float, right: float, bottom: float) -> float:
        """What is to be said, above ``bottom``; returns the upper edge."""
        if not self.words:
            return bottom
        lines = pen.wrapped(self.words, BODY, right - left)
        step = pen.px(_LINE)
        for number, line in enumerate(reversed(lines)):
            pen.text(line, BODY, (left, bottom - number * step))
        return bottom - len(lines) * step - pen.px(4)


def nearest(beats: BeatMap, at_s: float) -> int:
    """The beat next to a second of the recording."""
    return min(max(round(beats.beat(at_s)), 0), len(beats) - 1)


def _clock(time_s: float) -> str:
    """Minutes and seconds."""
    tenths = round(max(0.0, time_s) * 10)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def _drawn(
    found: NDArray[np.float32], there: NDArray[np.bool_], height: int, *, ink: Colour
) -> pygame.Surface:
    """Columns of least and greatest, (n, 2) from -1 to 1, those that are ``there``, on nothing."""
    surface = pygame.Surface((len(found), height), pygame.SRCALPHA)
    half = height / 2.0
    tops = np.floor(half - 0.94 * half * found[:, 1]).astype(int)
    ends = np.ceil(half - 0.94 * half * found[:, 0]).astype(int)
    for x, (top, end, is_there) in enumerate(
        zip(tops.tolist(), ends.tolist(), there.tolist(), strict=True)
    ):
        if is_there:
            surface.fill(ink, (x, top, 1, max(1, end - top)))
    return surface
