"""How loud a person plays: levels that breathe with the beat and waver from stroke to stroke.

The level of a stroke is the sum of

* the middle of its dynamic, for the limb that plays it;
* what the place has for itself: a hi-hat leans on the beats or on the off-beats, toms hardly do;
* a wave over some beats, and the stroke's own part.

Levels are decibel by the concave curve of the Downloadable Sounds specification, 0 at velocity 127
(``playalong.grading.loudness``). Figures: fitted to 184 takes by three drummers in 4/4 from the
Groove MIDI Dataset (Gillick et al., ICML 2019, CC BY 4.0); ``python -m tests.long players`` prints
them beside those of the simulated players. Medians of the takes: closed hi-hat at velocity 59,
from place to place 6.7 dB and at one place 5.6 dB; ride 64, 3.3 and 3.8 dB; toms 92, 3.3 dB from
place to place and as much at one, 5.2 dB in all, and on beats 2 dB over those between; kick 53, 2.0
and 3.5 dB; ghost notes (velocity 45 or less) 28, 1.7 and 6.4 dB; other snare strokes 110, 0.6 and
2.5 dB. The level of one stroke says little of the next (0.1 to 0.2 of it).
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets
from playalong.pattern.voices import STAFF_ORDER, TOMS, VOICES, Voice
from playalong.simulation.human_timing import shared

Floats = NDArray[np.float64]

#: The share of the variance at one place that a wave over some beats has.
WAVE_SHARE = 0.2

#: Ghost notes stray less to the loud side than to the soft one: this share of their spread, and
#: what is left of two (the same takes: 5 dB up and 8 dB down from the median).
UPWARD = 0.75

#: How far an accent lies over the plain strokes of a voice that has accents, at least, in dB: who
#: is to play accents plays the others softer (common practice).
ACCENT_DB = 9.0

#: A voice with written accents breathes less of its own accord, and its accents not at all, since
#: they are meant (common practice): this share.
LED_BY_ACCENTS = 0.3

#: A voice with written ghost notes breathes at most so much from place to place, in dB: as much as
#: a kick does, since what is softer there is meant (common practice).
OVER_GHOSTS_DB = 2.0

_TOMS = [STAFF_ORDER[voice] for voice in TOMS]


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """How loud a limb plays, or whoever plays on the toms.

    ``plain_db``, ``ghost_db``, ``accent_db``: the middle of each dynamic; ``spread_db`` and
    ``ghost_spread_db``: the standard deviation at one place; ``breath_db``: that from place to
    place, of which beats against what lies between have the part ``leans``, as a standard
    deviation.
    """

    plain_db: float
    spread_db: float
    ghost_db: float = -26.0
    ghost_spread_db: float = 6.5
    accent_db: float = -1.5
    breath_db: float = 0.0
    leans: float = 0.8

    def of(self, dynamic: Dynamic, has_accents: bool) -> tuple[float, float]:
        """The middle of a dynamic, and its spread at one place, in dB."""
        if dynamic is Dynamic.GHOST:
            return self.ghost_db, self.ghost_spread_db
        if dynamic is Dynamic.ACCENT:
            return self.accent_db, self.spread_db
        under_accents_db = self.accent_db - ACCENT_DB if has_accents else 0.0
        return min(self.plain_db, under_accents_db), self.spread_db


def levels_db(
    targets: Targets, touch_of: Callable[[Voice], Touch], chance: np.random.Generator
) -> Floats:
    """(n,) the levels of all targets as one person plays them, not yet cut off at 0 dB."""
    beats = targets.written * 4.0
    level, spread = np.zeros(len(targets)), np.zeros(len(targets))
    of_place = chance.standard_normal(len(targets.places))
    leaning = float(chance.choice((-1.0, 1.0), p=(0.35, 0.65))) * _on_beat(targets)
    # Toms are one row of drums: who plays accents on one of them plays the others softer.
    played_as = np.where(np.isin(targets.voice, _TOMS), _TOMS[0], targets.voice)
    for code in np.unique(played_as):
        rows = np.flatnonzero(played_as == code)
        own, dynamic = touch_of(VOICES[code]), targets.dynamic[rows]
        has_accents = bool((dynamic == DYNAMICS.index(Dynamic.ACCENT)).any())
        middle = [own.of(kind, has_accents) for kind in DYNAMICS]
        level[rows], spread[rows] = np.array(middle)[dynamic].T
        breath = own.breath_db * (LED_BY_ACCENTS if has_accents else 1.0)
        if (dynamic == DYNAMICS.index(Dynamic.GHOST)).any():
            breath = min(breath, OVER_GHOSTS_DB)
        lean = own.leans * leaning[rows] + sqrt(1.0 - own.leans**2) * of_place[targets.place[rows]]
        level[rows] += np.where(dynamic == DYNAMICS.index(Dynamic.ACCENT), 0.0, breath * lean)
    wave = shared(beats, chance)
    own_part = chance.standard_normal(len(targets))
    noise: Floats = sqrt(WAVE_SHARE) * wave + sqrt(1.0 - WAVE_SHARE) * own_part
    softer = np.where(noise > 0.0, UPWARD, 2.0 - UPWARD)
    ghost = targets.dynamic == DYNAMICS.index(Dynamic.GHOST)
    return level + spread * noise * np.where(ghost, softer, 1.0)


def velocities(level: Floats) -> Floats:
    """Levels in dB as whole velocities, 1 to 127."""
    found: Floats = np.clip(np.rint(127.0 * 10.0 ** (level / 40.0)), 1.0, 127.0)
    return found


def _on_beat(targets: Targets) -> Floats:
    """(n,) 1 on a beat, -1 between two."""
    on = np.array([_is_on_beat(place.stroke.at) for place in targets.places], np.bool_)
    return np.where(on, 1.0, -1.0)[targets.place]


@cache
def _is_on_beat(at: Fraction) -> bool:
    return (at * 4).denominator == 1
