"""From hits to a pattern: what was understood, how surely, and what was left out.

The way: strokes (``heard``), pulses under them (``pulse``), which of these is the beat and where
bar 1 is (``bars``), their places (``grid``), bars that come again (``folding``), and loudness
(``levels``).
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from playalong.capture.bars import (
    COMMON,
    ClickHeard,
    Reading,
    on_click,
    pulse_of,
    pulse_s,
    readings,
)
from playalong.capture.folding import Folded, Key, Otherwise, Seen, folded
from playalong.capture.grid import Placed, placed
from playalong.capture.heard import DOUBLES_S, Heard, strokes_of
from playalong.capture.levels import Kind, Place, border, kinds_of_voices
from playalong.capture.pulse import pulses
from playalong.midi.hits import Hits
from playalong.pattern.meter import Meter
from playalong.pattern.model import (
    Bar,
    Change,
    Dynamic,
    Pattern,
    Roll,
    Stroke,
    Variation,
    divisions,
    under_rolls,
)
from playalong.pattern.reader import read
from playalong.pattern.voices import VOICES
from playalong.pattern.writer import write
from playalong.support.errors import UserError
from playalong.support.text import counted

#: Fewer strokes than this are no groove, and more than this no groove either.
LEAST_STROKES, MOST_HITS = 8, 25_000

#: A rest that ends a groove, and how long one is at least, and at most, in seconds.
_REST_S, _SHORTEST_S, _LONGEST_S = 8.0, 1.5, 900.0

#: Readings that are worth nearly as much are offered as choices: as near, and so many at most.
_NEAR_WORTH, _MOST_CHOICES, _MOST_OTHERS = 2.5, 5, 2

#: Bars of a groove that was played once have so large a part of their strokes in common.
_ALIKE = 0.25

#: A bar 1 so near is the same, in pulses.
_ANOTHER_BAR_1 = 0.4

#: Rolls end on steps of these lengths, in whole notes, the usual first; counted ones have two
#: strokes to a step.
_STEPS = (Fraction(1, 16), Fraction(1, 12), Fraction(1, 24), Fraction(1, 8), Fraction(1, 32))

#: Doubles of a counted roll are 32nds: as long as that, and a little longer, in whole notes; and no
#: slower than so many seconds.
_DOUBLES, _SLOWEST_DOUBLES_S = 1.6 / 32, 0.2

#: A tempo so near a whole number is that number, as a share of it, and one that lies so many
#: standard errors off may be.
_WHOLE, _OPEN = 0.0015, 3.2

#: The marks of a metronome (common practice: in steps of 2 up to 60, 3 to 72, 4 to 120, 6 to 144,
#: 8 above), and what these, and other even numbers and fives, have ahead of the rest, in nats:
#: in the fitted half of the library there is none of the rest.
_MARKS = frozenset(
    bpm
    for first, end, step in ((40, 60, 2), (60, 72, 3), (72, 120, 4), (120, 144, 6), (144, 209, 8))
    for bpm in range(first, end, step)
)
_OF_MARK, _EVEN = 4.0, 3.0


@dataclass(frozen=True, kw_only=True)
class Understood:
    """A stroke of the pattern: its bar, how often it came in how many rounds, and its doubts.

    ``doubts`` are words of ``DOUBTS``: () where all is sure.
    """

    bar: int
    stroke: Stroke
    came: int
    rounds: int
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Stray:
    """A stroke that was left out: bar and place as played (bars from 1, 0 is before bar 1), the
    number of its hit."""

    bar: int
    at: Fraction
    voice: str
    hit: int


#: What may be unsure of a stroke.
SELDOM, LOUDNESS, THICK = "seldom", "loudness", "flam"


@dataclass(frozen=True, kw_only=True)
class Captured:
    """What was understood.

    ``readings`` are the ways to count it, ``chosen`` the one that was taken; ``hit_of`` maps
    numbers of hits to whether they belong to the pattern; ``bars_played`` and the numbers of those
    ``understood`` (0 is bar 1). ``heard`` are the strokes that all of it was made of.
    """

    pattern: Pattern
    reading: Reading
    choices: tuple[Reading, ...]
    strokes: tuple[Understood, ...]
    strays: tuple[Stray, ...]
    bars_played: int
    understood: tuple[int, ...]
    heard: Heard = field(repr=False)
    belongs: Mapping[int, bool] = field(repr=False)
    bar_of_hit: Mapping[int, int] = field(repr=False)


def understand(
    hits: Hits,
    *,
    name: str,
    title: str,
    meters: Sequence[Meter] = (),
    tempo_bpm: float | None = None,
    click: ClickHeard | None = None,
    bars: int | None = None,
) -> Captured:
    """The groove in ``hits``, second 0 anywhere.

    ``meters`` are those that it may be in, ``tempo_bpm`` where it is known, about; with a ``click``
    that was played to, tempo and bar 1 are known, and the first of the meters is that of the click;
    ``bars`` the length of the pattern. UserError, in words for the player, where nothing can be
    understood.
    """
    heard = _enough(strokes_of(hits), hits)
    if click is not None:
        reading = on_click(heard, click, meters[0] if meters else COMMON)
        heard, choices = _with_slow_rolls(heard, (reading,), hits)
        return read_as(heard, choices[0], choices, name=name, title=title, bars=bars)
    near_s = [pulse_s(meter, tempo_bpm) for meter in meters or (COMMON,)] if tempo_bpm else []
    found = readings(heard, pulses(heard, near_s=near_s), meters=meters, tempo_bpm=tempo_bpm)
    if not found:
        near = f" near {tempo_bpm:g} bpm" if tempo_bpm else ""
        raise UserError(f"No steady beat{near} was found: play a little longer, evenly.")
    heard, choices = _with_slow_rolls(heard, choices_of(found), hits)
    return read_as(heard, choices[0], choices, name=name, title=title, bars=bars)


def _with_slow_rolls(
    heard: Heard, choices: tuple[Reading, ...], hits: Hits
) -> tuple[Heard, tuple[Reading, ...]]:
    """Heard again, with doubles as slow as they are at the tempo of the first reading."""
    slow_s = min(_SLOWEST_DOUBLES_S, _DOUBLES * _whole_s(choices[0]))
    if slow_s <= DOUBLES_S:
        return heard, choices
    anew = _enough(strokes_of(hits, slow_s), hits)
    moved = (replace(one, at=np.interp(anew.time_s, heard.time_s, one.at)) for one in choices)
    return anew, tuple(moved)


def _whole_s(reading: Reading) -> float:
    """The length of a whole note, in seconds."""
    return reading.pulse_s / float(pulse_of(reading.meter))


def again(captured: Captured, reading: Reading, *, bars: int | None = None) -> Captured:
    """The same strokes counted as another of its choices has it, or in so many bars."""
    pattern = captured.pattern
    return read_as(
        captured.heard,
        reading,
        captured.choices,
        name=pattern.name,
        title=pattern.title,
        bars=bars,
    )


def _enough(heard: Heard, hits: Hits) -> Heard:
    """What was played without a long rest, most of it; UserError where that is too little."""
    if len(heard):
        part = np.append(0, np.cumsum(np.diff(heard.time_s) > _REST_S))
        most = int(np.bincount(part).argmax())
        heard = heard.only(part == most)
        heard = heard.only(heard.time_s <= heard.time_s[0] + _LONGEST_S)
    if len(heard) < LEAST_STROKES or heard.time_s[-1] - heard.time_s[0] < _SHORTEST_S:
        raise UserError("Too little was played: play the groove for two bars at least.")
    if len(hits) > MOST_HITS:
        raise UserError(f"More than {MOST_HITS:,} strokes are no groove: play a few bars of it.")
    return heard


def choices_of(found: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings that may be meant as well, behind the best: half and double of its tempo in any
    case, what is nearly as good in tempo or meter, each other bar 1 that is; the likeliest first.
    """
    best = found[0]
    octaves: list[Reading] = []
    others: list[Reading] = []
    bars: list[Reading] = []
    for one in found[1:]:
        ratio = one.tempo_bpm / best.tempo_bpm
        near = best.worth - one.worth <= _NEAR_WORTH
        if one.meter == best.meter and abs(ratio - 1.0) < 0.02:
            if near and not any(_same_bars(kin, one) for kin in (best, *bars)):
                bars.append(one)
        elif any(_same_tempo(kin, one) for kin in (*octaves, *others)):
            continue
        elif one.meter == best.meter and min(abs(ratio - 2.0), abs(2.0 * ratio - 1.0)) < 0.04:
            octaves.append(one)
        elif near:
            others.append(one)
    rest = (*octaves, *others[:_MOST_OTHERS], *bars)[:_MOST_CHOICES]
    return (best, *sorted(rest, key=lambda one: -one.worth))


def _same_tempo(one: Reading, other: Reading) -> bool:
    return one.meter == other.meter and abs(one.tempo_bpm / other.tempo_bpm - 1.0) < 0.02


def _same_bars(one: Reading, other: Reading) -> bool:
    return abs(float(one.at[0] - other.at[0])) < _ANOTHER_BAR_1


def read_as(
    heard: Heard,
    reading: Reading,
    choices: tuple[Reading, ...],
    *,
    name: str,
    title: str,
    bars: int | None = None,
) -> Captured:
    """What was understood, counted as ``reading`` has it."""
    places = placed(reading, heard)
    by_bar = _by_bar(heard, places)
    if not by_bar or (bars is not None and bars > len(by_bar)):
        raise UserError(
            f"{counted(len(by_bar), 'whole bar')} played: "
            f"play the groove for {bars or 2} bars at least."
        )
    rough = _rough_kinds(heard, by_bar)
    rolled = set(np.flatnonzero(heard.roll_s > 0.0).tolist())
    fold = folded(by_bar, length=bars, kinds=rough, rolled=rolled)
    came_once = all(one.came <= 1 for one in fold.strokes)
    little = 2 * len(fold.members) < len(heard) or not _are_alike(by_bar)
    if not fold.strokes or (came_once and little):
        raise UserError("Nothing came again: play the groove a few times over.")
    found = _written(
        heard, reading, places, fold=fold, by_bar=by_bar, choices=choices, head=(name, title)
    )
    shortest = _shortest(found.pattern.bars)
    if bars is None and shortest < fold.bars:
        return read_as(heard, reading, choices, name=name, title=title, bars=shortest)
    return found


def _shortest(bars: Sequence[Bar]) -> int:
    """The fewest bars that say all that these do."""
    return next(
        n
        for n in range(1, len(bars) + 1)
        if len(bars) % n == 0
        and all(bar.strokes == bars[at % n].strokes for at, bar in enumerate(bars))
    )


def _are_alike(bars: Sequence[Mapping[Key, Sequence[int]]]) -> bool:
    """Whether enough of what is in one bar is in another as well."""
    came = Counter(key for bar in bars for key in bar)
    return sum(many for many in came.values() if many > 1) >= _ALIKE * came.total()


def _by_bar(heard: Heard, places: Placed) -> list[dict[Key, list[int]]]:
    """What was played in each bar from bar 1 on; a last bar that was only begun is left out."""
    last = int(places.bar.max())
    found: list[dict[Key, list[int]]] = [{} for _ in range(last + 1)]
    for row, (bar, where) in enumerate(zip(places.bar.tolist(), places.where, strict=True)):
        if bar >= 0:
            found[bar].setdefault((where, int(heard.voice[row])), []).append(row)
    usual = float(np.median([len(bar) for bar in found]))
    while len(found) > 1 and len(found[-1]) < 0.55 * usual and _is_begun(found[-1], found[:-1]):
        found.pop()
    return found


def _is_begun(
    bar: Mapping[Key, Sequence[int]], others: Sequence[Mapping[Key, Sequence[int]]]
) -> bool:
    """Whether a bar broke off: its last stroke long before where the others have theirs."""
    ends = float(
        np.median([float(max((key[0] for key in one), default=Fraction(0))) for one in others])
    )
    return float(max((key[0] for key in bar), default=Fraction(0))) < 0.6 * ends


def _rough_kinds(heard: Heard, by_bar: Sequence[Mapping[Key, Sequence[int]]]) -> dict[int, int]:
    """Strokes that are plainly soft (0) or loud (1), of voices with two kinds."""
    found: dict[int, int] = {}
    rows = np.array([row for bar in by_bar for played in bar.values() for row in played])
    for code in np.unique(heard.voice[rows]).tolist():
        own = rows[heard.voice[rows] == code]
        ends = border(VOICES[code].name, heard.level[own])
        if ends is None:
            continue
        for row in own.tolist():
            level = float(heard.level[row])
            if level <= ends[0] or level >= ends[1]:
                found[row] = int(level >= ends[1])
    return found


def _written(
    heard: Heard,
    reading: Reading,
    places: Placed,
    *,
    fold: Folded,
    by_bar: Sequence[Mapping[Key, Sequence[int]]],
    choices: tuple[Reading, ...],
    head: tuple[str, str],
) -> Captured:
    name, title = head
    meter = reading.meter
    kinds, kinds_added = _kinds(heard, fold, meter)
    whole_s = places.pulse_s / float(pulse_of(meter))
    strokes = [
        _understood(one, kinds[row], heard, whole_s=whole_s) for row, one in enumerate(fold.strokes)
    ]
    written = []
    for bar in range(fold.bars):
        own = tuple(
            sorted((one.stroke for one in strokes if one.bar == bar), key=lambda each: each.place)
        )
        own = _with_room(own, meter)
        written.append(Bar(meter, own, divisions(meter, own)))
    variations: dict[str, Variation] = {}
    for other, of_added in zip(fold.variations, kinds_added, strict=True):
        added = []
        for (key, played), kind in zip(other.added, of_added, strict=True):
            added.append(_stroke(key, played, heard, whole_s=whole_s, dynamic=kind.dynamic))
        change = _change(written[other.bar], other, tuple(added))
        called = f"bar-{other.bars[0] + 1}"
        times = ", ".join(str(bar + 1) for bar in other.bars[:8])
        variations[called] = Variation(
            name=called,
            about=f"as in bar {times}" if len(other.bars) == 1 else f"as in bars {times}",
            changes=(change,),
        )
    tempo = _usual_tempo(reading.tempo_bpm * reading.pulse_s / places.pulse_s, places.unsure)
    if reading.to_click:
        tempo = round(reading.tempo_bpm, 3)
    pattern = Pattern(
        name=name,
        title=title,
        meter=meter,
        tempo=tempo,
        bars=tuple(written),
        swing=places.swing,
        variations=variations,
    )
    changed = [change for one in variations.values() for change in one.changes]
    held = [*(bar.strokes for bar in pattern.bars), *(change.added for change in changed)]
    if any(one.roll for strokes in held for one in strokes):
        pattern = _as_read(pattern)
    strays = tuple(
        Stray(
            bar=int(places.bar[row]) + 1,
            at=places.where[row],
            voice=VOICES[int(heard.voice[row])].name,
            hit=int(heard.hit[row]),
        )
        for row in range(len(heard))
        if row not in fold.members
    )
    return Captured(
        pattern=pattern,
        reading=reading,
        choices=choices,
        strokes=tuple(strokes),
        strays=strays,
        bars_played=len(by_bar),
        understood=fold.understood,
        heard=heard,
        belongs={int(heard.hit[row]): row in fold.members for row in range(len(heard))},
        bar_of_hit={int(heard.hit[row]): int(places.bar[row]) for row in range(len(heard))},
    )


def _change(bar: Bar, other: Otherwise, added: tuple[Stroke, ...]) -> Change:
    """What a bar that was played otherwise changes; its rolls have room in the bar as it is."""
    away = {(at, VOICES[voice].name) for at, voice in other.taken}
    taken = tuple(sorted(away.union(under_rolls(added, bar.strokes))))
    places = {(one.at, one.voice) for one in added}
    strokes = _with_room(bar.changed(Change(other.bar, added, taken)).strokes, bar.meter)
    return Change(other.bar, tuple(one for one in strokes if (one.at, one.voice) in places), taken)


def _as_read(pattern: Pattern) -> Pattern:
    """The pattern as its file says it: beats cut as the ends of rolls need. Where variations go
    into rolls, which nothing can write, they are left out; else the rolls are strokes."""
    bars = tuple(
        replace(bar, strokes=tuple(replace(one, roll=None) for one in bar.strokes))
        for bar in pattern.bars
    )
    for one in (pattern, replace(pattern, variations={})):
        try:
            return read(write(one), pattern.name)
        except (UserError, KeyError):
            continue
    return replace(pattern, bars=bars)


def _usual_tempo(bpm: float, unsure: float) -> float:
    """The tempo that is likeliest meant: of the whole numbers that what was played leaves open
    (``unsure`` is its standard error, as a share) that which is most usual and nearest; where none
    is near, what was played."""
    error = bpm * float(np.hypot(unsure, _WHOLE / _OPEN))
    far = _OPEN * error
    near = [float(one) for one in range(round(bpm - far), round(bpm + far) + 1)]
    worth = {
        one: _worth_of(one) - ((one - bpm) / error) ** 2 / 2.0
        for one in near
        if abs(one - bpm) <= far
    }
    return max(worth, key=lambda one: worth[one]) if worth else round(bpm, 1)


def _worth_of(bpm: float) -> float:
    """How usual a tempo is, in nats."""
    return _OF_MARK if bpm in _MARKS else _EVEN if bpm % 2 == 0 or bpm % 5 == 0 else 0.0


def _kinds(heard: Heard, fold: Folded, meter: Meter) -> tuple[list[Kind], list[list[Kind]]]:
    """The dynamic of each stroke of the pattern, and of each that a variation adds."""
    keys = [(one.bar, one.at, one.voice) for one in fold.strokes]
    played = [one.played for one in fold.strokes]
    for number, other in enumerate(fold.variations):
        keys += [(fold.bars + number, at, voice) for (at, voice), _ in other.added]
        played += [rows for _, rows in other.added]
    groove: dict[str, list[Place]] = {}
    for (bar, at, voice), rows in zip(keys, played, strict=True):
        beat = meter.beat_of(at)
        into = at - meter.beat_starts[beat]
        back = into == 0 and beat % 2 == 1 and len(meter.beat_starts) % 2 == 0
        levels = tuple(float(heard.level[each]) for each in rows)
        own = groove.setdefault(VOICES[voice].name, [])
        own.append(Place(bar=bar, at=at, into=into, back=back, levels=levels))
    found = {voice: iter(kinds) for voice, kinds in kinds_of_voices(groove).items()}
    every = iter([next(found[VOICES[voice].name]) for _, _, voice in keys])
    return (
        [next(every) for _ in fold.strokes],
        [[next(every) for _ in other.added] for other in fold.variations],
    )


def _understood(one: Seen, kind: Kind, heard: Heard, *, whole_s: float) -> Understood:
    stroke = _stroke((one.at, one.voice), one.played, heard, whole_s=whole_s, dynamic=kind.dynamic)
    doubts = []
    if one.came < one.rounds:
        doubts.append(SELDOM)
    if not kind.sure:
        doubts.append(LOUDNESS)
    thick = np.mean(heard.graces[list(one.played)] > 0)
    if 0.25 < thick < 0.75:
        doubts.append(THICK)
    return Understood(
        bar=one.bar,
        stroke=replace(stroke, optional=one.optional),
        came=one.came,
        rounds=one.rounds,
        doubts=tuple(doubts),
    )


def _stroke(
    key: Key,
    played: Sequence[int],
    heard: Heard,
    *,
    whole_s: float,
    dynamic: Dynamic = Dynamic.NORMAL,
) -> Stroke:
    """The stroke that most of those played are; ``whole_s`` is the length of a whole note."""
    rows = list(played)
    graces = Counter(heard.graces[rows].tolist())
    thick = sum(many for own, many in graces.items() if own)
    own = max((own for own in graces if own), key=lambda one: graces[one], default=0)
    is_open = bool(np.mean(heard.is_open[rows]) > 0.5)
    roll = _roll(rows, heard, whole_s)
    count = own if 2 * thick >= len(rows) and not is_open and roll is None else 0
    if dynamic is Dynamic.GHOST and (is_open or count or roll):  # nothing is written so
        dynamic = Dynamic.NORMAL
    at, voice = key
    return Stroke(
        at=at,
        voice=VOICES[voice].name,
        dynamic=dynamic,
        graces=count,
        is_open=is_open,
        roll=roll,
    )


def _roll(rows: Sequence[int], heard: Heard, whole_s: float) -> Roll | None:
    """The roll that most of the strokes begin: as long as the step says that fits best, a counted
    one of two strokes to a step."""
    rolls = [row for row in rows if heard.roll_s[row] > 0.0]
    if 2 * len(rolls) < len(rows) or not rolls:
        return None
    lasts = float(np.median(heard.roll_s[rolls])) / whole_s
    many = float(np.median(heard.rolled[rolls]))

    def steps(step: Fraction) -> int:
        return max(1, round(lasts / float(step)))

    if not many:
        step = _STEPS[0]
        return Roll(step * steps(step), 0)
    step = min(_STEPS, key=lambda one: abs(2 * steps(one) - many))
    return Roll(step * steps(step), 2 * steps(step))


def _with_room(strokes: tuple[Stroke, ...], meter: Meter) -> tuple[Stroke, ...]:
    """The strokes of a bar in order, no roll longer than there is room before the next stroke of
    its voice or the end of the bar; one without room for a step is a stroke."""
    found = []
    for one in strokes:
        roll = one.roll
        if roll is not None:
            ends = [other.at for other in strokes if other.voice == one.voice and other.at > one.at]
            room = min([*ends, meter.length]) - one.at
            if roll.length > room:
                step = 2 * roll.length / roll.strokes if roll.strokes else _STEPS[0]
                whole = room // step
                count = 2 * int(whole) if roll.strokes else 0
                roll = Roll(whole * step, count) if whole else None
        found.append(replace(one, roll=roll))
    return tuple(found)
