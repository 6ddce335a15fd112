"""A pattern as MusicXML: see ``form``."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from itertools import pairwise
from math import lcm
from xml.etree.ElementTree import Element, SubElement, indent, tostring
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from playalong.interchange.musicxml.form import (
    BOTTOM,
    HEADS,
    PROGRAM,
    STEPS,
    TYPES,
    VERSION,
    is_foot,
)
from playalong.pattern.meter import Meter
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.voices import BY_NAME, note_of
from playalong.support.errors import UserError
from playalong.support.text import digits

_PART = "P1"
_DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)

_EIGHTH = TYPES.index("eighth")

#: Dots behind a note, by what they make of it.
_DOTS = {Fraction(1): 0, Fraction(3, 2): 1, Fraction(7, 4): 2}


@dataclass(frozen=True, slots=True)
class _Value:
    """A note's value: its type, its dots, and the tuplet that it belongs to (actual, normal)."""

    kind: str
    dots: int
    tuplet: tuple[int, int]


def write(pattern: Pattern) -> bytes:
    """The pattern once, as a file of one part.

    UserError where a stroke falls between all note values that there are.
    """
    bars = pattern.bars
    root = Element("score-partwise", version=VERSION)
    work = SubElement(root, "work")
    SubElement(work, "work-title").text = _said(pattern.title)
    software = SubElement(SubElement(root, "identification"), "encoding")
    SubElement(software, "software").text = PROGRAM
    voices = sorted({instrument(stroke) for bar in bars for stroke in bar.strokes})
    _parts(SubElement(root, "part-list"), voices)
    part = SubElement(root, "part", id=_PART)
    before: Meter | None = None
    for number, bar in enumerate(bars, 1):
        measure = SubElement(part, "measure", number=str(number))
        divisions = _divisions(bar)
        _attributes(measure, bar.meter, divisions, is_new=bar.meter != before, first=before is None)
        if before is None:
            _tempo(measure, pattern)
        before = bar.meter
        hands = [stroke for stroke in bar.strokes if not is_foot(stroke.voice)]
        feet = [stroke for stroke in bar.strokes if is_foot(stroke.voice)]
        _voice(measure, bar, hands, divisions=divisions, number=1)
        if feet:
            back = SubElement(measure, "backup")
            SubElement(back, "duration").text = _count(bar.meter.length, divisions)
            _voice(measure, bar, feet, divisions=divisions, number=2)
    indent(root)
    return _DOCTYPE.encode() + tostring(root, encoding="unicode").encode() + b"\n"


def _said(words: str) -> str:
    """Words without what XML 1.0 cannot hold: control characters, and code points that are none
    (production 2, Char).
    """
    return "".join(letter for letter in words if letter in "\t\n\r" or _is_letter(ord(letter)))


def _is_letter(code: int) -> bool:
    return 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or code >= 0x10000


def compressed(data: bytes) -> bytes:
    """The same as an .mxl file."""
    container = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
        '<rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>'
        "</rootfiles></container>\n"
    )
    file = BytesIO()
    with ZipFile(file, "w") as packed:
        # A name alone has the date of today, and the same pattern another file tomorrow.
        for inside, text in (
            ("mimetype", "application/vnd.recordare.musicxml"),
            ("META-INF/container.xml", container),
            ("score.musicxml", data),
        ):
            packed.writestr(ZipInfo(inside), text, ZIP_DEFLATED)
    return file.getvalue()


def instrument(stroke: Stroke) -> str:
    """The instrument of the part that plays it."""
    return "hi-hat-open" if stroke.is_open else stroke.voice


def _parts(listed: Element, voices: Sequence[str]) -> None:
    part = SubElement(listed, "score-part", id=_PART)
    SubElement(part, "part-name").text = "Drum set"
    for voice in voices:
        one = SubElement(part, "score-instrument", id=f"{_PART}-{voice}")
        SubElement(one, "instrument-name").text = BY_NAME[voice].label
    for voice in voices:
        one = SubElement(part, "midi-instrument", id=f"{_PART}-{voice}")
        SubElement(one, "midi-channel").text = "10"
        SubElement(one, "midi-unpitched").text = str(note_of(voice) + 1)


def _divisions(bar: Bar) -> int:
    """Parts of a quarter note: a whole number of them up to every stroke and every beat."""
    places = [*bar.meter.beat_starts, bar.meter.length, *(stroke.at for stroke in bar.strokes)]
    return lcm(*((4 * place).denominator for place in places))


def _count(length: Fraction, divisions: int) -> str:
    return str(int(length * 4 * divisions))


def _attributes(
    measure: Element, meter: Meter, divisions: int, *, is_new: bool, first: bool
) -> None:
    found = SubElement(measure, "attributes")
    SubElement(found, "divisions").text = str(divisions)
    if first:
        SubElement(SubElement(found, "key"), "fifths").text = "0"
    if is_new:
        time = SubElement(found, "time")
        even = len(set(meter.groups)) == 1
        groups = [str(sum(meter.groups))] if even else [str(group) for group in meter.groups]
        SubElement(time, "beats").text = "+".join(groups)
        SubElement(time, "beat-type").text = str(meter.denominator)
    if first:
        SubElement(SubElement(found, "clef"), "sign").text = "percussion"


def _tempo(measure: Element, pattern: Pattern) -> None:
    direction = SubElement(measure, "direction", placement="above")
    metronome = SubElement(SubElement(direction, "direction-type"), "metronome")
    value = _plain(pattern.meter.unit)
    if value:
        SubElement(metronome, "beat-unit").text = value.kind
        for _ in range(value.dots):
            SubElement(metronome, "beat-unit-dot")
        SubElement(metronome, "per-minute").text = digits(pattern.tempo)
    else:
        direction.remove(direction[0])
        words = SubElement(SubElement(direction, "direction-type"), "words")
        words.text = f"{digits(pattern.tempo)} bpm"
    sound = SubElement(direction, "sound")
    sound.set("tempo", digits(round(pattern.tempo * float(pattern.meter.unit) * 4.0, 6)))
    if not pattern.swing.is_straight:
        swing = SubElement(sound, "swing")
        ratio = pattern.swing.percent / (100 - pattern.swing.percent)
        SubElement(swing, "first").text = str(ratio.numerator)
        SubElement(swing, "second").text = str(ratio.denominator)
        kind = _plain(pattern.swing.note)
        assert kind is not None
        SubElement(swing, "swing-type").text = kind.kind


def _voice(
    measure: Element, bar: Bar, strokes: Sequence[Stroke], *, divisions: int, number: int
) -> None:
    """One voice of the staff, beat by beat."""
    meter = bar.meter
    for start, length in zip(meter.beat_starts, meter.beats, strict=True):
        own = [stroke for stroke in strokes if start <= stroke.at < start + length]
        times = sorted({stroke.at for stroke in own})
        parts = lcm(1, *(((at - start) / length).denominator for at in times))
        unit = length / parts
        edges = [start, *(at for at in times if at > start), start + length]
        tuplet = _tuplet(unit)
        pieces = [
            piece
            for at, end in pairwise(edges)
            for piece in _pieces(at, end - at, unit, tuplet=tuplet)
        ]
        inside = tuplet != (1, 1)
        beams = _beams([(value, at in times) for at, _, value in pieces])
        for place, (at, long, value) in enumerate(pieces):
            group = ("start" if not place else "") if inside else ""
            if inside and place == len(pieces) - 1:
                group = "stop" if place else ""
            here = [stroke for stroke in own if stroke.at == at]
            _event(
                measure,
                here,
                long,
                value=value,
                divisions=divisions,
                number=number,
                tuplet=group,
                beams=beams[place],
            )


def _pieces(
    at: Fraction, length: Fraction, unit: Fraction, *, tuplet: tuple[int, int]
) -> list[tuple[Fraction, Fraction, _Value]]:
    """(start, length, value) of what fills the time from one stroke to the next: a note, and rests
    where one value is not enough."""
    found = []
    while length > 0:
        long = next(
            (
                long
                for parts in range(int(length / unit), 0, -1)
                for long in (unit * parts,)
                if _value(long, tuplet)
            ),
            None,
        )
        if long is None:
            raise UserError(f"A stroke on {at} of a bar has no note value in MusicXML.")
        value = _value(long, tuplet)
        assert value is not None
        found.append((at, long, value))
        at, length = at + long, length - long
    return found


def _beams(notes: Sequence[tuple[_Value, bool]]) -> list[list[str]]:
    """For each of a beat's (value, is it struck) the kinds of its beams, the first outermost."""
    levels = [max(0, TYPES.index(value.kind) - _EIGHTH + 1) * struck for value, struck in notes]
    found: list[list[str]] = [[] for _ in notes]
    for level in range(1, max(levels, default=0) + 1):
        for place, own in enumerate(levels):
            if own < level:
                continue
            before = place > 0 and levels[place - 1] >= level
            after = place + 1 < len(levels) and levels[place + 1] >= level
            if before or after:
                kind = "continue" if before and after else "end" if before else "begin"
            elif level == 1:
                levels[place] = 0  # a note alone has flags
                continue
            else:
                kind = "backward hook" if place and levels[place - 1] else "forward hook"
            found[place].append(kind)
    return found


def _tuplet(unit: Fraction) -> tuple[int, int]:
    """The tuplet that notes of this length belong to, (1, 1) for none: three in the time of two,
    five and seven in that of four.
    """
    odd = unit.denominator
    while odd % 2 == 0:
        odd //= 2
    return (odd, 1 << (odd.bit_length() - 1)) if odd > 1 else (1, 1)


def _value(length: Fraction, tuplet: tuple[int, int]) -> _Value | None:
    """The value that is written for a length inside a tuplet, None where there is none."""
    written = length * tuplet[0] / tuplet[1]
    plain = _plain(written)
    return None if plain is None else _Value(plain.kind, plain.dots, tuplet)


def _plain(written: Fraction) -> _Value | None:
    for power, kind in enumerate(TYPES):
        dots = _DOTS.get(written * 2**power)
        if dots is not None:
            return _Value(kind, dots, (1, 1))
    return None


def _event(
    measure: Element,
    strokes: Sequence[Stroke],
    length: Fraction,
    *,
    value: _Value,
    divisions: int,
    number: int,
    tuplet: str,
    beams: Sequence[str],
) -> None:
    """The strokes of one moment, or a rest."""
    duration = _count(length, divisions)
    if not strokes:
        note = SubElement(measure, "note")
        SubElement(note, "rest")
        SubElement(note, "duration").text = duration
        _written(note, value, number, head=None, grace=False)
        if tuplet:
            SubElement(SubElement(note, "notations"), "tuplet", type=tuplet)
        return
    for stroke in strokes:
        for grace in range(stroke.graces):
            note = SubElement(measure, "note")
            SubElement(note, "grace", slash="yes" if stroke.graces == 1 else "no")
            _unpitched(note, stroke)
            SubElement(note, "instrument", id=f"{_PART}-{instrument(stroke)}")
            small = _Value("16th" if stroke.graces > 1 else "eighth", 0, (1, 1))
            _written(note, small, number, head=stroke, grace=True)
            for level in (1, 2) if stroke.graces > 1 else ():
                kind = "end" if grace == stroke.graces - 1 else "continue" if grace else "begin"
                SubElement(note, "beam", number=str(level)).text = kind
    for place, stroke in enumerate(strokes):
        note = SubElement(measure, "note")
        if place:
            SubElement(note, "chord")
        _unpitched(note, stroke)
        SubElement(note, "duration").text = duration
        SubElement(note, "instrument", id=f"{_PART}-{instrument(stroke)}")
        _written(note, value, number, head=stroke, grace=False)
        if not place:
            for level, kind in enumerate(beams, 1):
                SubElement(note, "beam", number=str(level)).text = kind
        _notations(note, stroke, tuplet if not place else "", line=place + 1)


def _unpitched(note: Element, stroke: Stroke) -> None:
    step = BOTTOM + BY_NAME[stroke.voice].staff_line
    found = SubElement(note, "unpitched")
    SubElement(found, "display-step").text = STEPS[step % len(STEPS)]
    SubElement(found, "display-octave").text = str(step // len(STEPS))


def _written(
    note: Element, value: _Value, number: int, *, head: Stroke | None, grace: bool
) -> None:
    SubElement(note, "voice").text = str(number)
    SubElement(note, "type").text = value.kind
    for _ in range(value.dots):
        SubElement(note, "dot")
    if value.tuplet != (1, 1) and not grace:
        ratio = SubElement(note, "time-modification")
        SubElement(ratio, "actual-notes").text = str(value.tuplet[0])
        SubElement(ratio, "normal-notes").text = str(value.tuplet[1])
    if head is not None:
        SubElement(note, "stem").text = "up" if number == 1 else "down"
        shape = SubElement(note, "notehead")
        shape.text = HEADS.get(instrument(head), "normal")
        if head.dynamic is Dynamic.GHOST:
            shape.set("parentheses", "yes")


def _notations(note: Element, stroke: Stroke, tuplet: str, *, line: int) -> None:
    """The marks of a stroke; its hand goes below the staff, in that line."""
    marks = Element("notations")
    if tuplet:
        SubElement(marks, "tuplet", type=tuplet)
    technical = Element("technical")
    if stroke.is_open:
        SubElement(technical, "open")
    if stroke.roll is not None:
        ornaments = SubElement(marks, "ornaments")
        kind, slashes = ("single", "3") if stroke.roll.strokes else ("unmeasured", "0")
        SubElement(ornaments, "tremolo", type=kind).text = slashes
    if len(technical):
        marks.append(technical)
    if stroke.dynamic is Dynamic.ACCENT:
        SubElement(SubElement(marks, "articulations"), "accent")
    if len(marks):
        note.append(marks)
    if stroke.hand:
        lyric = SubElement(note, "lyric", number=str(line))
        SubElement(lyric, "syllabic").text = "single"
        SubElement(lyric, "text").text = stroke.hand.value
