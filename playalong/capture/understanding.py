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

from playalong.capture.bars import COMMON, Reading, pulse_s, readings
from playalong.capture.folding import Folded, Key, Seen, folded
from playalong.capture.grid import Placed, placed
from playalong.capture.heard import Heard, strokes_of
from playalong.capture.levels import Kind, Place, border, kinds_of
from playalong.capture.pulse import pulses
from playalong.midi.hits import Hits
from playalong.pattern.meter import Meter
from playalong.pattern.model import (
    Bar,
    Change,
    Dynamic,
    Pattern,
    Stroke,
    Variation,
    divisions,
)
from playalong.pattern.voices import VOICES
from playalong.support.errors import UserError
from playalong.support.text import counted

#: Fewer strokes than this are no groove, and more than this no groove either.
LEAST_STROKES, MOST_HITS = 8, 25_000

#: A rest that ends a groove, and how long one is at least, and at most, in seconds.
_REST_S, _SHORTEST_S, _LONGEST_S = 8.0, 1.5, 900.0

#: Readings that are worth nearly as much are offered as choices: as near, and so many at most.
_NEAR_WORTH, _MOST_CHOICES, _MOST_OTHERS = 2.5, 5, 2

#: A bar 1 so near is the same, in pulses.
_ANOTHER_BAR_1 = 0.4

#: A tempo so near a whole number is that number.
_WHOLE = 0.0015


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
    bars: int | None = None,
) -> Captured:
    """The groove in ``hits``, second 0 anywhere.

    ``meters`` are those that it may be in, ``tempo_bpm`` where it is known, about; ``bars`` the
    length of the pattern. UserError, in words for the player, where nothing can be understood.
    """
    heard = _enough(strokes_of(hits), hits)
    near_s = [pulse_s(meter, tempo_bpm) for meter in meters or (COMMON,)] if tempo_bpm else []
    found = readings(heard, pulses(heard, near_s=near_s), meters=meters, tempo_bpm=tempo_bpm)
    if not found:
        near = f" near {tempo_bpm:g} bpm" if tempo_bpm else ""
        raise UserError(f"No steady beat{near} was found: play a little longer, evenly.")
    return read_as(heard, found[0], choices_of(found), name=name, title=title, bars=bars)


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
    case, then what is nearly as good in tempo or meter, then each other bar 1 that is."""
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
    return (best, *(*octaves, *others[:_MOST_OTHERS], *bars)[:_MOST_CHOICES])


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
    fold = folded(by_bar, length=bars, kinds=rough)
    if not fold.strokes:
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
    kinds = _kinds(heard, fold, meter)
    strokes = [_understood(one, kinds[row], heard) for row, one in enumerate(fold.strokes)]
    written = []
    for bar in range(fold.bars):
        own = tuple(
            sorted((one.stroke for one in strokes if one.bar == bar), key=lambda each: each.place)
        )
        written.append(Bar(meter, own, divisions(meter, own)))
    variations: dict[str, Variation] = {}
    for other in fold.variations:
        added = []
        for (at, voice), played in other.added:
            added.append(_stroke((at, voice), played, heard))
        called = f"bar-{other.bars[0] + 1}"
        times = ", ".join(str(bar + 1) for bar in other.bars[:8])
        variations[called] = Variation(
            name=called,
            about=f"as in bar {times}" if len(other.bars) == 1 else f"as in bars {times}",
            changes=(
                Change(
                    other.bar,
                    tuple(added),
                    tuple((at, VOICES[voice].name) for at, voice in other.taken),
                ),
            ),
        )
    pattern = Pattern(
        name=name,
        title=title,
        meter=meter,
        tempo=_rounded(reading.tempo_bpm * reading.pulse_s / places.pulse_s),
        bars=tuple(written),
        swing=places.swing,
        variations=variations,
    )
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


def _rounded(bpm: float) -> float:
    whole = float(round(bpm))
    return whole if abs(bpm / whole - 1.0) <= _WHOLE else round(bpm, 1)


def _kinds(heard: Heard, fold: Folded, meter: Meter) -> list[Kind]:
    """The dynamic of each stroke of the pattern."""
    found: dict[int, Kind] = {}
    for code in {one.voice for one in fold.strokes}:
        rows = [row for row, one in enumerate(fold.strokes) if one.voice == code]
        places = []
        for row in rows:
            one = fold.strokes[row]
            into = one.at - meter.beat_starts[meter.beat_of(one.at)]
            levels = tuple(float(heard.level[each]) for each in one.played)
            places.append(Place(bar=one.bar, at=one.at, into=into, levels=levels))
        found.update(zip(rows, kinds_of(VOICES[code].name, places), strict=True))
    return [found[row] for row in range(len(fold.strokes))]


def _understood(one: Seen, kind: Kind, heard: Heard) -> Understood:
    stroke = _stroke((one.at, one.voice), one.played, heard, dynamic=kind.dynamic)
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
    key: Key, played: Sequence[int], heard: Heard, *, dynamic: Dynamic = Dynamic.NORMAL
) -> Stroke:
    """The stroke that most of those played are."""
    rows = list(played)
    graces = Counter(heard.graces[rows].tolist())
    thick = sum(many for own, many in graces.items() if own)
    own = max((own for own in graces if own), key=lambda one: graces[one], default=0)
    is_open = bool(np.mean(heard.is_open[rows]) > 0.5)
    count = own if 2 * thick >= len(rows) and not is_open else 0
    if dynamic is Dynamic.GHOST and (is_open or count):  # nothing is written so
        dynamic = Dynamic.NORMAL
    at, voice = key
    return Stroke(at=at, voice=VOICES[voice].name, dynamic=dynamic, graces=count, is_open=is_open)
