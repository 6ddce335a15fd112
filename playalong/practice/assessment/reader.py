"""The assessment file: TOML in, an assessment out; whatever is wrong is told by line and column.

title = "First lessons"        # asked for, as is at least one item
instructions = "Loosen up first. Play what is written, no more."
kind = "timed"                 # or "homework"
minutes = 15                   # for all items; of homework: days = 7, and no minutes
warm-up = 3                    # minutes before them, which are not counted
pauses = 1                     # how often the clock may be stopped; never unless it says
level = "beginner"             # of all items that say nothing else
by-eye = ["posture", "grip"]   # what you judge yourself, on the whole
reached = "reached"            # your words for the two marks that there always are
not-yet = "not yet"

[[item]]                       # one for each thing to play, in their order
title = "The first beat"       # the pattern's own unless it says
pattern = "boots-by-the-door"  # one of the program's, NAME.toml beside this file, or as below
variations = ["push"]
tempo = 70                     # the pattern's own unless it says
bars = 8                       # whole rounds of the pattern, at least 4 bars, unless it says
count-in = 1                   # or 2 bars
click = "beats"                # or "eighths", "off-beats", "none"
gap = "2+2"                    # two bars with the click, two without
recording = "evening.flac"     # beside this file, its beats known; in place of a tempo
sight = 20                     # at sight: the sheet is shown for so many seconds, then it runs
rehearsals = 1                 # do not count
attempts = 2                   # 1 unless it says
counts = "best"                # or "last", "mean"
judging = true                 # whether the sheet shows every verdict while playing
by-eye = ["sticking"]

[item.asked]                   # figures of the grade: see ``measures`` for their names
missed = 4                     # a limit: reached, or not yet
score = { very-good = 90, good = 75 }          # or marks of your own
without = ["speeding_up"]      # findings that must not occur

[pattern]                      # patterns of your own in this file: each as its own file would be
my-groove = '''
title = "My groove"
...
'''
"""

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from playalong.grading.grade import Code
from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.pattern.model import Pattern
from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM, PatternError
from playalong.pattern.reader import read as read_pattern
from playalong.practice.assessment.measures import MEASURES
from playalong.practice.assessment.model import (
    NOT_YET,
    REACHED,
    Assessment,
    Clicks,
    Counts,
    Item,
    Kind,
    Limit,
    Requirement,
    has_ghosts,
    has_unisons,
)
from playalong.support.errors import UserError
from playalong.support.toml.places import Path
from playalong.support.toml.reader import (
    TEXT,
    Problem,
    ProblemsError,
    Table,
    TableReader,
    between,
    number,
    written,
)
from playalong.support.toml.reader import Kind as ValueKind

#: A run has so many bars at least, where nobody says how many.
_USUAL_BARS = 4

#: What a file may hold: more is a mistake in it, or a joke.
MOST_ITEMS, MOST_BARS, MOST_ATTEMPTS, MOST_RUNS = 50, 1000, 50, 1000

_TOP = (
    "title",
    "instructions",
    "kind",
    "minutes",
    "warm-up",
    "pauses",
    "days",
    "level",
    "by-eye",
    "reached",
    "not-yet",
    "item",
    "pattern",
)
_ITEM = (
    "title",
    "pattern",
    "variations",
    "tempo",
    "bars",
    "count-in",
    "click",
    "gap",
    "recording",
    "level",
    "sight",
    "rehearsals",
    "attempts",
    "counts",
    "judging",
    "by-eye",
    "asked",
)

#: What says nothing where there is no clock and every run counts.
_NOT_OF_HOMEWORK = ("minutes", "warm-up", "pauses")
_NOT_OF_HOMEWORK_ITEM = ("sight", "rehearsals", "attempts", "counts")

#: Gives the pattern of a name; UserError where there is none.
Find = Callable[[str], Pattern]


class AssessmentError(ProblemsError):
    """An assessment file that cannot be read: every problem with its place, a line each."""


def is_assessment(text: str) -> bool:
    """Whether a text is meant as an assessment, and not as a pattern."""
    lines = (line.strip().replace(" ", "") for line in text.splitlines())
    return any(line.startswith(("[[item]]", "item=")) for line in lines)


def read(
    text: str, name: str, find: Find, *, is_beside: Callable[[str], bool] = lambda _: True
) -> Assessment:
    """The assessment written in ``text``; AssessmentError tells all that is wrong.

    ``find`` gives the patterns that are not in the text, ``is_beside`` says whether a recording of
    this name is there.
    """
    tables = written(text, name, AssessmentError)
    reader = _Reader(tables, find, is_beside)
    found = reader.assessment(tables.tables, name)
    if reader.problems or found is None:
        raise AssessmentError(name, reader.problems)
    return found


def own_patterns(text: str) -> Mapping[str, str]:
    """The texts of the patterns that stand in the text of an assessment, by name."""
    tables = written(text, "", AssessmentError).tables.get("pattern", {})
    if not isinstance(tables, dict):
        return {}
    return {str(name): one for name, one in tables.items() if isinstance(one, str)}


class _Reader(TableReader):
    """Reads the tables of an assessment."""

    def __init__(self, written: Any, find: Find, is_beside: Callable[[str], bool]) -> None:
        super().__init__(written)
        self._find, self._is_beside = find, is_beside
        self._own: dict[str, Pattern] = {}
        #: Patterns by name, None for one that cannot be had: told once, where it is first named.
        self._patterns: dict[str, Pattern | None] = {}

    def assessment(self, tables: Table, name: str) -> Assessment | None:
        self.known(tables, (), _TOP)
        title = self.get(tables, (), "title", kind=TEXT)
        kind = Kind(self.get(tables, (), "kind", kind=_one_of(Kind), default=Kind.TIMED.value))
        if kind is Kind.HOMEWORK:
            self._none_of(tables, (), _NOT_OF_HOMEWORK, words="homework has no clock: leave it out")
            days = self.get(tables, (), "days", kind=between(1, 365))
            minutes = warm_up = Decimal(0)
        else:
            self._none_of(tables, (), ("days",), words="only homework has days: write minutes")
            days = 0
            minutes = self.get(tables, (), "minutes", kind=_MINUTES)
            warm_up = self.get(tables, (), "warm-up", kind=_WARM_UP, default=Decimal(0))
        pauses = self.get(tables, (), "pauses", kind=between(0, 20), default=0)
        level = Level(
            self.get(tables, (), "level", kind=_one_of(Level), default=DEFAULT_LEVEL.value)
        )
        self._read_own(tables)
        written = self.tables(tables, (), "item")
        if not written:
            self.wrong_key((), "there is no item: write [[item]] and what is to be played")
        if len(written) > MOST_ITEMS:
            self.wrong_key(("item", MOST_ITEMS), f"there are more than {MOST_ITEMS} items")
        runs = [one.get(key) for one in written for key in ("attempts", "rehearsals")]
        if sum(many for many in runs if isinstance(many, int)) > MOST_RUNS:
            self.wrong_key(("item", 0), f"attempts and rehearsals are more than {MOST_RUNS} in all")
        words = {
            key: self.get(tables, (), key, kind=TEXT, default=usual)
            for key, usual in (("reached", REACHED), ("not-yet", NOT_YET))
        }
        items = [
            self._item(table, ("item", number), level, kind=kind, reached=words["reached"])
            for number, table in enumerate(written[:MOST_ITEMS])
        ]
        instructions = self.get(tables, (), "instructions", kind=TEXT, default="")
        by_eye = self._by_eye(tables, ())
        known = [item for item in items if item is not None]
        if self.problems or len(known) < len(items) or title is None:
            return None
        used = dict.fromkeys(item.pattern for item in known)
        return Assessment(
            name=name,
            title=title,
            kind=kind,
            items=tuple(known),
            patterns={one: self._known_pattern(one) for one in used},
            instructions=instructions.strip(),
            total_s=float(minutes) * 60.0,
            warm_up_s=float(warm_up) * 60.0,
            pauses=pauses,
            days=days,
            by_eye=by_eye,
            reached=words["reached"],
            not_yet=words["not-yet"],
            own_patterns=tuple(one for one in used if one in self._own),
        )

    def _known_pattern(self, name: str) -> Pattern:
        found = self._patterns[name]
        assert found is not None, "a pattern that cannot be had is a problem"
        return found

    def _read_own(self, tables: Table) -> None:
        """The patterns in the file, each as the text of a file of its own."""
        found = tables.get("pattern", {})
        if not isinstance(found, dict):
            self.wrong_key(("pattern",), "write [pattern] and, below it, NAME = '''...'''")
            return
        for name in found:
            path: Path = ("pattern", name)
            text = self.get(found, ("pattern",), name, kind=_PATTERN)
            if text is None:
                continue
            try:
                self._own[name] = read_pattern(text, name)
            except PatternError as error:
                for problem in error.problems:
                    self._tell(self._moved(problem, path))
                self._patterns[name] = None

    def _moved(self, problem: Problem, path: Path) -> Problem:
        """A problem of a text in the file, at its place in the file."""
        line, column = self._places.value(path)
        first = problem.line == 1
        return Problem(
            line + problem.line - 1,
            problem.column + (column - 1 if first else 0),
            problem.message,
        )

    def _pattern(self, table: Table, path: Path) -> tuple[str, Pattern] | None:
        name = self.get(table, path, "pattern", kind=TEXT)
        if name is None:
            return None
        if name not in self._patterns:
            self._patterns[name] = self._own.get(name)
            if name not in self._own:
                try:
                    self._patterns[name] = self._find(name)
                except UserError as error:
                    for line in error.lines:
                        self.wrong((*path, "pattern"), line)
        found = self._patterns[name]
        return None if found is None else (name, found)

    def _item(
        self, table: Table, path: Path, usual: Level, *, kind: Kind, reached: str
    ) -> Item | None:
        self.known(table, path, _ITEM)
        if kind is Kind.HOMEWORK:
            words = "in homework every run counts, and the best one in the end: leave it out"
            self._none_of(table, path, _NOT_OF_HOMEWORK_ITEM, words=words)
        named = self._pattern(table, path)
        level = Level(self.get(table, path, "level", kind=_one_of(Level), default=usual.value))
        click = Clicks(
            self.get(table, path, "click", kind=_one_of(Clicks), default=Clicks.BEATS.value)
        )
        counts = Counts(
            self.get(table, path, "counts", kind=_one_of(Counts), default=Counts.BEST.value)
        )
        sight = self.get(table, path, "sight", kind=_SIGHT, default=Decimal(0))
        attempts = self.get(table, path, "attempts", kind=between(1, MOST_ATTEMPTS), default=1)
        rehearsals = self.get(table, path, "rehearsals", kind=between(0, MOST_ATTEMPTS), default=0)
        if sight and rehearsals:
            self.wrong(
                (*path, "rehearsals"), "what is played at sight is not rehearsed: leave one out"
            )
        if "recording" in table and "tempo" in table:
            self.wrong((*path, "tempo"), "a recording has its own tempo: leave one out")
        if click is Clicks.NONE and "gap" in table:
            self.wrong((*path, "gap"), "without a click there is no gap in it: leave one out")
        if attempts == 1 and counts is Counts.MEAN:
            self.wrong((*path, "counts"), "one attempt has no mean: give more attempts")
        gap = self._gap(table, path)
        tempo = self.get(table, path, "tempo", kind=_TEMPO, default=Decimal(0))
        bars = self.get(table, path, "bars", kind=between(1, MOST_BARS), default=0)
        variations = self.get(table, path, "variations", kind=_NAMES, default=[])
        recording = self.get(table, path, "recording", kind=_FILE, default="")
        if recording and not self._is_beside(recording):
            self.wrong((*path, "recording"), "there is no such file beside this one: put it there")
        title = self.get(table, path, "title", kind=TEXT, default="")
        judging = self.get(table, path, "judging", kind=_YES_OR_NO, default=True)
        count_in = self.get(table, path, "count-in", kind=between(1, 2), default=1)
        by_eye = self._by_eye(table, path)
        if (
            named is None
        ):  # what is asked is read all the same, so that all mistakes are told at once
            self._requirements(table, path, pattern=None, variations=(), reached=reached)
            return None
        name, pattern = named
        for one in variations:
            if one not in pattern.variations:
                known = ", ".join(pattern.variations) or "none"
                self.wrong(
                    (*path, "variations"),
                    f'"{name}" has no variation "{one}"; its variations are: {known}',
                )
        if any(one not in pattern.variations for one in variations):
            return None
        requirements, without = self._requirements(
            table, path, pattern=pattern, variations=tuple(variations), reached=reached
        )
        return Item(
            title=title or pattern.title,
            pattern=name,
            tempo_bpm=float(tempo) or pattern.tempo,
            bars=bars or -(-_USUAL_BARS // len(pattern.bars)) * len(pattern.bars),
            variations=tuple(variations),
            count_in=count_in,
            click=click,
            gap=gap,
            recording=recording,
            level=level,
            sight_s=float(sight) or None,
            rehearsals=rehearsals,
            attempts=attempts,
            counts=counts,
            judging=judging,
            requirements=requirements,
            without=without,
            by_eye=by_eye,
        )

    def _gap(self, table: Table, path: Path) -> tuple[int, int, int] | None:
        text = self.get(table, path, "gap", kind=_GAP, default="")
        if not text:
            return None
        parts = [int(part) for part in text.split("+")]
        return parts[0], parts[1], parts[2] if len(parts) > 2 else 0

    def _requirements(
        self,
        table: Table,
        path: Path,
        *,
        pattern: Pattern | None,
        variations: tuple[str, ...],
        reached: str,
    ) -> tuple[tuple[Requirement, ...], tuple[Code, ...]]:
        found, path = table.get("asked", {}), (*path, "asked")
        if not isinstance(found, dict):
            self.wrong_key(path, "write [item.asked] and, below it, a line for each figure")
            return (), ()
        self.known(found, path, (*MEASURES, "without"))
        if pattern is not None:
            self._fits(found, path, pattern, variations=variations)
        requirements = [
            Requirement(name, limits)
            for name in found
            if name in MEASURES
            for limits in [self._limits(name, found[name], (*path, name), reached=reached)]
            if limits
        ]
        codes = self.get(found, path, "without", kind=_NAMES, default=[])
        known = [code.value for code in Code if code is not Code.CLEAN]
        for code in codes:
            if code not in known:
                listed = ", ".join(known)
                self.wrong((*path, "without"), f'"{code}" is no finding; they are: {listed}')
        return tuple(requirements), tuple(Code(code) for code in codes if code in known)

    def _fits(
        self, table: Table, path: Path, pattern: Pattern, *, variations: tuple[str, ...]
    ) -> None:
        """Tell of figures that a grade of this pattern cannot have."""
        if "ghost-contrast" in table and not has_ghosts(pattern, variations):
            message = "this pattern has no ghost notes beside other strokes: leave it out"
            self.wrong_key((*path, "ghost-contrast"), message)
        if "unisons" in table and not has_unisons(pattern, variations):
            self.wrong_key((*path, "unisons"), "no two strokes of this pattern fall together")

    def _limits(self, name: str, value: Any, path: Path, *, reached: str) -> tuple[Limit, ...]:
        """The marks of one figure, the best first."""
        measure = MEASURES[name]
        written = value if isinstance(value, dict) else {reached: value}
        if not written:
            self.wrong_key(path, 'write a limit, or marks, as in { good = 75, "very good" = 90 }')
        limits: list[Limit] = []
        for mark, limit in written.items():
            fits = not isinstance(limit, bool) and isinstance(limit, int | Decimal)
            if not fits or not measure.low <= limit <= measure.high:
                unit = f" {measure.unit}" if measure.unit else ""
                self.wrong(
                    path,
                    f'the limit of "{name}" must be a number from {measure.low:g} to '
                    f"{measure.high:g}{unit}",
                )
            elif any(limit == other.value for other in limits):
                self.wrong(path, f'two marks of "{name}" have the same limit, {limit}')
            else:
                limits.append(Limit(str(mark), float(limit)))
        return tuple(sorted(limits, key=lambda one: one.value, reverse=measure.at_least))

    def _by_eye(self, table: Table, path: Path) -> tuple[str, ...]:
        return tuple(self.get(table, path, "by-eye", kind=_NAMES, default=[]))

    def _none_of(self, table: Table, path: Path, keys: tuple[str, ...], *, words: str) -> None:
        for key in keys:
            if key in table:
                self.wrong_key((*path, key), f'"{key}": {words}')


def _one_of(names: Any) -> ValueKind:
    known = tuple(one.value for one in names)
    listed = ", ".join(f'"{name}"' for name in known)
    return ValueKind(
        types=(str,),
        about=f"one of {listed}",
        example=f'{{key}} = "{known[0]}"',
        fits=lambda value: value in known,
    )


def _is_gap(text: str) -> bool:
    parts = text.split("+")
    small = all(part.isascii() and part.isdigit() and int(part) < 1000 for part in parts)
    return small and len(parts) in (2, 3) and int(parts[0]) >= 1


_MINUTES = number(1, 600, "minutes, 1 to 600", example="{key} = 15")
_WARM_UP = number(0, 60, "minutes, 0 to 60", example="{key} = 3")
_SIGHT = number(1, 600, "seconds, 1 to 600", example="{key} = 20")
_TEMPO = number(
    SLOWEST_BPM, FASTEST_BPM, f"a number from {SLOWEST_BPM} to {FASTEST_BPM}", example="{key} = 84"
)
_YES_OR_NO = ValueKind(types=(bool,), about="true or false", example="{key} = true")
_PATTERN = ValueKind(
    types=(str,),
    about="the text of a pattern file between three quotes",
    example="{key} = '''...'''",
)
_GAP = ValueKind(
    types=(str,),
    about='bars with the click and bars without, as in "2+2" or "2+1+1"',
    example='{key} = "2+2"',
    fits=_is_gap,
)
_FILE = ValueKind(
    types=(str,),
    about="the name of a file beside this one, without a folder",
    example='{key} = "evening.flac"',
    fits=lambda value: bool(value.strip()) and not set(value) & set("/\\:"),
)
_NAMES = ValueKind(
    types=(list,),
    about='a list of words, as in ["posture"]',
    example='{key} = ["..."]',
    fits=lambda value: (
        all(isinstance(one, str) and one.strip() for one in value) and len(set(value)) == len(value)
    ),
)
