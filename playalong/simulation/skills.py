"""Who the simulated players are: four people by name, and what makes up a way of playing.

The professional is fitted: see ``human_timing`` and ``human_touch`` for the data and its figures.
Spreads there are 17 ms at one place (12.7 to 23.5 from one take to another), of which 13 are shared
by all limbs; takes lie some 7 to 12 ms ahead of the click, the kick some 4 ms ahead of the hands,
the hi-hat foot another few. What is a limb's own is hardly larger for the hi-hat foot than for the
hi-hat hand (by 1.06, the median of 47 takes; for snare and kick by 1.15 and 1.19). The snare
strokes of flams are 42 ms apart, the first 5 dB softer.

The other three are reasoned from it, and from common practice: an advanced player is a quarter
wider, an intermediate one half as wide again, a beginner about twice as wide; what is theirs alone
grows faster than what is shared, since limbs that are not yet one do not err together; ghost notes
come out louder the less somebody has practised them, and only the first two miss strokes. From one
of them to the next they differ less than the professionals of the data do: who is a third wider
than an intermediate player is no intermediate player.

``SKILLS`` are the players that can be asked for; the intermediate one and the beginner have habits
besides (``Skill.without_habits`` takes them away).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets
from playalong.pattern.voices import TOMS, VOICES, Limb, Voice
from playalong.simulation.human_touch import Touch


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """What a player does at some strokes again and again.

    The strokes are those of ``limb``, ``voice`` and ``dynamic``, where given; with ``nth`` only
    those at that place of the pattern, counted through its strokes of this kind (0 is the first,
    and counting goes round); with ``every`` only one in so many of them. There the player is
    ``late_ms`` late (early where negative) and ``louder_db`` louder than otherwise, or leaves
    them out.
    """

    limb: Limb | None = None
    voice: str | None = None
    dynamic: Dynamic | None = None
    nth: int | None = None
    every: int = 1
    late_ms: float = 0.0
    louder_db: float = 0.0
    leaves_out: bool = False

    def at(self, targets: Targets) -> NDArray[np.bool_]:
        """(n,) the targets at which it shows."""
        there = np.ones(len(targets), np.bool_)
        if self.limb is not None or self.voice is not None:
            meant = [
                self.limb in (None, voice.limb) and self.voice in (None, voice.name)
                for voice in VOICES
            ]
            there &= np.array(meant)[targets.voice]
        if self.dynamic is not None:
            there &= targets.dynamic == DYNAMICS.index(self.dynamic)
        if self.nth is not None and there.any():
            places = np.unique(targets.place[there])
            there &= targets.place == places[self.nth % len(places)]
        rows = np.flatnonzero(there)
        there[:] = False
        there[rows[self.every // 2 :: self.every]] = True
        return there


@dataclass(frozen=True, slots=True, kw_only=True)
class Skill:
    """How somebody plays.

    ``error_ms`` maps a limb to (where it lies, its own standard deviation); ``shared_ms`` is the
    standard deviation of the waves that all limbs share. ``varies``: from one person to the next
    (one seed to the next) the spreads differ by this factor, as a standard deviation of its
    logarithm; they grow with the length of a beat as in ``human_timing`` unless ``by_tempo`` is
    off. ``touch`` is how loud each limb plays, ``toms`` how loud those are played where otherwise.
    ``grace_ms`` are (distance, its standard deviation) of a grace stroke from the next stroke,
    ``grace_db`` (how much softer, its standard deviation). ``drift_percent`` is how much faster
    than written the tempo is; ``miss``, ``extra`` and ``wrong_drum`` are chances for each target.
    """

    error_ms: Mapping[Limb, tuple[float, float]]
    touch: Mapping[Limb, Touch]
    toms: Touch | None = None
    shared_ms: float = 0.0
    varies: float = 0.0
    by_tempo: bool = True
    grace_ms: tuple[float, float] = (1000.0 * GRACE_S, 0.0)
    grace_db: tuple[float, float] = (12.0, 0.0)
    drift_percent: float = 0.0
    miss: float = 0.0
    extra: float = 0.0
    wrong_drum: float = 0.0
    habits: tuple[Habit, ...] = field(default=())

    def touch_of(self, voice: Voice) -> Touch:
        """How loud a voice is played."""
        if self.toms is not None and voice.name in TOMS:
            return self.toms
        return self.touch[voice.limb]

    def without_habits(self) -> "Skill":
        """The same player, without habits."""
        return replace(self, habits=())


def _touch(wider: float, ghost_db: float) -> dict[Limb, Touch]:
    """The fitted touch, its spreads so much wider, with ghost notes in the middle at a level."""
    ghosts = {"ghost_db": ghost_db, "ghost_spread_db": 6.5 * wider}
    return {
        Limb.HAT_HAND: Touch(plain_db=-13.0, spread_db=5.0 * wider, breath_db=6.7, **ghosts),
        Limb.SNARE_HAND: Touch(plain_db=-4.5, spread_db=2.5 * wider, breath_db=0.6, **ghosts),
        Limb.KICK_FOOT: Touch(plain_db=-15.0, spread_db=3.5 * wider, breath_db=2.0, **ghosts),
        Limb.HAT_FOOT: Touch(plain_db=-10.0, spread_db=3.2 * wider, breath_db=0.5, **ghosts),
    }


def _toms(wider: float, ghost_db: float) -> Touch:
    """The fitted touch on the toms, whichever hand plays them; as ``_touch`` has those of limbs."""
    return Touch(
        plain_db=-6.0,
        spread_db=3.0 * wider,
        breath_db=3.5,
        leans=0.3,
        ghost_db=ghost_db,
        ghost_spread_db=6.5 * wider,
    )


def _limbs(own_ms: float, foot_ms: float = -11.0) -> dict[Limb, tuple[float, float]]:
    return {
        Limb.HAT_HAND: (-6.0, own_ms * 0.9),
        Limb.SNARE_HAND: (-6.0, own_ms),
        Limb.KICK_FOOT: (-10.0, own_ms * 1.1),
        Limb.HAT_FOOT: (foot_ms, own_ms * 0.95),
    }


#: The skills that can be asked for by name.
SKILLS: dict[str, Skill] = {
    "beginner": Skill(
        error_ms=_limbs(25.0),
        shared_ms=24.0,
        varies=0.1,
        touch=_touch(1.5, -17.0),
        toms=_toms(1.5, -17.0),
        grace_ms=(55.0, 18.0),
        grace_db=(4.0, 5.0),
        miss=0.05,
        extra=0.03,
        wrong_drum=0.02,
        habits=(
            Habit(limb=Limb.KICK_FOOT, late_ms=30.0),
            Habit(dynamic=Dynamic.GHOST, nth=0, louder_db=9.0),
        ),
    ),
    "intermediate": Skill(
        error_ms=_limbs(17.0),
        shared_ms=19.0,
        varies=0.1,
        touch=_touch(1.2, -22.0),
        toms=_toms(1.2, -22.0),
        grace_ms=(46.0, 10.0),
        grace_db=(6.0, 4.0),
        miss=0.01,
        extra=0.004,
        wrong_drum=0.004,
        habits=(
            Habit(limb=Limb.KICK_FOOT, nth=1, late_ms=42.0),
            Habit(dynamic=Dynamic.GHOST, nth=0, louder_db=16.0),
            Habit(limb=Limb.HAT_HAND, every=52, leaves_out=True),
        ),
    ),
    "advanced": Skill(
        error_ms=_limbs(13.5),
        shared_ms=16.5,
        varies=0.1,
        touch=_touch(1.1, -24.0),
        toms=_toms(1.1, -24.0),
        grace_ms=(42.0, 8.0),
        grace_db=(6.0, 3.0),
        miss=0.002,
    ),
    "professional": Skill(
        error_ms=_limbs(10.5),
        shared_ms=14.5,
        varies=0.15,
        touch=_touch(1.0, -26.0),
        toms=_toms(1.0, -26.0),
        grace_ms=(42.0, 8.0),
        grace_db=(7.0, 3.0),
    ),
}
