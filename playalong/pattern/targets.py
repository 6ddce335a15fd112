"""Targets: the strokes of a pattern placed in time for one run.

``Targets`` keeps them as arrays of equal length n, sorted by time and then in staff order,
because a run may be long. Row i of every array speaks of the same target, and i is the target's
number in every verdict, picture and report of the run.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.beat_map import BeatMap
from playalong.pattern.meter import Meter, Tempo, WrittenSwing
from playalong.pattern.model import Bar, Dynamic, Hand, Pattern, Stroke
from playalong.pattern.voices import STAFF_ORDER, VOICES, Limb, folded

#: How far before its main stroke a grace stroke is placed, in seconds (common practice: close
#: enough to be heard as one thick stroke). In a drag the first of the two lies twice as far.
GRACE_S = 0.030

#: From bounce to bounce of a buzz, in seconds (common practice: so close that they run together).
BUZZ_S = 0.040

#: The codes of the dynamics in ``Targets.dynamic``.
DYNAMICS: tuple[Dynamic, ...] = tuple(Dynamic)


#: Parts of a whole note that every position of fours, threes, fives and sevens falls on: fine
#: enough to tell any two written positions apart.
PARTS = 2**7 * 3**3 * 5 * 7


@dataclass(frozen=True, slots=True)
class Place:
    """A stroke at its place in the written pattern: the bar there (0 is the first)."""

    bar: int
    stroke: Stroke


@dataclass(frozen=True, kw_only=True)
class Targets:
    """All targets of one run.

    ``time_s``  float64, when it should be played, in seconds;
    ``written`` float64, its written position from the start of the run in whole notes
    (swung as it sounds, so that even tempo means a straight line; on a beat map along the
    recording's own time, so that a player who goes with it plays a straight line);
    ``voice``   int16, index into ``kit.VOICES``;
    ``dynamic`` int8, index into ``DYNAMICS``;
    ``graces``  int8, number of grace strokes that belong to it;
    ``optional`` bool;
    ``bar``     int32, bar of the run (0 is the first);
    ``place``   int32, index into ``places``, the strokes of the written pattern.

    ``voices`` are the names that the pattern has lines for, in staff order; ``bar_starts_s``
    float64 (bars,), and ``end_s`` the end of the last bar in seconds. ``seconds_per_whole`` is
    how long a whole note lasts at the written tempo, or on the average of a beat map.
    ``followed``: the targets were moved along with a player who had no click. ``beats_s`` are the
    seconds of each bar's beats where they are those of a recording, () elsewhere.
    """

    time_s: NDArray[np.float64]
    written: NDArray[np.float64]
    voice: NDArray[np.int16]
    dynamic: NDArray[np.int8]
    graces: NDArray[np.int8]
    optional: NDArray[np.bool_]
    bar: NDArray[np.int32]
    place: NDArray[np.int32]
    places: tuple[Place, ...]
    voices: tuple[str, ...]
    bar_starts_s: NDArray[np.float64]
    end_s: float
    seconds_per_whole: float
    followed: bool = False
    beats_s: tuple[tuple[float, ...], ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def start_s(self) -> float:
        """The start of bar 1, in seconds."""
        return float(self.bar_starts_s[0])

    @property
    def bars(self) -> int:
        """The number of bars of the run."""
        return len(self.bar_starts_s)

    def tempo_bpm(self, meter: Meter) -> float:
        """The tempo of the run in the beats of ``meter``, its pattern's."""
        return 60.0 / (self.seconds_per_whole * float(meter.unit))

    def until(self, time_s: float) -> "Targets":
        """The run broken off at ``time_s``: the targets before it, and the bars begun."""
        bars = max(1, int(np.searchsorted(self.bar_starts_s, time_s)))
        return replace(
            # On a course that leaps back a stroke may lie before the start of its own bar.
            self.only((self.time_s < time_s) & (self.bar < bars)),
            bar_starts_s=self.bar_starts_s[:bars],
            beats_s=self.beats_s[:bars],
            end_s=min(self.end_s, max(time_s, self.start_s)),
        )

    def only(self, rows: NDArray[np.bool_]) -> "Targets":
        """The same run with these of its targets, (n,)."""
        return replace(self, **{name: getattr(self, name)[rows] for name in _ROWS})

    def part(self, first: int, count: int) -> "Targets":
        """``count`` bars from bar ``first`` on as a run of their own, second 0 being its start."""
        last = first + count
        starts_s = np.append(self.bar_starts_s, self.end_s)
        start_s = float(starts_s[first])
        part = self.only((self.bar >= first) & (self.bar < last))
        return replace(
            part,
            time_s=part.time_s - start_s,
            written=part.written - start_s / self.seconds_per_whole,
            bar=part.bar - np.int32(first),
            bar_starts_s=starts_s[first:last] - start_s,
            end_s=float(starts_s[last]) - start_s,
            beats_s=tuple(
                tuple(beat_s - start_s for beat_s in bar) for bar in self.beats_s[first:last]
            ),
        )

    @cached_property
    def at(self) -> NDArray[np.int64]:
        """(p,) where each of ``places`` stands in its bar as written, ``PARTS`` to a whole note."""
        at = [place.stroke.at for place in self.places]
        return np.array([one.numerator * PARTS // one.denominator for one in at], np.int64)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The name of each target's voice."""
        return tuple(VOICES[code].name for code in self.voice.tolist())

    @cached_property
    def counts_as(self) -> NDArray[np.int16]:
        """(v,) the voice as which a hit of each of ``VOICES`` counts here, as indexes."""
        return np.array([STAFF_ORDER[folded(one.name, self.voices)] for one in VOICES], np.int16)

    @cached_property
    def rolls(self) -> NDArray[np.int64]:
        """(n,) how many strokes the roll has that each begins: 0 for a buzz, -1 where none is."""
        rolls = [place.stroke.roll for place in self.places]
        strokes = np.array([-1 if roll is None else roll.strokes for roll in rolls], np.int64)
        return strokes[self.place] if len(self.places) else np.full(len(self), -1, np.int64)

    @cached_property
    def has_ornaments(self) -> bool:
        """Whether a flam, a drag or a roll is asked."""
        return bool(self.graces.any() or (self.rolls >= 0).any())

    @cached_property
    def roll_s(self) -> NDArray[np.float64]:
        """(n,) how long it lasts, in seconds, up to the next stroke of its voice at most; 0 where
        none is. On a beat map it lasts as long as at the average tempo.
        """
        rolls = [place.stroke.roll for place in self.places]
        wholes = np.array([0.0 if roll is None else float(roll.length) for roll in rolls])
        if not wholes.any():
            return np.zeros(len(self))
        lasts: NDArray[np.float64] = wholes[self.place] * self.seconds_per_whole
        for voice in np.unique(self.voice[lasts > 0.0]):
            rows = np.flatnonzero(self.voice == voice)
            lasts[rows[:-1]] = np.minimum(lasts[rows[:-1]], np.diff(self.time_s[rows]))
        return lasts

    def bounces_s(self, target: int) -> NDArray[np.float64]:
        """When the strokes of the roll follow that a target begins, in seconds after it: those of a
        counted one, and of a buzz as many as ``BUZZ_S`` leaves room for.
        """
        lasts_s, strokes = float(self.roll_s[target]), int(self.rolls[target])
        if strokes < 0:
            return np.empty(0)
        count = max(strokes or round(lasts_s / BUZZ_S), 1)
        times_s: NDArray[np.float64] = np.arange(1, count) * lasts_s / count
        return times_s

    @cached_property
    def is_open(self) -> NDArray[np.bool_]:
        """(n,) whether an open hi-hat is asked."""
        opened = np.array([place.stroke.is_open for place in self.places], np.bool_)
        return opened[self.place] if len(self.places) else np.zeros(len(self), np.bool_)


#: The arrays of ``Targets`` that have a row for each target.
_ROWS = ("time_s", "written", "voice", "dynamic", "graces", "optional", "bar", "place")


def lay_out(
    pattern: Pattern,
    tempo_bpm: float,
    bars: int | None = None,
    *,
    variations: Sequence[str] = (),
    start_s: float = 0.0,
) -> Targets:
    """The targets of ``bars`` bars (by default the pattern once), over and over from bar 1.

    Raises KeyError for a variation that the pattern does not have.
    """
    written_bars = pattern.with_variations(variations)
    tempo = Tempo(tempo_bpm, pattern.meter.unit, start_s)
    count = len(written_bars) if bars is None else bars
    places = tuple(
        Place(index, stroke) for index, bar in enumerate(written_bars) for stroke in bar.strokes
    )

    # Positions of one round through the pattern, exact; then repeated as arrays.
    round_starts = [Fraction(0)]
    for bar in written_bars:
        round_starts.append(round_starts[-1] + bar.meter.length)
    in_round = np.array(
        [
            float(round_starts[place.bar] + sounding(written_bars[place.bar], place, pattern.swing))
            for place in places
        ],
        dtype=np.float64,
    )
    rounds = -(-count // len(written_bars))
    round_length = float(round_starts[-1])
    which = np.arange(rounds)
    bar_of = np.array([place.bar for place in places], dtype=np.int32)
    run_bar = (which[:, None] * len(written_bars) + bar_of).ravel().astype(np.int32)
    within = run_bar < count
    written = (which[:, None] * round_length + in_round).ravel()[within]
    place = np.tile(np.arange(len(places), dtype=np.int32), rounds)[within]
    run_bar = run_bar[within]
    bar_written = (
        which[:, None] * round_length + np.array([float(at) for at in round_starts[:-1]])
    ).ravel()
    ends = np.append(bar_written, rounds * round_length)

    order = np.argsort(written, kind="stable")  # places are in staff order already
    written, place, run_bar = written[order], place[order], run_bar[order]

    def column(values: list[int], kind: type[np.generic]) -> NDArray[np.generic]:
        return np.array(values, dtype=kind)[place]

    strokes = [item.stroke for item in places]
    scale = tempo.seconds_per_whole
    return Targets(
        time_s=start_s + written * scale,
        written=written,
        voice=column([STAFF_ORDER[s.voice] for s in strokes], np.int16).astype(np.int16),
        dynamic=column([DYNAMICS.index(s.dynamic) for s in strokes], np.int8).astype(np.int8),
        graces=column([s.graces for s in strokes], np.int8).astype(np.int8),
        optional=column([int(s.optional) for s in strokes], np.bool_).astype(np.bool_),
        bar=run_bar,
        place=place,
        places=places,
        voices=pattern.voices,
        bar_starts_s=start_s + bar_written[:count] * scale,
        end_s=float(start_s + ends[count] * scale),
        seconds_per_whole=scale,
    )


def lay_out_on(
    pattern: Pattern,
    beat_map: BeatMap,
    first_bar: int = 0,
    *,
    bars: int | None = None,
    variations: Sequence[str] = (),
) -> Targets:
    """The targets of ``bars`` bars (by default the pattern once) on the beats of a recording.

    Second 0 of the run is the 1 of ``first_bar`` of ``beat_map``. Where a bar of the recording has
    fewer beats than the pattern's, the strokes of those that are not there are not asked; where it
    has more, nothing is asked on these. Raises KeyError for a variation that the pattern does not
    have, and ValueError, in words for the player, where most bars do not have as many beats as
    those of the map.
    """
    meters = [bar.meter for bar in pattern.with_variations(variations)]
    count = len(meters) if bars is None else bars
    lengths = beat_map.lengths(first_bar, first_bar + count - 1)
    beat_counts = [len(meters[bar % len(meters)].beats) for bar in range(count)]
    unlike = [
        bar for bar, (n, wanted) in enumerate(zip(lengths, beat_counts, strict=True)) if n != wanted
    ]
    if 2 * len(unlike) > count:
        meter = meters[unlike[0] % len(meters)]
        raise ValueError(
            f'"{pattern.title}" is in {meter.written}, which has {len(meter.beats)} beats to '
            f"the bar, and the recording is counted in {lengths[unlike[0]]}: count the "
            "recording anew, or choose a pattern that fits"
        )
    begin = beat_map.bar_beat(first_bar)
    beat_s = beat_map.seconds(begin + np.arange(sum(lengths) + 1, dtype=np.float64))
    beat_s -= beat_s[0]
    starts = np.append(0, np.cumsum(lengths))
    written = [float(beat) for bar in range(count) for beat in meters[bar % len(meters)].beats]
    beat_written = np.append(0.0, np.cumsum(written))
    # Of each written beat: the recording's beat that it is, and whether there is one.
    place = np.concatenate([np.arange(wanted) for wanted in beat_counts])
    own = np.repeat(starts[:-1], beat_counts) + place
    is_there = place < np.repeat(lengths, beat_counts)
    own = np.minimum(own, len(beat_s) - 2)

    whole = sum(
        float(meters[bar % len(meters)].of_beats(length).length)
        for bar, length in enumerate(lengths)
    )
    scale = float(beat_s[-1]) / whole
    tempo_bpm = 60.0 / (scale * float(pattern.meter.unit))
    even = lay_out(pattern, tempo_bpm, count, variations=variations)
    beat = np.minimum(beat_written.searchsorted(even.written, side="right") - 1, len(written) - 1)
    share = (even.written - beat_written[beat]) / np.diff(beat_written)[beat]
    time_s = beat_s[own[beat]] + share * np.diff(beat_s)[own[beat]]
    laid = replace(
        even,
        time_s=time_s,
        written=time_s / scale,
        bar_starts_s=beat_s[starts[:-1]],
        end_s=float(beat_s[-1]),
        seconds_per_whole=scale,
        beats_s=tuple(tuple(beat_s[low:high].tolist()) for low, high in pairwise(starts.tolist())),
    )
    return laid if is_there.all() else laid.only(is_there[beat])


def sounding(bar: Bar, place: Place, swing: WrittenSwing) -> Fraction:
    """Where the stroke sounds in its bar: swung, unless its voice plays triplets in that beat."""
    stroke, meter = place.stroke, bar.meter
    beat = meter.beat_of(stroke.at)
    start, length = meter.beat_starts[beat], meter.beats[beat]
    if swing.is_straight or length % Fraction(1, 4):
        return stroke.at
    beside = [one.at for one in bar.strokes if one.voice == stroke.voice]
    own = [at for at in (stroke.at, *beside) if start <= at < start + length]
    if any(((at - start) / length).denominator % 3 == 0 for at in own):
        return stroke.at
    return meter.swung(stroke.at, swing)


def counted_at(bar: Bar, at: Fraction, swing: WrittenSwing) -> Fraction:
    """Where in its bar a place of the count sounds that is written at ``at``, in whole notes."""
    # Where a stroke falls does not depend on its voice, but for triplets of that voice.
    return sounding(bar, Place(0, Stroke(at=at, voice=VOICES[0].name)), swing)


#: The codes of the limbs in arrays.
LIMBS: tuple[Limb, ...] = tuple(Limb)


_HANDS = {Hand.RIGHT: Limb.RIGHT_HAND, Hand.LEFT: Limb.LEFT_HAND}


def limbs(targets: Targets, left_handed: bool = False) -> NDArray[np.int64]:
    """(n,) the limb that plays each target, as an index into ``LIMBS``.

    The hand that the sticking gives, mirrored for ``left_handed`` players; without sticking the
    limb that usually plays the voice.
    """
    usual = np.array([LIMBS.index(voice.limb) for voice in VOICES], np.int64)
    hands = [place.stroke.hand for place in targets.places]
    if not any(hands):
        return usual[targets.voice]
    given = [-1 if hand is None else LIMBS.index(_HANDS[hand.of(left_handed)]) for hand in hands]
    hand = np.array(given, np.int64)[targets.place]
    return np.where(hand >= 0, hand, usual[targets.voice])
