"""A pattern as drum tab: see ``form``."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import lcm

from playalong.interchange.tab.form import (
    BAR_LINE,
    CYMBALS,
    LETTERS,
    MARKS,
    MOST_COLUMNS,
    OWN_MARKS,
    STICKING,
    Mark,
)
from playalong.pattern.meter import Meter, spoken_count
from playalong.pattern.model import Bar, Pattern, Stroke
from playalong.pattern.voices import STAFF_ORDER
from playalong.support.errors import UserError
from playalong.support.text import digits

#: Bars stand beside each other as long as a line is no longer than this.
_WIDEST = 78


def write(pattern: Pattern) -> str:
    """The pattern once.

    UserError where a bar would need more columns than anybody reads.
    """
    head = [
        f"Title: {pattern.title}",
        f"Time: {pattern.meter.written}",
        f"Tempo: {digits(pattern.tempo)}",
    ]
    if not pattern.swing.is_straight:
        head.append(f"Swing: {digits(float(pattern.swing.percent))} % of {pattern.swing.notes}")
    blocks = ["\n".join(head)]
    said = pattern.meter
    for system in _systems(pattern.bars):
        blocks.append(_system(system, pattern, said))
        said = system[0].meter
    return "\n\n".join(blocks) + "\n"


def _systems(bars: Sequence[Bar]) -> Iterator[list[Bar]]:
    """Bars of one meter that stand beside each other."""
    system: list[Bar] = []
    for bar in bars:
        wide = sum(_columns(one) + 1 for one in (*system, bar))
        if system and (wide > _WIDEST or bar.meter != system[0].meter):
            yield system
            system = []
        system.append(bar)
    yield system


def _columns(bar: Bar) -> int:
    """So many even parts that every stroke and every beat begins one."""
    found = lcm(
        *((at / bar.meter.length).denominator for at in bar.meter.beat_starts),
        *((stroke.at / bar.meter.length).denominator for stroke in bar.strokes),
    )
    while found < 2 * len(bar.meter.beats):
        found *= 2
    if found > MOST_COLUMNS:
        raise UserError(
            f"A bar would need {found} columns: drum tab is for one grid at a time, and "
            f"{MOST_COLUMNS} are the most."
        )
    return found


def _system(bars: Sequence[Bar], pattern: Pattern, said: Meter) -> str:
    """Bars beside each other; their meter where another is ``said`` above."""
    voices = {stroke.voice for bar in bars for stroke in bar.strokes if stroke.voice in LETTERS}
    voices = voices or {pattern.voices[0]}  # bars of rest
    named = [] if bars[0].meter == said else [f"Time: {bars[0].meter.written}"]
    lines = [*named, f"   {' '.join(_count(bar) for bar in bars)}".rstrip()]
    for voice in sorted(voices, key=STAFF_ORDER.__getitem__):
        own = [{s.at: _mark(s) for s in bar.strokes if s.voice == voice} for bar in bars]
        lines.append(_line(LETTERS[voice][0], bars, own))
    hands = [
        {stroke.at: stroke.hand.value for stroke in reversed(bar.strokes) if stroke.hand}
        for bar in bars
    ]
    if any(hands):
        lines.append(_line(STICKING[0], bars, hands))
    return "\n".join(lines)


def _line(letters: str, bars: Sequence[Bar], marks: Sequence[dict[Fraction, str]]) -> str:
    parts = [
        "".join(own.get(bar.meter.length * column / wide, "-") for column in range(wide))
        for bar, own in zip(bars, marks, strict=True)
        for wide in (_columns(bar),)
    ]
    return f"{letters:<2}{BAR_LINE}{BAR_LINE.join(parts)}{BAR_LINE}"


def _count(bar: Bar) -> str:
    """What is spoken, each word over its column."""
    wide, meter = _columns(bar), bar.meter
    found = [" "] * wide
    for beat, (start, length) in enumerate(zip(meter.beat_starts, meter.beats, strict=True)):
        first = int(start / meter.length * wide)
        parts = int(length / meter.length * wide)
        spoken = spoken_count(parts, meter.groups[beat])
        if not any(spoken):
            spoken = next(
                spoken_count(way, meter.groups[beat]) for way in (4, 3, 2, 1) if parts % way == 0
            )
        step = parts // len(spoken)
        for place, word in enumerate(spoken):
            column = first + place * step
            said = word or (str(beat + 1) if not place else "")
            if len(said) <= step:
                found[column : column + len(said)] = said
    return "".join(found)


def _mark(stroke: Stroke) -> str:
    meant = Mark(dynamic=stroke.dynamic, graces=stroke.graces, is_open=stroke.is_open)
    own = OWN_MARKS.get(stroke.voice, {})
    for mark, what in (*MARKS.items(), *own.items()):
        if what == meant and own.get(mark, what) == what and _is_usual(mark, stroke.voice):
            return mark
    raise UserError(f"A stroke of {stroke.voice} on {stroke.at} has no mark in drum tab.")


def _is_usual(mark: str, voice: str) -> bool:
    """Whether a plain stroke or an accent stands as is usual for what is struck."""
    other = "o" if voice in CYMBALS else "x"
    return mark.lower() != other or mark in OWN_MARKS.get(voice, {})
