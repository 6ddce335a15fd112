"""Next week's homework: what trains what the findings say.

Each finding asks for something to train (``TRAINS``). A thing that a pattern of the library trains
gives the plainest pattern that has it, under its own tempo; a matter of time gives the item's own
pattern with gaps in the click; a stroke or a voice that goes wrong the item's own pattern, slower.
Which finding asks for what is common practice.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Any

from playalong.grading.grade import Code
from playalong.pattern.model import Dynamic, Pattern, Stroke
from playalong.pattern.voices import BY_NAME, Limb

#: How much slower than its tempo something new is begun, and a part that goes wrong is repeated.
EASIER, SLOWER = 0.85, 0.75

#: So many things to work on are enough for a week.
MOST = 3


class Trained(StrEnum):
    """What can be trained."""

    GHOSTS = "ghost notes far under the back-beat"
    GHOSTS_ON_KICK = "a strong kick under soft ghost notes"
    ACCENTS = "accents that stand out of even strokes"
    OPEN_HATS = "opening and closing the hi-hat"
    FLAMS = "flams"
    DRAGS = "drags"
    ROLLS = "rolls that begin and end on the beat"
    SWING = "an even swing"
    TOGETHER = "hand and foot falling together"
    TIME = "keeping the time alone"
    SLOWLY = "playing it slower, until nothing is missing"


TRAINS: Mapping[Code, Trained] = {
    Code.GHOST_LOUD: Trained.GHOSTS,
    Code.GHOST_SOFT: Trained.GHOSTS,
    Code.GHOST_LOUD_OVER_KICK: Trained.GHOSTS_ON_KICK,
    Code.KICK_SOFT_UNDER_GHOST: Trained.GHOSTS_ON_KICK,
    Code.ACCENT_FLAT: Trained.ACCENTS,
    Code.STROKE_LOUD: Trained.ACCENTS,
    Code.STROKE_SOFT: Trained.ACCENTS,
    Code.UNEVEN_LOUDNESS: Trained.ACCENTS,
    Code.NOT_OPEN: Trained.OPEN_HATS,
    Code.NOT_CLOSED: Trained.OPEN_HATS,
    Code.FLAM_FLAT: Trained.FLAMS,
    Code.FLAM_WIDE: Trained.FLAMS,
    Code.GRACE_LOUD: Trained.FLAMS,
    Code.GRACE_MISSING: Trained.FLAMS,
    Code.DRAG_OPEN: Trained.DRAGS,
    Code.DRAG_MISSING: Trained.DRAGS,
    Code.ROLL_SHORT: Trained.ROLLS,
    Code.ROLL_LONG: Trained.ROLLS,
    Code.ROLL_BROKEN: Trained.ROLLS,
    Code.ROLL_UNEVEN: Trained.ROLLS,
    Code.PLAYED_STRAIGHT: Trained.SWING,
    Code.PLAYED_SWUNG: Trained.TIME,
    Code.UNISON_APART: Trained.TOGETHER,
    Code.LIMB_EARLY: Trained.TOGETHER,
    Code.LIMB_LATE: Trained.TOGETHER,
    Code.FASTER: Trained.TIME,
    Code.SLOWER: Trained.TIME,
    Code.SPEEDING_UP: Trained.TIME,
    Code.SLOWING_DOWN: Trained.TIME,
    Code.WANDERING: Trained.TIME,
    Code.ALL_EARLY: Trained.TIME,
    Code.ALL_LATE: Trained.TIME,
    Code.UNEVEN_TIME: Trained.TIME,
    Code.STOPPED: Trained.SLOWLY,
    Code.HESITATED: Trained.SLOWLY,
    Code.LOST_PLACE: Trained.SLOWLY,
    Code.HALF_TEMPO: Trained.TIME,
    Code.DOUBLE_TEMPO: Trained.TIME,
    Code.STROKE_EARLY: Trained.SLOWLY,
    Code.STROKE_LATE: Trained.SLOWLY,
    Code.MISSED_STROKE: Trained.SLOWLY,
    Code.MISSED_VOICE: Trained.SLOWLY,
    Code.EXTRA: Trained.SLOWLY,
    Code.WRONG_DRUM: Trained.SLOWLY,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One thing to practise for a week: ``pattern`` by its name, ``why`` in words.

    ``gap`` as in an item; ``code`` is the finding that asks for it.
    """

    pattern: str
    title: str
    tempo_bpm: float
    trained: Trained
    code: Code
    gap: tuple[int, int, int] | None = None

    @property
    def why(self) -> str:
        """What it trains."""
        return self.trained.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What was played: a pattern at a tempo, and the findings of its grade as JSON."""

    pattern: Pattern
    tempo_bpm: float
    findings: Sequence[Mapping[str, Any]]


def proposals(played: Iterable[Played], library: Mapping[str, Pattern]) -> list[Proposal]:
    """What to practise next, the most that mending it would win first; ``MOST`` at most."""
    weighed = sorted(
        ((finding, one) for one in played for finding in one.findings),
        key=lambda pair: -float(pair[0]["gain"]),
    )
    found: list[Proposal] = []
    for finding, one in weighed:
        code = next((code for code in Code if code.value == finding["code"]), None)
        trained = TRAINS.get(code) if code is not None else None
        if code is None or trained is None or len(found) >= MOST:
            continue
        proposal = _proposal(code, trained, one, library=library)
        if proposal is not None and not any(_is_same(proposal, other) for other in found):
            found.append(proposal)
    return found


def _is_same(one: Proposal, other: Proposal) -> bool:
    """Whether two things to practise come to one: one of a kind is enough for a week, but what does
    not go yet may be several patterns.
    """
    if one.trained is not other.trained:
        return False
    return one.trained is not Trained.SLOWLY or one.pattern == other.pattern


def _proposal(
    code: Code, trained: Trained, one: Played, *, library: Mapping[str, Pattern]
) -> Proposal | None:
    own, gap, tempo_bpm = one.pattern, None, one.tempo_bpm
    if trained is Trained.TIME:
        gap = (2, 2, 0)
    elif trained is Trained.SLOWLY:
        tempo_bpm = SLOWER * one.tempo_bpm
    else:
        fitting = [p for p in library.values() if trains(p, trained) and p.name != own.name]
        if not fitting:
            return None
        own = min(fitting, key=lambda pattern: (_demands(pattern), pattern.name))
        tempo_bpm = EASIER * own.tempo
    return Proposal(
        pattern=own.name,
        title=own.title,
        tempo_bpm=float(max(20, round(tempo_bpm))),
        trained=trained,
        code=code,
        gap=gap,
    )


def as_text(found: Sequence[Proposal], days: int = 7) -> str:
    """The proposals as an assessment file of ``days`` of homework."""
    lines = ['title = "Homework"', 'kind = "homework"', f"days = {days}"]
    for one in found:
        lines += ["", "[[item]]", f'pattern = "{one.pattern}"', f"tempo = {one.tempo_bpm:g}"]
        lines += ["bars = 8"]
        if one.gap is not None:
            lines.append(f'gap = "{one.gap[0]}+{one.gap[1]}"')
        lines += ["", "[item.asked]", "score = 80"]
    return "\n".join(lines) + "\n"


def trains(pattern: Pattern, what: Trained) -> bool:
    """Whether the pattern as written has what is to be trained."""
    return _HAS[what](pattern) if what in _HAS else False


def _strokes(pattern: Pattern) -> list[Stroke]:
    return [stroke for bar in pattern.bars for stroke in bar.strokes]


def _share(pattern: Pattern, fits: Callable[[Stroke], bool]) -> float:
    strokes = _strokes(pattern)
    return sum(map(fits, strokes)) / len(strokes)


def _is_ghost(stroke: Stroke) -> bool:
    return stroke.dynamic is Dynamic.GHOST


def _is_accent(stroke: Stroke) -> bool:
    return stroke.dynamic is Dynamic.ACCENT


def _graces(pattern: Pattern) -> int:
    return sum(stroke.graces for stroke in _strokes(pattern))


def _ghosts_on_kick(pattern: Pattern) -> bool:
    count = 0
    for bar in pattern.bars:
        kicks: set[Fraction] = {s.at for s in bar.strokes if s.voice == "kick"}
        count += sum(_is_ghost(s) and s.voice != "kick" and s.at in kicks for s in bar.strokes)
    return count >= 2 and _share(pattern, _is_accent) > 0.0


def _has_ghosts(pattern: Pattern) -> bool:
    """Ghost notes beside stronger strokes of their voice, none of them on a kick."""
    strokes = _strokes(pattern)
    ghosts = {stroke.voice for stroke in strokes if _is_ghost(stroke)} - {"kick"}
    beside = any(s.voice in ghosts and _is_accent(s) for s in strokes)
    return beside and not _graces(pattern) and not _ghosts_on_kick(pattern)


def _has_accents(pattern: Pattern) -> bool:
    """A voice with several accents, and twice as many even strokes between them."""
    strokes = _strokes(pattern)
    for voice in pattern.voices:
        own = [stroke for stroke in strokes if stroke.voice == voice]
        accents = sum(map(_is_accent, own))
        if accents >= 3 and len(own) >= 3 * accents and not _graces(pattern):
            return True
    return False


def _has_together(pattern: Pattern) -> bool:
    """Half of the kicks at least fall with a hand."""
    kicks, shared = 0, 0
    for bar in pattern.bars:
        hands = {s.at for s in bar.strokes if BY_NAME[s.voice].limb is not Limb.KICK_FOOT}
        own = [s.at for s in bar.strokes if s.voice == "kick"]
        kicks, shared = kicks + len(own), shared + sum(at in hands for at in own)
    return kicks > 0 and shared >= kicks / 2 and not any(map(_is_ghost, _strokes(pattern)))


_HAS: Mapping[Trained, Callable[[Pattern], bool]] = {
    Trained.GHOSTS: _has_ghosts,
    Trained.GHOSTS_ON_KICK: _ghosts_on_kick,
    Trained.ACCENTS: _has_accents,
    Trained.OPEN_HATS: lambda p: _share(p, lambda s: s.is_open) > 0.0,
    Trained.FLAMS: lambda p: _share(p, lambda s: s.graces == 1) > 0.0,
    Trained.DRAGS: lambda p: _share(p, lambda s: s.graces == 2) > 0.0,
    Trained.ROLLS: lambda p: _share(p, lambda s: s.roll is not None) > 0.0,
    Trained.SWING: lambda p: not p.swing.is_straight,
    Trained.TOGETHER: _has_together,
}


def _demands(pattern: Pattern) -> tuple[int, bool, int, int, float]:
    """How much a pattern asks for: bars, an uneven or swung time, graces, strokes, tempo."""
    plain = pattern.swing.is_straight and pattern.meter.written == "4/4"
    strokes = len(_strokes(pattern))
    return len(pattern.bars), not plain, _graces(pattern), strokes, pattern.tempo
