"""Whole lessons on a simulated clock: how long they take, how much goes right, what holds.

Players fitted to drummers (``simulation.skills``), each at their own level, as they are and
learning, one who cannot play what is asked, and one without a fault, over all shipped patterns. A
lesson ends when it is through, or after three sittings of half an hour. ``tests.helpers.students``
says how time goes and how people learn.

Of lessons drawn by chance one learned step is drawn, and tried fifty times by the same player.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from playalong.grading.levels import LEVELS, Level
from playalong.practice.feedback import KNOWN, State
from playalong.practice.lesson import LUCK_BELOW, PASSES, SURE, SURER, SURER_OF, TRIAL, Lesson
from playalong.practice.plan import Kind, practice_of
from playalong.practice.repetition import REQUIRED
from playalong.records.pattern_files import library
from tests.helpers.students import Student, sit
from tests.long.frame import Options, Table, generator

#: A lesson is one player at one pattern: twenty of each.
SEEDS = 20
FULL_COUNT, SAMPLE_COUNT = SEEDS * len(library().names()), 12

SITTINGS, SITTING_S = 3, 30 * 60.0
TRIES, SHARE = 50, 1.0 / 3.0

#: So many lessons at most have a learned step tried: a few more than there are to be steps.
TRIED = 2_400

#: What success in the middle of a lesson comes to, and how far from it is near.
AIM, NEAR = 0.85, 0.05


@dataclass(frozen=True, kw_only=True)
class Who:
    """Somebody who takes lessons: a player by name, at a level, and whether they learn.

    They take one lesson in so many ``fewer`` of the count.
    """

    player: str
    level: Level
    learns: bool = False
    fewer: int = 1

    def __str__(self) -> str:
        learning = ", learning" if self.learns else ""
        at = "" if self.player == self.level else f" at {self.level}"
        return f"{self.player}{at}{learning}"


WHO = (
    Who(player="faultless", level=Level.PROFESSIONAL),
    *(Who(player=level.value, level=level) for level in reversed(Level)),
    Who(player="intermediate", level=Level.INTERMEDIATE, learns=True),
    Who(player="beginner", level=Level.BEGINNER, learns=True),
    Who(player="beginner", level=Level.PROFESSIONAL, fewer=5),
)

#: The first patterns, for a beginner's first sitting: the slowest goals of one bar in eighths.
FIRST = ("boots-by-the-door", "bucket-chain", "kettle-lid", "rain-on-the-bins")


@dataclass(frozen=True, kw_only=True)
class Played:
    """One lesson: sums over its sittings, and what it came to.

    ``middle`` are the right ones and all of the middle third of the repetitions; ``bar_first``
    whether the whole was held in the first sitting; ``tried`` the share that was right of a learned
    step's later tries, nan where nothing was learned or tried.
    """

    pattern: str
    bars: int
    minutes: float
    sittings: int
    repetitions: int
    middle: tuple[int, int]
    longest: int
    unsaid: int
    is_through: bool
    bar_first: bool
    tried: float


@cache
def names() -> list[str]:
    """The names of all shipped patterns, in an order by chance."""
    known = library().names()
    return [known[at] for at in generator(1, 0).permutation(len(known))]


def lesson_of(item: tuple[Who, str, int, bool]) -> Played:
    """One lesson, from the beginning; then a learned step is tried, if it is to be."""
    who, name, seed, is_tried = item
    pattern = library().get(name)
    student = Student.of(who.player, who.level, pattern, seed=seed, learns=who.learns)
    lesson = student.lesson()
    minutes, rights, longest, unsaid, bar_first = 0.0, [], 0, 0, False
    sittings = 0
    for sittings in range(1, SITTINGS + 1):
        sitting = sit(student, lesson, most_s=SITTING_S)
        minutes += sitting.playing_s / 60.0
        rights += sitting.rights
        longest, unsaid = max(longest, sitting.longest), unsaid + sitting.unsaid
        bar_first = bar_first or (
            any(
                line.record.state in KNOWN
                for line in lesson.overview()
                if line.step.kind is Kind.BAR
            )
            and sittings == 1
        )
        states = {line.record.state for line in lesson.overview()}
        if states <= {*KNOWN}:
            break
        plain = lesson.as_plain()
        lesson = Lesson.from_plain(pattern, plain, student.rules, like=lesson)
    middle = rights[len(rights) // 3 : max(1, 2 * len(rights) // 3)]
    return Played(
        pattern=name,
        bars=len(pattern.bars),
        minutes=minutes,
        sittings=sittings,
        repetitions=len(rights),
        middle=(sum(middle), len(middle)),
        longest=longest,
        unsaid=unsaid,
        is_through=states <= {*KNOWN},
        bar_first=bar_first,
        tried=_tried(student, lesson, generator(seed, library().names().index(name)))
        if is_tried
        else float("nan"),
    )


def _tried(student: Student, lesson: Lesson, chance: np.random.Generator) -> float:
    learned = [
        number
        for number, line in enumerate(lesson.overview())
        if line.record.state is State.LEARNED
    ]
    if not learned:
        return float("nan")
    lesson.repeat(learned[int(chance.integers(len(learned)))])
    exercise = lesson.exercise
    assert exercise is not None
    return sum(lesson.counts(student.play(exercise)) for _ in range(TRIES)) / TRIES


def tables(options: Options) -> Iterator[Table]:
    """What is asked, and what came of it."""
    asked = Table(
        "asked of repetitions together (and of one alone), in per cent of the strokes",
        ("level", "tolerance ms", "played", "in time", "loud", "limb within ms"),
    )
    for level, ask in REQUIRED.items():
        ms = LEVELS[level].tolerance_ms
        cells = [
            f"{100 * getattr(ask, name):.3g} ({100 * getattr(ask, f'{name}_once'):.3g})"
            for name in ("played", "in_time", "loud")
        ]
        asked.row(level, ms, *cells, ask.limb * ms)
    yield asked
    passing = Table("asked of a step, as it is to be learned", ("step", "so many", "right"))
    passing.row("the whole, tried first", f"{TRIAL} at most", str(PASSES))
    passing.row("a chunk at once", str(PASSES), f"{PASSES}, clean together")
    together = f"the last {practice_of(library().get(names()[0])).clean} together"
    passing.row("any step, and a chunk else", together, f"{SURE:.0%} lately")
    little = f"where less than {LUCK_BELOW:.0%} goes right, a whole that was tried among it"
    passing.row(little, f"and {SURER_OF} at least", f"{SURER:.0%} lately")
    yield passing
    found = {}
    title = "whole lessons: median of all of one bar, and of several"
    lessons = sum(options.count // who.fewer for who in WHO if who.player != "faultless")
    for number, who in enumerate(WHO):
        found[who] = _taken(options, number, share=min(1.0, TRIED / max(1, lessons)))
        yield _lessons(who, found[who], title)
        title = ""
    yield _holding(found)


def _taken(options: Options, number: int, *, share: float) -> list[Played]:
    """At least one lesson of the player of that number, one pattern after the other, each time
    with another seed; a step is tried in about this ``share`` of them.
    """
    who, count = WHO[number], len(names())
    items = [
        (
            who,
            names()[case % count],
            options.seed * 10_000 + case // count,
            bool(generator(number, case).random() < share),
        )
        for case in range(max(1, options.count // who.fewer))
    ]
    return list(options.map(lesson_of, items))


_HEADINGS = (
    "player", "bars", "lessons", "minutes (90 %)", "repetitions (90 %)", "sittings",
    "right in the middle", "through", "whole at first", "longest without a change", "unsaid",
)  # fmt: skip


def _lessons(who: Who, played: list[Played], title: str) -> Table:
    table = Table(title, _HEADINGS)
    for bars, own in (
        ("one", [one for one in played if one.bars == 1]),
        ("more", [one for one in played if one.bars > 1]),
    ):
        if not own:
            continue
        minutes = np.array([one.minutes for one in own])
        repetitions = np.array([one.repetitions for one in own])
        right, of = np.sum([one.middle for one in own], axis=0)
        first = [one.bar_first for one in own if one.pattern in FIRST]
        longest, unsaid = max(one.longest for one in own), sum(one.unsaid for one in own)
        table.row(
            who,
            bars,
            len(own),
            f"{np.median(minutes):.1f} ({np.percentile(minutes, 90):.1f})",
            f"{np.median(repetitions):.0f} ({np.percentile(repetitions, 90):.0f})",
            f"{np.median([one.sittings for one in own]):.0f}",
            f"{right / of:.3f}",
            f"{np.mean([one.is_through for one in own]):.3f}",
            f"{np.mean(first):.2f}" if first else "",
            longest,
            unsaid,
            holds=longest <= 12
            and unsaid == 0
            and _holds(who, bars, own, right=right / of, first=first),
        )
    return table


def _holds(who: Who, bars: str, own: list[Played], *, right: float, first: list[bool]) -> bool:
    """What each player must come to."""
    minutes = float(np.median([one.minutes for one in own]))
    repetitions = float(np.median([one.repetitions for one in own]))
    through = float(np.mean([one.is_through for one in own]))
    if who.player == "faultless":
        return bars != "one" or minutes <= 4.0
    if who.player == Level.PROFESSIONAL:
        return bars != "one" or (minutes <= 25.0 and repetitions <= 60.0 and through >= 0.5)
    if who.learns:
        first_sitting = not first or who.player != Level.BEGINNER or np.mean(first) >= 0.5
        return through >= 0.5 and bool(first_sitting) and abs(right - AIM) <= NEAR
    return True


def _holding(found: dict[Who, list[Played]]) -> Table:
    title = f"learned steps drawn at random, tried {TRIES} times each by the same player"
    table = Table(title, ("player", "steps", "right, median", "failed in more than a third"))
    every = []
    for who, played in found.items():
        tried = np.array([one.tried for one in played if one.tried == one.tried])
        if who.player != "faultless":
            every.append(tried)
        if len(tried):
            table.row(who, len(tried), float(np.median(tried)), _failed(tried))
    all_of_them = np.concatenate(every)
    failed = _failed(all_of_them)
    table.row(
        "all but the faultless", len(all_of_them), float(np.median(all_of_them)), failed,
        holds=float(np.mean(all_of_them < 1.0 - SHARE)) <= 0.05,
    )  # fmt: skip
    return table


def _failed(tried: np.ndarray) -> str:
    return f"{100.0 * np.mean(tried < 1.0 - SHARE):.1f} %"
