"""Whether two hands and two feet can play a pattern: a way to play it is looked for, and kept.

Each stroke goes to the hand that its sticking gives, or to either; each of the kick to the right
foot, and of the hi-hat foot to the left, which also has a second kick pedal where there is one. A
flam, a drag and a roll take both hands. A way is one where no limb is faster than the figures
below; the one with the most time between the strokes of each limb is kept. What is looked for is a
way, so a pattern that passes can be played; of one that does not, nothing but "no way was found" is
claimed.

The figures are common practice, at the upper end of what is taught. A hand plays eight strokes in
a second for long (sixteenth notes in one hand at 120) and ten for a beat, and each may bounce once
where it fell, up to twenty in a second (thirty-second notes in doubles at 150). A foot plays seven
in a second for long, and two at a distance of 88 ms (sixteenth notes at 170).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby

from playalong.pattern.meter import Tempo, WrittenSwing
from playalong.pattern.model import Bar, Hand, Pattern
from playalong.pattern.targets import GRACE_S, Place, sounding
from playalong.pattern.voices import BY_NAME, Limb


@dataclass(frozen=True, slots=True)
class Speed:
    """How fast a limb is: so many strokes take at least so many seconds from first to last.

    Where it bounces, a second stroke on the same drum may follow after ``bounce_s`` already; the
    next one then waits ``after_s`` from the first.
    """

    least_s: tuple[tuple[int, float], ...]
    bounce_s: float | None = None
    after_s: float = 0.0

    @property
    def most(self) -> int:
        """So many strokes are looked back on."""
        return max(count for count, _ in self.least_s)


_FASTEST_S = 0.048

HAND = Speed(((2, 0.099), (5, 0.39), (9, 0.99)), bounce_s=_FASTEST_S, after_s=0.155)
FOOT = Speed(((2, 0.088), (3, 0.22), (5, 0.55), (9, 1.14)))

#: So many ways are followed side by side, those with the most time.
_WAYS = 48

_RIGHT, _LEFT = 0, 1


@dataclass(frozen=True, slots=True)
class Stop:
    """Where no way goes on: the bar (0 is the first), the position in it, and why, in words."""

    bar: int
    at: Fraction
    why: str


#: The last strokes of a limb, the latest last: (seconds, voice, seconds of its bounce or None).
Past = tuple[tuple[float, str, float | None], ...]


@dataclass(frozen=True, slots=True)
class _Way:
    """One way so far: what it cost, the last strokes of right and left hand, and of the feet."""

    cost: float = 0.0
    hands: tuple[Past, Past] = ((), ())
    feet: tuple[Past, Past] = ((), ())


@dataclass(slots=True, kw_only=True)
class _Moment:
    """Strokes at one time: of hands as (voice, hand or None, graces), and of the feet."""

    place: Place
    time_s: float
    hands: list[tuple[str, int | None, int]] = field(default_factory=list)
    kick: bool = False
    hat_foot: bool = False
    rolls_until_s: float = 0.0
    bounce_s: float = 0.0


def stop(
    pattern: Pattern,
    tempo_bpm: float,
    *,
    bars: Sequence[Bar] | None = None,
    second_pedal: bool = False,
) -> Stop | None:
    """Where ``pattern``, or ``bars`` of it, cannot be gone on with, played twice at a tempo; None
    where it can be played. Tempo in beats per minute.
    """
    written = pattern.bars if bars is None else bars
    ways, rolls_until_s = [_Way()], 0.0
    for moment in _moments(written, Tempo(tempo_bpm, pattern.meter.unit), pattern.swing):
        if moment.hands and moment.time_s < rolls_until_s - 1e-9:
            return _stop(moment, "both hands are rolling")
        if moment.rolls_until_s:
            rolls_until_s = moment.rolls_until_s
            if 0.0 < moment.bounce_s < _FASTEST_S or len(moment.hands) > 1:
                return _stop(moment, "no two hands roll so fast, or beside another stroke")
        if len(moment.hands) > 2:
            voices = ", ".join(BY_NAME[voice].label for voice, _, _ in moment.hands)
            return _stop(moment, f"{voices} at once need more than two hands")
        handed = [found for way in ways for found in _by_hand(way, moment)]
        if not handed:
            return _stop(moment, "no hand is there in time")
        footed = [found for way in handed for found in _by_foot(way, moment, second_pedal)]
        if not footed:
            return _stop(moment, "no foot is there in time")
        ways = sorted(footed, key=lambda way: way.cost)[:_WAYS]
    return None


def _stop(moment: _Moment, why: str) -> Stop:
    return Stop(moment.place.bar, moment.place.stroke.at, why)


def _moments(bars: Sequence[Bar], tempo: Tempo, swing: WrittenSwing) -> Iterator[_Moment]:
    """All moments of the bars played twice, in order."""
    placed: list[tuple[Fraction, Place]] = []
    start = Fraction(0)
    for _ in range(2):
        for number, bar in enumerate(bars):
            places = [Place(number, stroke) for stroke in bar.strokes]
            placed += [(start + sounding(bar, place, swing), place) for place in places]
            start += bar.meter.length
    placed.sort(key=lambda one: one[0])
    for at, group in groupby(placed, key=lambda one: one[0]):
        strokes = list(group)
        moment = _Moment(place=strokes[0][1], time_s=tempo.seconds(at))
        for _, place in strokes:
            stroke = place.stroke
            limb = BY_NAME[stroke.voice].limb
            if limb is Limb.KICK_FOOT:
                moment.kick = True
            elif limb is Limb.HAT_FOOT:
                moment.hat_foot = True
            else:
                hand = None if stroke.hand is None else _SIDES[stroke.hand]
                moment.hands.append((stroke.voice, hand, stroke.graces))
            if stroke.roll is not None:
                moment.rolls_until_s = tempo.seconds(at + stroke.roll.length)
                count = stroke.roll.strokes
                moment.bounce_s = tempo.seconds(stroke.roll.length / count) if count else 0.0
        yield moment


_SIDES = {Hand.RIGHT: _RIGHT, Hand.LEFT: _LEFT}


def _by_hand(way: _Way, moment: _Moment) -> Iterator[_Way]:
    """The ways in which hands play the moment."""
    if not moment.hands:
        yield way
        return
    first, *others = moment.hands
    for side in (_RIGHT, _LEFT):
        if first[1] not in (None, side):
            continue
        voice, _, graces = first
        if others:
            second = others[0]
            if second[1] not in (None, 1 - side) or graces or second[2]:
                continue
            before = [(moment.time_s, second[0])]
        else:
            before = [(moment.time_s - n * GRACE_S, voice) for n in range(graces, 0, -1)]
        both = [way.hands[_RIGHT], way.hands[_LEFT]]
        cost = way.cost
        for limb, strokes in ((side, [(moment.time_s, voice)]), (1 - side, before)):
            for number, stroke in enumerate(strokes):
                if number:  # the second stroke of a drag bounces
                    continue
                struck = _struck(both[limb], stroke, HAND)
                if struck is None:
                    break
                cost += struck[0]
                both[limb] = struck[1]
            else:
                continue
            break
        else:
            yield _Way(cost, (both[_RIGHT], both[_LEFT]), way.feet)


def _by_foot(way: _Way, moment: _Moment, second_pedal: bool) -> Iterator[_Way]:
    """The ways in which feet play the moment."""
    if not (moment.kick or moment.hat_foot):
        yield way
        return
    sides = (_RIGHT, _LEFT) if second_pedal and moment.kick and not moment.hat_foot else (_RIGHT,)
    for side in sides:
        feet, cost = [*way.feet], way.cost
        strokes = [(side, "kick")] if moment.kick else []
        strokes += [(_LEFT, "hi-hat-pedal")] if moment.hat_foot else []
        for limb, voice in strokes:
            struck = _struck(feet[limb], (moment.time_s, voice), FOOT)
            if struck is None:
                break
            cost += struck[0]
            feet[limb] = struck[1]
        else:
            yield _Way(cost, way.hands, (feet[_RIGHT], feet[_LEFT]))


def _struck(past: Past, stroke: tuple[float, str], speed: Speed) -> tuple[float, Past] | None:
    """What a stroke after ``past`` costs a limb, and what is past then; None where it is slower."""
    time_s, voice = stroke
    now: Past = (*past, (time_s, voice, None))[-speed.most + 1 :]
    if not past:
        return 0.0, now
    before_s, before, bounced_s = past[-1]
    gap_s = time_s - (before_s if bounced_s is None else bounced_s)
    if speed.bounce_s is not None and gap_s < speed.least_s[0][1] and bounced_s is None:
        if voice != before or gap_s < speed.bounce_s:
            return None
        return 1.0 / gap_s**2, (*past[:-1], (before_s, before, time_s))
    if bounced_s is not None and (
        time_s - before_s < speed.after_s or (voice != before and gap_s < speed.least_s[0][1])
    ):
        return None
    for count, least_s in speed.least_s:
        if len(past) >= count - 1 and time_s - past[1 - count][0] < least_s:
            return None
    return 1.0 / gap_s**2, now
