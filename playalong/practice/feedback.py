"""What a lesson says: how its steps stand, what to play now, and its answers."""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

from playalong.grading.verdicts import Rules, Verdict
from playalong.pattern.model import Pattern
from playalong.practice.excerpts import Excerpt
from playalong.practice.free_playing import SHOWN
from playalong.practice.phrases import Said, text
from playalong.practice.plan import Kind, Step


class State(StrEnum):
    """How a step stands."""

    OPEN = "open"
    LEARNED = "learned"
    PASSED = "passed by"
    SKIPPED = "skipped"
    LATER = "left for today"


#: How a step stands that need not be played again.
KNOWN = (State.LEARNED, State.PASSED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What is kept of one step.

    ``repetitions`` and ``clean`` count all that were played and those that were right, ``seconds``
    how long it took, ``helped`` how often it was made easier. ``tempo_bpm`` is how far a climb has
    come, None for its start. ``lately`` tells of the last repetitions, as it is to be learned, the
    newest last: 1 right, 0 wrong.
    """

    #: So many of the last repetitions are kept.
    LATELY: ClassVar[int] = 10
    #: A step is shaky where less than this share of them was right.
    SHAKY: ClassVar[float] = 0.8

    state: State = State.OPEN
    repetitions: int = 0
    clean: int = 0
    seconds: float = 0.0
    helped: int = 0
    tempo_bpm: float | None = None
    lately: str = ""

    @property
    def sure(self) -> float:
        """The share of the last repetitions that was right, 0 where there was none."""
        return self.lately.count("1") / len(self.lately) if self.lately else 0.0

    @property
    def is_shaky(self) -> bool:
        """Whether it should come again another day."""
        return self.sure < self.SHAKY


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the plan: a step, its record, and whether it is played now."""

    step: Step
    record: Record
    now: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """What to play now.

    Lay out ``bars`` bars of ``pattern``, which is ``excerpt`` of the lesson's own, at ``tempo_bpm``
    and grade them by ``rules``: that is one repetition. ``accompaniment``, of the same bars, is
    what the program plays with it. ``calls`` holds for each bar the variation to be named one bar
    ahead ("" for none), and is empty where nothing is called. The last ``clean`` repetitions are
    judged together, ``right`` of them were right. Where ``listen``, it should be heard first.
    ``about`` says what it is, and ``words`` the same as a sentence.
    """

    step: Step
    excerpt: Excerpt
    pattern: Pattern
    bars: int
    tempo_bpm: float
    rules: Rules
    accompaniment: Pattern | None
    calls: tuple[str, ...]
    clean: int
    right: int
    listen: bool
    about: Said

    @property
    def words(self) -> str:
        """What it is, as a sentence."""
        return text(self.about)

    @property
    def is_free(self) -> bool:
        """Whether the player may add and leave out what they like; see ``free_playing``."""
        return self.step.kind is Kind.FREE

    @property
    def shown(self) -> frozenset[Verdict]:
        """The verdicts that leave a mark while it is played."""
        return SHOWN if self.is_free else frozenset(Verdict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is said after a repetition, or a wish of the player.

    ``right``: the repetition counts; ``comment`` is what was right or what to change; ``coming``
    what comes now, and why. ``changed``: the exercise is another one. ``proposal`` is a break, or
    to ``leave`` the step for today; None for none. ``nothing``: no stroke arrived. ``words``,
    ``next`` and ``rest`` are the same in sentences, "" for nothing.
    """

    right: bool
    comment: tuple[Said, ...]
    coming: tuple[Said, ...]
    changed: bool
    proposal: Said | None = None
    leave: bool = False
    nothing: bool = False

    @property
    def words(self) -> str:
        """``comment`` in sentences."""
        return text(*self.comment)

    @property
    def next(self) -> str:
        """``coming`` in sentences."""
        return text(*self.coming)

    @property
    def rest(self) -> str:
        """``proposal`` as a sentence."""
        return text(self.proposal) if self.proposal is not None else ""
