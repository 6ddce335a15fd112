"""Choices one above the other: what, and how it stands now. One of them is changed at a time."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, SMALL
from playalong.screen.base.widgets import Button

#: How rows are gone through and changed, by keys and by pads.
CHANGING = (
    Button((Key.UP,), "↑", "up", outcome=Outcome.BACK),
    Button((Key.DOWN,), "↓", "down", outcome=Outcome.NEXT),
    Button((Key.LEFT,), "←", "less", outcome=Outcome.SLOWER),
    Button((Key.RIGHT,), "→", "more", outcome=Outcome.FASTER),
)

#: In units: the height of a row at most and at least, inside its ends, room for an arrow, and for
#: a line that says how many rows are not shown.
ROW_HIGH, _ROW_LEAST, _INSIDE, _ARROW, _MORE = 44, 28, 12, 26, 22


def clicked_row(press: Press, rows: Sequence[pygame.Rect]) -> int | None:
    """In which of ``rows`` a click lies, by number; None for anything else."""
    if not isinstance(press, Click):
        return None
    return next((n for n, row in enumerate(rows) if row.collidepoint(press.x, press.y)), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A row: what it is, how it stands, whether it can be changed, and a word about it."""

    name: str
    value: str
    fixed: bool = False
    about: str = ""


@dataclass
class Rows:
    """Choices, one of which is ``chosen``."""

    choices: Sequence[Choice]
    chosen: int = 0
    _areas: list[pygame.Rect] = field(default_factory=list, repr=False)

    @property
    def choice(self) -> Choice:
        """The one that is chosen."""
        return self.choices[self.chosen]

    def handle(self, press: Press) -> Outcome | None:
        """LESS or MORE where the chosen row is to be changed; up and down go through the rows."""
        if not self.choices:
            return None
        if isinstance(press, Click):
            return self._clicked(press)
        step = _STEPS.get(press)
        if step is not None:
            self.chosen = (self.chosen + step) % max(1, len(self.choices))
            return None
        change = _CHANGES.get(press)
        return None if change is None or self.choice.fixed else change

    def _clicked(self, click: Click) -> Outcome | None:
        """A click chooses a row; at the ends of its value it changes it."""
        number = clicked_row(click, self._areas)
        if number is None:
            return None
        row, was, self.chosen = self._areas[number], self.chosen, number
        if self.choice.fixed or click.x < row.centerx or was != number:
            return None
        return Outcome.LESS if click.x < row.left + row.width * 0.75 else Outcome.MORE

    def height(self, pen: Pen) -> int:
        """How high the rows are at most, in pixels."""
        return pen.px(ROW_HIGH) * len(self.choices)

    def draw(self, pen: Pen, rect: pygame.Rect) -> None:
        """Draw the rows from the top of ``rect`` down; those that find no room scroll, and a line
        says how many there are.
        """
        colours, count = pen.colours, len(self.choices)
        step = min(float(pen.px(ROW_HIGH)), max(pen.px(_ROW_LEAST), rect.height / max(1, count)))
        scrolls = count * step > rect.height + 1
        height = rect.height - pen.px(_MORE) if scrolls else rect.height
        shown = min(count, max(1, int((height + 1) // step)))
        first = min(max(0, self.chosen - shown // 2), count - shown)
        self._areas = [pygame.Rect(0, 0, 0, 0)] * count
        if scrolls and height >= step:
            self._say_more(pen, rect, above=first, below=count - first - shown)
        inside, arrow = pen.px(_INSIDE), pen.px(_ARROW)
        for number in range(first, first + shown):
            choice, top = self.choices[number], rect.top + (number - first) * step
            row = area(left=rect.left, top=top, right=rect.right, bottom=top + step - pen.px(3))
            self._areas[number] = row
            is_chosen = number == self.chosen
            if is_chosen:
                pen.fill(row, colours.band)
            base = row.centery + pen.capital(BODY) / 2
            name_room = row.width - 2 * inside - (pen.width(choice.value, SMALL) + 4 * arrow)
            if not choice.value:
                name_room = row.width - 2 * inside
            size = pen.fitted(choice.name, (BODY, SMALL), name_room, bold=is_chosen)
            name = pen.cut(choice.name, size, name_room, bold=is_chosen)
            named = pen.text(name, size, (row.left + inside, base), bold=is_chosen)
            if not choice.value:
                continue
            right = row.right - inside
            if not choice.fixed:
                if is_chosen:
                    pen.text("→", BODY, (right, base), colour=colours.quiet, align=1.0)
                right -= arrow
            left = named.right + inside + (0 if choice.fixed else arrow)
            size = pen.fitted(choice.value, (BODY, SMALL), right - left, bold=is_chosen)
            value = pen.cut(choice.value, size, right - left, bold=is_chosen)
            colour = colours.quiet if choice.fixed else colours.ink
            stands = pen.text(value, size, (right, base), colour=colour, bold=is_chosen, align=1.0)
            if is_chosen and not choice.fixed:
                at = (stands.left - pen.px(8), base)
                pen.text("←", BODY, at, colour=colours.quiet, align=1.0)

    def _say_more(self, pen: Pen, rect: pygame.Rect, *, above: int, below: int) -> None:
        """Say at the foot of the rows how many are not shown."""
        parts = [f"{above} more above"] if above else []
        parts += [f"{below} more below"] if below else []
        at = (rect.left + pen.px(_INSIDE), rect.bottom - pen.px(5))
        pen.text(", ".join(parts), SMALL, at, colour=pen.colours.quiet)


_STEPS: dict[Press, int] = {Key.UP: -1, Key.DOWN: 1, Outcome.BACK: -1, Outcome.NEXT: 1}
_CHANGES: dict[Press, Outcome] = {
    Key.LEFT: Outcome.LESS,
    Key.RIGHT: Outcome.MORE,
    Outcome.SLOWER: Outcome.LESS,
    Outcome.FASTER: Outcome.MORE,
}
