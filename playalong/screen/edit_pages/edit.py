"""The page on which a pattern is written: the sheet, a cursor on it, and what can be put there.

A click puts a stroke as loud as the height at which it points in its row, or takes that one away.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import pygame

from playalong.pattern.editing.editor import Editor
from playalong.pattern.model import Dynamic, Hand
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)
from playalong.screen.sheet.pattern_grid import PatternGrid
from playalong.support.text import counted

#: What is done with the whole of it. The main action is what is done most.
HEAR = Button(("h", "H"), "H", "hear it", outcome=Outcome.HEAR)
STOP = Button(("h", "H"), "H", "stop", outcome=Outcome.HEAR)
UNDO = Button(("u", "U"), "U", "undo", outcome=Outcome.UNDO)
REDO = Button(("y", "Y"), "Y", "do it again", outcome=Outcome.REDO)
SAVE = Button(("s", "S"), "S", "save", outcome=Outcome.SAVE)
VARY = Button(("v", "V"), "V", "variation", outcome=Outcome.VARIATION)
MORE = Button(("m", "M"), "M", "meter, bars, rows …", outcome=Outcome.SETTINGS)
STICKS = Button(("k", "K"), "K", "write with the sticks", outcome=Outcome.TYPED)
KEYS = Button(("k", "K"), "K", "back to the keys", outcome=Outcome.TYPED)
LEAVE = Button((Key.ESCAPE, Key.CLOSE), "Esc", "leave", outcome=Outcome.LEAVE)

#: What is put at the cursor.
STROKES = (
    Button((Key.SPACE,), "Space", "put, take away", outcome=Outcome.START),
    Button(("x", "X"), "X", "normal", outcome=Outcome.NORMAL),
    Button(("a", "A"), "A", "accent", outcome=Outcome.ACCENT),
    Button(("g", "G"), "G", "ghost", outcome=Outcome.GHOST),
    Button(("o", "O"), "O", "open", outcome=Outcome.OPEN_HAT),
    Button(("f", "F"), "F", "flam", outcome=Outcome.FLAM),
    Button(("d", "D"), "D", "drag", outcome=Outcome.DRAG),
    Button(("z", "Z"), "Z", "buzz", outcome=Outcome.BUZZ),
    Button(("w", "W"), "W", "roll", outcome=Outcome.DOUBLES),
    Button((",",), ",", "shorter", outcome=Outcome.SHORTER),
    Button((".",), ".", "longer", outcome=Outcome.LONGER),
    Button(("q", "Q"), "Q", "may be left out", outcome=Outcome.OPTIONAL),
    Button(("r", "R"), "R", "right", outcome=Outcome.RIGHT_HAND),
    Button(("l", "L"), "L", "left", outcome=Outcome.LEFT_HAND),
    Button(("b", "B"), "B", "the bar again", outcome=Outcome.MORE),
)

#: In units: the room for the words on what could not be done, and beside them for which bars.
_SAID, _WHICH = 30, 170

#: In units: the count above the rows, and the least that a row should have.
_COUNTED, _LEAST_ROW = 34, 30

#: Digits cut the cursor's beat into so many parts.
_PARTS = "123468"


@dataclass(kw_only=True)
class EditPage(ButtonPage):
    """``editor`` is changed by presses; ``now`` is where it sounds, None where nothing does.

    With ``by_sticks`` strokes on the pads are written. ``notices`` are told at the foot.
    """

    theme: Theme
    editor: Editor
    now: tuple[int, Fraction] | None = None
    is_heard: bool = False
    by_sticks: bool = False
    can_use_sticks: bool = False
    left_handed: bool = False
    notices: Sequence[str] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons(()), repr=False)
    _grid: PatternGrid = field(default_factory=PatternGrid, repr=False)
    _first: int = 0
    _shown: int = 1

    def __post_init__(self) -> None:
        self._strokes = Buttons(STROKES)
        self.offer()

    def offer(self) -> None:
        """Offer what can be done now."""
        sticks = KEYS if self.by_sticks else STICKS
        self.buttons = Buttons(
            (
                STOP if self.is_heard else HEAR,
                UNDO,
                REDO,
                SAVE,
                VARY,
                MORE,
                *((sticks,) if self.can_use_sticks else ()),
                LEAVE,
            )
        )

    def offers(self, outcome: Outcome) -> bool:
        """Whether strokes can ask for it: where they write, for nothing."""
        return not self.by_sticks and self.buttons.offers(outcome)

    def handle(self, press: Press) -> Outcome | None:
        """HEAR, SAVE, SETTINGS, TYPED (sticks or keys) or LEAVE; all else changes the editor."""
        editor = self.editor
        if isinstance(press, Click):
            pointed = self._grid.pointed(press.x, press.y)
            if pointed is not None:
                editor.go(*pointed.cell)
                same = editor.stroke is not None and editor.stroke.dynamic is pointed.dynamic
                (editor.take_away() if same else editor.loudness(pointed.dynamic))
                return None
        if press in _MOVES:
            editor.move(*_MOVES[press])
            return None
        if press is Key.BACKSPACE:
            editor.take_away()
            return None
        if press is Key.ENTER:
            editor.toggle()
            return None
        if isinstance(press, str) and press in _PARTS and not isinstance(press, Outcome):
            editor.grid(int(press))
            return None
        outcome = self.buttons.handle(press) or self._strokes.handle(press)
        if outcome in (Outcome.UNDO, Outcome.REDO):
            (editor.undo if outcome is Outcome.UNDO else editor.redo)()
            return None
        act = _ACTS.get(outcome) if outcome is not None else None
        if act is None:
            return outcome
        act(editor)
        return None

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        editor, pattern = self.editor, self.editor.pattern
        bars = counted(len(pattern.bars), "bar")
        facts = [pattern.meter.written, bars, "not saved yet" if editor.is_changed else "saved"]
        if editor.variation is not None:
            facts.insert(0, f"variation {editor.variation}")
        tempo = f"{pattern.tempo:g} bpm"
        head(pen, pattern.title, "  ·  ".join(facts), tempo=tempo, clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, self.notices)
        base = bottom - pen.px(10)
        tall = self._strokes.tall(pen, right - left)
        # Where there are many rows and the writing is large, the sheet goes before.
        least = pen.px(HEAD + _SAID + _COUNTED) + len(editor.rows) * pen.px(_LEAST_ROW)
        if base - tall - pen.px(8) - least > 0:
            self._strokes.draw(pen, left=left, right=right, base=base)
            bottom = base - tall - pen.px(8)
        if self._words():
            room = right - left - (pen.px(_WHICH) if self._shown < len(pattern.bars) else 0)
            size = pen.fitted(self._words(), (BODY, SMALL), room)
            colour = pen.colours.off if editor.said else pen.colours.quiet
            pen.text(self._words(), size, (left, bottom), colour=colour)
        bottom -= pen.px(_SAID)
        self._draw_grid(pen, area(left=left, top=pen.px(HEAD), right=right, bottom=bottom))

    def _words(self) -> str:
        editor = self.editor
        if editor.said:
            return editor.said
        if self.by_sticks:
            return "Each stroke is written and moves on; strokes together stay together."
        bar = editor.shown.bars[editor.bar]
        where = f"bar {editor.bar + 1}, {bar.meter.count(editor.at)}"
        parts = bar.divisions[editor.beat]
        return f"{where}  ·  the beat in {parts}: {' '.join(_PARTS)} cut it otherwise"

    def _draw_grid(self, pen: Pen, rect: pygame.Rect) -> None:
        editor = self.editor
        bars = editor.shown.bars
        wanted = self.now[0] if self.now is not None else editor.bar
        self._first = min(self._first, len(bars) - 1)
        if wanted < self._first:
            self._first = wanted
        while wanted >= self._first + self._grid.fitting(pen, rect, bars[self._first :]):
            self._first += 1
        self._grid.cursor = (editor.bar, editor.cell, editor.row)
        self._grid.now, self._grid.left_handed = self.now, self.left_handed
        self._shown = self._grid.draw(pen, rect, bars, voices=editor.rows, first=self._first)
        if self._shown < len(bars):
            last = self._first + self._shown
            words = f"bar {last} of {len(bars)}"
            if self._shown > 1:
                words = f"bars {self._first + 1} to {last} of {len(bars)}"
            at = (rect.right, rect.bottom + pen.px(_SAID))
            pen.text(words, SMALL, at, colour=pen.colours.quiet, align=1.0)


_MOVES: dict[Press, tuple[int, int]] = {
    Key.LEFT: (-1, 0),
    Key.RIGHT: (1, 0),
    Key.UP: (0, -1),
    Key.DOWN: (0, 1),
}

_ACTS: dict[Outcome, Callable[[Editor], None]] = {
    Outcome.START: Editor.toggle,
    Outcome.NORMAL: lambda editor: editor.loudness(Dynamic.NORMAL),
    Outcome.ACCENT: lambda editor: editor.loudness(Dynamic.ACCENT),
    Outcome.GHOST: lambda editor: editor.loudness(Dynamic.GHOST),
    Outcome.OPEN_HAT: Editor.open,
    Outcome.FLAM: lambda editor: editor.graces(1),
    Outcome.DRAG: lambda editor: editor.graces(2),
    Outcome.BUZZ: lambda editor: editor.roll(0),
    Outcome.DOUBLES: lambda editor: editor.roll(2),
    Outcome.LONGER: lambda editor: editor.longer(1),
    Outcome.SHORTER: lambda editor: editor.longer(-1),
    Outcome.VARIATION: Editor.next_variation,
    Outcome.OPTIONAL: Editor.optional,
    Outcome.RIGHT_HAND: lambda editor: editor.hand(Hand.RIGHT),
    Outcome.LEFT_HAND: lambda editor: editor.hand(Hand.LEFT),
    Outcome.MORE: lambda editor: editor.add_bar(copied=True),
}
