"""The sheet of a pattern, to print: what stands on it, and the files."""

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from playalong.interchange.musicxml import writer as musicxml_writer
from playalong.pattern.meter import Meter
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.voices import BY_NAME
from playalong.practice import excerpts
from playalong.practice.plan import practice_of
from playalong.report.paper import beneath, files, grid, layout, staff
from playalong.report.paper.layout import Item, Page, Paper, Part, SheetOfPattern
from playalong.report.paper.letters import legible
from playalong.report.paper.piece import Piece
from playalong.screen.sheet.count import Weight, count_of
from playalong.support.errors import UserError
from playalong.support.files import writing

#: More bars than this are no sheet that anybody reads.
MOST_BARS = 200

#: The groove is so many times as large as what comes after it.
_LARGE = 1.2

#: In millimetres: the least for a place of the count, for a grace note, for brackets, for clef and
#: meter.
_PLACE, _SMALL, _BRACKETS, _CLEF = 4.2, 3.0, 0.8, 12.0

#: So many drums in a line of the key.
_A_LINE = 9


PDF, SVG, PNG = KINDS = (".pdf", ".svg", ".png")

#: How the grid is read.
_ON_GRID = "a low box: a ghost note  ·  a high box: an accent  ·  grey: may be left out"

#: Told where sheets are drawn on the grid for want of the library.
WHAT_FOR_STAVES = 'for staff notation, install it as "playalong[sheet]"'


class Printing:
    """Makes sheets: in staves where verovio is there and ``on_grid`` is not asked for."""

    def __init__(
        self, paper: Paper = Paper.A4, *, on_grid: bool = False, left_handed: bool = False
    ) -> None:
        self._paper, self._left_handed = paper, left_handed
        self.on_grid = on_grid or not staff.is_there()
        self._room = layout.room_of(paper)

    def pages(self, pattern: Pattern) -> list[Page]:
        """The sheet of ``pattern``; UserError where it is too long."""
        if len(pattern.bars) > MOST_BARS:
            raise UserError(
                f"{pattern.title} has {len(pattern.bars):,} bars, and a sheet has {MOST_BARS} at "
                "the most: print a part of it."
            )
        if self.on_grid:
            return self._pages(pattern)
        try:
            return self._pages(pattern)
        except UserError:  # what no note value says, the grid does
            self.on_grid = True
            try:
                return self._pages(pattern)
            finally:
                self.on_grid = False

    def _pages(self, pattern: Pattern) -> list[Page]:
        parts = [self._groove(pattern)]
        chunks = self._chunks(pattern)
        if len(chunks.items) > 1:
            parts.append(chunks)
        if pattern.variations:
            parts.append(self._variations(pattern))
        if not self.on_grid:
            parts.append(self._key(pattern))
        sheet = SheetOfPattern(
            title=pattern.title,
            goal=f"goal {practice_of(pattern).goal_tempo:g} bpm",
            facts=_facts(pattern),
            about=pattern.about,
            parts=parts,
        )
        return layout.pages_of(sheet, self._paper)

    def _groove(self, pattern: Pattern) -> Part:
        lines = self._music(pattern, pattern.bars, size=_LARGE)
        about = _ON_GRID if self.on_grid else ""
        return Part(heading="The groove", about=about, items=[Item(lines=lines)])

    def _chunks(self, pattern: Pattern) -> Part:
        """Each chunk once: one that is the same as an earlier one is named with it."""
        parts = excerpts.cut(pattern)
        same = excerpts.same_as(parts, pattern)
        also: dict[int, list[str]] = {}
        for number, earlier in same.items():
            also.setdefault(earlier, []).append(parts[number].name)
        items = []
        for number, part in enumerate(parts):
            if number in same or excerpts.is_empty(pattern, part):
                continue
            bar = _cut(pattern.bars[part.bar], part.start, part.end)
            first = pattern.bars[part.bar].meter.beat_of(part.start)
            music = self._music(pattern, [bar], first_beat=first)
            about = f"the same: {', '.join(also[number])}" if number in also else ""
            items.append(Item(name=part.name, about=about, lines=music))
        return Part(heading="Piece by piece", items=items)

    def _variations(self, pattern: Pattern) -> Part:
        items = []
        for name, variation in pattern.variations.items():
            changed = pattern.with_variations([name])
            numbers = sorted({change.bar for change in variation.changes})
            all_bars = len(numbers) == len(pattern.bars)
            shown = changed if all_bars else [changed[number] for number in numbers]
            where = "" if all_bars else f" ({_bars(numbers)})"
            lines = self._music(pattern, shown)
            items.append(Item(name=f"{name}{where}", about=variation.about, lines=lines))
        return Part(heading="Variations", items=items)

    def _key(self, pattern: Pattern) -> Part:
        """Which note is which drum, and what the signs mean."""
        strokes = [stroke for bar in _all_bars(pattern) for stroke in bar.strokes]
        names = {musicxml_writer.instrument(one) for one in strokes}
        # The closed hi-hat before the open one: after it, it would have a plus.
        voices = sorted(
            (voice for voice in BY_NAME if voice in names),
            key=lambda voice: (-BY_NAME[voice].staff_line, voice.startswith("hi-hat-")),
        )
        items = []
        a_line = -(-len(voices) // -(-len(voices) // _A_LINE))
        for first in range(0, len(voices), a_line):
            own = voices[first : first + a_line]
            meter = Meter((1,) * len(own), 4, f"{len(own)}/4")
            placed = zip(meter.beat_starts, own, strict=True)
            bar = Bar(
                meter, tuple(Stroke(at=at, voice=voice) for at, voice in placed), (1,) * len(own)
            )
            lines = staff.engraved(
                musicxml_writer.write(_of_bars(pattern, [bar])),
                width=self._room * len(own) / _A_LINE,
                is_excerpt=True,
                has_rests=False,
            )
            named = [
                beneath.Said(
                    place=(0, at), words=BY_NAME[voice].label, is_beat=False, is_struck=True
                )
                for at, voice in zip(meter.beat_starts, own, strict=True)
            ]
            items.append(
                Item(lines=[beneath.with_count(one, named, {0: meter.length}) for one in lines])
            )
        return Part(heading="Reading it", about="  ·  ".join(_signs(strokes)), items=items)

    def _music(
        self,
        pattern: Pattern,
        bars: Sequence[Bar],
        *,
        first_beat: int | None = None,
        size: float = 1.0,
    ) -> list[Piece]:
        """Bars as lines of music with the count; an excerpt begins at ``first_beat`` (0 is 1)."""
        is_excerpt = first_beat is not None
        room = self._room if size > 1.0 else self._column(bars, is_excerpt)
        if self.on_grid:
            written = grid.voices_of(pattern.bars)
            voices = written if first_beat is not None else grid.voices_of([*pattern.bars, *bars])
            lines = grid.drawn(bars, voices, width=room)
        else:
            optional = {
                (number, stroke.at, musicxml_writer.instrument(stroke))
                for number, bar in enumerate(bars)
                for stroke in bar.strokes
                if stroke.optional
            }
            lines = staff.engraved(
                musicxml_writer.write(_of_bars(pattern, bars)),
                width=room,
                optional=optional,
                is_excerpt=is_excerpt,
                size=size,
            )
        count = list(self._count(bars, first_beat or 0))
        lengths = {number: bar.meter.length for number, bar in enumerate(bars)}
        return [beneath.with_count(piece, count, lengths) for piece in lines]

    def _column(self, bars: Sequence[Bar], is_excerpt: bool) -> float:
        """How wide a line of these bars is: a quarter of the page, half of it, or all."""
        places = sum(sum(bar.divisions) for bar in bars)
        strokes = [stroke for bar in bars for stroke in bar.strokes]
        graces = sum(stroke.graces for stroke in strokes)
        ghosts = sum(stroke.dynamic is Dynamic.GHOST for stroke in strokes)
        needed = places * _PLACE + graces * _SMALL + ghosts * _BRACKETS
        needed += 2.0 if is_excerpt else _CLEF
        columns = ((self._room - (count - 1) * layout.BESIDE) / count for count in (4, 2))
        return next((column for column in columns if needed <= column), self._room)

    def _count(self, bars: Sequence[Bar], first_beat: int) -> Iterator[beneath.Said]:
        for number, bar in enumerate(bars):
            struck = {stroke.at: stroke for stroke in bar.strokes}
            hands = {
                stroke.at: stroke.hand.of(self._left_handed).value
                for stroke in reversed(bar.strokes)
                if stroke.hand is not None
            }
            for said in count_of(bar):
                is_beat = said.weight is not Weight.PART
                words = str(int(said.words) + first_beat) if is_beat else said.words
                yield beneath.Said(
                    place=(number, said.at),
                    words=words,
                    is_beat=is_beat,
                    is_struck=said.at in struck,
                    hand=hands.get(said.at, ""),
                )


def _of_bars(pattern: Pattern, bars: Sequence[Bar]) -> Pattern:
    """The bars as a pattern of their own."""
    own = tuple(bars)
    return replace(pattern, bars=own, meter=own[0].meter, variations={}, chunks=(), practice=None)


def _all_bars(pattern: Pattern) -> list[Bar]:
    """The bars, as written and in each variation."""
    return [
        *pattern.bars,
        *(bar for name in pattern.variations for bar in pattern.with_variations([name])),
    ]


def _signs(strokes: Sequence[Stroke]) -> list[str]:
    """What the signs mean that are on the sheet."""
    signs = {
        "in brackets: a ghost note": any(one.dynamic is Dynamic.GHOST for one in strokes),
        "> an accent": any(one.dynamic is Dynamic.ACCENT for one in strokes),
        "o an open hi-hat, + closed again": any(
            musicxml_writer.instrument(one) == "hi-hat-open" for one in strokes
        ),
        "one small note: a flam": any(one.graces == 1 for one in strokes),
        "two: a drag": any(one.graces == 2 for one in strokes),
        "struck through: a roll": any(one.roll for one in strokes),
        "grey: may be left out": any(one.optional for one in strokes),
    }
    return [words for words, is_so in signs.items() if is_so]


def _cut(bar: Bar, start: Fraction, end: Fraction) -> Bar:
    """From one place of a bar up to another, as a bar of its own: both stand on beats."""
    meter = bar.meter
    beats = [number for number, at in enumerate(meter.beat_starts) if start <= at < end]
    groups = tuple(meter.groups[number] for number in beats)
    own = Meter(groups, meter.denominator, f"{sum(groups)}/{meter.denominator}")
    strokes = tuple(
        replace(stroke, at=stroke.at - start) for stroke in bar.strokes if start <= stroke.at < end
    )
    return Bar(own, strokes, tuple(bar.divisions[number] for number in beats))


def _bars(numbers: Sequence[int]) -> str:
    named = [str(number + 1) for number in numbers]
    return f"bar {named[0]}" if len(named) == 1 else f"bars {excerpts.listed(named)}"


def _facts(pattern: Pattern) -> str:
    practice = practice_of(pattern)
    facts = [pattern.meter.written, f"start at {practice.start_tempo:g} bpm"]
    if not pattern.swing.is_straight:
        facts.append(f"swung {pattern.swing.notes}, {float(pattern.swing.percent):g} %")
    return "  ·  ".join(facts)


# Files.


def as_files(pages: Sequence[Page], out: Path, title: str) -> list[tuple[Path, bytes]]:
    """The pages as files, by the ending of ``out``: numbered where a page is a file of its own and
    there are several.
    """
    kind = out.suffix.lower()
    if kind == PDF:
        return [(out, files.as_pdf(pages, legible(title)))]
    drawn = files.as_svg(pages) if kind == SVG else files.as_png(pages)
    return list(zip(names_of(out, len(pages)), drawn, strict=True))


def names_of(out: Path, pages: int) -> list[Path]:
    """Where so many pages go."""
    if out.suffix.lower() == PDF or pages == 1:
        return [out]
    return [out.with_stem(f"{out.stem}-{number}") for number in range(1, pages + 1)]


def write_all(written: Iterable[tuple[Path, bytes]]) -> None:
    """Write files all together: where one cannot be written, none is. FileError says which."""
    with ExitStack() as stack:
        for path, data in written:
            file = stack.enter_context(writing(path))
            file.write(data)
            file.flush()
            os.fsync(file.fileno())  # a disk that is full says so before any file has its name


def usual_out(patterns: Sequence[Pattern]) -> Path:
    """Where sheets go unless somebody says."""
    return Path(f"{patterns[0].name}.pdf" if len(patterns) == 1 else "sheets.pdf")
