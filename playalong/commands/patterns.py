"""playalong patterns: those that come with the program, searched, and the ways between them."""

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Protocol

from playalong.commands.parser import Given, Parser, refuse, written_as
from playalong.pattern.model import PatternKind
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import counted

if TYPE_CHECKING:
    from playalong.pattern.model import Pattern
    from playalong.practice.afterwards import Rated

ABOUT = "list and search the patterns that come with the program"
EXAMPLES = (
    ("every pattern, the easiest first", "playalong patterns"),
    ("one of them, and what leads on from it", "playalong patterns late-bus-home"),
    ("by words", "playalong patterns bossa"),
    ("easy fills", "playalong patterns --kind fill --difficulty 0-45"),
    ("by what they train", 'playalong patterns --trains "ghost notes" --trains swing'),
    ("for a script", "playalong patterns --meter 12/8 --tempi 50-100 --json"),
)


class Options(Given, Protocol):
    """What is asked for."""

    words: list[str]
    kind: PatternKind | None
    trains: list[str]
    meter: str | None
    difficulty: tuple[float, float] | None
    tempi: tuple[float, float] | None
    json: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "words", nargs="*", metavar="WORD", help="the name of a pattern, or words it must have"
    )
    parser.add_argument(
        "--kind",
        type=written_as(PatternKind, f"no kind; write one of {', '.join(PatternKind)}"),
        metavar="KIND",
        help=f"only these: {', '.join(PatternKind)} (default all)",
    )
    parser.add_argument(
        "--trains",
        action="append",
        default=[],
        metavar="THING",
        help="only those that train this; may be given more than once (default all)",
    )
    parser.add_argument(
        "--meter", metavar="METER", help='only those in this meter, as "6/8" (default all)'
    )
    for name, what in (("difficulty", "difficulty, 0 to 100"), ("tempi", "tempo, in bpm")):
        parser.add_argument(
            f"--{name}",
            type=written_as(_span, 'no span; write it like "40-60"'),
            metavar="FROM-TO",
            help=f"only those of this {what} (default all)",
        )
    parser.add_argument("--json", action="store_true", help="print all that is known as JSON")


def run(given: Options) -> None:
    """List them."""
    from playalong.pattern.library.catalogue import key_of
    from playalong.pattern.library.difficulty import difficulty
    from playalong.pattern.library.search import Search, things
    from playalong.records.pattern_files import library

    shipped = library()
    known = [shipped.get(name) for name in shipped.names()]
    query = " ".join(given.words)
    named = next((one for one in known if key_of(one.name) == key_of(query)), None)
    if named is not None:
        refuse(
            given,
            "--kind --trains --meter --difficulty --tempi",
            "says nothing where one pattern is asked for by name",
        )
    all_things = things(known)
    for thing in given.trains:
        if thing not in all_things:
            raise UserError(f'No pattern trains "{thing}"; they train {", ".join(all_things)}')
    search = Search(
        words=query,
        kind=given.kind,
        trains=tuple(given.trains),
        meter=given.meter,
        difficulty=given.difficulty,
        tempo_bpm=given.tempi,
    )
    figures = {one.name: difficulty(one).figure for one in known}
    found = [named] if named else [one for one in known if search.finds(one, figures[one.name])]
    found.sort(key=lambda one: (figures[one.name], one.title))
    if given.json:
        from playalong.practice.afterwards import rated

        everything = rated(known)
        plain = [_plain(one, figures[one.name], everything) for one in found]
        print_lines(*json.dumps(plain, indent=1, ensure_ascii=False).splitlines())
    elif named is not None:
        _print_one(named, figures[named.name], known)
    elif found:
        _print_all(found, figures)
    else:
        print_lines("No pattern is like that: ask for less.")


def _span(text: str) -> tuple[float, float]:
    low, dash, high = text.partition("-")
    span = float(low), float(high if dash else low)
    if not 0 <= span[0] <= span[1]:
        raise ValueError
    return span


def _print_all(found: Sequence["Pattern"], figures: dict[str, float]) -> None:
    width = max(len(one.name) for one in found)
    for one in found:
        figure, tempo = f"{figures[one.name]:3.0f}", f"{one.tempo:g} bpm"
        meter = one.meter.written
        print_lines(
            f"{figure}  {one.name:<{width}}  {one.kind:<8}  {meter:>9}  {tempo:>7}  "
            f"{', '.join(one.trains)}"
        )
    listed = counted(len(found), "pattern")
    print_lines(f"{listed}, the easiest first; the figure is how hard it is, from 0 to 100.")


def _print_one(one: "Pattern", figure: float, known: Sequence["Pattern"]) -> None:
    from playalong.practice.afterwards import rated, ways
    from playalong.practice.plan import practice_of

    practice = practice_of(one)
    print_lines(f"{one.title}: a {one.kind}, difficulty {figure:.0f}")
    print_lines(f"    {one.about}")
    bars = counted(len(one.bars), "bar")
    print_lines(
        f"    {bars} of {one.meter.written}, {one.tempo:g} bpm; "
        f"practised from {practice.start_tempo:g} to {practice.goal_tempo:g} bpm"
    )
    for variation in one.variations.values():
        print_lines(f"    {variation.name}: {variation.about}")
    for way in ways(one, rated(known)):
        before = f"{way.before.name} < " if way.before else ""
        after = f" > {way.after[0].name}" if way.after else ""
        print_lines(f"    {way.thing}:  {before}{one.name}{after}")


def _plain(one: "Pattern", figure: float, library: Sequence["Rated"]) -> dict[str, Any]:
    from playalong.pattern.library.search import meters
    from playalong.practice.afterwards import ways
    from playalong.practice.plan import practice_of

    practice = practice_of(one)
    return {
        "name": one.name,
        "title": one.title,
        "about": one.about,
        "kind": one.kind,
        "trains": list(one.trains),
        "difficulty": round(figure, 1),
        "meters": meters(one),
        "bars": len(one.bars),
        "tempo_bpm": one.tempo,
        "start_bpm": practice.start_tempo,
        "goal_bpm": practice.goal_tempo,
        "variations": {name: variation.about for name, variation in one.variations.items()},
        "next": {way.thing: way.after[0].name if way.after else None for way in ways(one, library)},
    }
