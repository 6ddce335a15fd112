"""A pattern as the text of its file: reading it again gives the same pattern."""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from math import lcm
from types import MappingProxyType

from playalong.pattern.meter import STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import (
    Bar,
    Change,
    Pattern,
    PatternKind,
    Practice,
    Stroke,
    Variation,
    under_rolls,
)
from playalong.pattern.notation import OPTIONAL, SYMBOLS, TAKEN, Symbol, write_line
from playalong.pattern.voices import STAFF_ORDER
from playalong.support.text import digits

_SYMBOL_OF: dict[Symbol, str] = {symbol: mark for mark, symbol in SYMBOLS.items()}

Steps = list[tuple[Fraction, str]]
Rows = tuple[tuple[str, str], ...]


def write(pattern: Pattern) -> str:
    """The file for ``pattern``."""
    head = [
        ("title", _quoted(pattern.title)),
        *([("about", _quoted(pattern.about))] if pattern.about else []),
        *([] if pattern.kind is PatternKind.GROOVE else [("kind", _quoted(pattern.kind))]),
        *([("trains", _listed(pattern.trains))] if pattern.trains else []),
        ("meter", _quoted(pattern.meter.written)),
        ("tempo", digits(pattern.tempo)),
        *_swing(pattern.swing),
    ]
    blocks = [_lines(head)]
    blocks += [_bar(bar, pattern.meter) for bar in pattern.bars]
    blocks += [_variation(change, pattern) for change in pattern.variations.values()]
    for chunk in pattern.chunks:
        meter = pattern.bars[chunk.bar].meter
        ends = [*meter.beat_starts[1:], meter.length]
        rows = [
            ("name", _quoted(chunk.name)),
            ("bar", str(chunk.bar + 1)),
            ("from", str(meter.beat_starts.index(chunk.start) + 1)),
            ("to", str(ends.index(chunk.end) + 1)),
        ]
        blocks.append("[[chunk]]\n" + _lines(rows))
    if pattern.practice:
        practice = pattern.practice
        rows = [
            ("start", digits(practice.start_tempo)),
            ("goal", digits(practice.goal_tempo)),
            ("clean", str(practice.clean)),
        ]
        if practice.tolerance_ms is not None:
            rows.append(("tolerance", digits(practice.tolerance_ms)))
        usual = Practice(start_tempo=practice.start_tempo, goal_tempo=practice.goal_tempo)
        if not practice.trial:
            rows.append(("trial", "false"))
        if practice.patience != usual.patience:
            rows.append(("patience", str(practice.patience)))
        if practice.leave_minutes != usual.leave_minutes:
            rows.append(("leave", digits(practice.leave_minutes)))
        if practice.free_bars != usual.free_bars:
            rows.append(("bars", str(practice.free_bars)))
        if practice.success != usual.success:
            rows.append(("success", digits(round(100.0 * practice.success, 6))))
        if practice.repeats != usual.repeats:
            rows.append(("repeats", str(practice.repeats)))
        if practice.next:
            rows.append(("next", _listed(practice.next)))
        blocks.append("[practice]\n" + _lines(rows))
    return "\n".join(blocks)


def _swing(swing: WrittenSwing) -> list[tuple[str, str]]:
    if swing.is_straight:
        return []
    pairs = [] if swing.note == STRAIGHT.note else [("swung", _quoted(swing.notes))]
    return [("swing", _decimal(swing.percent)), *pairs]


def _bar(bar: Bar, default: Meter) -> str:
    rows = [("meter", _quoted(bar.meter.written))] if bar.meter != default else []
    steps = {voice: _steps(strokes) for voice, strokes in _by_voice(bar.strokes)}
    rows += _grid(steps, bar.meter, bar.divisions, rolls=_rolls(bar.strokes))
    hands = _sticking(bar.strokes)
    if hands:
        rows += _grid({"sticking": hands}, bar.meter, bar.divisions)
    return "[[bar]]\n" + _lines(rows)


def _variation(variation: Variation, pattern: Pattern) -> str:
    key = _key(variation.name)
    about = [("about", _quoted(variation.about))] if variation.about else []
    bars_by_rows: dict[Rows, list[int]] = {}
    for change in variation.changes:
        bars_by_rows.setdefault(_changed(change, pattern), []).append(change.bar + 1)
    if len(bars_by_rows) == 1:
        ((lines, bars),) = bars_by_rows.items()
        every = bars == list(range(1, len(pattern.bars) + 1))
        rows = [*about, *([] if every else [("bars", str(bars))]), *lines]
        return f"[variation.{key}]\n" + _lines(rows)
    blocks = [
        f"[[variation.{key}.bar]]\n" + _lines([("bars", str(bars)), *lines])
        for lines, bars in bars_by_rows.items()
    ]
    return f"[variation.{key}]\n" + _lines(about) + "".join(blocks)


def _changed(change: Change, pattern: Pattern) -> Rows:
    bar = pattern.bars[change.bar]
    steps = {voice: _steps(strokes) for voice, strokes in _by_voice(change.added)}
    under = under_rolls(change.added, bar.strokes)
    for at, voice in change.taken:
        if (at, voice) in under:  # the roll says so
            continue
        steps.setdefault(voice, []).append((at, TAKEN))
    handed = {stroke.at for stroke in change.added if stroke.hand}
    stuck = _sticking(stroke for stroke in bar.changed(change).strokes if stroke.at in handed)
    if stuck:
        steps["sticking"] = stuck
    whole = [1] * len(bar.meter.beats)
    return tuple(_grid(steps, bar.meter, whole, rolls=_rolls(change.added)))


def _sticking(strokes: Iterable[Stroke]) -> Steps:
    """The hand of the upper of the strokes of each moment."""
    hands: dict[Fraction, str] = {}
    for stroke in strokes:
        if stroke.hand:
            hands.setdefault(stroke.at, stroke.hand.value)
    return list(hands.items())


#: The rolls of a voice: from where to where, and the length of a step of a counted one.
_Rolls = list[tuple[Fraction, Fraction, Fraction | None]]


def _rolls(strokes: Iterable[Stroke]) -> dict[str, _Rolls]:
    found: dict[str, _Rolls] = {}
    for stroke in strokes:
        roll = stroke.roll
        if roll is not None:
            step = 2 * roll.length / roll.strokes if roll.strokes else None
            found.setdefault(stroke.voice, []).append((stroke.at, stroke.at + roll.length, step))
    return found


def _grid(
    lines: dict[str, Steps],
    meter: Meter,
    divisions: Sequence[int],
    *,
    rolls: Mapping[str, _Rolls] = MappingProxyType({}),
) -> list[tuple[str, str]]:
    """Lines with their groups below each other; each as coarse as its strokes allow, but
    together as fine as ``divisions``. The steps of a counted roll stay as they are."""
    sizes, fixed = {}, {}
    for voice, steps in lines.items():
        sizes[voice], fixed[voice] = _sizes(steps, meter, rolls.get(voice, []))
    for beat, parts in enumerate(divisions):
        if lcm(*(own[beat] for own in sizes.values())) % parts:
            for voice, steps in lines.items():
                here = any(meter.beat_of(at) == beat for at, _ in steps)
                here |= _rolls_in(rolls.get(voice, []), meter, beat)
                if here and beat not in fixed[voice]:
                    sizes[voice][beat] = lcm(sizes[voice][beat], parts)
    grid = {
        voice: write_line(
            lines[voice],
            meter,
            sizes[voice],
            held=[(begin, end) for begin, end, _ in rolls.get(voice, [])],
        )
        for voice in sorted(lines, key=lambda name: STAFF_ORDER.get(name, len(STAFF_ORDER)))
    }
    widths = [max(len(group) for group in column) for column in zip(*grid.values(), strict=True)]
    return [
        (voice, _quoted(" ".join(g.ljust(w) for g, w in zip(groups, widths, strict=True)).rstrip()))
        for voice, groups in grid.items()
    ]


def _rolls_in(rolls: _Rolls, meter: Meter, beat: int) -> bool:
    """Whether one of the rolls sounds in a beat."""
    start, length = meter.beat_starts[beat], meter.beats[beat]
    return any(begin < start + length and start < end for begin, end, _ in rolls)


def _sizes(steps: Steps, meter: Meter, rolls: _Rolls) -> tuple[list[int], set[int]]:
    """How many steps each beat needs, and the beats in which a counted roll says how many."""
    sizes, fixed = [1] * len(meter.beats), set()
    ends = [end for _, end, _ in rolls if end < meter.length]
    for at in [*(at for at, _ in steps), *ends]:
        beat = meter.beat_of(at)
        into = (at - meter.beat_starts[beat]) / meter.beats[beat]
        sizes[beat] = lcm(sizes[beat], into.denominator)
    for begin, end, step in rolls:
        for beat, length in enumerate(meter.beats):
            if step is not None and _rolls_in([(begin, end, step)], meter, beat):
                sizes[beat] = lcm(sizes[beat], (length / step).numerator)
                fixed.add(beat)
    return sizes, fixed


def _by_voice(strokes: Iterable[Stroke]) -> list[tuple[str, list[Stroke]]]:
    found: dict[str, list[Stroke]] = {}
    for stroke in strokes:
        found.setdefault(stroke.voice, []).append(stroke)
    return list(found.items())


def _steps(strokes: Iterable[Stroke]) -> Steps:
    steps = []
    for stroke in strokes:
        per_step = None if stroke.roll is None else 2 if stroke.roll.strokes else 0
        mark = _SYMBOL_OF[Symbol(stroke.dynamic, stroke.graces, stroke.is_open, per_step=per_step)]
        steps.append((stroke.at, mark + OPTIONAL if stroke.optional else mark))
    return steps


def _lines(rows: Sequence[tuple[str, str]]) -> str:
    width = max((len(key) for key, _ in rows), default=0)
    return "".join(f"{key.ljust(width)} = {value}\n" for key, value in rows)


def _listed(texts: Iterable[str]) -> str:
    return f"[{', '.join(map(_quoted, texts))}]"


def _quoted(text: str) -> str:
    escaped = "".join(_ESCAPES.get(char, char) for char in text)
    return f'"{escaped}"'


_ESCAPES = {char: f"\\u{ord(char):04x}" for char in map(chr, [*range(32), 127])} | {
    "\\": "\\\\",
    '"': '\\"',
}


def _key(name: str) -> str:
    plain = name and all(char.isascii() and (char.isalnum() or char in "_-") for char in name)
    return name if plain else _quoted(name)


def _decimal(value: Fraction) -> str:
    """A fraction that came from decimals, as decimals."""
    digits = 0
    while (value * 10**digits).denominator != 1 and digits < 12:
        digits += 1
    return f"{float(value):.{digits}f}"
