"""What was played, stroke by stroke, so that a fault can be put into it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.pattern.targets import Targets
from playalong.simulation.player import perform
from playalong.simulation.skills import Skill

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Grace strokes that a stroke may have at most: those of a drag.
MOST_GRACES = 2


@dataclass(frozen=True, kw_only=True)
class Played:
    """The hits of a take by the targets that they answer.

    ``time_s``, ``velocity`` (n,), nan where a target was not answered; ``voice`` (n,) of the hit:
    an open hi-hat stays open. ``grace_s``, ``grace_velocity`` (n, 2) of the grace strokes, the one
    next to the main stroke first, nan where there is none. ``extra`` are the other hits.
    """

    targets: Targets
    time_s: Floats
    velocity: Floats
    voice: NDArray[np.int16]
    grace_s: Floats
    grace_velocity: Floats
    extra: Hits

    @classmethod
    def of(cls, targets: Targets, hits: Hits) -> "Played":
        """The hits as the matching on the click pairs them with targets."""
        run = MatchedRun.of(targets, hits, Rules())
        count = len(targets)
        time_s, velocity = np.full(count, np.nan), np.full(count, np.nan)
        voice = targets.voice.copy()
        time_s[run.target] = hits.time_s[run.hit]
        velocity[run.target] = hits.velocity[run.hit]
        voice[run.target] = hits.voice[run.hit]
        grace_s = np.full((count, MOST_GRACES), np.nan)
        grace_velocity = grace_s.copy()
        used = np.zeros(len(hits), np.bool_)
        used[run.hit] = True
        for row in np.flatnonzero(run.verdicts.grace)[::-1].tolist():
            target, hit = int(run.verdicts.target[row]), int(run.verdicts.hit[row])
            place = int(np.isnan(grace_s[target]).argmax())
            grace_s[target, place] = hits.time_s[hit]
            grace_velocity[target, place] = hits.velocity[hit]
            used[hit] = True
        for target in np.flatnonzero((~np.isnan(grace_s)).sum(axis=1) > 1).tolist():
            latest = np.argsort(-grace_s[target])
            grace_s[target] = grace_s[target, latest]
            grace_velocity[target] = grace_velocity[target, latest]
        left = Hits(hits.time_s[~used], hits.voice[~used], hits.velocity[~used])
        return cls(
            targets=targets,
            time_s=time_s,
            velocity=velocity,
            voice=voice,
            grace_s=grace_s,
            grace_velocity=grace_velocity,
            extra=left,
        )

    @classmethod
    def by(cls, targets: Targets, skill: Skill, seed: int) -> "Played":
        """A performance by a simulated player."""
        return cls.of(targets, hits_of(perform(targets, skill, seed).messages)[0])

    @property
    def answered(self) -> Bools:
        """(n,) which targets were answered."""
        return ~np.isnan(self.time_s)

    @property
    def error_ms(self) -> Floats:
        """(n,) their errors, nan where there is none."""
        error_ms: Floats = (self.time_s - self.targets.time_s) * 1000.0
        return error_ms

    def hits(self) -> Hits:
        """All hits."""
        graces = ~np.isnan(self.grace_s) & self.answered[:, None]
        rows = np.nonzero(graces)[0]
        mains = self.answered
        return Hits.sorted(
            np.concatenate([self.time_s[mains], self.grace_s[graces], self.extra.time_s]),
            np.concatenate([self.voice[mains], self.voice[rows], self.extra.voice]),
            np.concatenate(
                [self.velocity[mains], self.grace_velocity[graces], self.extra.velocity]
            ),
        )

    def moved(self, by_s: Floats | float) -> "Played":
        """Strokes with their grace strokes so much later; ``by_s`` (n,) or one for all."""
        each = np.broadcast_to(np.asarray(by_s, np.float64), self.time_s.shape)
        return replace(self, time_s=self.time_s + each, grace_s=self.grace_s + each[:, None])

    def warped(self, course: Callable[[Floats], Floats]) -> "Played":
        """Everything at another time: ``course`` tells when, for each second of before."""
        extra = Hits.sorted(course(self.extra.time_s), self.extra.voice, self.extra.velocity)
        return replace(self, time_s=course(self.time_s), grace_s=course(self.grace_s), extra=extra)

    def louder(self, by_db: Floats) -> "Played":
        """Strokes so much louder, (n,) in dB by 40 log10 v, as whole velocities."""
        return self.at_velocity(self.velocity * 10.0 ** (by_db / 40.0))

    def at_velocity(self, velocity: Floats) -> "Played":
        """Strokes at these velocities, (n,), made whole and possible."""
        return replace(self, velocity=np.clip(np.rint(velocity), 1.0, 127.0))

    def without(self, gone: Bools) -> "Played":
        """Strokes left out, their grace strokes with them."""
        return replace(self, time_s=np.where(gone, np.nan, self.time_s))

    def with_extra(self, time_s: Floats, voice: NDArray[np.int16], velocity: Floats) -> "Played":
        """More hits that answer nothing."""
        extra = Hits.sorted(
            np.concatenate([self.extra.time_s, time_s]),
            np.concatenate([self.extra.voice, voice]),
            np.concatenate([self.extra.velocity, np.clip(np.rint(velocity), 1.0, 127.0)]),
        )
        return replace(self, extra=extra)
