"""The program's own grid on paper: a row for each voice, and a box's height is loudness.

As on the screen: a ghost note is a low box, an accent a high one; an open hi-hat has a circle,
grace strokes are small boxes before their stroke, and an optional stroke is grey; a bar at the foot
shows how long a roll lasts.
"""

from collections.abc import Sequence

from matplotlib.path import Path

from playalong.pattern.model import Bar, Dynamic, Stroke
from playalong.pattern.voices import BY_NAME
from playalong.report.paper.letters import width as width_of
from playalong.report.paper.piece import Outline, Piece, Words, box, end_of, line

#: In millimetres: a row, the least from place to place, the widest step, and the ends of a bar.
_ROW, _LEAST, _STEP, _END = 7.0, 3.6, 9.0, 2.0

#: Size of the names in points, and millimetres beside them.
_NAME, _BESIDE = 8.5, 2.5

#: The height of a box in parts of its row.
_HIGH = {Dynamic.GHOST: 0.28, Dynamic.NORMAL: 0.54, Dynamic.ACCENT: 0.86}

#: The widest box in millimetres; a grace stroke's share of it.
_BOX, _GRACE = 2.6, 0.45


def drawn(bars: Sequence[Bar], voices: Sequence[str], *, width: float) -> list[Piece]:
    """The bars, as many to a line as find room in ``width`` millimetres."""
    names = max(width_of(BY_NAME[voice].label, _NAME) for voice in voices) + _BESIDE
    cells = [sum(bar.divisions) for bar in bars]
    lines: list[list[int]] = [[]]
    for number in range(len(bars)):
        needed = sum(_LEAST * cells[one] + 2 * _END for one in (*lines[-1], number))
        if lines[-1] and names + needed > width:
            lines.append([])
        lines[-1].append(number)
    return [_line(bars, numbers, voices, names=names, width=width) for numbers in lines]


def _line(
    bars: Sequence[Bar],
    numbers: Sequence[int],
    voices: Sequence[str],
    *,
    names: float,
    width: float,
) -> Piece:
    cells = sum(sum(bars[number].divisions) for number in numbers)
    room = width - names - 2 * _END * len(numbers)
    step = min(_STEP, room / cells)
    outlines: list[Outline] = []
    words = [
        Words(
            x=names - _BESIDE,
            y=row * _ROW + _ROW * 0.66,
            text=BY_NAME[voice].label,
            size=_NAME,
            align=1.0,
        )
        for row, voice in enumerate(voices)
    ]
    x_of = {}
    left, bottom = names, len(voices) * _ROW
    rows = {voice: row for row, voice in enumerate(voices)}
    for number in numbers:
        bar = bars[number]
        outlines.append(line([(left, 0), (left, bottom)], 0.3))
        at = left + _END + step / 2
        for beat, (start, length) in enumerate(
            zip(bar.meter.beat_starts, bar.meter.beats, strict=True)
        ):
            parts = bar.divisions[beat]
            if beat:
                middle = at - step / 2
                outlines.append(line([(middle, 0), (middle, bottom)], 0.1, is_quiet=True))
            for part in range(parts):
                x_of[number, start + length * part / parts] = at
                at += step
        right = at - step / 2 + _END
        x_of[end_of(number)] = right
        for stroke in bar.strokes:
            outlines += _stroke(stroke, x_of[number, stroke.at], rows[stroke.voice], step=step)
            if stroke.roll is not None:
                end = stroke.at + stroke.roll.length
                after = [x_of[number, at] for own, at in x_of if own == number and at >= end]
                to = min([*after, right])
                outlines.append(_roll(x_of[number, stroke.at], to, rows[stroke.voice]))
        left = right
    outlines += [
        line([(names, (row + 1) * _ROW), (left, (row + 1) * _ROW)], 0.15, is_quiet=True)
        for row in range(len(voices))
    ]
    outlines.append(line([(left, 0), (left, bottom)], 0.3))
    return Piece(
        width=left, top=0.0, bottom=bottom, outlines=outlines, words=tuple(words), x_of=x_of
    )


def _stroke(stroke: Stroke, x: float, row: int, *, step: float) -> list[Outline]:
    high, foot = _HIGH[stroke.dynamic] * _ROW, (row + 1) * _ROW
    wide = min(_BOX, step * 0.62)
    quiet = stroke.optional
    found = [Outline(box(x - wide / 2, foot - high, width=wide, height=high), 0.0, quiet)]
    for number in range(stroke.graces):
        small = wide * _GRACE
        left = x - wide / 2 - (number + 1) * (small + 0.25)
        found.append(Outline(box(left, foot - 1.9, width=small, height=1.9), 0.0, quiet))
    if stroke.is_open or stroke.voice == "hi-hat-open":
        middle = (
            x,
            foot - high - 0.85 if stroke.dynamic is not Dynamic.ACCENT else foot - high / 2,
        )
        found.append(Outline(Path.circle(middle, 0.6), 0.25, quiet))
    return found


def _roll(left: float, right: float, row: int) -> Outline:
    """How long a roll lasts, at the foot of its row."""
    return Outline(box(left, (row + 1) * _ROW - 0.7, width=right - left, height=0.7), 0.0, True)


def voices_of(bars: Sequence[Bar]) -> tuple[str, ...]:
    """The voices that are struck, in staff order."""
    struck = {stroke.voice for bar in bars for stroke in bar.strokes}
    return tuple(voice for voice in BY_NAME if voice in struck)
