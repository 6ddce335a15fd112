"""One run after matching, as the measures see it.

Conventions for all measures: errors in milliseconds, hit less target, positive is late; levels in
decibel, 0 at velocity 127; spreads are population standard deviations; a figure that cannot be
had is None. Answered means: a target's main stroke and the hit that answers it.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.grading.contrast import Borders
from playalong.grading.graces import Graced
from playalong.grading.loudness import level_db
from playalong.grading.matching.live_grader import judged
from playalong.grading.matching.rolls import Rolled
from playalong.grading.matching.verdict_table import Verdicts, borders_of, heard, ornamented
from playalong.grading.matching.windows import edges, tolerances
from playalong.grading.verdicts import MATCHED, VERDICTS, Rules, Verdict
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets, limbs
from playalong.pattern.voices import VOICES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


#: What of a run speaks of its pairs alone, and of their levels: when each was played, and whether
#: that was on time, changes neither.
_OF_PAIRS = ("answered", "target", "hit", "limb", "voice", "dynamic", "hi_hat", "place", "instant")
_OF_LEVELS = ("borders", "level_db")


@dataclass(frozen=True, kw_only=True)
class MatchedRun:
    """Targets, hits and settled verdicts of one run; arrays of k speak of answered targets."""

    targets: Targets
    hits: Hits
    rules: Rules
    verdicts: Verdicts

    @classmethod
    def of(cls, targets: Targets, hits: Hits, rules: Rules) -> "MatchedRun":
        """Match and judge all ``hits``."""
        verdicts, borders = judged(targets, hits, rules)
        found = cls(targets=targets, hits=hits, rules=rules, verdicts=verdicts)
        found.__dict__["borders"] = borders  # where cached_property keeps it
        return found

    def mended(
        self,
        *,
        time_s: Floats | None = None,
        velocity: Floats | None = None,
        voice: NDArray[np.int16] | None = None,
        removed: NDArray[np.bool_] | None = None,
        added: Hits | None = None,
        anew: bool = False,
    ) -> "MatchedRun":
        """The run judged again with some of its hits played otherwise.

        ``time_s``, ``velocity``, ``voice``: (m,) of all hits, where they change; ``removed`` (m,):
        hits that were not played. Hits keep their numbers; those ``added`` follow on. Who answers
        whom is held, so that only what was mended changes: what a removed hit answered is missed.
        Only other voices, more hits, or ``anew`` make a new matching.
        """
        hits = Hits(
            self.hits.time_s if time_s is None else time_s,
            self.hits.voice if voice is None else voice,
            self.hits.velocity if velocity is None else velocity,
        )
        gone = np.zeros(len(hits), np.bool_) if removed is None else removed
        if voice is None and added is None and not anew:
            known: dict[str, Any] = {}
            if gone.any():
                held = self.verdicts.without(self.targets, gone)
            else:
                held = self.verdicts
                known = {name: getattr(self, name) for name in _OF_PAIRS}
            if time_s is not None:
                held = held.timed(self.targets, hits, self.tolerance)
            if velocity is None and known:
                known |= {name: getattr(self, name) for name in _OF_LEVELS}
            else:
                known["borders"] = borders_of(held, self.targets, hits, rules=self.rules)
            if velocity is not None or gone.any() or self.targets.has_ornaments:
                held = heard(held, self.targets, hits, borders=known["borders"])
            return self._otherwise(hits, held, **known)
        if added is not None:
            hits = Hits(
                np.concatenate([hits.time_s, added.time_s]),
                np.concatenate([hits.voice, added.voice]),
                np.concatenate([hits.velocity, added.velocity]),
            )
            gone = np.concatenate([gone, np.zeros(len(added), np.bool_)])
        verdicts, borders = judged(self.targets, hits, self.rules, rows=np.flatnonzero(~gone))
        return self._otherwise(hits, verdicts, borders=borders)

    def _otherwise(self, hits: Hits, verdicts: Verdicts, **known: Any) -> "MatchedRun":
        """The same run played otherwise; what is known of it already is not worked out again."""
        found = replace(self, hits=hits, verdicts=verdicts)
        for name in ("tolerance", "edges"):  # of targets and rules alone
            known[name] = getattr(self, name)
        found.__dict__.update(known)  # where cached_property keeps them
        return found

    @cached_property
    def tolerance(self) -> Ints:
        """(n,) how far from each target a hit is on time, in half-nanoseconds."""
        return tolerances(self.targets, self.rules.tolerance_ms)

    @cached_property
    def edges(self) -> Ints:
        """(2, n) how far before and after each target its window reaches, in the same unit."""
        return edges(self.targets, self.rules.capture_ms)

    @cached_property
    def limb(self) -> Ints:
        """(k,) the limbs that play the answered targets, as indexes into ``LIMBS``."""
        return limbs(self.targets, self.rules.left_handed)[self.target]

    @cached_property
    def borders(self) -> Borders:
        """What fits each voice and dynamic, by the player's own strokes."""
        return borders_of(self.verdicts, self.targets, self.hits, rules=self.rules)

    @cached_property
    def graced(self) -> Graced:
        """The answered flams, drags and rolls; their rows are of the k."""
        return self._ornamented[0]

    @cached_property
    def rolled(self) -> Rolled:
        """The answered rolls alone."""
        return self._ornamented[1]

    @cached_property
    def _ornamented(self) -> tuple[Graced, Rolled]:
        return ornamented(self.verdicts, self.targets, self.hits, rows=self.answered)

    @cached_property
    def by_verdict(self) -> dict[Verdict, Ints]:
        """The rows of ``verdicts`` for each verdict, grace strokes left out."""
        main = np.where(self.verdicts.grace, np.int8(-1), self.verdicts.verdict)
        return {kind: np.flatnonzero(main == code) for code, kind in enumerate(VERDICTS)}

    @cached_property
    def answered(self) -> Ints:
        """(k,) the rows of ``verdicts`` with answered targets, in order of targets."""
        rows = np.concatenate([self.by_verdict[kind] for kind in MATCHED])
        row_of = np.full(len(self.targets), -1, np.int64)
        row_of[self.verdicts.target[rows]] = rows
        return row_of[row_of >= 0]

    @cached_property
    def target(self) -> Ints:
        """(k,) the answered targets."""
        return self.verdicts.target[self.answered]

    @cached_property
    def hit(self) -> Ints:
        """(k,) the hits that answer them."""
        return self.verdicts.hit[self.answered]

    @cached_property
    def error_ms(self) -> Floats:
        """(k,) their errors."""
        return self.verdicts.error_ms[self.answered]

    @cached_property
    def level_db(self) -> Floats:
        """(k,) the levels of the hits."""
        return level_db(self.hits.velocity[self.hit])

    @cached_property
    def voice(self) -> NDArray[np.int16]:
        """(k,) the voices of the targets, as indexes into ``kit.VOICES``."""
        return self.targets.voice[self.target]

    @cached_property
    def dynamic(self) -> NDArray[np.int8]:
        """(k,) the dynamics asked, as indexes into ``DYNAMICS``."""
        return self.targets.dynamic[self.target]

    @cached_property
    def hi_hat(self) -> NDArray[np.int8]:
        """(k,) the hi-hat's verdicts, as indexes into ``HI_HATS``, -1 of other voices."""
        return self.verdicts.hi_hat[self.answered]

    @cached_property
    def place(self) -> Ints:
        """(k,) the places of the targets in the written pattern."""
        return self.targets.place[self.target].astype(np.int64)

    @cached_property
    def instant(self) -> Ints:
        """(k,) a number for each written instant: equal where strokes belong together."""
        written = self.targets.written[self.target]
        return np.cumsum(np.diff(written, prepend=written[:1]) > 1e-9)

    @cached_property
    def by_voice(self) -> dict[str, Ints]:
        """Which of the k belong to each voice that has answered targets, in staff order."""
        codes = np.flatnonzero(np.bincount(self.voice, minlength=1)).tolist()
        return {VOICES[code].name: np.flatnonzero(self.voice == code) for code in codes}


def mean(values: Floats) -> float | None:
    """The mean, None of nothing."""
    return float(values.mean()) if len(values) else None


def spread(values: Floats) -> float | None:
    """The population standard deviation, None of nothing."""
    return float(values.std()) if len(values) else None


def median(values: Floats) -> float | None:
    """The median, None of nothing: what ``numpy.median`` gives, sooner."""
    if not len(values):
        return None
    half = len(values) // 2
    if len(values) % 2:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, (half - 1, half))
    return float((parted[half - 1] + parted[half]) / 2.0)
