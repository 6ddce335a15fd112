"""playalong grade: takes held against a pattern."""

import argparse
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.notices import print_notices
from playalong.commands.options.pattern import (
    BarsOptions,
    PatternOption,
    add_bars,
    add_pattern,
    pattern_of,
)
from playalong.commands.options.rules import OF_TAKE, RulesOptions, add_rules, bands_of, level_of
from playalong.commands.parser import Given, Parser, refuse, written_as
from playalong.support.errors import UserError
from playalong.support.terminal import print_errors, print_lines, progress
from playalong.support.text import counted

if TYPE_CHECKING:
    from playalong.app.grade.batch import Batch
    from playalong.app.grade.take_grading import Graded
    from playalong.pattern.model import Pattern
    from playalong.profile.profile import Profile

#: What is printed as JSON, described.
#: How many findings are told after the first.
ALSO = 2

SCHEMA_FILE = Path(__file__).with_name("grade.schema.json")

ABOUT = "grade takes, Standard MIDI Files, against a pattern"
EXAMPLES = (
    ("a take of yours", "playalong grade late-bus-home take.mid"),
    ("all takes of a class, for a spreadsheet", "playalong grade late-bus-home class/ --csv"),
    ("for a script, with every hit", "playalong grade late-bus-home take.mid --json --hits"),
    ("what all of that means", "playalong grade --schema"),
    (
        "played without a click, somewhere in the file",
        "playalong grade late-bus-home take.mid --start auto --tempo auto",
    ),
    (
        "from another program, played on a known kit",
        "playalong grade late-bus-home take.mid --profile mine.toml --latency-ms 12",
    ),
)


class Options(Given, PatternOption, BarsOptions, RulesOptions, Protocol):
    """All that grading can be asked for."""

    takes: list[Path]
    start: float | str | None
    tempo: float | str | None
    current: bool
    json: bool
    csv: bool
    hits: bool
    profile: Path | None
    latency_ms: float | None


def add_arguments(parser: Parser) -> None:
    """Add them."""
    add_pattern(parser)
    parser.add_argument(
        "takes",
        metavar="TAKE",
        nargs="+",
        type=Path,
        help="a take, a Standard MIDI File; of several, or of a folder with takes, each has one "
        "line. One that cannot be graded is told at the end, and the exit code is then 2",
    )
    parser.add_argument(
        "--current",
        action="store_true",
        help="by the pattern as it is now, where it has changed since the take was played",
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument(
        "--json", action="store_true", help="print it as JSON, for scripts; of several, a line each"
    )
    form.add_argument(
        "--csv", action="store_true", help="print the figures as a table, for a spreadsheet"
    )
    parser.add_argument(
        "--hits", action="store_true", help="with every hit; of several takes with --json"
    )
    parser.add_argument(
        "--schema",
        action=_Schema,
        nargs=0,
        help="print the JSON Schema of what --json prints, every key described, and grade nothing",
    )
    group = parser.add_argument_group("where the pattern is in the take")
    group.add_argument(
        "--start",
        type=written_as(_seconds_or_auto, "neither a number of seconds nor auto"),
        metavar="SECONDS",
        help="where bar 1 starts, in seconds, or auto to have it found (default as the take says, "
        "or else 0)",
    )
    group.add_argument(
        "--tempo",
        type=written_as(_number_or_auto, "neither a number nor auto"),
        metavar="BPM",
        help="beats a minute, 20 to 400, or auto to have it found (default as the take says, or "
        "else the pattern's own)",
    )
    add_bars(parser, usual="as the take says, or else as many as were played")
    add_rules(parser, OF_TAKE)
    group = parser.add_argument_group("the kit on which it was played")
    group.add_argument(
        "--profile",
        type=Path,
        metavar="FILE.toml",
        help="the profile of the kit: what its notes are, its loudness, its latency (default as "
        "the take says, or else the usual notes)",
    )
    group.add_argument(
        "--latency-ms",
        type=float,
        metavar="MS",
        help="what is taken off every hit, in ms (default that of the profile, or else as the take "
        "says)",
    )


class _Schema(argparse.Action):
    """Prints the schema when it is typed."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object, **__: object) -> None:
        print_lines(*SCHEMA_FILE.read_text(encoding="utf-8").splitlines())
        parser.exit()


def run(given: Options) -> None:
    """Grade the takes, and print the grades; UserError with those that cannot be graded."""
    from playalong.app.grade.batch import Batch, takes_in
    from playalong.app.grade.take_grading import Options as GradeOptions
    from playalong.app.grade.take_grading import grade_take
    from playalong.records.takes import read

    if given.csv:
        refuse(given, "--hits", "does not go with --csv, which has one line for each take")
    paths = takes_in(given.takes)
    pattern = _pattern(given, paths[0])
    profile = _profile(given.profile)
    latency = profile.latency if profile else None
    options = GradeOptions(
        tempo_bpm=given.tempo,
        start_s=given.start,
        bars=given.bars,
        variations=None if given.variation is None else tuple(given.variation),
        capture_ms=given.capture_ms,
        tolerance_ms=given.tolerance_ms,
        bands=bands_of(given) or (profile.bands if profile else None),
        pads=profile.pads if profile else None,
        latency_ms=latency.ms if given.latency_ms is None and latency else given.latency_ms,
        current=given.current,
        level=level_of(given),
        left_handed=given.left_handed,
    )
    if given.csv or paths != given.takes or len(paths) > 1:
        if not given.json:
            refuse(given, "--hits", "goes with --json where there are several takes")
        _print_all(Batch(pattern=pattern, options=options, with_hits=given.hits), paths, given)
        return
    graded = grade_take(pattern, read(paths[0]), options)
    if given.json:
        _print_json(graded, given.hits)
    else:
        _print_text(graded, given.hits)


def _pattern(given: Options, take: Path) -> "Pattern":
    """The pattern that was named, or, where there is none, what a take of that name keeps of it."""
    from playalong.app.grade.expected import stored_pattern
    from playalong.records.takes import read

    try:
        return pattern_of(given)
    except UserError as missing:
        try:
            stored = stored_pattern(given.pattern, read(take))
        except UserError:
            raise missing from None
        if stored is None:
            raise
        print_errors(f"({missing} It is graded by what the take keeps of the pattern.)")
        return stored


def _print_all(batch: "Batch", paths: list[Path], given: Options) -> None:
    """A line for each take, in order; how far it has come is seen on a terminal."""
    import json

    from playalong.app.grade.batch import grade_all
    from playalong.app.grade.table import columns, line_of, row

    names: list[str] = []
    trouble = []
    with progress(len(paths), "takes") as step:
        for result in grade_all(batch, paths):
            lines = []
            if result.grade is None:
                trouble.append(result.trouble)
            else:
                record = {"take": str(result.path), **result.grade}
                if given.json:
                    lines = [json.dumps(record)]
                elif given.csv:
                    if not names:
                        names = columns(record)
                        lines = [line_of(names)]
                    lines.append(row(record, names))
                else:
                    total, advice = record["score"]["total"], record["advice"]
                    notices = "".join(f" ({notice})" for notice in result.notices)
                    lines = [f"{total:3.0f} of 100  {result.path}  {advice}{notices}"]
            step(*lines)
    if trouble:
        raise UserError.of(trouble)


def _print_json(graded: "Graded", with_hits: bool) -> None:
    import json

    print_lines(*json.dumps(graded.as_json(with_hits), indent=1).split("\n"))


def _print_text(graded: "Graded", with_hits: bool) -> None:
    from playalong.grading.grade_run import judged_hits
    from playalong.grading.text import figures, hit_lines

    grade = graded.grade
    bars = counted(grade.bars, "bar")
    total = f"{grade.score.total:.0f} of 100"
    print_lines(f"{graded.expected.pattern.title}, {bars} at {grade.tempo_bpm:g} bpm: {total}", "")
    for what, figure in figures(grade):
        print_lines(f"  {what:<18} {figure}")
    first, *others = grade.findings
    print_lines("", first.text, *(f"  then: {each.text}" for each in others[:ALSO]))
    print_notices(graded.notices)
    if with_hits:
        print_lines("", *hit_lines(judged_hits(graded.run)))


def _profile(path: Path | None) -> "Profile | None":
    if path is None:
        return None
    from playalong.records.profiles import read_file
    from playalong.support.reading import telling

    with telling(path):
        return read_file(path)


def _number_or_auto(text: str) -> float | str:
    return text if text == "auto" else float(text)


def _seconds_or_auto(text: str) -> float | str:
    found = _number_or_auto(text)
    if isinstance(found, float) and not isfinite(found):
        raise ValueError
    return found
