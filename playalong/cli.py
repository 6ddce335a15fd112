"""The commands. Each is thin: it reads what was typed, calls the room that does the work, prints.

Imports stand inside the commands, so that none pays for what another needs.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from playalong.plain import CAUTION, PlainError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code is 0 when it did its work, 2 when the input was bad."""
    parser = _parser()
    given = parser.parse_args(arguments)
    try:
        return int(given.command(given))
    except PlainError as error:
        print(f"playalong: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has gone
        sys.stderr.close()
        return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="playalong",
        description="Listens to an electronic drum kit, compares each hit with a pattern, "
        "and answers at once.",
        epilog=CAUTION,
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], about: str) -> Any:
        added = commands.add_parser(name, help=about, description=about)
        added.set_defaults(command=run)
        return added

    command("patterns", _patterns, "list the patterns")

    check = command("check", _check, "check pattern files, and say what is wrong where")
    check.add_argument("files", nargs="+", type=Path, metavar="FILE")

    command("ports", _ports, "list the MIDI ports that a kit may be on")

    play = command("play", _play, "play a pattern on the kit, and see every hit judged")
    _add_run(play)
    play.add_argument("pattern", metavar="PATTERN", help="a pattern's name, or a file")
    play.add_argument("--port", metavar="PART", help="part of the kit's MIDI port name")

    demo = command("demo", _demo, "the same with a simulated player")
    _add_run(demo)
    demo.add_argument("pattern", metavar="PATTERN", nargs="?", default="late-bus-home")
    demo.add_argument("--seed", type=int, default=1, help="the same seed plays the same")
    demo.add_argument("--player", metavar="SKILL", default="steady", help="how well it plays")
    demo.add_argument("--fast", action="store_true", help="on a simulated clock, without waiting")
    demo.add_argument(
        "--through-port", action="store_true", help="send through a real virtual MIDI port"
    )

    demo.add_argument(
        "--stay", type=float, default=12.0, metavar="SECONDS", help="how long the grade is shown"
    )

    hear = command("hear", _hear, "hear a pattern, ghost notes soft, at any tempo")
    hear.add_argument("pattern", metavar="PATTERN", help="a pattern's name, or a file")
    hear.set_defaults(capture_ms=None, tolerance_ms=None, strokes=None)  # nothing is judged
    _add_bars(hear)
    _add_time(hear)
    hear.add_argument("--out", type=Path, metavar="FILE.wav", help="write it to a file instead")
    hear.add_argument("--no-click", action="store_true", help="the drums alone")
    _add_look(hear)

    practice = command("practice", _practice, "learn a pattern, from its beats to free mixing")
    practice.add_argument("pattern", metavar="PATTERN", help="a pattern's name, or a file")
    practice.add_argument("--plan", action="store_true", help="print the plan, and how it stands")
    practice.add_argument("--port", metavar="PART", help="part of the kit's MIDI port name")
    practice.add_argument("--player", metavar="SKILL", help="a simulated player in your place")
    practice.add_argument("--seed", type=int, default=1, help="the same seed plays the same")
    practice.add_argument("--fast", action="store_true", help="a simulated player without waiting")
    _add_rules(practice)
    _add_folder(practice)
    _add_look(practice)

    grade = command("grade", _grade, "grade a take, a Standard MIDI File, against a pattern")
    grade.add_argument("pattern", metavar="PATTERN", help="a pattern's name, or a file")
    grade.add_argument("take", metavar="TAKE.mid", type=Path)
    grade.add_argument(
        "--start", type=_number_or_auto, metavar="SECONDS", help="where bar 1 starts, or auto"
    )
    grade.add_argument("--json", action="store_true", help="for scripts")
    grade.add_argument("--hits", action="store_true", help="with every hit")
    grade.add_argument("--tempo", type=_number_or_auto, metavar="BPM", help="or auto")
    _add_judging(grade)
    return parser


def _number_or_auto(text: str) -> float | str:
    try:
        return text if text == "auto" else float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is neither a number nor auto') from None


def _add_judging(parser: argparse.ArgumentParser) -> None:
    _add_bars(parser)
    _add_rules(parser)


def _add_bars(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--bars", type=int, metavar="N")
    parser.add_argument("--variation", action="append", metavar="NAME", help="may be repeated")


def _add_rules(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--capture-ms", type=float, metavar="N", help="how far a hit may answer")
    parser.add_argument("--tolerance-ms", type=float, metavar="N", help="how far is on time")
    parser.add_argument(
        "--strokes", type=Path, metavar="FILE", help="the player's own strokes, for loudness"
    )


def _add_run(parser: argparse.ArgumentParser) -> None:
    _add_judging(parser)
    _add_time(parser)
    _add_folder(parser)
    _add_look(parser)


def _add_time(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tempo", type=float, metavar="BPM")
    parser.add_argument("--count-in", type=int, default=1, metavar="BARS", choices=(1, 2))
    parser.add_argument("--eighths", action="store_true", help="click eighth notes, softly, too")


def _add_folder(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", type=Path, metavar="FOLDER", help="where what was played is kept")


def _add_look(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--sound", metavar="PART", help="part of the sound device's name")
    parser.add_argument("--dark", action="store_true", help="a dark sheet")
    parser.add_argument("--large", action="store_true", help="larger writing")


def _patterns(_: argparse.Namespace) -> int:
    library = _library()
    for name in library.names():
        pattern = library.get(name)
        tempo = f"{pattern.tempo:g} bpm"
        print(f"{name:<24} {pattern.meter.written:>7}  {tempo:>8}  {pattern.title}")
        if pattern.about:
            print(f"    {pattern.about}")
        if pattern.variations:
            print(f"    variations: {', '.join(pattern.variations)}")
    return 0


def _check(given: argparse.Namespace) -> int:
    from playalong.pattern.text import PatternError, read

    wrong = 0
    for path in given.files:
        try:
            pattern = read(_text(path), path.name)
        except PatternError as error:
            print(error, file=sys.stderr)
            wrong += 1
            continue
        bars = "1 bar" if len(pattern.bars) == 1 else f"{len(pattern.bars)} bars"
        print(f'{path}: "{pattern.title}" is right: {bars} of {pattern.meter.written}.')
    return 2 if wrong else 0


def _ports(_: argparse.Namespace) -> int:
    from playalong.kit.ports import NO_PORT, port_names

    names = port_names()
    if not names:
        raise PlainError(NO_PORT)
    print("\n".join(names))
    return 0


def _grade(given: argparse.Namespace) -> int:
    import json

    from playalong.grading.measure import judged_hits
    from playalong.grading.words import as_json, figures, hit_lines
    from playalong.records.takes import read
    from playalong.regrading import Options, grade_take

    pattern = _pattern(given.pattern)
    options = Options(
        given.tempo,
        given.start,
        given.bars,
        None if given.variation is None else tuple(given.variation),
        given.capture_ms,
        given.tolerance_ms,
        _bands(given),
    )
    graded = grade_take(pattern, read(given.take), options)
    hits = judged_hits(graded.run) if given.hits else None
    if given.json:
        told = as_json(graded.grade, hits)
        told |= {"followed": graded.followed, "start_s": round(graded.start_s, 6)}
        print(json.dumps(told, indent=1))
        return 0
    grade = graded.grade
    bars = "1 bar" if grade.bars == 1 else f"{grade.bars} bars"
    print(f"{pattern.title}, {bars} at {grade.tempo_bpm:g} bpm: {grade.score.total:.0f} of 100\n")
    for what, figure in figures(grade):
        print(f"  {what:<18} {figure}")
    print(f"\n{grade.advice}")
    for remark in graded.remarks:
        print(f"({remark})")
    if hits is not None:
        print("\n" + "\n".join(hit_lines(hits)))
    return 0


def _play(given: argparse.Namespace) -> int:
    from playalong.kit.ports import open_port
    from playalong.live.session import play

    task = _task(given)
    port = open_port(given.port)
    print(f'Listening to "{port.name}". {CAUTION}')
    trouble: tuple[str, ...] = ()
    try:
        for kept in play(task, _look(given), port, given.out):
            _tell(kept)
            trouble = kept.trouble
    finally:
        port.close()
    if trouble:
        raise PlainError(" ".join(trouble))
    return 0


def _demo(given: argparse.Namespace) -> int:
    from playalong.live.session import Player, demo

    skill = _skill(given.player)
    task = _task(given)
    if given.fast and given.through_port:
        raise PlainError(
            "A real port knows no simulated clock: leave out --fast or --through-port."
        )
    player = Player(skill, given.seed, given.fast, given.through_port)
    kept, files = demo(task, _look(given), player, given.out, given.stay)
    _tell(kept)
    for file in files:
        print(f"Also there: {file}")
    if kept.trouble:
        raise PlainError(" ".join(kept.trouble))
    return 0


def _task(given: argparse.Namespace) -> Any:
    """What is to be played."""
    from fractions import Fraction

    from playalong.live.loop import Task
    from playalong.regrading import check_variations, checked_bars, checked_rules, checked_tempo

    pattern = _pattern(given.pattern)
    variations = tuple(given.variation or ())
    check_variations(pattern, variations)
    tempo_bpm = checked_tempo(pattern.tempo if given.tempo is None else given.tempo)
    bars = checked_bars(_whole_rounds(len(pattern.bars)) if given.bars is None else given.bars)
    rules = checked_rules(given.capture_ms, given.tolerance_ms, _bands(given))
    between = Fraction(1, 8) if given.eighths else None
    return Task(pattern, tempo_bpm, bars, variations, rules, given.count_in, between)


def _practice(given: argparse.Namespace) -> int:
    from playalong.live.session import Player, plan_lines, practise
    from playalong.regrading import checked_rules

    pattern = _pattern(given.pattern)
    rules = checked_rules(given.capture_ms, given.tolerance_ms, _bands(given))
    if given.plan:
        print("\n".join(plan_lines(pattern, rules, given.out)))
        return 0
    if given.player or given.fast:
        by: Any = Player(_skill(given.player or "steady"), given.seed, given.fast)
        told = practise(pattern, rules, _look(given), by, given.out)
    else:
        from playalong.kit.ports import open_port

        port = open_port(given.port)
        print(f'Listening to "{port.name}". {CAUTION}')
        try:
            told = practise(pattern, rules, _look(given), port, given.out)
        finally:
            port.close()
    print(f"{told.learned} of {told.steps} steps are learned, after {told.repetitions} runs today.")
    if told.next:
        print(f"Next: {told.next}")
    if told.trouble:
        raise PlainError(" ".join(told.trouble))
    return 0


def _skill(name: str) -> Any:
    from playalong.kit.player import SKILLS

    if name not in SKILLS:
        raise PlainError(f'No player plays "{name}"; there is {", ".join(SKILLS)}.')
    return SKILLS[name]


def _hear(given: argparse.Namespace) -> int:
    from playalong.live.session import hear

    hear(_task(given), _look(given), not given.no_click, given.out)
    if given.out is not None:
        print(f"It is written: {given.out}")
    return 0


def _whole_rounds(bars: int) -> int:
    """Four bars or more, as whole rounds through a pattern of ``bars``."""
    return -(-4 // bars) * bars


def _bands(given: argparse.Namespace) -> Any:
    if given.strokes is None:
        return None
    from playalong.grading.calibrating import bands_of
    from playalong.records.strokes import read

    return bands_of(read(given.strokes))


def _look(given: argparse.Namespace) -> Any:
    from playalong.live.session import Look

    return Look(given.dark, given.large, given.sound)


def _tell(kept: Any) -> None:
    grade = kept.graded.grade
    print(f"{grade.score.total:.0f} of 100. {grade.advice}")
    print(f"The take is kept: {kept.path}")


def _library() -> Any:
    from playalong import shipped
    from playalong.pattern.library import Library

    files = shipped.folder("patterns").glob("*.toml")
    return Library({path.stem: path.read_text(encoding="utf-8") for path in files})


def _pattern(name: str) -> Any:
    """The pattern in a file, if ``name`` looks like one, else the shipped one of that name."""
    path = Path(name)
    if path.suffix == ".toml" or path.is_file():
        from playalong.pattern.text import read

        return read(_text(path), path.stem)
    return _library().get(name)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise PlainError(f"There is no file {path}: check the name and the folder.") from None
    except UnicodeDecodeError:
        raise PlainError(f"{path} is no text in UTF-8: save it so in the editor.") from None
    except OSError as error:
        raise PlainError(f"{path} cannot be read: {error.strerror}.") from None


if __name__ == "__main__":
    sys.exit(main())
