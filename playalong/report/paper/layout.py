"""The sheet laid out on pages: a head, parts under their headings, and room for a pen.

Lengths are millimetres from the upper left corner of the page, sizes of type points. A heading
never stands alone at the foot of a page, and a line of music is never cut.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum

from playalong.report.paper.letters import POINT, legible, width, wrapped
from playalong.report.paper.piece import Outline, Piece, Words, line


class Paper(Enum):
    """A sheet of paper: width and height (ISO 216; ANSI/ASME Y14.1)."""

    A4 = (210.0, 297.0)
    LETTER = (215.9, 279.4)


#: Margins: at the sides, above, below.
_SIDE, _ABOVE, _BELOW = 17.0, 14.0, 16.0

#: Sizes of type: the title, a heading, the name of an item, plain words, the foot.
_TITLE, _GOAL, _HEADING, _NAME, _PLAIN, _FOOT = 21.0, 14.0, 12.5, 9.5, 9.0, 7.5

#: Between: two lines of music, two items, an item beside another, before and after a heading.
_LINES, _ITEMS, BESIDE, _BEFORE, _AFTER = 5.0, 5.0, 8.0, 8.0, 3.0

#: Room for the pen: at least so much, the line's step, and from where on there is an empty staff.
_PEN, _RULED, _STAFF_FROM, _SPACE = 25.0, 8.5, 62.0, 1.7

#: A sheet that would just not find room on a page is set closer: so much of what lies between.
_CLOSE = 0.6

#: A bar line may stand so far beyond its column.
_SLACK = 1.0

#: So wide at least is what is written on beside a part.
_WRITTEN = 75.0

#: Words are so many times their size from line to line.
_LEADING = 1.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """Lines of music under a name; short ones stand beside one another."""

    name: str = ""
    about: str = ""
    lines: Sequence[Piece] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A heading, and what stands under it."""

    heading: str
    about: str = ""
    items: Sequence[Item] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOfPattern:
    """What is printed: ``goal`` is the goal tempo in words, ``facts`` what else stands above."""

    title: str
    goal: str
    facts: str
    about: str
    parts: Sequence[Part]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page: how large it is, and what stands where."""

    width: float
    height: float
    outlines: list[Outline] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)


def room_of(paper: Paper) -> float:
    """How wide a line may be."""
    return paper.value[0] - 2 * _SIDE


def pages_of(sheet: SheetOfPattern, paper: Paper) -> list[Page]:
    """The sheet on pages of ``paper``, a little closer where that saves one."""
    laid = [_Layout(sheet, paper, loose).all_of_it() for loose in (1.0, _CLOSE)]
    return min(laid, key=len)


class _Layout:
    def __init__(self, sheet: SheetOfPattern, paper: Paper, loose: float) -> None:
        """What lies between is ``loose`` times as wide as usual."""
        self.sheet = sheet
        self.between_lines, self.between_items = _LINES * loose, _ITEMS * loose
        self.before = _BEFORE * loose
        self.wide, self.high = paper.value
        self.left, self.right = _SIDE, self.wide - _SIDE
        self.end = self.high - _BELOW
        self.pages: list[Page] = []
        self.y = 0.0
        self.turn()
        self.last = _Last(self.page, self.y, self.right)

    def all_of_it(self) -> list[Page]:
        """From the head to the feet."""
        self.head()
        for part in self.sheet.parts:
            self.part(part)
        self.room_for_pen()
        self.feet()
        return self.pages

    @property
    def page(self) -> Page:
        return self.pages[-1]

    def turn(self) -> None:
        """A new page; from the second on it says what it belongs to."""
        self.pages.append(Page(width=self.wide, height=self.high))
        self.y = _ABOVE
        if len(self.pages) > 1:
            self.y += self.capital(_PLAIN)
            title = wrapped(self.sheet.title, _PLAIN, (self.right - self.left) * 0.75, bold=True)
            self.say(title[0] if title else "", _PLAIN, bold=True)
            self.say(self.sheet.goal, _PLAIN, x=self.right, align=1.0)
            self.rule(self.y + 2.2)
            self.y += 9.0

    @staticmethod
    def capital(size: float) -> float:
        """How high a capital letter is."""
        return 0.73 * size * POINT

    def say(
        self,
        text: str,
        size: float,
        *,
        x: float | None = None,
        bold: bool = False,
        is_quiet: bool = False,
        align: float = 0.0,
    ) -> None:
        """Words on the line where the layout is."""
        self.page.words.append(
            Words(
                x=self.left if x is None else x,
                y=self.y,
                text=legible(text),
                size=size,
                bold=bold,
                is_quiet=is_quiet,
                align=align,
            )
        )

    def rule(self, y: float, left: float | None = None) -> None:
        """A thin line up to the right margin, from the left one or from ``left``."""
        start = self.left if left is None else left
        self.page.outlines.append(line([(start, y), (self.right, y)], 0.15, is_quiet=True))

    def paragraph(self, text: str, size: float, *, is_quiet: bool = True) -> None:
        """Words in as many lines as they need, from here down."""
        for text_line in wrapped(text, size, self.right - self.left):
            self.y += size * POINT * _LEADING
            self.say(text_line, size, is_quiet=is_quiet)

    def head(self) -> None:
        """The title, the goal tempo, what else is to be known."""
        sheet = self.sheet
        room = self.right - self.left
        goal = width(sheet.goal, _GOAL, True) + 6.0
        size = _TITLE
        while size > 13.0 and width(sheet.title, size, True) > room - goal:
            size -= 0.5
        self.y = _ABOVE + self.capital(size)
        self.say(sheet.goal, _GOAL, x=self.right, bold=True, align=1.0)
        for number, text_line in enumerate(wrapped(sheet.title, size, room - goal, bold=True)[:3]):
            self.y += size * POINT * 1.2 if number else 0.0
            self.say(text_line, size, bold=True)
        self.y += 1.0
        self.paragraph(sheet.facts, _PLAIN)
        self.paragraph(sheet.about, _PLAIN, is_quiet=False)
        self.y += 3.0
        self.rule(self.y)

    def part(self, part: Part) -> None:
        """A heading with all that stands under it."""
        rows = list(self.rows(part.items))
        room = self.right - self.left
        beside = self.left + width(part.heading, _HEADING, True) + 4.0
        is_beside = beside + width(part.about, _PLAIN) <= self.right
        about = [] if is_beside else wrapped(part.about, _PLAIN, room)
        over = self.capital(_HEADING) + len(about) * _PLAIN * POINT * _LEADING + _AFTER
        first = max((block.height for block in rows[0]), default=0.0) if rows else 0.0
        if self.y + self.before + over + first > self.end:
            self.turn()
        else:
            self.y += self.before
        self.y += self.capital(_HEADING)
        self.say(part.heading, _HEADING, bold=True)
        ends = [self.left + sum(one.width + BESIDE for one in row) - BESIDE for row in rows]
        about_end = beside + width(part.about, _PLAIN) if is_beside else self.right
        self.last = _Last(self.page, self.y, max(*ends, about_end if part.about else self.left))
        if is_beside:
            self.say(part.about, _PLAIN, x=beside, is_quiet=True)
        else:
            self.paragraph(part.about, _PLAIN)
        self.y += _AFTER
        for number, row in enumerate(rows):
            self.row(row, is_first=number == 0)

    def rows(self, items: Sequence[Item]) -> Iterator[list["_Block"]]:
        """The items in rows: what is short stands beside what is short."""
        row: list[_Block] = []
        taken, room = 0.0, self.right - self.left
        for item in items:
            block = _Block(item, room)
            is_alone = len(item.lines) > 1
            if row and (is_alone or taken + BESIDE + block.width > room + _SLACK):
                yield row
                row, taken = [], 0.0
            taken += block.width + (BESIDE if row else 0.0)
            row.append(block)
            if is_alone:
                yield row
                row, taken = [], 0.0
        if row:
            yield row

    def row(self, row: Sequence["_Block"], *, is_first: bool) -> None:
        """Items beside one another; one of many lines goes on over the page."""
        self.y += 0.0 if is_first else self.between_items
        over = max(block.over for block in row)
        first = max(block.first for block in row)
        if self.y + over + first > self.end:
            self.turn()
        x, top = self.left, self.y
        # Their staves stand on one line, and so does what is said below them.
        up = max(block.up for block in row)
        down = max(block.down for block in row)
        lowest = top
        for block in row:
            self.y = top
            self.names(block, x)
            self.y = top + over
            for number, piece in enumerate(block.item.lines):
                if number:
                    self.y += self.between_lines
                    if self.y + piece.height > self.end:
                        self.turn()
                    up, down = -piece.top, piece.bottom
                self.place(piece, x, self.y + up, down=down)
                self.y += up + down + piece.depth
            lowest = self.y if len(row) == 1 else max(lowest, self.y)
            x += block.width + BESIDE
        self.y = lowest

    def names(self, block: "_Block", x: float) -> None:
        """The name of an item, and what it is about."""
        item = block.item
        if item.name:
            self.y += self.capital(_NAME)
            self.say(item.name, _NAME, x=x, bold=True)
        for text_line in block.about:
            self.y += _PLAIN * POINT * _LEADING
            self.say(text_line, _PLAIN, x=x, is_quiet=True)

    def place(self, piece: Piece, x: float, y: float, *, down: float) -> None:
        """Put music on the page, its origin there; what is below it ``down`` from there on."""
        self.page.words.extend(one.moved(x, y + down) for one in piece.under)
        self.page.outlines.extend(one.moved(x, y) for one in piece.outlines)
        self.page.words.extend(one.moved(x, y) for one in piece.words)

    def room_for_pen(self) -> None:
        """An empty staff and ruled lines, to the foot of the page; where there is little, beside
        the last part, or else on a new page.
        """
        if self.y + self.before + _PEN > self.end:
            if self.right - self.last.right >= _WRITTEN and self.last.page is self.page:
                self.pen_beside()
                return
            self.turn()
        else:
            self.y += self.before
        self.y += self.capital(_HEADING)
        self.say("Notes", _HEADING, bold=True)
        self.y += 4.0
        if self.end - self.y > _STAFF_FROM:
            self.y += 6.0
            for number in range(5):
                y = self.y + number * _SPACE
                self.page.outlines.append(line([(self.left, y), (self.right, y)], 0.13))
            self.y += 4 * _SPACE + 6.0
        while self.y + _RULED <= self.end:
            self.y += _RULED
            self.rule(self.y)

    def pen_beside(self) -> None:
        """Ruled lines to the right of the last part."""
        left = self.last.right + BESIDE
        foot, self.y = self.y, self.last.top
        self.say("Notes", _HEADING, x=left, bold=True)
        self.y += 1.5
        while self.y + _RULED <= max(foot, self.end):
            self.y += _RULED
            self.rule(self.y, left)

    def feet(self) -> None:
        """The program's name and the number of the page, small, at the foot of each."""
        for number, page in enumerate(self.pages, 1):
            y = self.high - 10.0
            numbering = f"{number} of {len(self.pages)}" if len(self.pages) > 1 else ""
            for text, x, align in (("playalong", self.left, 0.0), (numbering, self.right, 1.0)):
                page.words.append(
                    Words(x=x, y=y, text=text, size=_FOOT, is_quiet=True, align=align)
                )


@dataclass(frozen=True, slots=True)
class _Last:
    """The last part: its page, the baseline of its heading, and how far it reaches."""

    page: Page
    top: float
    right: float


class _Block:
    """An item with what it measures."""

    def __init__(self, item: Item, room: float) -> None:
        self.item = item
        music = max((piece.width for piece in item.lines), default=0.0)
        named = width(item.name, _NAME, True)
        self.width = min(room, max(music, named))
        about_room = room if item.about and len(item.lines) > 1 else max(self.width, 38.0)
        self.about = wrapped(item.about, _PLAIN, min(room, about_room)) if item.about else []
        if self.about:
            about_width = max(width(one, _PLAIN) for one in self.about)
            self.width = min(room, max(self.width, about_width))
        lines = len(self.about) * _PLAIN * POINT * _LEADING
        has_name = bool(item.name or self.about)
        self.over = (
            (0.73 * _NAME * POINT if item.name else 0.0) + lines + (3.0 if has_name else 0.0)
        )
        first = item.lines[0] if item.lines else None
        self.up = -first.top if first else 0.0
        self.down = first.bottom if first else 0.0
        self.first = first.height if first else 0.0
        self.height = self.over + self.first
