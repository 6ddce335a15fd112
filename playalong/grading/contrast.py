"""Loudness by contrast: each stroke against the player's own strokes on the same voice.

A ghost note must lie clearly under the voice's plain strokes, an accent over them; a plain stroke
is wrong only where it would be taken for a ghost note or an accent that the pattern asks for
elsewhere, or where it falls out of the player's own evenness by far. Verdicts compare distances in
decibel on one voice (``level_db``), never with fixed velocities or decibels: a kit with another
curve, v' = 127 (v / 127)^p, stretches all levels by p, and so changes none of these:

* **Way.** Between the median of the softer strokes (0) and that of the louder ones (1), how far up
  a stroke lies. A ghost note is too loud from 0.65 on; a stroke over it is too soft up to 0.25; an
  accent is too soft up to 0.1 of the way from the plain strokes to the accents, and a plain stroke
  too loud from 1 on.
* **Apart.** Which share of the louder strokes lies over the median of the softer ones (for
  accents: of the plain strokes under the median accent), each counted smoothly. Where that is less
  than 0.85, or the medians are all but equal (1.75 dB on any kit), the two cannot be told apart,
  and all ghost notes are too loud, all accents too soft. Real drummers have 0.98 (median of
  takes), and more than 0.92 in 98 of 100 takes.
* **Evenness.** A plain stroke that lies further from the median than four times what nine of ten
  lie within on that side (and at least 6 dB) falls out of it. A hi-hat that breathes does not.

Where there are few strokes to compare, a ghost note is wrong only where it is as loud as the
plain strokes, and an accent where it is as soft; with none to compare, nothing is said. What a
stroke loses grows evenly with its velocity, from none at the border to ``MOST`` where it is all
that it should not be, by no more than a twentieth for each step of velocity. Where a voice's own
bands were measured, a stroke inside its band is right whatever the comparison says: a measurement
makes nothing stricter.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import LOUDNESSES, Band, Bands, Loudness, level_db, velocity_of
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS
from playalong.pattern.voices import STAFF_ORDER, VOICES

Floats = NDArray[np.float64]

#: What a stroke of quite the wrong loudness loses: it was still the right drum at its time.
MOST = 0.95

#: The least velocities between no loss and ``MOST``: a twentieth of a stroke each.
_STEPS = MOST / 0.05

#: Fewer strokes than this of either kind, or of both together, are few; what is as loud then.
EACH, TOGETHER = 2, 5
_AS_LOUD = 0.97

#: Strokes of one kind that show how even they are; how far out is far; and at least, in dB.
_MANY, _FAR, _LEAST_DB = 8, 4.0, 6.0

#: How smoothly strokes are counted as over or under, in parts of what eight of ten of both kinds
#: lie within.
_SMOOTH = 0.06

#: From this share on two kinds of stroke are well apart, and under this one not at all; and where
#: it is said.
_APART, _REPORTED, _MIXED = 0.90, 0.85, 0.60

#: Medians that differ by less than this begin to sound alike, whatever the kit's curve, and by
#: this they do.
_HEARD_DB, _UNHEARD_DB = 2.0, 0.5

#: What is lost where it begins to be said, and what is then left of the other kind's own losses.
_WHOLE = MOST * (_APART - _REPORTED) / (_APART - _MIXED)
_FAIR = 1.0 - _WHOLE / MOST

_GHOST, _NORMAL, _ACCENT = (DYNAMICS.index(dynamic) for dynamic in Dynamic)
_RIGHT, _SOFT, _LOUD = (LOUDNESSES.index(loudness) for loudness in Loudness)


@dataclass(frozen=True, slots=True)
class _Way:
    """Of a softer and a louder kind, where between their medians a stroke begins to be wrong, and
    where it is wholly so."""

    softer: tuple[float, float]
    louder: tuple[float, float]


#: How far up from the ghost notes to the plain strokes a ghost note begins to be too loud.
GHOST_LOUD = 0.65
_UNDER = _Way(softer=(GHOST_LOUD, 1.0), louder=(0.25, -0.1))
_OVER = _Way(softer=(1.0, 1.6), louder=(0.1, -0.4))


@dataclass(frozen=True, kw_only=True)
class Borders:
    """What fits each voice and dynamic; arrays (voices, dynamics), the first four of velocities.

    A velocity under ``low`` is too soft, and wholly so at ``low_lost``; one over ``high`` is too
    loud, and wholly so at ``high_lost``. ``whole`` is what every stroke of a kind loses because it
    cannot be told from another, and ``fair`` the part of that other kind's own losses that is left
    to it, since one of the two is to blame. ``safe_low`` and ``safe_high`` are measured bands.
    """

    low: Floats
    low_lost: Floats
    high: Floats
    high_lost: Floats
    whole: Floats
    fair: Floats
    safe_low: Floats
    safe_high: Floats

    @classmethod
    def none(cls, bands: Bands) -> "Borders":
        """Before anything was played every velocity fits; ``bands`` may be measured ones."""
        shape = (len(VOICES), len(DYNAMICS))
        soft, loud = np.full(shape, -np.inf), np.full(shape, np.inf)
        found = cls(
            low=soft,
            low_lost=soft.copy(),
            high=loud,
            high_lost=loud.copy(),
            whole=np.zeros(shape),
            fair=np.ones(shape),
            safe_low=loud.copy(),
            safe_high=soft.copy(),
        )
        for (name, kind), band in bands.by_voice.items():
            at = STAFF_ORDER[name], DYNAMICS.index(kind)
            found.safe_low[at], found.safe_high[at] = band.low, band.high
        return found

    @classmethod
    def of(
        cls,
        voice: NDArray[np.int16],
        dynamic: NDArray[np.int8],
        velocity: Floats,
        *,
        bands: Bands,
    ) -> "Borders":
        """From answered strokes, (k,) each: indexes of voices and dynamics asked, velocities."""
        found = cls.none(bands)
        level = level_db(np.maximum(velocity, 1.0))
        kind = voice * np.int16(len(DYNAMICS)) + dynamic
        by_kind = level[np.argsort(kind, kind="stable")]
        count = np.bincount(kind, minlength=found.low.size)
        ends = np.append(0, np.cumsum(count)).tolist()
        for code in np.flatnonzero(count.reshape(found.low.shape).sum(axis=1)).tolist():
            first = code * len(DYNAMICS)
            kinds = [
                np.sort(by_kind[ends[row] : ends[row + 1]])
                for row in range(first, first + len(DYNAMICS))
            ]
            ghost, normal, accent = (kinds[of] for of in (_GHOST, _NORMAL, _ACCENT))
            found._even(code, normal)
            if len(ghost):
                enough = len(normal) >= EACH or not len(accent)
                found._compare(code, _GHOST, _NORMAL if enough else _ACCENT, kinds=kinds)
            if len(normal):
                found._compare(code, _NORMAL, _ACCENT, kinds=kinds)
        return found

    def bands(self) -> list[list[Band]]:
        """What fits each voice and dynamic, as bands: for one stroke after the other."""
        low = np.where(self.fair >= _FAIR, self.low, -np.inf)
        high = np.where(self.fair >= _FAIR, self.high, np.inf)
        mixed = self.whole > _WHOLE
        accent = np.arange(len(DYNAMICS)) == _ACCENT
        low = np.where(mixed & accent, np.inf, low)
        high = np.where(mixed & ~accent, -np.inf, high)
        low, high = np.minimum(low, self.safe_low), np.maximum(high, self.safe_high)
        return [
            [Band(*ends) for ends in zip(*row, strict=True)]
            for row in zip(low.tolist(), high.tolist(), strict=True)
        ]

    def verdicts(
        self, voice: NDArray[np.int16], dynamic: NDArray[np.int8], velocity: Floats
    ) -> NDArray[np.int8]:
        """How velocities fit, as indexes into ``LOUDNESSES``; all (k,)."""
        at = voice, dynamic
        found = np.full(len(velocity), _RIGHT, np.int8)
        fair = self.fair[at] >= _FAIR
        found[fair & (velocity < self.low[at])] = _SOFT
        found[fair & (velocity > self.high[at])] = _LOUD
        whole = self.whole[at] > _WHOLE
        found[whole] = np.where(dynamic[whole] == _ACCENT, _SOFT, _LOUD)
        found[(self.safe_low[at] <= velocity) & (velocity <= self.safe_high[at])] = _RIGHT
        return found

    def losses(
        self, voice: NDArray[np.int16], dynamic: NDArray[np.int8], velocity: Floats
    ) -> Floats:
        """What strokes lose for their loudness, 0 to ``MOST``; all (k,)."""
        at = voice, dynamic
        low, high = self.low[at], self.high[at]
        lost = np.zeros(len(velocity))
        for rows, border, utterly in (
            (np.flatnonzero(velocity < low), low, self.low_lost[at]),
            (np.flatnonzero(velocity > high), high, self.high_lost[at]),
        ):
            way = border[rows] - utterly[rows]
            lost[rows] = (border[rows] - velocity[rows]) / way
        lost = np.maximum(MOST * np.minimum(lost, 1.0) * self.fair[at], self.whole[at])
        outside = np.maximum(self.safe_low[at] - velocity, velocity - self.safe_high[at])
        return lost * np.clip(outside / _STEPS, 0.0, 1.0)

    def _compare(self, voice: int, softer: int, louder: int, *, kinds: list[Floats]) -> None:
        """Draw the borders between two kinds of stroke, of levels in dB, rising."""
        soft, loud = kinds[softer], kinds[louder]
        if not len(loud):
            return
        bottom, top = _quantile(soft, 0.5), _quantile(loud, 0.5)
        if min(len(soft), len(loud)) < EACH or len(soft) + len(loud) < TOGETHER:
            self._few(voice, softer, bottom=bottom, top=top)
            return
        both = np.sort(np.concatenate([soft, loud]))
        smooth_db = _SMOOTH * (_quantile(both, 0.9) - _quantile(both, 0.1))
        ghosts = softer == _GHOST
        share = _share(loud - bottom if ghosts else top - soft, smooth_db)
        mixed_up = max(
            (_APART - share) / (_APART - _MIXED),
            (_HEARD_DB - (top - bottom)) / (_HEARD_DB - _UNHEARD_DB),
        )
        lost = MOST * min(1.0, max(0.0, mixed_up))
        mixed, other = (softer, louder) if ghosts else (louder, softer)
        self.whole[voice, mixed] = max(lost, self.whole[voice, mixed])
        self.fair[voice, other] = min(1.0 - lost / MOST, self.fair[voice, other])
        if top <= bottom:
            return
        way = _UNDER if ghosts else _OVER
        high, high_lost, low, low_lost = (
            velocity_of(bottom + part * (top - bottom)) for part in (*way.softer, *way.louder)
        )
        self._up_to((voice, softer), high, high_lost)
        self._down_to((voice, louder), low, low_lost)

    def _few(self, voice: int, softer: int, *, bottom: float, top: float) -> None:
        """Of few strokes: a ghost note as loud as plain strokes, an accent as soft as these."""
        if softer == _GHOST:
            self._up_to((voice, _GHOST), _AS_LOUD * velocity_of(top), 0.0)
        else:
            self._down_to((voice, _ACCENT), velocity_of(bottom) / _AS_LOUD, np.inf)

    def _even(self, voice: int, levels: Floats) -> None:
        """Draw the borders of what falls out of the player's own evenness; levels are rising."""
        if len(levels) < _MANY:
            return
        low, middle, high = (_quantile(levels, share) for share in (0.1, 0.5, 0.9))
        under, over = (max(_FAR * way, _LEAST_DB) for way in (middle - low, high - middle))
        at = voice, _NORMAL
        self._down_to(at, velocity_of(middle - under), velocity_of(middle - 2.0 * under))
        self._up_to(at, velocity_of(middle + over), velocity_of(middle + 2.0 * over))

    def _up_to(self, at: tuple[int, int], high: float, lost: float) -> None:
        if high < self.high[at]:
            self.high[at], self.high_lost[at] = high, max(lost, high + _STEPS)

    def _down_to(self, at: tuple[int, int], low: float, lost: float) -> None:
        if low > self.low[at]:
            self.low[at], self.low_lost[at] = low, min(lost, low - _STEPS)


def _quantile(rising: Floats, share: float) -> float:
    """As numpy.quantile, linear between ranks; of few values that one is slow."""
    at = share * (len(rising) - 1)
    below = int(at)
    above = min(below + 1, len(rising) - 1)
    return float(rising[below] + (at - below) * (rising[above] - rising[below]))


def _share(differences: Floats, smooth: float) -> float:
    """The share of differences that are over 0, each counted smoothly."""
    steps = np.clip(differences / max(smooth, 1e-9), -50.0, 50.0)
    return float(np.mean(1.0 / (1.0 + np.exp(-steps))))
