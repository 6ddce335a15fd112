"""A pattern out of MusicXML, from this program or another: see ``form``.

The voice of a note is that of its instrument's General MIDI note, or else of its instrument's name,
or else of its height on the staff and the shape of its head. Repeats and their endings are played
out. What is read over is told.
"""

import re
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from io import BytesIO
from xml.etree.ElementTree import Element, ParseError
from zipfile import BadZipFile, ZipFile

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

from playalong.interchange.musicxml.form import BOTTOM, HEADS, PROGRAM, STEPS, TYPES, is_foot
from playalong.interchange.reading import Read, one_round
from playalong.interchange.voice_words import voice_in
from playalong.pattern.meter import NOTES, STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import Bar, Dynamic, Hand, Pattern, Stroke, divisions
from playalong.pattern.notation import MOST_STEPS
from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM
from playalong.pattern.voices import BY_NOTE, VOICES
from playalong.support.errors import UserError
from playalong.support.text import counted, printable

#: A file of more bytes (unpacked as well), with more bars or more notes, is no groove.
MOST_BYTES, MOST_BARS, MOST_NOTES = 20_000_000, 1_000, 100_000

USUAL_BPM = 90.0

#: What comes of a compressed file with faults in it.
_DAMAGED = (
    BadZipFile,
    zlib.error,
    KeyError,
    OSError,
    RuntimeError,
    EOFError,
    ValueError,
    IndexError,
)

_CROSSES = frozenset({"x", "cross", "circle-x", "slash", "back slashed"})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Measure:
    """A bar as it stands, and where repeats lead: ``times`` a backward one at its end is played,
    ``endings`` the rounds in which it is played, () for all.
    """

    number: int
    bar: Bar
    forward: bool = False
    times: int = 0
    endings: tuple[int, ...] = ()


@dataclass(slots=True, kw_only=True)
class _Score:
    """What is known at a point of the part."""

    instruments: dict[str, str] = field(default_factory=dict)
    parts_of_quarter: int = 1
    meter: Meter | None = None
    tempo_quarters: float | None = None
    swing: WrittenSwing = STRAIGHT
    each_has_its_own: bool = False
    notes: int = 0
    notices: dict[str, int] = field(default_factory=dict)

    def tell(self, what: str) -> None:
        """Something that is read over."""
        self.notices[what] = self.notices.get(what, 0) + 1


def read(data: bytes, name: str, *, title: str = "", part: int | None = None) -> Read:
    """The pattern in a file (.musicxml, .xml or .mxl) with these bytes; ``part`` counts from 1.

    UserError, with ``name`` as what it is called, where it is none or holds no drum part.
    """
    root = _root(data, printable(name))
    if root.tag == "score-timewise":
        raise UserError(f"{name} is written bar by bar: save it as MusicXML by parts (partwise).")
    if root.tag != "score-partwise":
        raise UserError(f"{name} is no MusicXML: it begins with <{printable(root.tag)[:40]}>.")
    # Other programs put the accent of a chord on one of its notes.
    score = _Score(each_has_its_own=root.findtext("identification/encoding/software") == PROGRAM)
    for one in root.iter("score-part"):
        _instruments(score, one)
    measures = list(_measures(score, _part(root, name, part), name))
    bars = _unrolled(measures, name)
    if not any(bar.strokes for bar in bars):
        raise UserError(f"{name} has no drum note in this part.")
    meter = bars[0].meter
    notices = [f"{what} ({counted(count, 'time')})" for what, count in score.notices.items()]
    if score.tempo_quarters is None:
        notices.append(f"It says no tempo: {USUAL_BPM:g} bpm is taken.")
        tempo = USUAL_BPM
    else:
        tempo = round(score.tempo_quarters / float(meter.unit * 4), 3)
    if not SLOWEST_BPM <= tempo <= FASTEST_BPM:
        notices.append(f"{tempo:g} bpm is no tempo here: {USUAL_BPM:g} is taken.")
        tempo = USUAL_BPM
    swing = score.swing
    if not swing.is_straight and any(
        beat % Fraction(1, 4) for bar in bars for beat in bar.meter.beats
    ):
        notices.append("Swing is for beats of a quarter note, and is left out.")
        swing = STRAIGHT
    once = bars if score.each_has_its_own else one_round(bars, notices=notices)
    plain = printable(name.rpartition("/")[2].rpartition(".")[0] or name)
    said = root.findtext("work/work-title") or root.findtext("movement-title") or ""
    called = title or printable(said).strip() or plain.replace("-", " ").title()
    pattern = Pattern(
        name=plain,
        title=called or "A groove",
        meter=meter,
        tempo=tempo,
        bars=tuple(once),
        swing=swing,
    )
    return Read(pattern=pattern, notices=tuple(notices))


def _root(data: bytes, name: str) -> Element:
    if len(data) > MOST_BYTES:
        raise UserError(f"{name} is too large for a groove: {MOST_BYTES:,} bytes are the most.")
    if data[:2] == b"PK":
        data = _unpacked(data, name)
    try:
        root: Element = fromstring(data, forbid_entities=True, forbid_external=True)
        return root
    except DefusedXmlException:
        raise UserError(
            f"{name} defines entities of its own, which is refused: save it anew as MusicXML."
        ) from None
    except (ParseError, ValueError, LookupError) as error:
        place = getattr(error, "position", None)
        where = f", line {place[0]}, column {place[1] + 1}" if place else ""
        raise UserError(f"{name}{where}: this is no XML, or is damaged.") from None


def _unpacked(data: bytes, name: str) -> bytes:
    """The score in a compressed file."""
    damaged = UserError(f"{name} is a compressed file without a score, or is damaged.")
    try:
        with ZipFile(BytesIO(data)) as packed:
            names = packed.namelist()
            chosen = next(
                (
                    one.get("full-path", "")
                    for one in _root(_bounded(packed, "META-INF/container.xml", name), name).iter(
                        "rootfile"
                    )
                ),
                "",
            )
            if chosen not in names:
                raise damaged
            return _bounded(packed, chosen, name)
    except _DAMAGED:
        raise damaged from None


def _bounded(packed: ZipFile, inside: str, name: str) -> bytes:
    with packed.open(inside) as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise UserError(f"{name} unpacks to more than {MOST_BYTES:,} bytes: it is no groove.")
    return data


def _instruments(score: _Score, part: Element) -> None:
    for one in part.iter("score-instrument"):
        voice = voice_in(one.findtext("instrument-name") or "")
        if voice:
            score.instruments[one.get("id", "")] = voice
    for one in part.iter("midi-instrument"):
        note = _whole(one.findtext("midi-unpitched"))
        voice = BY_NOTE[note - 1].name if note is not None and note - 1 in BY_NOTE else ""
        if voice:
            score.instruments[one.get("id", "")] = voice


def _part(root: Element, name: str, number: int | None) -> Element:
    """The part that is asked for, or the one of drums."""
    parts = root.findall("part")
    if number is not None:
        if not 1 <= number <= len(parts):
            raise UserError(f"{name} has {counted(len(parts), 'part')}: there is no part {number}.")
        return parts[number - 1]
    drums = [one for one in parts if next(one.iter("unpitched"), None) is not None]
    if len(drums) == 1:
        return drums[0]
    if not drums:
        raise UserError(f"{name} has no part of unpitched drums in it.")
    listed = ", ".join(str(parts.index(one) + 1) for one in drums)
    raise UserError(f"{name} has {len(drums)} parts of drums: choose one of {listed} with --part.")


def _measures(score: _Score, part: Element, name: str) -> Iterator[_Measure]:
    found = part.findall("measure")
    if len(found) > MOST_BARS:
        raise UserError(f"{name} has more than {MOST_BARS:,} bars: it is no groove.")
    endings: tuple[int, ...] = ()
    for number, measure in enumerate(found, 1):
        forward, times, closes = False, 0, False
        for line in measure.iter("barline"):
            repeat, ending = line.find("repeat"), line.find("ending")
            if ending is not None and ending.get("type") == "start":
                endings = tuple(
                    int(one) for one in re.findall(r"\d{1,2}", ending.get("number", ""))
                )
            if ending is not None and ending.get("type") in ("stop", "discontinue"):
                closes = True
            if repeat is not None and repeat.get("direction") == "forward":
                forward = True
            elif repeat is not None:
                times = min(_whole(repeat.get("times")) or 2, 99)
        bar = _bar(score, measure, number, name=name)
        yield _Measure(number=number, bar=bar, forward=forward, times=times, endings=endings)
        if closes:
            endings = ()


def _bar(score: _Score, measure: Element, number: int, *, name: str) -> Bar:
    """Read a bar's notes, and what changes in it."""
    at = longest = Fraction(0)
    graces: dict[str, int] = {}
    strokes: dict[tuple[Fraction, str], Stroke] = {}
    before = Fraction(0)
    for one in measure:
        match one.tag:
            case "attributes":
                _attributes(score, one, f"{name}, bar {number}")
            case "sound":
                _sound(score, one)
            case "direction":
                for sound in one.iter("sound"):
                    _sound(score, sound)
                _metronome(score, one)
            case "backup":
                at = max(Fraction(0), at - _long(score, one))
            case "forward":
                at += _long(score, one)
            case "note":
                score.notes += 1
                if score.notes > MOST_NOTES:
                    raise UserError(f"{name} has more than {MOST_NOTES:,} notes: it is no groove.")
                long = _long(score, one)
                here = before if one.find("chord") is not None else at
                if one.find("chord") is None and one.find("grace") is None:
                    before, at = at, at + long
                if one.find("rest") is None:
                    _note(score, one, here, graces=graces, strokes=strokes)
        longest = max(longest, at)
    if score.meter is None:
        score.meter = Meter.parse("4/4")
        score.tell("It says no time: 4/4 is taken")
    meter = score.meter
    late = [key for key in strokes if key[0] >= meter.length]
    for key in late:
        del strokes[key]
        score.tell("Notes behind the end of their bar are left out")
    if 0 < longest < meter.length and number == 1:  # an upbeat
        score.tell("The bar of the upbeat is filled up with a rest before it")
        by = meter.length - longest
        strokes = {(k[0] + by, k[1]): replace(s, at=s.at + by) for k, s in strokes.items()}
    if not score.each_has_its_own:
        strokes = _accented(strokes)
    placed = tuple(sorted(strokes.values(), key=lambda stroke: stroke.place))
    parts = divisions(meter, placed)
    if max(parts) > MOST_STEPS:
        raise UserError(f"{name}, bar {number}: a beat is cut into more than {MOST_STEPS} parts.")
    return Bar(meter, placed, parts)


def _accented(
    strokes: dict[tuple[Fraction, str], Stroke],
) -> dict[tuple[Fraction, str], Stroke]:
    """The strokes of the hands that fall together with an accent accented too."""
    loud = {
        one.at
        for one in strokes.values()
        if one.dynamic is Dynamic.ACCENT and not is_foot(one.voice)
    }
    return {
        key: replace(one, dynamic=Dynamic.ACCENT)
        if one.at in loud and one.dynamic is Dynamic.NORMAL and not is_foot(one.voice)
        else one
        for key, one in strokes.items()
    }


def _attributes(score: _Score, one: Element, where: str) -> None:
    parts = _whole(one.findtext("divisions"))
    if parts is not None and parts > 0:
        score.parts_of_quarter = parts
    time = one.find("time")
    if time is not None:
        text = f"{time.findtext('beats') or ''}/{time.findtext('beat-type') or ''}"
        text = re.sub(r"\s", "", text)
        if time.find("senza-misura") is not None:
            return
        try:
            score.meter = Meter.parse(text)
        except ValueError as error:
            raise UserError(f"{where}: {printable(str(error))[:200]}") from None


def _sound(score: _Score, sound: Element) -> None:
    tempo = _number(sound.get("tempo"))
    if tempo is not None and tempo > 0:
        if score.tempo_quarters is None:
            score.tempo_quarters = tempo
        elif abs(tempo - score.tempo_quarters) > 1e-6:
            score.tell("The tempo changes, and the first is taken")
    swing = sound.find("swing")
    if swing is not None and swing.find("straight") is None:
        first, second = _whole(swing.findtext("first")), _whole(swing.findtext("second"))
        kinds = {TYPES[3]: Fraction(1, 8), TYPES[4]: Fraction(1, 16)}
        note = kinds.get(swing.findtext("swing-type") or TYPES[3])
        if first and second and note in NOTES and first > 0 and second > 0:
            percent = Fraction(100 * first, first + second)
            if 50 <= percent <= 80:
                score.swing = WrittenSwing(percent, note)
                return
        score.tell("A swing that no pattern has is left out")


def _metronome(score: _Score, direction: Element) -> None:
    for one in direction.iter("metronome"):
        bpm = _number(one.findtext("per-minute"))
        unit = one.findtext("beat-unit") or ""
        if score.tempo_quarters is None and bpm is not None and unit in TYPES:
            dots = len(one.findall("beat-unit-dot"))
            length = Fraction(1, 2 ** TYPES.index(unit)) * (2 - Fraction(1, 2**dots))
            score.tempo_quarters = bpm * float(length * 4)


def _note(
    score: _Score,
    note: Element,
    at: Fraction,
    *,
    graces: dict[str, int],
    strokes: dict[tuple[Fraction, str], Stroke],
) -> None:
    if any(tie.get("type") == "stop" for tie in note.findall("tie")):
        return
    voice = _voice(score, note)
    if voice is None:
        score.tell("Notes of no known voice are left out")
        return
    is_open = voice == "hi-hat-open" or next(note.iter("open"), None) is not None
    voice = "hi-hat" if voice == "hi-hat-open" else voice
    if note.find("grace") is not None:
        graces[voice] = min(2, graces.get(voice, 0) + 1)
        return
    if next(note.iter("tremolo"), None) is not None:
        score.tell("A roll is read as one stroke")
    dynamic = Dynamic.NORMAL
    head = note.find("notehead")
    if head is not None and head.get("parentheses") == "yes":
        dynamic = Dynamic.GHOST
    elif any(next(note.iter(mark), None) is not None for mark in ("accent", "strong-accent")):
        dynamic = Dynamic.ACCENT
    said = note.findtext("notations/technical/fingering") or note.findtext("lyric/text") or ""
    hand = said.strip().upper()
    strokes[at, voice] = Stroke(
        at=at,
        voice=voice,
        dynamic=dynamic,
        graces=graces.pop(voice, 0),
        is_open=is_open and voice == "hi-hat",
        hand=Hand(hand) if hand in tuple(Hand) else None,
    )


def _voice(score: _Score, note: Element) -> str | None:
    instrument = note.find("instrument")
    if instrument is not None and instrument.get("id", "") in score.instruments:
        return score.instruments[instrument.get("id", "")]
    shown = note.find("unpitched")
    if shown is None:
        return None
    step, octave = shown.findtext("display-step") or "", _whole(shown.findtext("display-octave"))
    if step not in STEPS or not step or octave is None:
        only = set(score.instruments.values())
        return only.pop() if len(only) == 1 else None
    height = octave * len(STEPS) + STEPS.index(step) - BOTTOM
    return _by_height(height, note.findtext("notehead") or "normal")


def _by_height(height: int, head: str) -> str | None:
    """The voice that usually stands there: of several the one with the same head."""
    same = [voice.name for voice in VOICES if voice.staff_line == height and voice.notes]
    exact = [name for name in same if HEADS.get(name, "normal") == head]
    crosses = [
        name for name in same if (HEADS.get(name, "normal") in _CROSSES) == (head in _CROSSES)
    ]
    order = _USUAL.get(height, ())
    for found in (exact, crosses, same):
        if found:
            return min(found, key=lambda name: order.index(name) if name in order else len(order))
    return None


#: Of voices that share a height and a head, the one that is meant.
_USUAL: dict[int, tuple[str, ...]] = {
    9: ("hi-hat",),
    8: ("ride",),
    10: ("crash",),
    11: ("splash",),
    5: ("snare", "cross-stick"),
    -1: ("hi-hat-pedal",),
}


def _long(score: _Score, one: Element) -> Fraction:
    """A duration in whole notes."""
    text = one.findtext("duration")
    value = _number(text)
    if value is None or value < 0 or value > 10**6:
        return Fraction(0)
    return Fraction(str(value)).limit_denominator(10_000) / (4 * score.parts_of_quarter)


def _unrolled(measures: Sequence[_Measure], name: str) -> list[Bar]:
    """The bars as they are played."""
    found: list[Bar] = []
    start, place, round_ = 0, 0, 1
    while place < len(measures):
        one = measures[place]
        if one.forward and start != place:
            start, round_ = place, 1
        if not one.endings or round_ in one.endings:
            found.append(one.bar)
        if len(found) > MOST_BARS:
            raise UserError(f"{name} has more than {MOST_BARS:,} bars: it is no groove.")
        last = max((ending for each in measures[start:] for ending in each.endings), default=0)
        often = max(one.times, last) if one.times and one.endings else one.times
        if one.times and round_ < often and (not one.endings or round_ in one.endings):
            place, round_ = start, round_ + 1
            continue
        if one.times and (not one.endings):
            start, round_ = place + 1, 1
        place += 1
    return found


def _whole(text: str | None) -> int | None:
    found = re.fullmatch(r"\s*(-?\d{1,6})\s*", text or "")
    return int(found[1]) if found else None


def _number(text: str | None) -> float | None:
    found = re.fullmatch(r"\s*(\d{1,7}(?:\.\d{1,6})?)\s*", text or "")
    return float(found[1]) if found else None
