"""How loud is loud: eight soft strokes, eight normal ones and eight accents on each pad.

From them come the bands of ghost note, normal stroke and accent (``grading.calibrating``), and
where a pad cannot tell them apart, what to change on the module or in the playing. Some pads
cannot: whatever the stroke, they send nearly the same velocity, or the loudest there is, or
nothing where it was very soft (common practice).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import lru_cache
from itertools import pairwise
from math import inf

from playalong.grading.bands_from_strokes import LEAST_DB, Apart, apart, bands_of
from playalong.grading.loudness import Band, level_db
from playalong.midi.hits import Hit
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import folded

#: How many strokes of each dynamic are asked for.
STROKES = 8

#: Hits of a pad this close are one stroke, in seconds.
TOGETHER_S = 0.06
#: After a group, strokes count again from here on, in seconds, or after so many times the usual
#: time between its strokes: who miscounts plays one too many.
PAUSE_S, PAUSE_TIMES = 1.0, 1.6

#: With fewer strokes of a dynamic than this, nothing is said of a pad.
ENOUGH = 3

#: What is a fault: this share of the normal strokes at the highest velocity; soft strokes and
#: accents less than so many dB apart; no more different velocities than this; so many soft
#: strokes not heard (our own choices).
_HIGHEST, _STUCK, _FLAT_DB, _FEW, _LOST = 127.0, 0.25, 2 * LEAST_DB, 5, 2

#: Who strikes evenly leaves a whole number of times the usual gap where strokes were not heard. A
#: gap longer than so many times it is a pause.
_PAUSE = 3.5
#: How far from a whole number of gaps the hole of a lost stroke is at most: a hand is not exact.
_HOLE = 0.2


class Cause(Enum):
    """Why a pad cannot be graded well for loudness."""

    STUCK = auto()
    FLAT = auto()
    STEPS = auto()
    LOST = auto()
    SOFT_NEAR = auto()
    STRONG_NEAR = auto()


@dataclass(frozen=True, kw_only=True)
class PadTouch:
    """What the strokes on one pad say.

    ``velocities``: dynamic to its velocities (1 to 127), rising, and ``levels_db`` their levels:
    the velocity curve. ``bands``: dynamic to its band. ``soft`` tells how well soft and normal
    strokes are apart, ``strong`` normal strokes and accents; None while there are too few.
    ``fault`` is what is wrong and ``advice`` what to change, both "" where nothing is;
    ``cause`` is why.
    """

    voice: str
    velocities: Mapping[Dynamic, tuple[float, ...]]
    levels_db: Mapping[Dynamic, tuple[float, ...]]
    bands: Mapping[Dynamic, Band]
    soft: Apart | None
    strong: Apart | None
    cause: Cause | None
    fault: str
    advice: str


#: What is said of each cause, and what to change. The braces take its figures.
_WORDS: Mapping[Cause, tuple[str, str]] = {
    Cause.STUCK: (
        "{} of {} normal strokes came at 127, the loudest there is.",
        "Turn this pad's sensitivity down on the module, then strike it again.",
    ),
    Cause.FLAT: (
        "Soft strokes and accents came only {:.0f} dB apart.",
        "Choose a straighter velocity curve on the module, or turn this pad's sensitivity down.",
    ),
    Cause.STEPS: (
        "Only {} different velocities came of all strokes.",
        "Choose a straighter velocity curve on the module; if there is none, this pad has no more.",
    ),
    Cause.LOST: (
        "About {} soft strokes were not heard.",
        "Turn this pad's threshold down on the module, then strike it again.",
    ),
    Cause.SOFT_NEAR: (
        "Soft and normal strokes cannot be told apart: they lie {:.0f} dB from each other.",
        "Play the soft ones from lower down.",
    ),
    Cause.STRONG_NEAR: (
        "Normal strokes and accents cannot be told apart: they lie {:.0f} dB from each other.",
        "Play the accents from higher up.",
    ),
}


def touch_of(voice: str, strokes: Mapping[Dynamic, Sequence[float]], lost: int = 0) -> PadTouch:
    """What ``strokes`` on the pad of ``voice`` say: dynamic to velocities, 1 to 127.

    Dynamics may be left out or empty. ``lost`` is how many soft strokes were not heard.
    """
    groups = tuple(tuple(sorted(strokes.get(dynamic, ()))) for dynamic in Dynamic)
    return _touch_of(voice, groups, lost)


# A page asks for every pad in every frame, and strokes are few.
@lru_cache(maxsize=64)
def _touch_of(voice: str, groups: tuple[tuple[float, ...], ...], lost: int) -> PadTouch:
    ghost, normal, accent = groups
    velocities = dict(zip(Dynamic, groups, strict=True))
    soft, strong = _apart(ghost, normal), _apart(normal, accent)
    cause, figures = _cause(velocities, soft=soft, strong=strong, lost=lost)
    fault, advice = _WORDS[cause] if cause else ("", "")
    bands = bands_of({voice: velocities}).by_voice
    return PadTouch(
        voice=voice,
        velocities=velocities,
        levels_db={dynamic: tuple(map(level_db, group)) for dynamic, group in velocities.items()},
        bands={dynamic: band for (_, dynamic), band in bands.items()},
        soft=soft,
        strong=strong,
        cause=cause,
        fault=fault.format(*figures),
        advice=advice,
    )


def _apart(softer: Sequence[float], louder: Sequence[float]) -> Apart | None:
    return apart(softer, louder) if min(len(softer), len(louder)) >= ENOUGH else None


def _cause(
    velocities: Mapping[Dynamic, tuple[float, ...]],
    *,
    soft: Apart | None,
    strong: Apart | None,
    lost: int,
) -> tuple[Cause | None, tuple[float, ...]]:
    """Why the pad cannot be graded well, with its figures; None where it can.

    What the pad does comes first: while it sends the same for all strokes, no playing mends it.
    """
    normal = velocities[Dynamic.NORMAL]
    if soft is None or strong is None:
        return None, ()
    if not (soft.is_clear and strong.is_clear):
        stuck, range_db = normal.count(_HIGHEST), soft.gap_db + strong.gap_db
        steps = len(set().union(*velocities.values()))
        if stuck >= _STUCK * len(normal):
            return Cause.STUCK, (stuck, len(normal))
        if range_db < _FLAT_DB:
            return Cause.FLAT, (range_db,)
        if steps <= _FEW:
            return Cause.STEPS, (steps,)
    if lost >= _LOST:
        return Cause.LOST, (lost,)
    for cause, pair in ((Cause.SOFT_NEAR, soft), (Cause.STRONG_NEAR, strong)):
        if not pair.is_clear:
            return cause, (max(0.0, pair.gap_db),)
    return None, ()


class Touch:
    """Asks for the strokes on each of ``voices``, and learns from the hits.

    ``voice`` is the pad that is asked for, None when all are done. ``saved`` are strokes of
    earlier: a pad that has some of all three dynamics is done. Hits come in order of time, in
    seconds. While a pad has no stroke, one on another pad that is not done chooses that, and does
    not count itself. Once begun, only hits of that pad are taken; others are crosstalk.
    """

    of = STROKES

    def __init__(
        self, voices: Sequence[str], saved: Mapping[str, Mapping[Dynamic, Sequence[float]]] = {}
    ) -> None:
        self.voices = tuple(voices)
        self._saved = {
            voice: {dynamic: tuple(group) for dynamic, group in groups.items()}
            for voice, groups in saved.items()
        }
        self._dropped: set[str] = set()
        self._hits: dict[str, dict[Dynamic, list[Hit]]] = {
            voice: {dynamic: [] for dynamic in Dynamic} for voice in self.voices
        }
        self._chosen_by: Hit | None = None
        #: Whether the last stroke did not count, as it came without a pause after the group before.
        self.too_soon = False
        #: When the last stroke of a pad that is done came: its crosstalk chooses no pad.
        self._done_s = -inf
        self.voice = next((voice for voice in self.voices if not self.is_complete(voice)), None)

    @property
    def dynamic(self) -> Dynamic | None:
        """How the pad is to be struck now, None where it is done."""
        if self.voice is None or self.is_complete(self.voice):
            return None
        return self._next_dynamic(self.voice)

    def strokes(self, voice: str) -> dict[Dynamic, tuple[float, ...]]:
        """The velocities of a pad by now, as they came."""
        if self._is_old(voice):
            return self._saved[voice]
        return {
            dynamic: tuple(hit.velocity for hit in hits)
            for dynamic, hits in self._hits[voice].items()
        }

    def is_complete(self, voice: str) -> bool:
        """Whether all strokes of a pad are there."""
        if self._is_old(voice):
            return all(self._saved[voice].get(dynamic) for dynamic in Dynamic)
        return self._next_dynamic(voice) is None

    def result(self) -> dict[str, dict[Dynamic, tuple[float, ...]]]:
        """The strokes to keep: of each pad that is done, and what was kept of the others."""
        done = {voice: self.strokes(voice) for voice in self.voices if self.is_complete(voice)}
        return {**self._saved, **done}

    def pad_touch(self, voice: str) -> PadTouch:
        """What the strokes on a pad say by now."""
        soft = [] if self._is_old(voice) else self._hits[voice][Dynamic.GHOST]
        return touch_of(voice, self.strokes(voice), _lost(soft))

    def hit(self, hit: Hit) -> bool:
        """Take a hit; whether it counts as a stroke of the pad that is asked for."""
        voice = folded(hit.voice, self.voices)
        if voice not in self._hits or self._chooses(hit, voice):
            return False
        dynamic = self.dynamic
        if voice != self.voice or dynamic is None:
            return False
        groups = self._hits[voice]
        taken = [one for hits in groups.values() for one in hits]
        self.too_soon = False
        if taken:
            # A bounce is no stroke, and the next group begins after a pause.
            after_s = hit.time_s - taken[-1].time_s
            if after_s < TOGETHER_S:
                return False
            self.too_soon = not groups[dynamic] and after_s < _pause_s(taken[-STROKES:])
            if self.too_soon:
                return False
        groups[dynamic].append(hit)
        if self.is_complete(voice):
            self._done_s = hit.time_s
            self._go_on()
        return True

    def move(self, steps: int) -> None:
        """Ask for the pad so many places further on, or back; done or not."""
        if self.voices:
            at = self.voices.index(self.voice) if self.voice is not None else -(steps > 0)
            self.voice = self.voices[(at + steps) % len(self.voices)]
            self._chosen_by, self.too_soon = None, False

    def undo(self) -> None:
        """Take back the last stroke of the pad that is asked for."""
        hits = self._last_group()
        if hits:
            hits.pop()

    def restart(self) -> None:
        """Ask again for the group that is asked for, or for the one before if it has no stroke."""
        self._last_group().clear()

    def again(self) -> None:
        """Ask again for all strokes of the pad that is asked for."""
        if self.voice is not None:
            self._dropped.add(self.voice)
            for hits in self._hits[self.voice].values():
                hits.clear()

    def _next_dynamic(self, voice: str) -> Dynamic | None:
        groups = self._hits[voice]
        return next((dynamic for dynamic in Dynamic if len(groups[dynamic]) < STROKES), None)

    def _is_old(self, voice: str) -> bool:
        """Whether the strokes of a pad are those of earlier."""
        known = voice in self._saved and voice not in self._dropped
        return known and not self._is_begun(voice)

    def _is_begun(self, voice: str) -> bool:
        return any(self._hits[voice].values())

    def _last_group(self) -> list[Hit]:
        """The last group of the pad that has a stroke."""
        groups = self._hits[self.voice].values() if self.voice is not None else ()
        return next((hits for hits in reversed(list(groups)) if hits), [])

    def _chooses(self, hit: Hit, voice: str) -> bool:
        """Whether a hit chooses a pad, or belongs to the stroke that did or that ended another."""
        by = self._chosen_by
        if by is not None and hit.time_s - by.time_s < TOGETHER_S:
            # Of one stroke that two pads heard, the louder was struck.
            if hit.velocity > by.velocity and not self.is_complete(voice):
                self.voice, self._chosen_by = voice, hit
            return True
        if hit.time_s - self._done_s < TOGETHER_S:
            return True
        if voice == self.voice or self.is_complete(voice):
            return False
        if self.voice is not None and self._is_begun(self.voice) and self.dynamic is not None:
            return False
        self.voice, self._chosen_by = voice, hit
        return True

    def _go_on(self) -> None:
        """Ask for the next pad that is not done."""
        first = self.voices.index(self.voice) + 1 if self.voice is not None else 0
        order = (*self.voices[first:], *self.voices[:first])
        self.voice = next((voice for voice in order if not self.is_complete(voice)), None)
        self._chosen_by = None


def _pause_s(group: Sequence[Hit]) -> float:
    """How long the pause after a group of strokes must be."""
    gaps_s = sorted(later.time_s - sooner.time_s for sooner, later in pairwise(group))
    return min(PAUSE_S, PAUSE_TIMES * gaps_s[len(gaps_s) // 2]) if gaps_s else PAUSE_S


def _lost(soft: Sequence[Hit]) -> int:
    """How many soft strokes were not heard, by the holes that they left.

    The usual gap is the lower quartile: holes only make gaps longer.
    """
    gaps_s = sorted(later.time_s - sooner.time_s for sooner, later in pairwise(soft))
    if not gaps_s:
        return 0
    times = [gap_s / gaps_s[len(gaps_s) // 4] for gap_s in gaps_s]
    return sum(
        round(gap) - 1 for gap in times if 1.0 < gap < _PAUSE and abs(gap - round(gap)) <= _HOLE
    )
