"""Settings: what one exercise plays and asks, and how it is made easier.

``ease`` answers with an easier setting, or with None where the setting leaves no room for it.
Which easing comes when stands in ``plan.MANNERS``.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from playalong.grading.levels import LEVELS, Level
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.pattern.voices import BY_NAME
from playalong.practice.excerpts import (
    Excerpt,
    Names,
    Part,
    beats,
    cut,
    is_empty,
    spoken,
    touched,
)
from playalong.practice.phrases import Code, Said, said
from playalong.practice.plan import Easing, Step
from playalong.practice.repetition import Fault

#: How much slower "slower" is, and never below this share of where it began, nor below 20 bpm.
SLOWER, SLOWEST, SLOWEST_BPM = 0.85, 0.5, 20.0

#: Below the first level there is none: its tolerance is made wider by this.
WIDEST = 4 / 3

#: So many repetitions of what was made easier are judged together, at most.
EASIER_CLEAN = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What is played and asked; fields as in ``plan.Step``.

    ``floor_bpm`` is the slowest that it is made; ``wider`` by how many levels it is judged less
    strictly; where ``guided`` the program plays all of it with the player; ``why`` says what was
    made easier and why.
    """

    parts: tuple[Part, ...]
    rounds: tuple[Names, ...]
    times: int
    with_rest: bool
    voices: tuple[str, ...] | None
    tempo_bpm: float
    floor_bpm: float
    clean: int
    landing: Part | None = None
    wider: int = 0
    guided: bool = False
    why: Said | None = None

    @classmethod
    def of(cls, step: Step, tempo_bpm: float, clean: int) -> "Setting":
        """The step itself at a tempo, its last ``clean`` repetitions judged together."""
        return cls(
            parts=step.parts,
            rounds=step.rounds,
            times=step.times,
            with_rest=step.with_rest,
            voices=step.voices,
            tempo_bpm=tempo_bpm,
            floor_bpm=min(tempo_bpm, max(SLOWEST_BPM, SLOWEST * step.tempo_bpm)),
            clean=clean,
            landing=step.landing,
        )

    @property
    def excerpt(self) -> Excerpt:
        """What the player plays."""
        parts = self.parts if self.landing is None else (*self.parts, self.landing)
        return Excerpt(
            parts=parts, rounds=self.rounds, with_rest=self.with_rest, voices=self.voices
        )

    def accompaniment(self, pattern: Pattern) -> Pattern | None:
        """What the program plays: the other voices, or all of it; None where that is nothing."""
        if self.guided:
            return replace(self.excerpt, voices=None).of(pattern)
        if self.voices is None:
            return None
        others = self.excerpt.others_of(pattern)
        return others if others.voices else None

    def spoken(self, pattern: Pattern) -> str:
        """What is played, as it is spoken."""
        return spoken(pattern, self.parts)


def ease(
    easing: Easing, setting: Setting, pattern: Pattern, *, worst: Fault | None
) -> Setting | None:
    """``setting`` made easier in one way; ``worst`` is where it went wrong, if known."""
    return _EASE[easing](setting, pattern, worst)


def wider(rules: Rules, levels: int) -> Rules:
    """Rules of so many levels below, with the player's own tolerance as much wider."""
    order = list(Level)
    for _ in range(levels):
        at = order.index(rules.level)
        level = order[max(0, at - 1)]
        factor = LEVELS[level].tolerance_ms / LEVELS[rules.level].tolerance_ms if at else WIDEST
        rules = replace(rules, level=level, tolerance_ms=rules.tolerance_ms * factor)
    return rules


def _slower(setting: Setting, pattern: Pattern, worst: Fault | None) -> Setting | None:
    tempo_bpm = max(setting.floor_bpm, float(round(setting.tempo_bpm * SLOWER)))
    if tempo_bpm >= setting.tempo_bpm:
        return None
    why = said(Code.SLOWER, tempo_bpm=tempo_bpm)
    return replace(setting, tempo_bpm=tempo_bpm, clean=_few(setting), why=why)


def _smaller(setting: Setting, pattern: Pattern, worst: Fault | None) -> Setting | None:
    bars = touched(setting.parts)
    names, place = setting.rounds[0], None
    if worst is not None:
        names = setting.rounds[worst.bar // len(bars) % len(setting.rounds)]
        place = bars[worst.bar % len(bars)], worst.at
    pieces = [
        part
        for part in _pieces(setting, pattern)
        if not is_empty(pattern, part, names, voices=setting.voices)
    ]
    if len(pieces) < 2:
        return None
    found = next((part for part in pieces if place and part.holds(*place)), None)
    part = found or pieces[-1]
    why = said(Code.SMALLER_WHERE_FAULTS_ARE if found else Code.SMALLER, name=part.name)
    return replace(
        setting,
        parts=(part,),
        rounds=(names,),
        times=1,
        with_rest=True,
        landing=None,
        clean=min(setting.clean * setting.times, EASIER_CLEAN),
        why=why,
    )


def _pieces(setting: Setting, pattern: Pattern) -> tuple[Part, ...]:
    """The parts, or what the only one can be cut into."""
    if len(setting.parts) > 1:
        return setting.parts
    whole = setting.parts[0]
    for finer in (cut(pattern), beats(pattern, whole.bar)):
        inside = tuple(
            part
            for part in finer
            if part.bar == whole.bar and whole.start <= part.start and part.end <= whole.end
        )
        if len(inside) > 1:
            return inside
    return setting.parts


def _one_limb(setting: Setting, pattern: Pattern, worst: Fault | None) -> Setting | None:
    if worst is None:
        return None
    limb = BY_NAME[worst.voice].limb
    voices = setting.excerpt.of(pattern).voices
    own = tuple(voice for voice in voices if BY_NAME[voice].limb is limb)
    if not own or own == voices:
        return None
    why = said(Code.ONE_LIMB, limb=limb)
    return replace(setting, voices=own, clean=_few(setting), why=why)


def _wider(setting: Setting, pattern: Pattern, worst: Fault | None) -> Setting | None:
    if setting.wider:
        return None
    return replace(setting, wider=1, clean=_few(setting), why=said(Code.WIDER))


def _guided(setting: Setting, pattern: Pattern, worst: Fault | None) -> Setting | None:
    if setting.guided:
        return None
    why = said(Code.GUIDED)
    return replace(setting, guided=True, clean=_few(setting), why=why)


def _few(setting: Setting) -> int:
    return min(setting.clean, EASIER_CLEAN)


_EASE: Mapping[Easing, Callable[[Setting, Pattern, Fault | None], Setting | None]] = {
    Easing.SLOWER: _slower,
    Easing.SMALLER: _smaller,
    Easing.LIMB: _one_limb,
    Easing.WIDER: _wider,
    Easing.GUIDED: _guided,
}
