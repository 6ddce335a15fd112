"""Free playing: what is shown while variations are mixed, and what it is judged against afterwards.

While it is played nobody knows yet which variation was meant. So only what answers a stroke is
shown, and nothing that was added or left out is marked as a fault. Afterwards it is found bar by
bar what was played, and it is judged as that.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import MATCHED, Rules, Verdict
from playalong.midi.hits import Hit
from playalong.pattern.model import Bar, Pattern
from playalong.practice.repetition import Repetition, repetition
from playalong.practice.variations.mixing import Explainer, inaudible
from playalong.practice.variations.texture import Texture, texture

#: The verdicts that are shown while it is played.
SHOWN: frozenset[Verdict] = frozenset(MATCHED)


@dataclass(frozen=True, slots=True)
class Mixed:
    """What was played: ``pattern`` has the bars of the whole run, each with its variations."""

    pattern: Pattern
    texture: Texture

    def repetition(
        self, run: MatchedRun, tempo_bpm: float, seconds: float, *, advice: str = ""
    ) -> Repetition:
        """The repetition behind ``run``, for which ``pattern`` was laid out.

        It names no worst stroke: the bars are those of this run, and not of the exercise.
        """
        found = repetition(run, self.pattern, tempo_bpm, seconds=seconds, advice=advice)
        return replace(found, worst=None, never=self.texture.never)


def as_played(
    pattern: Pattern,
    hits: Sequence[Hit],
    *,
    bars: int,
    tempo_bpm: float,
    rules: Rules,
    explainer: Explainer | None = None,
) -> Mixed:
    """What ``hits``, in seconds from bar 1, made of ``pattern`` in a run of ``bars`` bars.

    ``explainer`` is one of the same pattern, tempo and rules, where there is one already.
    """
    explainer = explainer or Explainer(pattern, tempo_bpm, rules)
    parts = [
        (number % len(pattern.bars), own) for number, own in enumerate(explainer.split(hits, bars))
    ]
    explained = explainer.explain_run(parts)
    played: tuple[Bar, ...] = tuple(
        pattern.with_variations(bar.names)[bar.bar] for bar in explained
    )
    mixed = replace(pattern, bars=played, variations={}, chunks=(), practice=None)
    silent = inaudible(pattern)
    heard = tuple(name for name in pattern.variations if name not in silent)
    return Mixed(mixed, texture(heard, explained))
