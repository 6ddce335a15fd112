"""How hard a pattern is: one figure from 0 to 100, by a written formula.

Five parts, each from 0 to 1, of the bars as written at the tempo given:

| part | what it is | 1 stands for |
| --- | --- | --- |
| density | strokes in a second, all limbs together | 14 |
| limbs | how many different sets of limbs strike together | 8 |
| syncopation | the weighted note-to-beat distance of each voice, the mean over all strokes | 4 |
| dynamics | the share of strokes of another dynamic than the one before on their voice, of flams,
drags and open hi-hats | 0.5 |
| tempo | how little time one limb has between two strokes: 0.5 s is nothing, 0.1 s is all | 0.1 s |

The figure is 100 times their weighted mean. The weights, and what counts as 1, are our own choice:
the order that they give is that in which teachers set such grooves (common practice), and nothing
but an order is claimed. Swing changes nothing.

The weighted note-to-beat distance (Gómez, Melvin, Rappaport, Toussaint, "Mathematical Measures of
Syncopation", BRIDGES 2005): a note that is not on a beat weighs the reciprocal of its distance
from the nearest beat, in beats; twice that where it is held past the next beat, but not past the
one after. Its mean over all notes is 0 where every note is on a beat.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from playalong.pattern.meter import Tempo
from playalong.pattern.model import Bar, Hand, Pattern, Stroke
from playalong.pattern.voices import BY_NAME, Limb

#: How much each part weighs.
WEIGHTS = {"density": 0.25, "limbs": 0.2, "syncopation": 0.2, "dynamics": 0.2, "tempo": 0.15}

#: What counts as 1, and for the tempo the two ends in seconds.
_DENSE, _SETS, _SYNCOPATED, _CHANGING, _SLOW_S, _FAST_S = 14.0, 8, 4.0, 0.5, 0.5, 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Difficulty:
    """The five parts, each from 0 to 1."""

    density: float
    limbs: float
    syncopation: float
    dynamics: float
    tempo: float

    @property
    def figure(self) -> float:
        """From 0 to 100."""
        return 100.0 * sum(weight * float(getattr(self, part)) for part, weight in WEIGHTS.items())


def difficulty(pattern: Pattern, tempo_bpm: float | None = None) -> Difficulty:
    """How hard ``pattern`` is as written, at its own tempo unless one is given."""
    bars = pattern.bars
    tempo = Tempo(pattern.tempo if tempo_bpm is None else tempo_bpm, pattern.meter.unit)
    placed = list(_placed(bars))
    length = sum((bar.meter.length for bar in bars), Fraction(0))
    length_s = float(tempo.seconds(length))
    if not placed:
        return Difficulty(density=0.0, limbs=0.0, syncopation=0.0, dynamics=0.0, tempo=0.0)
    together: dict[Fraction, set[Limb]] = {}
    for at, stroke in placed:
        together.setdefault(at, set()).add(_limb(stroke))
    sets = {frozenset(limbs) for limbs in together.values()}
    return Difficulty(
        density=min(1.0, _strokes(placed) / length_s / _DENSE),
        limbs=min(1.0, (len(sets) - 1) / (_SETS - 1)),
        syncopation=min(1.0, _syncopation(placed, bars) / _SYNCOPATED),
        dynamics=min(1.0, _changes(placed) / len(placed) / _CHANGING),
        tempo=_tempo(placed, length, tempo),
    )


def note_to_beat(notes: Sequence[Fraction], beats: Sequence[Fraction], length: Fraction) -> float:
    """The weighted note-to-beat distance of ``notes`` in a cycle of ``length``.

    All in the same unit and in order; a distance is counted in beats of the length found there.
    """
    if not notes:
        return 0.0
    rounds = [beat + turn * length for turn in range(3) for beat in beats]
    total = Fraction(0)
    for number, note in enumerate(notes):
        place = bisect_right(rounds, note) - 1
        before, after, later = rounds[place : place + 3]
        distance = min(note - before, after - note) / (after - before)
        if not distance:
            continue
        wraps = number + 1 == len(notes)
        ends = notes[0] + length if wraps else notes[number + 1]
        total += (2 if after < ends <= later else 1) / distance
    return float(total / len(notes))


def _placed(bars: Sequence[Bar]) -> list[tuple[Fraction, Stroke]]:
    """Every stroke with its place from the start of bar 1, in whole notes."""
    found, start = [], Fraction(0)
    for bar in bars:
        found += [(start + stroke.at, stroke) for stroke in bar.strokes if not stroke.optional]
        start += bar.meter.length
    return found


def _strokes(placed: Sequence[tuple[Fraction, Stroke]]) -> int:
    """How many strokes there are, those of counted rolls with them."""
    return sum(max(1, stroke.roll.strokes) if stroke.roll else 1 for _, stroke in placed)


def _limb(stroke: Stroke) -> Limb:
    if stroke.hand is not None:
        return Limb.RIGHT_HAND if stroke.hand is Hand.RIGHT else Limb.LEFT_HAND
    return BY_NAME[stroke.voice].limb


def _syncopation(placed: Sequence[tuple[Fraction, Stroke]], bars: Sequence[Bar]) -> float:
    beats, start = [], Fraction(0)
    for bar in bars:
        beats += [start + beat for beat in bar.meter.beat_starts]
        start += bar.meter.length
    by_voice: dict[str, list[Fraction]] = {}
    for at, stroke in placed:
        by_voice.setdefault(stroke.voice, []).append(at)
    weighed = sum(len(notes) * note_to_beat(notes, beats, start) for notes in by_voice.values())
    return weighed / len(placed)


def _changes(placed: Sequence[tuple[Fraction, Stroke]]) -> int:
    last: dict[str, Stroke] = {}
    changes = 0
    for _, stroke in placed:
        before = last.get(stroke.voice)
        differs = before is not None and before.dynamic is not stroke.dynamic
        changes += bool(differs or stroke.graces or stroke.is_open)
        last[stroke.voice] = stroke
    return changes


def _tempo(placed: Sequence[tuple[Fraction, Stroke]], length: Fraction, tempo: Tempo) -> float:
    by_limb: dict[Limb, list[Fraction]] = {}
    for at, stroke in placed:
        by_limb.setdefault(_limb(stroke), []).append(at)
    gaps = [
        later - sooner
        for places in by_limb.values()
        for sooner, later in pairwise([*places, places[0] + length])
        if later > sooner
    ]
    shortest_s = float(tempo.seconds(min(gaps)))
    return min(1.0, max(0.0, (_SLOW_S - shortest_s) / (_SLOW_S - _FAST_S)))
