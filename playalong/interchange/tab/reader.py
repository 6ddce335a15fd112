"""A pattern out of drum tab: see ``form``.

A line with a bar line in it belongs to a system, which an empty line or a line of words ends; all
other lines are words: title, time, tempo, legends ("o: open hi-hat", "S = snare"), a count, and
whatever else people write, which is passed over. What cannot be understood is told with its line.
"""

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from playalong.interchange.reading import Read, one_round
from playalong.interchange.tab.form import (
    BAR_LINE,
    MARKS,
    MOST_COLUMNS,
    OWN_MARKS,
    RESTS,
    STICKING,
    VOICE_OF,
    Mark,
)
from playalong.interchange.voice_words import voice_in
from playalong.pattern.meter import NOTES, STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import Bar, Dynamic, Hand, Pattern, Stroke, divisions
from playalong.pattern.notation import MOST_STEPS
from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM
from playalong.pattern.voices import BY_NAME, Limb
from playalong.support.errors import UserError
from playalong.support.text import counted, printable

#: A text of more characters, or with more bars, is no groove.
MOST_CHARACTERS, MOST_BARS = 200_000, 1_000

#: The tempo and the meter of a text that says none.
USUAL_BPM, USUAL_METER = 90.0, "4/4"

_LINE = re.compile(r"^\s*([A-Za-z][A-Za-z0-9+/ -]{0,9}?)?\s*([|‖].*)$")
_TIMES = re.compile(r"(?:x\s*(\d{1,3})|(\d{1,3})\s*(?:x|times))\s*\)?\s*$", re.IGNORECASE)
_SAID = {
    "title": re.compile(r"^\s*(?:title|song)\s*[:=-]\s*(.+?)\s*$", re.IGNORECASE),
    "meter": re.compile(
        r"\b(?:time(?:\s+signature)?|meter)\s*[:=-]?\s*((?:\d+\+)*\d+/\d+(?: in \d+)?)",
        re.IGNORECASE,
    ),
    "tempo": re.compile(
        r"\b(?:tempo|bpm)\s*[:=-]?\s*(\d+(?:\.\d+)?)|\b(\d+(?:\.\d+)?)\s*bpm\b", re.IGNORECASE
    ),
    "swing": re.compile(
        r"\bswing\s*[:=-]?\s*(\d+(?:\.\d+)?)\s*%?(?:\s*of\s*(\w+))?", re.IGNORECASE
    ),
}
_LEGEND = re.compile(r"^\s*\|?\s*(\S{1,5})\s*(?:[:=|]|-+>?\s)\s*(.+?)\s*\|?\s*$")

#: What stands in the bars of a line even where its letters are not known.
_OF_TAB = frozenset({*MARKS, *(mark for own in OWN_MARKS.values() for mark in own)} | set("-.:|"))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A line of a system: its number in the text, its voice ("" for stickings), its bars as
    (characters, column in the text), where the first of repeated bars is, and how often they come.
    """

    line: int
    voice: str
    bars: tuple[tuple[str, int], ...]
    again_from: int = 0
    times: int = 1


@dataclass(slots=True, kw_only=True)
class _Text:
    """What was found so far."""

    name: str
    said: dict[str, str] = field(default_factory=dict)
    voices: dict[str, str] = field(default_factory=dict)
    marks: dict[str, Mark] = field(default_factory=dict)
    bars: list[Bar] = field(default_factory=list)
    swing: WrittenSwing = STRAIGHT
    meter: Meter | None = None
    has_repeats: bool = False

    def wrong(self, line: int, message: str, column: int = 0) -> UserError:
        """What is to be raised."""
        where = f", column {column}" if column else ""
        return UserError(f"{self.name}, line {line}{where}: {message}")


def read(text: str, name: str, *, title: str = "") -> Read:
    """The pattern in ``text``; ``name`` is what it is called in words of UserError, which is raised
    where there is none, or where a line cannot be understood.
    """
    if len(text) > MOST_CHARACTERS:
        raise UserError(
            f"{name} is too large for a groove: {MOST_CHARACTERS:,} characters at most."
        )
    found = _Text(name=printable(name))
    lines = [line.expandtabs(8).rstrip() for line in text.replace("\r", "").split("\n")]
    is_line = [_is_of_system(line) for line in lines]
    named = {_letters(line) for line, one in zip(lines, is_line, strict=True) if one}
    for number, line in enumerate(lines):
        if not is_line[number]:
            _words(found, line, number + 1, named=named)
    first_meter: Meter | None = None
    for first, last in _systems(is_line):
        for number in range(first - 1, -1, -1):  # what is said right above it is about it
            if is_line[number]:
                break
            meter = _SAID["meter"].search(lines[number])
            if meter:
                found.meter = _meter(found, meter[1], number + 1)
                break
        _read_system(found, [(number + 1, lines[number]) for number in range(first, last)])
        first_meter = first_meter or found.meter
    if not any(bar.strokes for bar in found.bars):
        raise UserError(
            f"{found.name} has no bar of drum tab in it: write a line for each voice, as in "
            '"HH|x-x-x-x-|".'
        )
    return _made(found, title)


def _made(found: _Text, title: str) -> Read:
    notices = []
    if "meter" not in found.said:
        notices.append(f"It says no time: {USUAL_METER} is taken.")
    if "tempo" in found.said:
        tempo = float(found.said["tempo"])
    else:
        tempo = USUAL_BPM
        notices.append(f"It says no tempo: {USUAL_BPM:g} bpm is taken.")
    bars = one_round(found.bars, notices=notices) if found.has_repeats else found.bars
    plain = printable(found.name.rpartition("/")[2].rpartition(".")[0] or found.name)
    called = title or found.said.get("title") or plain.replace("-", " ").title() or "A groove"
    pattern = Pattern(
        name=plain,
        title=called,
        meter=bars[0].meter,
        tempo=tempo,
        bars=tuple(bars),
        swing=found.swing,
    )
    return Read(pattern=pattern, notices=tuple(notices))


def _is_of_system(line: str) -> bool:
    """Whether it is the line of a voice: letters, and then strokes and rests for the most part."""
    found = _LINE.match(line)
    if not found or line.count(BAR_LINE) < 2:
        return False
    inside = found[2][: found[2].rindex(BAR_LINE)]
    strange = sum(mark not in _OF_TAB for mark in inside)
    letters = (found[1] or "").strip().upper()
    return letters in STICKING or (bool(letters) and 4 * strange <= len(inside))


def _letters(line: str) -> str:
    found = _LINE.match(line)
    return (found[1] or "").strip().upper() if found else ""


def _systems(is_line: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """(first, behind the last) line of each system; 0 is the first line."""
    first: int | None = None
    for number, one in enumerate([*is_line, False]):
        if one and first is None:
            first = number
        elif not one and first is not None:
            yield first, number
            first = None


def _words(found: _Text, line: str, number: int, *, named: Collection[str]) -> None:
    """Take what a line of words says; ``named`` are the letters that lines begin with."""
    plain = True
    for key, sought in _SAID.items():
        said = sought.search(line)
        if said and key not in found.said:
            found.said[key] = next(group for group in said.groups() if group)
            if key == "tempo" and not SLOWEST_BPM <= float(found.said[key]) <= FASTEST_BPM:
                raise found.wrong(
                    number, f"{said[0]} is no tempo: write {SLOWEST_BPM} to {FASTEST_BPM}"
                )
            if key == "swing":
                found.swing = _swing(found, said, number)
            if key == "meter":
                _meter(found, said[1], number)
            plain = False
    if plain:
        for one in re.split(r"\s{2,}|,\s|;", line.strip()):
            legend = _LEGEND.match(one)
            if legend:
                _legend(found, legend[1], legend[2].lower(), named=named)


def _swing(found: _Text, said: re.Match[str], number: int) -> WrittenSwing:
    percent = Fraction(said[1])
    notes = {words: note for note, words in NOTES.items()}
    note = notes.get((said[2] or STRAIGHT.notes).lower())
    if not 50 <= percent <= 80 or note is None:
        listed = " or ".join(notes)
        raise found.wrong(number, f"swing is 50 to 80 % of {listed}")
    return WrittenSwing(percent, note)


def _meter(found: _Text, text: str, number: int) -> Meter:
    try:
        return Meter.parse(text)
    except ValueError as error:
        raise found.wrong(number, str(error)) from None


def _legend(found: _Text, key: str, words: str, *, named: Collection[str]) -> None:
    """Take what a legend says of a voice or of a mark."""
    voice = voice_in(words)
    if voice and key.upper() in named:
        found.voices[key.upper()] = voice
        return
    if len(key) > 1:
        return
    mark = Mark()
    if "ghost" in words:
        mark = replace(mark, dynamic=Dynamic.GHOST)
    elif re.search(r"accent|loud|hard", words):
        mark = replace(mark, dynamic=Dynamic.ACCENT)
    if "flam" in words:
        mark = replace(mark, graces=1)
    elif re.search(r"drag|ruff", words):
        mark = replace(mark, graces=2)
    if re.search(r"half.?open|open", words) and "hat" in words:
        mark = replace(mark, is_open=True)
    if voice in ("ride-bell", "cross-stick", "rim-shot", "hi-hat-pedal"):
        mark = replace(mark, voice=voice)
    elif "bell" in words and "cow" not in words:
        mark = replace(mark, voice="ride-bell")
    if mark != Mark() or re.search(r"hit|strike|stroke|normal|close", words):
        found.marks[key] = mark


def _read_system(found: _Text, lines: Sequence[tuple[int, str]]) -> None:
    rows = [row for number, line in lines for row in (_row(found, number, line),) if row]
    if not rows:
        return
    head = rows[0]
    for row in rows[1:]:
        if len(row.bars) != len(head.bars):
            raise found.wrong(
                row.line,
                f"this line has {counted(len(row.bars), 'bar')}, line {head.line} has "
                f"{len(head.bars)}",
            )
    meter = found.meter or Meter.parse(USUAL_METER)
    bars = [_bar(found, rows, index, meter=meter) for index in range(len(head.bars))]
    again = max(rows, key=lambda row: row.times)
    found.has_repeats |= again.times > 1
    bars = bars[: again.again_from] + bars[again.again_from :] * again.times
    if len(found.bars) + len(bars) > MOST_BARS:
        raise found.wrong(head.line, f"more than {MOST_BARS:,} bars are no groove")
    found.bars += bars


def _row(found: _Text, number: int, line: str) -> _Row | None:
    said = _LINE.match(line)
    if said is None:
        return None
    letters = (said[1] or "").strip().upper()
    voice = found.voices.get(letters) or VOICE_OF.get(letters, "")
    if not voice and letters not in STICKING:
        known = ", ".join(sorted(known for known in VOICE_OF if len(known) == 2))
        raise found.wrong(
            number,
            f'"{printable(letters)}" is no voice that is known: use one of {known}, or write a '
            f'line that says what it is, as in "{printable(letters) or "HH"} = snare"',
        )
    body, at = said[2], said.start(2)
    last = body.rindex(BAR_LINE)
    times = _TIMES.search(body[last + 1 :])
    bars: list[tuple[str, int]] = []
    begins, ends = 0, False
    column = at
    for part in body[: last + 1].split(BAR_LINE):
        inside, start = part, column
        column += len(part) + 1
        if inside.startswith(":"):
            begins, inside, start = len(bars), inside[1:], start + 1
        if inside.endswith(":"):
            ends, inside = True, inside[:-1]
        if inside.strip(" "):
            bars.append((inside, start + 1))
    often = int(times[1] or times[2]) if times else 2 if ends else 1
    return _Row(
        line=number,
        voice=voice,
        bars=tuple(bars),
        again_from=begins if ends else 0,
        times=max(1, often),
    )


def _bar(found: _Text, rows: Sequence[_Row], index: int, *, meter: Meter) -> Bar:
    wide = len(rows[0].bars[index][0])
    strokes: dict[tuple[Fraction, str], Stroke] = {}
    hands: dict[Fraction, Hand] = {}
    for row in rows:
        columns, start = row.bars[index]
        if len(columns) != wide:
            raise found.wrong(
                row.line,
                f"bar {index + 1} has {counted(len(columns), 'column')}, in line {rows[0].line} it "
                f"has {wide}",
                start,
            )
        for place, character in enumerate(columns):
            if character in RESTS and character not in found.marks:
                continue
            at = meter.length * place / wide
            if not row.voice:
                if character.upper() not in tuple(Hand):
                    raise found.wrong(
                        row.line,
                        f'"{printable(character)}" is no hand: use R, L or -',
                        start + place,
                    )
                hands[at] = Hand(character.upper())
                continue
            stroke = _stroke(found, row, character, column=start + place, at=at)
            strokes[at, stroke.voice] = stroke
    for at, hand in hands.items():
        below = sorted((s for s in strokes.values() if s.at == at), key=lambda stroke: stroke.place)
        for stroke in below:
            if BY_NAME[stroke.voice].limb not in (Limb.KICK_FOOT, Limb.HAT_FOOT):
                strokes[at, stroke.voice] = replace(stroke, hand=hand)
                hand = Hand.LEFT if hand is Hand.RIGHT else Hand.RIGHT
    placed = tuple(sorted(strokes.values(), key=lambda stroke: stroke.place))
    parts = divisions(meter, placed)
    if wide > MOST_COLUMNS or max(parts) > MOST_STEPS:
        raise found.wrong(
            rows[0].line,
            f"bar {index + 1} has {counted(wide, 'column')}, which are no even parts of the beats "
            f'of {meter.written}: add or take away some, or write a line "Time: 7/8" with its time',
            rows[0].bars[index][1],
        )
    return Bar(meter, placed, parts)


def _stroke(found: _Text, row: _Row, character: str, *, column: int, at: Fraction) -> Stroke:
    own = OWN_MARKS.get(row.voice, {})
    mark = found.marks.get(character)
    if mark is None or mark == Mark():  # "o: a hit" says nothing of an open hi-hat
        mark = own.get(character) or mark or MARKS.get(character)
    if mark is None:
        known = " ".join(dict.fromkeys([*MARKS, *own]))
        shown, label = printable(character), BY_NAME[row.voice].label
        raise found.wrong(
            row.line,
            f'"{shown}" is no stroke of {label} that is known: use one of {known}, or write a line '
            f'that says what it is, as in "{shown} = ghost note"',
            column,
        )
    if row.voice == "hi-hat-open":
        mark = replace(mark, is_open=True, voice="hi-hat")
    voice = mark.voice or row.voice
    return Stroke(
        at=at,
        voice=voice,
        dynamic=mark.dynamic,
        graces=mark.graces,
        is_open=mark.is_open and voice == "hi-hat",
    )
