"""All patterns that can be chosen: those that come with the program, and the player's own."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.library.difficulty import difficulty
from playalong.pattern.library.search import Search
from playalong.pattern.model import Pattern, PatternKind
from playalong.pattern.reader import read
from playalong.records.pattern_files import library, read_text
from playalong.screen.home_pages.patterns import PatternLine
from playalong.support.errors import UserError
from playalong.support.text import counted

#: Where a player's own patterns are looked for in any case: below the data folder.
OWN = "patterns"


@dataclass(frozen=True)
class PatternList:
    """Patterns by the name of their line, the easiest first, and what could not be read."""

    patterns: Mapping[str, Pattern]
    figures: Mapping[str, float]
    notices: tuple[str, ...]

    def lines(self, bests: Mapping[str, float]) -> list[PatternLine]:
        """A line for each; ``bests`` are scores by fingerprint."""
        return [
            PatternLine(
                name=name,
                title=pattern.title,
                about=pattern.about,
                difficulty=self.figures[name],
                best=bests.get(pattern_id(pattern)),
                figures=_figures(pattern),
                bars=pattern.bars,
                voices=pattern.voices,
            )
            for name, pattern in self.patterns.items()
        ]

    def found(self, search: Search) -> "PatternList":
        """Those that are wanted."""
        patterns = {
            name: pattern
            for name, pattern in self.patterns.items()
            if search.finds(pattern, self.figures[name])
        }
        return PatternList(patterns, self.figures, self.notices)

    @property
    def easiest(self) -> Pattern:
        """The first groove of them."""
        grooves = (one for one in self.patterns.values() if one.kind is PatternKind.GROOVE)
        return next(grooves, next(iter(self.patterns.values())))


def pattern_list(folders: list[Path]) -> PatternList:
    """The shipped patterns, and all pattern files in ``folders``."""
    shipped = library()
    found = {name: shipped.get(name) for name in shipped.names()}
    notices = []
    for folder in folders:
        for path in sorted(folder.glob("*.toml")) if folder.is_dir() else ():
            try:
                found[str(path)] = read(read_text(path), path.stem)
            except UserError as error:
                notices.append(f"{path.name} is left out. {str(error).splitlines()[0]}")
    figures = {name: difficulty(pattern).figure for name, pattern in found.items()}
    order = sorted(found, key=lambda name: (figures[name], found[name].title))
    return PatternList({name: found[name] for name in order}, figures, tuple(notices))


def _figures(pattern: Pattern) -> str:
    bars = counted(len(pattern.bars), "bar")
    parts = [pattern.kind, f"{pattern.tempo:g} bpm", pattern.meter.written, bars]
    if pattern.trains:
        parts.append(f"trains {', '.join(pattern.trains)}")
    if pattern.variations:
        names = ", ".join(pattern.variations)
        parts.append(f"variations: {names}")
    return "  ·  ".join(parts)
