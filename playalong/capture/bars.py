"""Which pulse is the beat, how many make a bar, and where bar 1 is.

Each pulse of ``pulse`` in each meter that may be meant, from each place on, is a reading. A reading
is worth

* how well the pulse explains where strokes lie;
* how much of what was played comes again a bar later, or two, or four;
* what the voices do in the bar: the table ``ROLES`` (common practice: a kick on 1, the back-beat
  on the snare, a crash on 1, cymbals on the beats, the foot on 2 and 4); of one drum alone, that
  beats are loud, and that a roll at the beginning leads to a beat;
* whether the groove begins with a bar: its first kick or crash, and what from then on comes again;
* whether what was played is whole bars, four or eight of them where it is short;
* how usual its tempo is: 60 / ``USUAL_S`` beats a minute, half and double of it far less so, and
  slower where drums are alone; and how much is struck in a beat, unless all is on one drum;
* how usual the meter is. Beats in threes, of which the middle ones are struck as well, may be of
  6/8 or 12/8.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from playalong.capture.heard import Heard
from playalong.capture.pulse import Pulse, fit_as, fits_late, settled, weights
from playalong.pattern.meter import Meter
from playalong.pattern.voices import STAFF_ORDER, VOICES

Floats = NDArray[np.float64]

#: The meters that are looked for where none is named, and what each costs.
BY_ITSELF = {"4/4": 0.0, "3/4": 1.4, "5/4": 1.9, "7/8": 2.6}

#: Where beats are in threes, all of which are struck, a bar may have two or four of them, two if
#: nearly as much comes again after these; what it costs.
_TWO, _FOUR = Meter.parse("6/8"), Meter.parse("12/8")
_STRUCK, _NEARLY = 0.9, 0.95

#: So large a part of the strokes lies in the middle of the threes there, and so near.
_MIDDLES, _NEAR_MIDDLE = 0.12, 0.09

#: What a grid twice as fine as those of ``pulse`` costs, in nats a stroke: plain, and swung, since
#: sixteenths swing more seldom than eighths.
_FINER, _SWUNG = 0.05, 0.3

#: What it costs that quarter notes are cut in three all along: most grooves are cut in two (common
#: practice).
_IN_THREES = 1.2
_QUARTER = Fraction(1, 4)

#: Where beats are of unequal length their parts are what is counted, and most strokes lie on them.
_OF_UNEQUAL = ((0.0, 0.8), (0.5, 0.2))

#: The meter of most grooves.
COMMON = Meter.parse("4/4")

#: The most usual length of a quarter note, in seconds, where a cymbal keeps time and where drums
#: are alone, which are written in finer notes; and how far others lie from it, as the standard
#: deviation of the logarithm.
USUAL_S, _DRUMS_ALONE_S, _SPREAD = 0.77, 1.04, 0.37

#: A cymbal keeps time if it has so large a part of the strokes.
_KEEPS_TIME = 0.2

#: So many moments of a quarter note are struck, usually; what twice or half as many cost; unless
#: one drum has so much of it all: exercises for the hands have rolls as well as quarter notes.
_MOMENTS, _DENSITY, _ON_ONE = 3.0, 0.9, 0.9

#: The same of tempo where all is on one drum; and the most that is struck in a quarter note there,
#: usually, and what twice as many cost: hands alone play sixteenths at 120 sooner than 32nds at 60.
_ON_ONE_S, _ON_ONE_SPREAD = 0.95, 0.3
_MOST_ON_ONE, _DENSE_ON_ONE = 6.3, 18.0

#: What is left of roles there: they say how voices share a bar, and one has nobody to share with.
_ROLE_ALONE = 0.25

#: What it is worth there that beats are louder than what lies between, for each so many dB.
_LOUD_ON_BEATS, _LOUDER_DB, _LOUDEST = 1.0, 6.0, 1.5

#: What rolls into a stroke there at first has so many strokes at least, no gap longer than so many
#: usual ones, and so many of these behind it; the stroke is so much louder, in dB.
_LEAST_ROLLED, _EVENLY, _RESTS, _ENDS_LOUDER_DB = 6, 1.6, 3.0, 4.0
#: So near a beat, in beats, lies the stroke that a roll leads to: nearer than the roll's strokes.
_ON_BEAT = 0.08

#: A beat of three eighths is usually longer than a quarter note: this part of it is as usual.
_COMPOUND = 0.72

#: What each part is worth, a role being 1: fitted, as the four figures above it, to half of the
#: library as it is played in and half of the takes of the Groove MIDI Dataset (a choice among all
#: readings, each as likely as the exponential of what it is worth); the other halves, which were
#: kept apart, are read as well (``python -m tests.long capture``). What stands below of whole
#: bars, of roles that are surer and of halves, and above of one drum alone, was chosen over both
#: halves together.
FIT, LATE, AGAIN, ROLE, BEGINS, TEMPO = 2.9, 0.5, 6.9, 1.0, 1.1, 1.0

#: What it is worth that a bar begins with the first stroke, if its voice is one that leads a
#: groove; if it may be of a count-in or a pick-up; if several are struck with it; with the first
#: kick or crash; and where the groove has settled, since so large a part of it comes again a bar
#: later.
_FIRST, _COUNT_IN, _TOGETHER, _GROOVE, _SETTLED = 1.0, 0.6, 0.5, 1.0, 0.9
_MOSTLY = 0.75

#: What it is worth that the last bar is whole; that four or eight are played (common practice:
#: people play in fours); and besides, that these are whole and begin with the first stroke, so that
#: nothing at all is left over.
_WHOLE, _FOURS, _ALL = 0.7, 1.2, 1.2

#: How far a bar that is whole ends before all others do, and a stroke that closes lies off a bar
#: line; how late the last stroke of the only bar comes, before its end; all in pulses.
_ENDS, _CLOSES, _ONLY_BAR = 0.3, 0.17, 1.3

#: Of the bars 1 of a tempo what a role is worth besides, for each time that what was played is
#: twice as long as so many seconds: roles that come over and over are sure.
_SURER, _SHORT_S = 0.3, 12.0

#: Strokes so near are struck together, in seconds.
_UNISON_S = 0.045
_LEADING = ("kick", "crash", "cymbal")
#: A voice with so large a part of all strokes leads as well: nobody counts in on it.
_ALONE = 0.6

#: So near a bar line, in pulses, a bar begins; nearer in time than people are from one bar to the
#: next (``_SAME_S``) is near enough.
_ON_BAR = 0.17

#: So many strokes to a bar are usual: of more each says less.
_STROKES = 14.0

#: What it costs that a bar of an odd number of pulses falls into two halves that are alike (each of
#: them is the bar, then), from such a part on that comes again after half a bar.
_ALIKE, _HALVES = 2.0, 0.7

#: Bins of a pulse in which roles are looked up, and how far a stroke may lie off its place there.
_BINS, _WIDE = 24, 1.6

#: What comes again after so many bars counts by so much.
_BARS_LATER = ((1, 1.0), (2, 0.93), (4, 0.8))

#: Strokes so near after each other are one moment, and rolls have one each so often, in seconds.
_TOGETHER_S, _ROLLED_S = 0.03, 0.15

#: How far apart strokes that are the same may lie from one bar to the next, in seconds.
_SAME_S = 0.055

#: Places between the pulses, and what every voice loses there: (place, loss).
_BETWEEN = ((0.5, 0.05), (0.25, 0.25), (0.75, 0.2), (1 / 3, 0.36), (2 / 3, 0.12))
#: The same of a beat of three units.
_BETWEEN_THREE = ((1 / 3, 0.08), (2 / 3, 0.04), (0.5, 0.4), (1 / 6, 0.2), (5 / 6, 0.2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Role:
    """What a stroke of a voice on each beat of a bar is worth, and between beats in parts of it."""

    on: tuple[float, ...]
    between: float


#: Of each number of beats in a bar, by the voices that have a role in it.
ROLES: dict[int, dict[str, Role]] = {
    4: {
        "kick": Role(on=(1.5, -0.15, 0.6, -0.15), between=1.0),
        "snare": Role(on=(-1.0, 1.3, 0.1, 1.3), between=1.0),
        "crash": Role(on=(1.5, -0.3, -0.1, -0.3), between=1.0),
        "hi-hat-pedal": Role(on=(-0.1, 0.45, -0.1, 0.45), between=1.0),
        "cymbal": Role(on=(0.3, 0.25, 0.3, 0.25), between=1.0),
        "tom": Role(on=(-0.4, -0.2, 0.4, 0.6), between=0.0),
    },
    3: {
        "kick": Role(on=(1.5, -0.3, -0.2), between=1.0),
        "snare": Role(on=(-1.0, 0.6, 0.8), between=1.0),
        "crash": Role(on=(1.5, -0.3, -0.3), between=1.0),
        "hi-hat-pedal": Role(on=(0.0, 0.35, 0.35), between=1.0),
        "cymbal": Role(on=(0.3, 0.25, 0.25), between=1.0),
        "tom": Role(on=(0.0, 0.0, 0.1), between=0.5),
    },
    2: {
        "kick": Role(on=(1.3, -0.2), between=1.0),
        "snare": Role(on=(-0.8, 1.2), between=1.0),
        "crash": Role(on=(1.5, -0.3), between=1.0),
        "hi-hat-pedal": Role(on=(0.05, 0.35), between=1.0),
        "cymbal": Role(on=(0.3, 0.25), between=1.0),
        "tom": Role(on=(0.0, 0.1), between=0.5),
    },
}

#: A bar before the first kick or crash is of the groove if it has such a part of the usual strokes.
_FULL = 0.6

#: Voices whose rare strokes say much: what counts is the share of them on each place.
_RARE = ("crash", "tom")

_KIND_OF = {
    "kick": "kick",
    "snare": "snare",
    "cross-stick": "snare",
    "crash": "crash",
    "china": "crash",
    "splash": "crash",
    "hi-hat-pedal": "hi-hat-pedal",
    "hi-hat": "cymbal",
    "ride": "cymbal",
    "ride-bell": "cymbal",
    "cowbell": "cymbal",
    "tambourine": "cymbal",
    "high-tom": "tom",
    "mid-tom": "tom",
    "floor-tom": "tom",
}


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One way to count what was played.

    ``pulse_s`` the length of a pulse of ``meter`` in seconds; (n,) ``at`` where each stroke lies in
    pulses from the start of bar 1 on; ``worth`` in all. ``to_click``: whether its tempo is that of
    a click, to which it was played.
    """

    meter: Meter
    pulse_s: float
    at: Floats
    worth: float
    parts: tuple[float, ...] = ()
    to_click: bool = False

    @property
    def tempo_bpm(self) -> float:
        """The tempo in the beats of the meter."""
        return 60.0 / (self.pulse_s * float(self.meter.unit / pulse_of(self.meter)))


def pulse_of(meter: Meter) -> Fraction:
    """The note value that is counted evenly: the beat, or what beats of unequal length share."""
    even = len(set(meter.groups)) == 1
    return meter.beats[0] if even else Fraction(1, meter.denominator)


def pulse_s(meter: Meter, tempo_bpm: float) -> float:
    """How long a pulse of a meter is at a tempo, in seconds."""
    return 60.0 / tempo_bpm * float(pulse_of(meter) / meter.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClickHeard:
    """The click that was played to: its tempo in beats of the meter, and when bar 1 began, in the
    seconds of the hits."""

    tempo_bpm: float
    start_s: float


def on_click(heard: Heard, click: ClickHeard, meter: Meter) -> Reading:
    """The one reading of what was played to a click: there is nothing to find."""
    own_s = pulse_s(meter, click.tempo_bpm)
    at = (heard.time_s - click.start_s) / own_s
    at = settled(at, weights(heard), own_s)
    many = int(meter.length / pulse_of(meter))
    silent = max(0.0, np.floor((at[0] + 0.25) / many))  # bars before anything was played
    at = at - many * silent
    return Reading(meter=meter, pulse_s=own_s, at=at, worth=0.0, to_click=True)


def readings(
    heard: Heard,
    found: Sequence[Pulse],
    *,
    meters: Sequence[Meter] = (),
    tempo_bpm: float | None = None,
) -> list[Reading]:
    """All readings that differ in tempo, meter or bar 1, the best first.

    ``meters`` are those that are named; ``tempo_bpm`` where it is told, within a tenth.
    """
    usual = {Meter.parse(name): cost for name, cost in BY_ITSELF.items()}
    best: list[Reading] = []
    for pulse in found:
        finer = (
            one.fit - (_SWUNG if one.swings else _FINER) for one in found if _is_half(one, pulse)
        )
        fit = max([pulse.fit, *finer])
        named = dict.fromkeys(meters, 0.0) or usual
        if not meters and _strikes_threes(pulse):
            named = named | {_of_threes(heard, pulse): _STRUCK}
        for meter, cost in named.items():
            own = cost + _IN_THREES * (pulse.in_threes and pulse_of(meter) == _QUARTER)
            best += _of(heard, replace(pulse, fit=fit), meter, cost=own, tempo_bpm=tempo_bpm)
    return sorted(best, key=lambda one: -one.worth)


def _strikes_threes(pulse: Pulse) -> bool:
    """Whether beats are in threes, the middle ones as well, which no swing has."""
    middles = np.abs(pulse.at % 1.0 - 1 / 3) <= _NEAR_MIDDLE
    return pulse.in_threes and float(np.mean(middles)) >= _MIDDLES


def _of_threes(heard: Heard, pulse: Pulse) -> Meter:
    """The meter of beats in threes: as long as what comes again."""
    two, four = _again(heard, pulse, 2), _again(heard, pulse, 4)
    return _TWO if two >= _NEARLY * four else _FOUR


def _is_half(one: Pulse, of: Pulse) -> bool:
    """Whether a pulse is twice as fast as another: what it explains, the other does more finely."""
    return abs(one.beat_s / of.beat_s - 0.5) < 0.01


def _of(
    heard: Heard, pulse: Pulse, meter: Meter, *, cost: float, tempo_bpm: float | None
) -> list[Reading]:
    unit = pulse_of(meter)
    many = int(meter.length / unit)
    bpm = 60.0 / (pulse.beat_s * float(meter.unit / unit))
    if tempo_bpm is not None and abs(np.log(bpm / tempo_bpm)) > 0.1:
        return []
    compound = len(set(meter.groups)) == 1 and meter.groups[0] == 3
    quarter_s = pulse.beat_s * (_COMPOUND if compound else float(Fraction(1, 4) / unit))
    usual = 0.0
    if tempo_bpm is None:
        usual = _usual(heard, quarter_s, pulse.beat_s * float(Fraction(1, 4) / unit))
    again = max(part * _again(heard, pulse, many * bars) for bars, part in _BARS_LATER)
    halves = _again(heard, pulse, many / 2.0) / again if many % 2 and again else 0.0
    role = _roles(heard, pulse.at, meter, unit=unit)
    if _is_on_one_drum(heard):
        role = _ROLE_ALONE * role + _LOUD_ON_BEATS * np.tile(_loud_on_beats(heard, pulse.at), many)
    lasts = max(0.0, float(np.log2((heard.time_s[-1] - heard.time_s[0]) / _SHORT_S)))
    role = role + _SURER * lasts * (role - role.max())
    into = _rolls_into(heard)
    begins = _begins(heard, pulse, many, into=into)
    if len(set(meter.groups)) > 1:
        own = fit_as(pulse.at, weights(heard), pulse.beat_s, grid=_OF_UNEQUAL)
        pulse = replace(pulse, fit=own)
    late = fits_late(pulse.at, weights(heard), pulse.beat_s, bins=_BINS)
    alike = _ALIKE * max(0.0, halves - _HALVES) / (1.0 - _HALVES)
    fixed = FIT * pulse.fit + AGAIN * again + TEMPO * usual - cost - alike
    worth = fixed + LATE * np.tile(late - late.max(), many) + ROLE * role + BEGINS * begins
    peaks = [
        row
        for row in np.argsort(-worth)[: 8 * _BINS // 4].tolist()
        if worth[row] >= max(worth[(row + shift) % len(worth)] for shift in (-2, -1, 1, 2))
    ][:6]
    found = []
    for row in peaks:
        at = pulse.at - row / _BINS
        at = _from_bar_1(heard, at, many)
        ends = _ends(at, many, rolls=into is not None)
        found.append(
            Reading(
                meter=meter,
                pulse_s=pulse.beat_s,
                at=at,
                worth=float(worth[row]) + ends,
                parts=(
                    FIT * pulse.fit,
                    AGAIN * again,
                    TEMPO * usual,
                    ROLE * float(role[row]),
                    BEGINS * float(begins[row]),
                    ends,
                ),
            )
        )
    return found


def _usual(heard: Heard, quarter_s: float, plain_s: float) -> float:
    """How usual it is that a quarter note lasts so long, and that so much is struck in one, which
    is ``plain_s`` long."""
    times_s = np.sort(heard.time_s)
    rolled = float(heard.roll_s.sum()) / _ROLLED_S
    moments = 1.0 + float((np.diff(times_s) > _TOGETHER_S).sum()) + rolled
    density = moments * plain_s / max(float(times_s[-1] - times_s[0]), plain_s)
    if _is_on_one_drum(heard):
        dense = max(0.0, float(np.log2(density / _MOST_ON_ONE)))
        tempo = -0.5 * float(np.log(quarter_s / _ON_ONE_S) / _ON_ONE_SPREAD) ** 2
        return tempo - _DENSE_ON_ONE * dense**2
    kinds = [_KIND_OF.get(VOICES[code].name) for code in heard.voice.tolist()]
    keeps_time = kinds.count("cymbal") >= _KEEPS_TIME * len(heard)
    middle_s = USUAL_S if keeps_time else _DRUMS_ALONE_S
    tempo = -0.5 * float(np.log(quarter_s / middle_s) / _SPREAD) ** 2
    if _is_on_one(heard):
        return tempo
    return tempo - _DENSITY * float(np.log2(density / _MOMENTS)) ** 2


def _is_on_one(heard: Heard) -> bool:
    """Whether nearly all is on one voice."""
    return bool(np.bincount(heard.voice).max() >= _ON_ONE * len(heard))


def _is_on_one_drum(heard: Heard) -> bool:
    """Whether that is a drum: a cymbal keeps time alone as well."""
    most = int(np.bincount(heard.voice).argmax())
    return _is_on_one(heard) and _KIND_OF.get(VOICES[most].name) != "cymbal"


def _again(heard: Heard, pulse: Pulse, many: float) -> float:
    """The share of strokes that come again after ``many`` pulses, of those that could."""
    same, could, at, near = 0, 0, pulse.at, _SAME_S / pulse.beat_s
    for code in np.unique(heard.voice).tolist():
        own = at[heard.voice == code]
        ahead = own[own + many <= at[-1] + 0.5] + many
        low, high = np.searchsorted(own, ahead - near), np.searchsorted(own, ahead + near)
        same, could = same + int((high > low).sum()), could + len(ahead)
    return same / could if could else 0.0


def _roles(heard: Heard, at: Floats, meter: Meter, *, unit: Fraction) -> Floats:
    """(places,) what the voices' places are worth where a bar begins at each place."""
    many = int(meter.length / unit)
    bars = max(1.0, (at[-1] - at[0]) / many)
    loud = np.clip((heard.level + 30.0) / 18.0, 0.1, 1.0)
    found = np.zeros(many * _BINS)
    for code in np.unique(heard.voice).tolist():
        kind = _KIND_OF.get(VOICES[code].name)
        if kind is None:
            continue
        rows = heard.voice == code
        place = np.rint(at[rows] * _BINS).astype(np.int64) % len(found)
        weight = loud[rows] if kind == "snare" else None
        table = np.bincount(place, weights=weight, minlength=len(found)) / bars
        table = np.minimum(table, 1.5)
        if kind in _RARE:
            table *= bars / (table.sum() * bars + 3.0)
        template = _template(meter, unit, kind)
        found += np.fft.irfft(np.fft.rfft(table) * np.fft.rfft(template).conj(), n=len(found))
    worth: Floats = found / float(np.sqrt(len(heard) / bars / _STROKES))
    return worth


def _loud_on_beats(heard: Heard, at: Floats) -> Floats:
    """(places of a beat,) how much louder than the others the strokes on beats are, all over the
    number of beats, where beats begin at each place."""
    louder = np.clip((heard.level - np.median(heard.level)) / _LOUDER_DB, 0.0, _LOUDEST)
    off = np.abs((at[None, :] - np.arange(_BINS)[:, None] / _BINS + 0.5) % 1.0 - 0.5)
    beats = max(1.0, float(at[-1] - at[0]))
    found: Floats = (np.exp(-0.5 * np.square(off * _BINS / _WIDE)) * louder).sum(axis=1) / beats
    return found


def _template(meter: Meter, unit: Fraction, kind: str) -> Floats:
    """(places,) what a stroke of a kind is worth at each place of a bar."""
    many = int(meter.length / unit)
    beats = [int(at / unit) for at in meter.beat_starts]
    roles = ROLES.get(many)
    if roles is not None:
        role = roles[kind]
        on = dict(enumerate(role.on))
    else:
        plain = ROLES[4][kind]
        role = plain
        on = {
            pulse: plain.on[0] if pulse == 0 else (0.3 * plain.on[1] if pulse in beats else 0.0)
            for pulse in range(many)
        }
    x = np.arange(many * _BINS) / _BINS
    found = np.full(len(x), -0.35)
    wide = _WIDE / _BINS
    for pulse in range(many):
        for place, loss in _BETWEEN_THREE if meter.groups[0] == 3 else _BETWEEN:
            near = np.abs((x - pulse - place + many / 2) % many - many / 2) <= wide
            found[near] = -loss * role.between
    for pulse, value in on.items():
        near = np.abs((x - pulse + many / 2) % many - many / 2) <= wide
        found[near] = value
    return found


def _first_groove(heard: Heard) -> int:
    """The first stroke of the groove: a kick or a crash, if one comes soon, or the first of all."""
    starts = [STAFF_ORDER["kick"], STAFF_ORDER["crash"]]
    soon = np.flatnonzero(np.isin(heard.voice, starts) & (heard.time_s < heard.time_s[0] + 6.0))
    return int(soon[0]) if len(soon) else 0


def _from_bar_1(heard: Heard, at: Floats, many: int) -> Floats:
    """Places counted from the bar of the first kick or crash on, or of the first of those before
    it that are as full as most bars: what counts in is on one voice."""
    at = at - many * np.floor((at[_first_groove(heard)] + 0.25) / many)
    bar = np.floor((at + 0.25) / many).astype(np.int64)
    usual = float(np.median(np.bincount(bar[bar >= 0])))
    before = 0
    while True:
        rows = bar == before - 1
        if rows.sum() < _FULL * usual or len(np.unique(heard.voice[rows])) < 2:
            return at - many * before
        before -= 1


def _begins(heard: Heard, pulse: Pulse, many: int, *, into: int | None) -> Floats:
    """(places,) whether the groove begins with a bar that begins at each place; ``into`` is the
    stroke that a roll leads to at first."""
    at = pulse.at
    places = np.arange(many * _BINS) / _BINS
    found = np.zeros(len(places))
    own = float(np.mean(heard.voice == heard.voice[0]))
    leads = _KIND_OF.get(VOICES[int(heard.voice[0])].name) in _LEADING or own >= _ALONE
    together = bool((heard.time_s[1:2] < heard.time_s[0] + _UNISON_S).any())
    first = (_FIRST if leads else _COUNT_IN) + _TOGETHER * together
    starts = [(0, first), (_first_groove(heard), _GROOVE)]
    settled = _first_settled(heard, pulse, many)
    if settled is not None:
        starts.append((settled, _SETTLED))
    near = max(_ON_BAR, _SAME_S / pulse.beat_s)
    if into is not None:  # it need not begin on a beat, but ends on one
        del starts[0]
        on_beat = np.abs((at[into] - places + 0.5) % 1.0 - 0.5) <= _ON_BEAT
        found += first * (on_beat & ((at[0] - places + _ON_BEAT) % many < 1.0))
    for row, value in starts:
        off = np.abs((at[row] - places + many / 2) % many - many / 2)
        found += value * (off <= near)
    return found


def _rolls_into(heard: Heard) -> int | None:
    """The stroke that a roll at the beginning leads to: louder than the even, close strokes before
    it, and with a rest behind it. None where none begins it, on one drum alone."""
    gap_s = np.diff(heard.time_s)
    usual_s = float(np.median(gap_s[:_LEAST_ROLLED]))
    rests = np.flatnonzero(gap_s > _EVENLY * usual_s)
    into = int(rests[0]) if len(rests) else len(gap_s)
    if not _is_on_one_drum(heard) or into < _LEAST_ROLLED or into == len(gap_s):
        return None
    louder_db = float(heard.level[into] - np.median(heard.level[:into]))
    return into if louder_db >= _ENDS_LOUDER_DB and gap_s[into] >= _RESTS * usual_s else None


def _ends(at: Floats, many: int, *, rolls: bool) -> float:
    """What it is worth that what was played ends where a bar of so many pulses does, and from where
    one begins lasts four or eight; whether it ``rolls`` first, which need not begin on a beat."""
    last = round(float(at[-1]) / many)
    closes = last > 0 and abs(float(at[-1]) - last * many) <= _CLOSES  # by the 1 of the next bar
    bars = last if closes else int(at[-1] // many) + 1
    edges = np.searchsorted(at, np.arange(bars + 1) * many - _CLOSES)
    played = [
        (float(at[first]) - bar * many, float(at[after - 1]) - bar * many)
        for bar, (first, after) in enumerate(pairwise(edges.tolist()))
        if after > first
    ]
    if not played:
        return 0.0
    begins, ends = np.array(played).T
    begun = len(begins) < 2 or begins[0] <= np.median(begins[1:]) + _ENDS
    usual = many - _ONLY_BAR
    if len(ends) > 1:
        usual = float(ends[:-1].min()) - _ENDS
    whole = closes or bool(ends[-1] >= usual)
    fours = begun and bars in (4, 8)
    first = -_CLOSES <= at[0] < 1.0 if rolls else abs(at[0]) <= _CLOSES
    return _WHOLE * whole + _FOURS * fours + _ALL * (whole and fours and first)


def _first_settled(heard: Heard, pulse: Pulse, many: int) -> int | None:
    """The first stroke of a leading voice from which on most of what is played for two beats comes
    again a bar later, as what leads into a groove does not."""
    at, near = pulse.at, _SAME_S / pulse.beat_s
    again = np.zeros(len(at), np.bool_)
    for code in np.unique(heard.voice).tolist():
        rows = np.flatnonzero(heard.voice == code)
        own = at[rows]
        low, high = np.searchsorted(own, own + many - near), np.searchsorted(own, own + many + near)
        again[rows] = high > low
    count = np.append(0, np.cumsum(again))
    for row in np.flatnonzero(again & (at < at[0] + 4 * many)).tolist():
        if _KIND_OF.get(VOICES[int(heard.voice[row])].name) not in _LEADING:
            continue
        first, last = np.searchsorted(at, (at[row] - 0.1, at[row] + 2.0))
        if count[last] - count[first] >= _MOSTLY * (last - first):
            return row
    return None
