"""A class: all results of a folder verified, and what they say together.

Results of one assessment (by the digest of its file) are one group, and have a table of their own.
Of each player the latest result counts; the one before tells who has moved.

* ``score`` of a result: the mean of the scores of its items; an item that was not played has 0.
* The common fault: the cause, with its voice and its place in the bar, that was found in the
  counted attempts of most players, in one item; of as many the one that costs most. What more than
  half of the class has comes first where it has a place in the bar: it can be shown and mended in a
  lesson, which "uneven in time" cannot, and strangers do not share it by chance.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import fmean
from typing import Any

from playalong.app.assessment.verifying import Verified, verify
from playalong.app.grade.table import cell, line_of
from playalong.app.mistakes import described, keep_mistake
from playalong.app.pool import in_order
from playalong.records.assessments.remark_files import read_remark
from playalong.records.pattern_files import read_text
from playalong.support.errors import UserError
from playalong.support.reading import is_folder, named_below
from playalong.support.text import printable

#: Fewer results than this are verified sooner than another process has begun.
FEW = 12

#: A folder holds so many results at most.
MOST = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A cause that was found in an item: ``places`` as they are spoken, ``gain`` in points."""

    item: int
    code: str
    voice: str
    limb: str
    places: tuple[tuple[int, str], ...]
    gain: float
    text: str

    @property
    def key(self) -> tuple[int, str, str, str, tuple[int, str] | None]:
        """What makes it the same fault in two players: the first place stands for all."""
        place = self.places[0] if self.places else None
        return self.item, self.code, self.voice, self.limb, place


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemResult:
    """What one item of a result came to; ``figures`` are (measure or finding, value).

    ``mark`` is the computed one, ``own_mark`` the teacher's, if there is one: ``is_reached`` is by
    the teacher's then.
    """

    title: str
    score: float | None
    mark: str
    is_reached: bool
    figures: tuple[tuple[str, float | None], ...]
    own_mark: str = ""

    @property
    def final_mark(self) -> str:
        """The teacher's mark, where there is one, or else the computed one."""
        return self.own_mark or self.mark


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassResult:
    """One result of a class; ``wrong`` is what does not fit, a line each."""

    path: Path
    player: str
    digest: str
    title: str
    ended: str
    version: str
    wrong: tuple[str, ...]
    items: tuple[ItemResult, ...]
    faults: tuple[Fault, ...]
    interruptions: int

    @property
    def score(self) -> float:
        """The mean over the items."""
        return fmean(item.score or 0.0 for item in self.items)

    @property
    def reached(self) -> int:
        """How many items are reached, by the teacher's mark where there is one."""
        return sum(item.is_reached for item in self.items)


@dataclass(frozen=True, slots=True)
class Read:
    """What came of one file: a result, or in words why there is none."""

    path: Path
    result: ClassResult | None
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonFault:
    """What most get wrong: how many of how many players, and an example of the words."""

    fault: Fault
    players: int
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The results of one assessment: the latest of each player, and the one before, if any."""

    title: str
    digest: str
    latest: tuple[ClassResult, ...]
    before: Mapping[str, ClassResult]

    def moved(self) -> list[tuple[str, float, float]]:
        """(player, score then, score now) of those who have two, who moved most first."""
        pairs = [
            (one.player, self.before[one.player].score, one.score)
            for one in self.latest
            if one.player in self.before
        ]
        return sorted(pairs, key=lambda pair: -abs(pair[2] - pair[1]))

    def common(self) -> list[CommonFault]:
        """The faults that more than one player has, the most common first."""
        players: dict[Any, set[str]] = defaultdict(set)
        worst: dict[Any, Fault] = {}
        gains: dict[Any, float] = defaultdict(float)
        for one in self.latest:
            for fault in one.faults:
                players[fault.key].add(one.player)
                gains[fault.key] += fault.gain
                if fault.key not in worst or fault.gain > worst[fault.key].gain:
                    worst[fault.key] = fault

        def rank(key: Any) -> tuple[bool, int, float, str]:
            many = len(players[key])
            is_first = 2 * many > len(self.latest) and bool(worst[key].places)
            return not is_first, -many, -gains[key], str(key)

        order = sorted(players, key=rank)
        return [
            CommonFault(fault=worst[key], players=len(players[key]), of=len(self.latest))
            for key in order
            if len(players[key]) > 1
        ]


def results_in(folder: Path) -> list[Path]:
    """The results in a folder and its folders; UserError where there is none."""
    if not is_folder(folder):
        raise UserError(f"{folder} is no folder: name the one with the results.")
    found = named_below(folder, (".zip",))
    if not found:
        raise UserError(f"There is no result in the folder {folder}: no file ends with .zip.")
    if len(found) > MOST:
        raise UserError(f"{folder} holds {len(found):,} files: a class is {MOST:,} at most.")
    return found


def read_all(paths: Sequence[Path]) -> Iterator[Read]:
    """What came of each file, in order; a broken one is told, and stops no other."""
    return in_order(read_one, paths, few=FEW)


def read_one(path: Path) -> Read:
    """What came of one file."""
    try:
        return Read(path, summary(verify(path)))
    except UserError as error:
        return Read(path, None, " ".join(error.lines))
    except Exception as error:
        message = f"{path}: The program made a mistake ({described(error)}). {keep_mistake(error)}"
        return Read(path, None, message.rstrip())


def summary(found: Verified) -> ClassResult:
    """What a class needs of a result."""
    remark, other = read_remark(found.path, len(found.assessment.items))
    items = tuple(
        ItemResult(
            title=item.title,
            score=marks.score,
            mark=marks.mark,
            is_reached=remark.of(number).is_reached(marks.is_reached, found.assessment.not_yet),
            figures=tuple((mark.criterion, mark.value) for mark in marks.marks),
            own_mark=remark.of(number).mark,
        )
        for number, (item, marks) in enumerate(
            zip(found.assessment.items, found.items, strict=True)
        )
    )
    faults = {
        fault.key: fault
        for number in range(len(items))
        for check in found.counted(number)
        for fault in _faults(number, check.reported)
    }
    return ClassResult(
        path=found.path,
        player=found.player,
        digest=found.digest,
        title=found.assessment.title,
        ended=str(found.plain["ended"]),
        version=found.version,
        wrong=(*found.wrong, *filter(None, [other])),
        items=items,
        faults=tuple(faults.values()),
        interruptions=len(found.plain["interruptions"]),
    )


def _faults(item: int, grade: Mapping[str, Any]) -> Iterator[Fault]:
    for one in grade["findings"]:
        if one["code"] != "clean":
            yield Fault(
                item=item,
                code=one["code"],
                voice=one["voice"] or "",
                limb=one["limb"] or "",
                places=tuple((spot["bar"], spot["count"]) for spot in one["places"]),
                gain=float(one["gain"]),
                text=one["text"],
            )


def groups(results: Sequence[ClassResult]) -> list[Group]:
    """The results by their assessment, that with most players first."""
    by_digest: dict[str, dict[str, list[ClassResult]]] = defaultdict(lambda: defaultdict(list))
    for one in results:
        by_digest[one.digest][one.player].append(one)
    found = []
    for digest, by_player in by_digest.items():
        latest, before = [], {}
        for player, own in by_player.items():
            *earlier, last = sorted(own, key=lambda one: (one.ended, str(one.path)))
            latest.append(last)
            if earlier:
                before[player] = earlier[-1]
        latest.sort(key=lambda one: one.player.casefold())
        title = latest[0].title
        found.append(Group(title=title, digest=digest, latest=tuple(latest), before=before))
    return sorted(found, key=lambda group: (-len(group.latest), group.title))


def names_in(path: Path) -> list[str]:
    """The names or codes in a plain list, a line each; empty lines and comments (#) left out."""
    lines = (line.strip() for line in read_text(path).splitlines())
    return list(dict.fromkeys(line for line in lines if line and not line.startswith("#")))


def missing(names: Sequence[str], group: Group) -> list[str]:
    """Who of the list has no result."""
    there = {one.player for one in group.latest}
    return [name for name in names if name not in there]


def without_names(
    results: Sequence[ClassResult], names: Sequence[str] = ()
) -> tuple[list[ClassResult], list[str]]:
    """The same without names: players are numbered, each the same number in all results.

    Of a list of ``names`` those who have a result get their number; nobody else is to be named.
    """
    numbers: dict[str, str] = {}
    for one in results:
        numbers.setdefault(one.player, f"player {len(numbers) + 1}")
    nowhere = Path()
    numbered = [replace(one, player=numbers[one.player], path=nowhere) for one in results]
    return numbered, [numbers.get(name, name) for name in names]


# As CSV.


def as_csv(group: Group) -> list[str]:
    """A line for each player under a head; figures as they stand in the grades."""
    first = group.latest[0]
    columns = ["player", "ended", "fits", "score", "reached"]
    for number, item in enumerate(first.items, 1):
        columns += [f"{number}.score", f"{number}.mark"]
        columns += [f"{number}.asked.{name}" for name, _ in item.figures]
    lines = [line_of(columns)]
    for one in group.latest:
        cells: list[Any] = [one.player, one.ended, not one.wrong, one.score, one.reached]
        for item in one.items:
            cells += [item.score, item.final_mark, *(value for _, value in item.figures)]
        lines.append(line_of([cell(printable(v) if isinstance(v, str) else v) for v in cells]))
    return lines
