"""Free mixing: which variations a bar was played with, found from its hits.

Of all allowed combinations of variations the one that explains the hits best: the least cost,
and of equals the one with the fewest variations, then the first in the pattern's order. A
variation that changes nothing to be heard is therefore never named.

The cost of a combination is that of the best answer of the hits to its strokes, in order of time
within each voice:

* 1 for each hit that answers nothing, and 1 for each stroke that is missed (an optional stroke
  nothing, a grace stroke 1/2);
* for each answer (error / capture)^2 / 3, and nothing beyond the capture window answers;
* for each answer d / 3, where d is the distance of the velocity from the middle of the band that
  is asked, in half widths of the band, squared, halved, and at most 1: so bands that overlap are
  told apart by their middles;
  Where the strokes of a run say how loud the player's own are, d is instead half the square of the
  distance from those in ``LOUD_DB``, at most 1: see ``Explainer.levels``. A run is explained twice:
  what was found first says how loud the player's accents and ghost notes are;
* 1/3 for a hi-hat that is open where a closed one is asked, or closed where open.

So an answer never costs more than a hit that answers nothing. The weights are our own choice.

A bar is none of them where, held against the best, more than ``OTHER`` of what was asked and what
was played finds no answer: a silence, a fill, something else.

How it is fast: for each voice the strokes of all combinations are placed side by side (slots, a
position and what is played there), and the distinct lines that combinations make of them are the
rows of a table. One dynamic programme over slots and hits, after that of string editing, answers
for all rows at once. Units: seconds from the bar line, milliseconds of error, costs as above.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from playalong.grading.grade import Counts
from playalong.grading.grade_run import counts
from playalong.grading.loudness import level_db
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.meter import Meter, Tempo
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.targets import BUZZ_S, GRACE_S, Place, Targets, lay_out, sounding
from playalong.pattern.voices import VOICES, folded, is_judged
from playalong.practice.excerpts import Names

#: So many combinations are tried at most: where there are more, those of the fewest variations.
MOST = 2**12

#: What a missed grace stroke costs.
GRACE_COST = 0.5

#: A bar with more than this share unanswered is none of the combinations.
OTHER = 0.4

#: How loud ghost notes and accents are against the plain strokes of a voice where the run has none
#: to compare, in dB: so are those of drummers (``simulation.human_touch``); what counts as far off;
#: and how many strokes say how loud somebody plays.
GHOST_DB, ACCENT_DB, LOUD_DB, HEARD = -20.0, 9.0, 9.0, 3

_FROM_PLAIN = ((Dynamic.NORMAL, 0.0), (Dynamic.GHOST, GHOST_DB), (Dynamic.ACCENT, ACCENT_DB))

#: How far from its place a stroke may lie that says so, in seconds.
_NEAR_S = 0.06

#: What strokes are alike in loudness: their voice, their dynamic, and whether they fall on a beat,
#: since a hand leans on the beats or off them.
Alike = tuple[str, Dynamic, bool]

#: How loud a player's strokes are, in dB.
Levels = Mapping[Alike, float]

_OPEN = "hi-hat-open"
_HAT = "hi-hat"

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class GrooveError:
    """How far a stroke of the groove itself was off: its voice, and the error in ms."""

    voice: str
    error_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One bar: the variations it was played with, what that costs, and its grade against them.

    ``is_other``: it was none of them, and ``names`` is empty. ``bar`` is the bar of the pattern (0
    is the first); ``groove`` holds the errors of the answered strokes that are there without any
    variation.
    """

    names: Names
    cost: float
    counts: Counts
    bar: int
    groove: tuple[GrooveError, ...]
    is_other: bool = False


def inaudible(pattern: Pattern) -> tuple[str, ...]:
    """The variations that cannot be heard: they only ask for strokes, or leave them to choose."""

    def heard(bars: Sequence[Bar]) -> list[set[Stroke]]:
        return [{replace(s, optional=False, hand=None) for s in bar.strokes} for bar in bars]

    plain = heard(pattern.bars)
    return tuple(
        name for name in pattern.variations if heard(pattern.with_variations([name])) == plain
    )


def allowed(pattern: Pattern, bar: int) -> tuple[Names, ...]:
    """The combinations of the variations that change ``bar``, those of the fewest first."""
    names = [
        name
        for name, variation in pattern.variations.items()
        if any(change.bar == bar for change in variation.changes)
    ]
    found: list[Names] = []
    for size in range(len(names) + 1):
        group = list(combinations(names, size))
        if len(found) + len(group) > MOST:
            break
        found += group
    return tuple(found)


class Explainer:
    """Explains the bars of ``pattern`` as played at ``tempo_bpm``."""

    def __init__(self, pattern: Pattern, tempo_bpm: float, rules: Rules | None = None) -> None:
        self._pattern, self._tempo_bpm, self._rules = pattern, tempo_bpm, rules or Rules()
        self._counts_as = {
            voice.name: folded(voice.name, pattern.voices)
            for voice in VOICES
            if is_judged(voice.name, pattern.voices)
        }
        self._bars = [_Choices.of(pattern, bar, tempo_bpm) for bar in range(len(pattern.bars))]

    def explain(
        self, hits: Sequence[Hit], bar: int = 0, levels: Levels | None = None
    ) -> Explanation:
        """The best explanation of the hits of one bar; second 0 is its bar line.

        ``levels`` are those of the player, see ``levels``; without them the bands count.
        """
        choices = self._bars[bar]
        cost = self._costs(hits, bar, levels or {})
        best = int(np.argmin(cost))  # the first of equals: fewest variations
        targets = choices.targets(best, self._pattern, self._tempo_bpm)
        run = MatchedRun.of(targets, Hits.of(hits), self._rules)
        tally = counts(run)
        n = tally.targets + tally.extra
        if n and 1.0 - tally.matched / n > OTHER:
            return Explanation(
                names=(), cost=float(cost[best]), counts=tally, bar=bar, groove=(), is_other=True
            )
        groove = tuple(
            GrooveError(targets.names[number], float(error_ms))
            for number, error_ms in zip(run.target.tolist(), run.error_ms, strict=True)
            if targets.places[targets.place[number]].stroke in choices.groove
        )
        return Explanation(
            names=choices.names[best],
            cost=float(cost[best]),
            counts=counts(run),
            bar=bar,
            groove=groove,
        )

    def explain_run(self, bars: Sequence[tuple[int, Sequence[Hit]]]) -> list[Explanation]:
        """The best explanations of (bar of the pattern, its hits), by the player's own loudness."""
        levels = self.levels(bars)
        first = [self.explain(hits, bar, levels) for bar, hits in bars]
        levels = self.levels(bars, first)
        return [self.explain(hits, bar, levels) for bar, hits in bars]

    def costs(self, hits: Sequence[Hit], bar: int = 0) -> Mapping[Names, float]:
        """What each combination costs."""
        return dict(zip(self._bars[bar].names, self._costs(hits, bar, {}).tolist(), strict=True))

    def levels(
        self,
        bars: Sequence[tuple[int, Sequence[Hit]]],
        explained: Sequence[Explanation] = (),
    ) -> Levels:
        """How loud the player's own strokes are, from a run of (bar of the pattern, its hits).

        Asked are the places whose dynamic is the same in all combinations, and where the bars are
        ``explained``, what their combinations have. Of what a voice has too few such strokes, the
        others say it.
        """
        found: dict[Alike, list[float]] = {}
        for number, (bar, hits) in enumerate(bars):
            choices, names = self._bars[bar], None
            if explained:
                if explained[number].is_other:
                    continue
                names = explained[number].names
            for hit in hits:
                voice = self._counts_as.get(hit.voice, "")
                near = [
                    slot
                    for slot in choices.slots(voice)
                    if abs(slot.time_s - hit.time_s) <= _NEAR_S
                ]
                kind = choices.dynamic(voice, near[0], names) if len(near) == 1 else None
                if kind is not None:
                    alike = voice, kind, near[0].on_beat
                    found.setdefault(alike, []).append(float(level_db(hit.velocity)))
        known = {alike: float(np.median(own)) for alike, own in found.items() if len(own) >= HEARD}
        for voice, on_beat in {(voice, on_beat) for voice, _, on_beat in known}:
            own = [(kind, db) for kind, db in _FROM_PLAIN if (voice, kind, on_beat) in known]
            kind, from_plain = own[0]
            plain = known[voice, kind, on_beat] - from_plain
            for kind, db in _FROM_PLAIN:
                known.setdefault((voice, kind, on_beat), plain + db)
        for (voice, kind, on_beat), db in list(known.items()):
            known.setdefault((voice, kind, not on_beat), db)
        return known

    def split(self, hits: Sequence[Hit], bars: int) -> list[list[Hit]]:
        """The hits of a run of ``bars`` bars, a list for each, seconds from its bar line.

        Second 0 of ``hits`` is the start of bar 1. Between two bars the border lies, for each
        voice, half-way between the last stroke before the bar line that any combination has and
        the first after it, but no farther from the bar line than the capture window reaches; hits
        outside all bars count to the first and the last.
        """
        lengths = [choices.length_s for choices in self._bars]
        starts_s = np.cumsum([0.0, *(lengths[bar % len(lengths)] for bar in range(bars))])
        found: list[list[Hit]] = [[] for _ in range(bars)]
        for hit in hits:
            bar = int(np.searchsorted(starts_s[1:-1], hit.time_s, side="right"))
            if bar + 1 < bars and hit.time_s >= starts_s[bar + 1] + self._border_s(hit, bar + 1):
                bar += 1
            elif bar > 0 and hit.time_s < starts_s[bar] + self._border_s(hit, bar):
                bar -= 1
            found[bar].append(replace(hit, time_s=hit.time_s - float(starts_s[bar])))
        return found

    def _border_s(self, hit: Hit, bar: int) -> float:
        """How far from its bar line a bar of the run begins, for the voice of ``hit``."""
        before, after = (self._bars[n % len(self._bars)] for n in (bar - 1, bar))
        voice = self._counts_as.get(hit.voice, hit.voice)
        far_s = 2.0 * self._rules.capture_ms / 1000.0
        last = max((slot.time_s - before.length_s for slot in before.slots(voice)), default=-far_s)
        first = min((slot.time_s for slot in after.slots(voice)), default=far_s)
        return (max(last, -far_s) + min(first, far_s)) / 2.0

    def _costs(self, hits: Sequence[Hit], bar: int, levels: Levels) -> Floats:
        choices = self._bars[bar]
        by_voice: dict[str, list[Hit]] = {}
        for hit in sorted(hits, key=lambda hit: hit.time_s):
            voice = self._counts_as.get(hit.voice)
            if voice is not None:
                by_voice.setdefault(voice, []).append(hit)
        cost = np.zeros(len(choices.names))
        for voice, line in choices.lines.items():
            cost += line.costs(by_voice.pop(voice, []), self._rules, levels)[line.row]
        cost += sum(len(rest) for rest in by_voice.values())
        return np.round(cost, 9)  # so that equal sums are equal


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slot:
    """A place in time of one voice: what combinations may have there, and who has what.

    ``strokes`` are the strokes, ``grace`` the number of the grace stroke before them (0 for the
    stroke itself); ``choice`` (lines,) is the number of the stroke in each line, -1 for none.
    """

    time_s: float
    on_beat: bool
    strokes: tuple[Stroke, ...]
    grace: int
    choice: Ints

    @property
    def dynamic(self) -> Dynamic | None:
        """The dynamic that is asked here in all lines, None where they differ, and of graces."""
        kinds = {stroke.dynamic for stroke in self.strokes}
        return kinds.pop() if len(kinds) == 1 and not self.grace else None

    def missed(self) -> Floats:
        """(lines,) what it costs when nothing answers."""
        each = GRACE_COST if self.grace else 1.0
        return self._of_line([0.0 if stroke.optional else each for stroke in self.strokes], 0.0)

    def answered(self, hit: Hit, rules: Rules, levels: Levels) -> Floats:
        """(lines,) what it costs when ``hit`` answers; infinite where nothing is asked."""
        timing = (hit.time_s - self.time_s) * 1000.0 / rules.capture_ms
        return self._of_line(
            [
                (
                    timing * timing
                    + (0.0 if self.grace else self._misfit(hit, stroke, rules, levels=levels))
                )
                / 3.0
                for stroke in self.strokes
            ],
            np.inf,
        )

    def _of_line(self, values: list[float], nothing: float) -> Floats:
        return np.array([*values, nothing])[self.choice]

    def _misfit(self, hit: Hit, stroke: Stroke, rules: Rules, *, levels: Levels) -> float:
        own_db = levels.get((stroke.voice, stroke.dynamic, self.on_beat))
        if own_db is not None:
            away = (float(level_db(hit.velocity)) - own_db) / LOUD_DB
        else:
            band = rules.bands.of(stroke.voice, stroke.dynamic)
            middle, half = (band.low + band.high) / 2.0, max((band.high - band.low) / 2.0, 1.0)
            away = (hit.velocity - middle) / half
        loudness = min(1.0, away**2 / 2.0)
        wrong_hat = stroke.voice == _HAT and (hit.voice == _OPEN) != stroke.is_open
        return loudness + float(wrong_hat)


@dataclass(frozen=True)
class _Line:
    """One voice of a bar: its slots in order of time, and how many distinct lines there are.

    ``row`` (combinations,) is the number of each combination's line.
    """

    slots: tuple[_Slot, ...]
    count: int
    row: Ints

    def costs(self, hits: Sequence[Hit], rules: Rules, levels: Levels) -> Floats:
        """(lines,) the least cost of answering ``hits``, in order of time, for each line."""
        reach_s = rules.capture_ms / 1000.0
        times_s = [hit.time_s for hit in hits]
        # best[j]: the least cost of the slots so far with the first ``low + j`` hits. Only as many
        # are kept as the slot's window needs: windows only ever move on.
        low, best = 0, [np.zeros(self.count)]
        for slot in self.slots:
            first = bisect_left(times_s, slot.time_s - reach_s)
            last = bisect_right(times_s, slot.time_s + reach_s)
            best += [best[-1] + extra for extra in range(1, last - low - len(best) + 2)]
            low, best = first, best[first - low :]
            missed = slot.missed()
            new = [best[0] + missed]
            for number, hit in enumerate(hits[first:last]):
                without = np.minimum(best[number + 1] + missed, new[-1] + 1.0)
                new.append(np.minimum(best[number] + slot.answered(hit, rules, levels), without))
            best = new
        return best[-1] + float(len(hits) - low - len(best) + 1)


@dataclass(frozen=True, kw_only=True)
class _Choices:
    """All combinations of one bar.

    ``names`` are the combinations, ``groove`` the strokes without any of them, ``lines`` what they
    make of each voice; ``laid_out`` keeps the targets of combinations that were found before.
    """

    bar: int
    names: tuple[Names, ...]
    groove: frozenset[Stroke]
    length_s: float
    lines: Mapping[str, _Line]
    laid_out: dict[int, Targets]

    @classmethod
    def of(cls, pattern: Pattern, bar: int, tempo_bpm: float) -> "_Choices":
        """The combinations of bar ``bar`` at a tempo."""
        names = allowed(pattern, bar)
        meter = pattern.bars[bar].meter
        scale = Tempo(tempo_bpm, pattern.meter.unit).seconds_per_whole
        # Variations are applied in order, so each combination is another and one variation more.
        made: dict[Names, Bar] = {(): pattern.bars[bar]}
        for chosen in names[1:]:
            made[chosen] = _with(pattern, bar, made[chosen[:-1]], name=chosen[-1])

        @cache
        def at_s(at: Fraction) -> float:
            place = Place(bar, Stroke(at=at, voice=pattern.voices[0]))
            return float(sounding(pattern.bars[bar], place, pattern.swing)) * scale

        lines = {}
        for voice in pattern.voices:
            numbers: dict[tuple[Stroke, ...], int] = {}
            row = [
                numbers.setdefault(
                    tuple(stroke for stroke in made[chosen].strokes if stroke.voice == voice),
                    len(numbers),
                )
                for chosen in names
            ]
            slots = tuple(_slots(list(numbers), meter, at_s))
            lines[voice] = _Line(slots, len(numbers), np.array(row, np.intp))
        groove = frozenset(pattern.bars[bar].strokes)
        return cls(
            bar=bar,
            names=names,
            groove=groove,
            length_s=float(meter.length) * scale,
            lines=lines,
            laid_out={},
        )

    def slots(self, voice: str) -> tuple[_Slot, ...]:
        """All places of a voice, whatever the combination."""
        return self.lines[voice].slots if voice in self.lines else ()

    def dynamic(self, voice: str, slot: _Slot, names: Names | None) -> Dynamic | None:
        """What is asked in a slot of a voice: in all combinations alike (None), or in one."""
        if names is None or slot.grace:
            return slot.dynamic
        row = int(self.lines[voice].row[self.names.index(names)])
        number = int(slot.choice[row])
        return None if number < 0 else slot.strokes[number].dynamic

    def targets(self, number: int, pattern: Pattern, tempo_bpm: float) -> Targets:
        """The bar with the combination ``number`` in place; second 0 is its bar line."""
        if number not in self.laid_out:
            chosen = pattern.with_variations(self.names[number])[self.bar]
            alone = replace(pattern, bars=(chosen,), variations={})
            self.laid_out[number] = replace(lay_out(alone, tempo_bpm), voices=pattern.voices)
        return self.laid_out[number]


def _with(pattern: Pattern, bar: int, made: Bar, *, name: str) -> Bar:
    """``made`` in the place of bar ``bar``, with one variation more."""
    bars = (*pattern.bars[:bar], made, *pattern.bars[bar + 1 :])
    return replace(pattern, bars=bars).with_variations([name])[bar]


def _bounces_s(stroke: Stroke, at_s: Callable[[Fraction], float]) -> list[float]:
    """How long after it, in seconds, the strokes of its roll follow."""
    if stroke.roll is None:
        return []
    lasts_s = at_s(stroke.at + stroke.roll.length) - at_s(stroke.at)
    count = max(stroke.roll.strokes or round(lasts_s / BUZZ_S), 1)
    return [number * lasts_s / count for number in range(1, count)]


def _slots(
    lines: Sequence[tuple[Stroke, ...]], meter: Meter, at_s: Callable[[Fraction], float]
) -> Iterator[_Slot]:
    """The slots of one voice over all its distinct lines, in order of time."""
    places: dict[tuple[float, int], dict[Stroke, list[int]]] = {}
    for number, line in enumerate(lines):
        for stroke in line:
            for grace in range(stroke.graces + 1):
                place = at_s(stroke.at) - grace * GRACE_S, grace
                places.setdefault(place, {}).setdefault(stroke, []).append(number)
            for bounce, later_s in enumerate(_bounces_s(stroke, at_s), 1):
                place = at_s(stroke.at) + later_s, bounce
                places.setdefault(place, {}).setdefault(stroke, []).append(number)
    for (time_s, grace), found in sorted(places.items(), key=lambda item: item[0]):
        choice = np.full(len(lines), -1, np.intp)
        for number, rows in enumerate(found.values()):
            choice[rows] = number
        yield _Slot(
            time_s=time_s,
            on_beat=any(stroke.at in meter.beat_starts for stroke in found),
            strokes=tuple(found),
            grace=grace,
            choice=choice,
        )
