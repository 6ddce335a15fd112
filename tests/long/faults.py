"""Faults put into human takes: is the first finding the fault?

Half of the takes of a row are by simulated players without habits over many patterns, half by
drummers (where PLAYALONG_TAKES names takes, the row says so, and they have a place for it), 16 bars
each, in whole rounds of the pattern. The first finding has to be the fault, or another honest name
of it, in 95 % of the clear cases and in 80 % of the small ones. Rows and sizes:
``tests.helpers.fault_table``. Whoever has a fault may be late or fast as well: of a tenth of the
clear cases, moved so, the first finding has to be one of the two.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import lay_out
from playalong.simulation.skills import SKILLS
from tests.helpers.drummers import DrummerTake, drummer_takes, takes_folder
from tests.helpers.fault_order import plain_score
from tests.helpers.fault_table import ROWS
from tests.helpers.faults import Faulty, Scene
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.helpers.told import codes, graded
from tests.helpers.transcription import Transcription
from tests.long.frame import Options, Table, generator

#: Cases of a row and size.
FULL_COUNT, SAMPLE_COUNT = 100, 1

BARS = 16
#: How many patterns or takes are tried until one has a place for a fault.
TRIES = 80
#: Fewer cases of a row than these say little of it alone: all rows together are judged then.
FEW = 20
#: How often each player plays each pattern.
PERFORMANCES = 16
#: More strokes than these without an answer, and the transcription is not what was played.
MOST_UNANSWERED = 2
SMALL, CLEAR = 0.80, 0.95


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A case: the row, whether small, which it is of its kind, the seed."""

    row: int
    small: bool
    case: int
    seed: int


@dataclass(frozen=True, kw_only=True)
class Told:
    """What was said: all codes in order, and what could honestly be said first; the score that
    the fault cost."""

    asked: Asked
    said: tuple[str, ...]
    honest: frozenset[str]
    about: str
    cost: float


@cache
def _takes() -> tuple[DrummerTake, ...]:
    folder = takes_folder()
    takes = drummer_takes(folder) if folder else []
    return tuple(take for take in takes if take.meter == "4/4" and take.length_s > 30.0)


@cache
def _usable(number: int) -> bool:
    """Whether a take answers its own transcription, but for a stroke here and there."""
    _, played = _drummers(number)
    again = Played.of(played.targets, played.hits())
    return int((~again.answered).sum()) <= MOST_UNANSWERED


@cache
def _drummers(number: int) -> tuple[Pattern, Played]:
    """A drummer's take without its own offset, which is a habit at every place, and without hits
    that the transcription could not write."""
    take = _takes()[number]
    written = Transcription(take.path, take.tempo_bpm)
    pattern, hits = written.some(range(min(BARS, written.bars)))
    targets = lay_out(pattern, take.tempo_bpm, len(pattern.bars))
    played = replace(Played.of(targets, hits), extra=Hits.of(()))
    return pattern, played.moved(-np.nanmean(played.error_ms) / 1000.0)


def whole_rounds(pattern: Pattern) -> int:
    """16 bars or a little more, in whole rounds."""
    return -(-BARS // len(pattern.bars)) * len(pattern.bars)


def simulated(pattern: Pattern, skill: str, seed: int) -> Played:
    """What a player without habits does."""
    targets = lay_out(pattern, pattern.tempo, whole_rounds(pattern))
    return Played.by(targets, SKILLS[skill].without_habits(), seed)


@cache
def _performed(name: str, skill: str, seed: int) -> Played:
    """A performance that several faults are put into: playing takes longer than grading."""
    return simulated(grooves()[name], skill, seed)


def _simulated_scene(attempt: int, chance: np.random.Generator) -> Scene:
    names = sorted(grooves())
    pattern = grooves()[names[int(chance.integers(len(names)))]]
    skill = ("professional", "advanced")[attempt % 2]
    return Scene(
        pattern=pattern,
        played=_performed(pattern.name, skill, int(chance.integers(PERFORMANCES))),
        chance=chance,
    )


def _drummers_scene(number: int, chance: np.random.Generator) -> Scene:
    pattern, played = _drummers(number)
    return Scene(pattern=pattern, played=played, chance=chance, level_out=True)


class _TakesFor:
    """The takes that have a place for a fault, in an order of chance; looked for as they are
    asked for, since each is read and matched for it."""

    def __init__(self, row: int, small: bool, seed: int) -> None:
        self._chance = generator(seed, 2 * row + small)
        self._left = self._chance.permutation(len(_takes())).tolist()
        self._inject = ROWS[row].inject
        self._size = (ROWS[row].small if small else ROWS[row].clear)[0]
        self._found: list[int] = []

    def __getitem__(self, case: int) -> int | None:
        """That for a case: none comes twice before all have come; None where none has a place."""
        while len(self._found) <= case and self._left:
            number = self._left.pop()
            if _usable(number) and self._inject(_drummers_scene(number, self._chance), self._size):
                self._found.append(number)
        return self._found[case % len(self._found)] if self._found else None


_takes_for = cache(_TakesFor)


def faulty(asked: Asked) -> tuple[Scene, Faulty, float] | None:
    """The take of a case, with its fault in it, and the size. Of the takes by drummers each is
    used about as often."""
    row = ROWS[asked.row]
    chance = generator(asked.seed, 100_000 * asked.row + 2 * asked.case + asked.small)
    sizes = row.small if asked.small else row.clear
    size = sizes[(asked.case // 2) % len(sizes)]
    number = None
    if row.real and asked.case % 2 and _takes():
        number = _takes_for(asked.row, asked.small, asked.seed)[asked.case // 2]
    for attempt in range(TRIES):
        by_drummer = number is not None and attempt < TRIES // 2
        into = _drummers_scene(number, chance) if by_drummer else _simulated_scene(attempt, chance)
        made = row.inject(into, size)
        if made is not None:
            return into, made, size
    return None


def told(asked: Asked) -> Told | None:
    """What is said of one case; None where no take has a place for the fault."""
    made = faulty(asked)
    if made is None:
        return None
    into, fault, size = made
    before = plain_score(into.targets, into.played.hits())
    after = graded(into.pattern, into.targets, fault.hits)
    cost = before - after.score.total
    about = f"{into.pattern.name} {size:g}"
    return Told(asked=asked, said=tuple(codes(after)), honest=fault.codes, about=about, cost=cost)


@dataclass(frozen=True, kw_only=True)
class Beside:
    """What is wrong with a whole take besides, and honest codes of that."""

    about: str
    faster: float
    late_s: float
    codes: frozenset[str]


#: The second fault; rows that are the same fault as it are left out.
BESIDE = (
    Beside(about="110 ms late", faster=1.0, late_s=0.11, codes=frozenset({"all_late"})),
    Beside(about="2 % fast", faster=1.02, late_s=0.0, codes=frozenset({"faster"})),
    Beside(about="4 % slow", faster=0.96, late_s=0.0, codes=frozenset({"slower"})),
)
SAME = ("everything late", "everything early", "faster", "slower")


def told_of_two(item: tuple[Asked, Beside]) -> tuple[str, bool, str] | None:
    """The row, whether what is said first is one of two faults, and what is said."""
    asked, beside = item
    made = faulty(asked)
    if made is None:
        return None
    into, fault, _ = made
    moved = replace(fault.hits, time_s=fault.hits.time_s / beside.faster + beside.late_s)
    said = codes(graded(into.pattern, into.targets, moved))[0]
    return ROWS[asked.row].name, said in fault.codes | beside.codes, said


def _of_two(options: Options) -> Table:
    """Clear faults of takes that are late, fast or slow as well."""
    table = Table("two faults at once", ("beside it", "cases", "one of both %", "said instead"))
    for beside in BESIDE:
        every = [
            (Asked(row=row, small=False, case=case, seed=options.seed), beside)
            for row, own in enumerate(ROWS)
            if own.clear and own.name not in SAME
            for case in range(max(1, options.count // 10))
        ]
        found = [one for one in options.map(told_of_two, every) if one is not None]
        instead = Counter(f"{name}: {said}" for name, right, said in found if not right)
        share = float(np.mean([right for _, right, _ in found]))
        table.row(
            beside.about,
            len(found),
            100.0 * share,
            ", ".join(f"{words} {n}" for words, n in instead.most_common(6)),
            holds=bool(share >= CLEAR - 2.0 * np.sqrt(CLEAR * (1.0 - CLEAR) / len(found))),
        )
    return table


def tables(options: Options) -> Iterator[Table]:
    """The table of confusions."""
    every = [
        Asked(row=row, small=small, case=case, seed=options.seed)
        for row, own in enumerate(ROWS)
        for small in (True, False)
        if (own.small if small else own.clear)
        for case in range(options.count)
    ]
    found = [one for one in options.map(told, every) if one is not None]
    table = Table(
        "faults",
        ("fault", "size", "cases", "costs", "first %", "in three %", "said instead, how often"),
    )
    for row, own in enumerate(ROWS):
        for small in (True, False):
            cases = [one for one in found if (one.asked.row, one.asked.small) == (row, small)]
            if not cases:
                continue
            first = np.mean([one.said[0] in one.honest for one in cases])
            three = np.mean([bool(one.honest & {*one.said[:3]}) for one in cases])
            instead = Counter(one.said[0] for one in cases if one.said[0] not in one.honest)
            table.row(
                own.name,
                "small" if small else "clear",
                len(cases),
                f"{np.median([one.cost for one in cases]):.1f}",
                100.0 * float(first),
                100.0 * float(three),
                ", ".join(f"{code} {n}" for code, n in instead.most_common(4)),
                holds=None if len(cases) < FEW else bool(first >= (SMALL if small else CLEAR)),
            )
    for small, must in ((False, CLEAR), (True, SMALL)):
        cases = [one for one in found if one.asked.small == small]
        first = np.mean([one.said[0] in one.honest for one in cases])
        three = np.mean([bool(one.honest & {*one.said[:3]}) for one in cases])
        table.row(
            "all rows",
            "small" if small else "clear",
            len(cases),
            "",
            100.0 * float(first),
            100.0 * float(three),
            "",
            # So many cases by chance: two standard errors.
            holds=bool(first >= must - 2.0 * np.sqrt(must * (1.0 - must) / len(cases))),
        )
    yield table
    yield _of_two(options)
    yield _without_fault(options)


def first_of_faultless(item: tuple[str, str, int, Level]) -> str:
    """What is said of a player without habits, at a level."""
    skill, name, seed, level = item
    played = simulated(grooves()[name], skill, seed)
    rules = Rules.at(level)
    return codes(graded(grooves()[name], played.targets, played.hits(), rules=rules))[0]


def _without_fault(options: Options) -> Table:
    """At the level that is usual, and at the one that has the player's name. A player whose spread
    is more than a level asks is told so: of a beginner at the usual level nothing else is asked,
    and the professional level asks for the best of the professionals."""
    table = Table("players without habits", ("player", "level", "takes", "clean %", "said instead"))
    names = sorted(grooves())
    players = [
        (skill, level) for skill in SKILLS for level in dict.fromkeys((DEFAULT_LEVEL, Level(skill)))
    ]
    every = [
        (skill, names[case % len(names)], case, level)
        for skill, level in players
        for case in range(options.count)
    ]
    first = list(options.map(first_of_faultless, every))
    for number, (skill, level) in enumerate(players):
        said = Counter(first[number * options.count : (number + 1) * options.count])
        clean = said.pop("clean", 0) / options.count
        judged = options.count >= FEW and level is DEFAULT_LEVEL
        judged &= Level(skill) is not Level.BEGINNER
        table.row(
            skill,
            level,
            options.count,
            100.0 * clean,
            ", ".join(f"{code} {n}" for code, n in said.most_common(5)),
            holds=clean >= CLEAR if judged else None,
        )
    return table
