"""What can be typed: every command with its options, and a short word on each."""

import argparse
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NoReturn

from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

Run = Callable[[argparse.Namespace], int]

_PATTERN = {"metavar": "PATTERN", "help": "a pattern's name, or a file"}


class Parser(argparse.ArgumentParser):
    """A parser that prints as all the program does, and tells what is wrong as a UserError."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.color = False  # from Python 3.14 on: the terminal is given text alone

    def error(self, message: str) -> NoReturn:
        """What was typed does not fit."""
        raise UserError(f"{message}. See {self.prog} --help.")

    def _print_message(self, message: str, file: object = None) -> None:
        print_lines(*message.removesuffix("\n").split("\n"))


def parser(run: Mapping[str, Run]) -> argparse.ArgumentParser:
    """The parser; ``run`` has what each command does, by its name."""
    made = Parser(
        prog="playalong",
        description="Listens to an electronic drum kit, compares each hit with a pattern, "
        "and answers at once.",
        epilog=CAUTION,
    )
    commands = made.add_subparsers(required=True, metavar="COMMAND")

    def command(name: str, about: str) -> Any:
        added = commands.add_parser(name, help=about, description=about)
        added.set_defaults(command=run[name], usual=added.get_default)
        return added

    command("patterns", "list the patterns")
    check = command("check", "check pattern files, and say what is wrong where")
    check.add_argument("files", nargs="+", type=Path, metavar="FILE")
    command("ports", "list the MIDI ports that a kit may be on")
    command("sounds", "list the sound devices")
    _kit(command("kit", "learn a kit: its pads, their loudness, double triggers, latency"))

    play = command("play", "play a pattern on the kit, and see every hit judged")
    play.add_argument("pattern", **_PATTERN)
    _run(play)
    _port(play)
    _along(play)

    demo = command("demo", "the same with a simulated player")
    demo.add_argument("pattern", metavar="PATTERN", nargs="?", default="late-bus-home")
    _run(demo)
    _simulated(demo, "steady")
    demo.add_argument(
        "--through-port", action="store_true", help="send through a real virtual MIDI port"
    )
    demo.add_argument(
        "--stay", type=float, default=12.0, metavar="SECONDS", help="how long the grade is shown"
    )

    hear = command("hear", "hear a pattern, ghost notes soft, at any tempo; or a take")
    hear.add_argument("pattern", **_PATTERN)
    hear.set_defaults(capture_ms=None, tolerance_ms=None, strokes=None)  # nothing is judged
    _bars(hear)
    _time(hear)
    hear.add_argument("--chunk", metavar="NAME", help="only this part of it")
    hear.add_argument("--take", type=Path, metavar="TAKE.mid", help="hear a take against it")
    hear.add_argument(
        "--which",
        choices=("yours", "pattern", "both"),
        default="both",
        help="of a take: yours is on the left, the pattern on the right",
    )
    hear.add_argument("--half", action="store_true", help="a take at half speed")
    hear.add_argument("--out", type=Path, metavar="FILE.wav", help="write it to a file instead")
    hear.add_argument("--no-click", action="store_true", help="the drums alone")
    _along(hear)
    _look(hear)

    beats = command("beats", "tell where the beats of a recording of yours are")
    _beats(beats)

    practice = command("practice", "learn a pattern, from its beats to free playing")
    practice.add_argument("pattern", **_PATTERN)
    practice.add_argument("--plan", action="store_true", help="print the plan, and how it stands")
    _port(practice)
    _simulated(practice, None)
    _rules(practice)
    _click(practice)
    _sound_pads(practice)
    _folder(practice)
    _look(practice)

    grade = command("grade", "grade a take, a Standard MIDI File, against a pattern")
    grade.add_argument("pattern", **_PATTERN)
    grade.add_argument("take", metavar="TAKE.mid", type=Path)
    grade.add_argument(
        "--start", type=_number_or_auto, metavar="SECONDS", help="where bar 1 starts, or auto"
    )
    grade.add_argument("--json", action="store_true", help="for scripts")
    grade.add_argument("--hits", action="store_true", help="with every hit")
    grade.add_argument("--tempo", type=_number_or_auto, metavar="BPM", help="or auto")
    grade.add_argument(
        "--profile", type=Path, metavar="FILE.toml", help="of the kit on which it was played"
    )
    grade.add_argument("--latency-ms", type=float, metavar="N", help="what is taken off every hit")
    _bars(grade)
    _rules(grade)
    return made


def check_unused(given: argparse.Namespace, options: str, why: str) -> None:
    """UserError for the first of ``options`` (names in a row) that was typed: it says nothing."""
    for option in options.split():
        name = "along" if option == "--with" else option[2:].replace("-", "_")
        if getattr(given, name) != given.usual(name):
            raise UserError(f"{option} {why}. Leave it out.")


def _kit(kit: argparse.ArgumentParser) -> None:
    kit.add_argument(
        "page",
        nargs="?",
        choices=("pads", "loudness", "triggers", "latency", "pad-commands", "messages"),
        help="go there at once",
    )
    kit.add_argument("--watch", action="store_true", help="print every message as it comes")
    kit.add_argument("--show", action="store_true", help="print what is known of the kit")
    kit.add_argument("--latency-ms", type=float, metavar="N", help="a latency that was measured")
    _port(kit)
    _simulated(kit, None)
    _folder(kit)
    _look(kit)


def _beats(beats: argparse.ArgumentParser) -> None:
    beats.add_argument("recording", type=Path, metavar="FILE", help="wav, flac, mp3 or ogg")
    beats.add_argument("--tempo", type=float, metavar="BPM", help="where it is even")
    beats.add_argument("--first-beat", type=float, metavar="SECONDS", help="the 1 of bar 1")
    beats.add_argument("--per-bar", type=int, metavar="N", help="beats to a bar: 4 if not said")
    beats.add_argument("--find", action="store_true", help="let the extra [beats] find them")
    beats.add_argument("--out", type=Path, metavar="FILE.wav", help="write it with a click over it")
    _port(beats)
    _look(beats)


def _simulated(parser: argparse.ArgumentParser, usual: str | None) -> None:
    parser.add_argument("--player", metavar="SKILL", default=usual, help="a simulated player")
    parser.add_argument("--seed", type=int, default=1, help="the same seed plays the same")
    parser.add_argument("--fast", action="store_true", help="on a simulated clock, without waiting")


def _port(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", metavar="PART", help="part of the kit's MIDI port name")
    parser.add_argument("--who", metavar="NAME", help="who plays: each has a profile of their own")


def _run(parser: argparse.ArgumentParser) -> None:
    _bars(parser)
    _rules(parser)
    _time(parser)
    _folder(parser)
    _look(parser)
    _sound_pads(parser)


def _sound_pads(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--sound-pads", action="store_true", help="let the pads sound through the program"
    )


def _bars(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--bars", type=int, metavar="N")
    parser.add_argument("--variation", action="append", metavar="NAME", help="may be repeated")


def _rules(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--capture-ms", type=float, metavar="N", help="how far a hit may answer")
    parser.add_argument("--tolerance-ms", type=float, metavar="N", help="how far is on time")
    parser.add_argument(
        "--strokes", type=Path, metavar="FILE", help="the player's own strokes, for loudness"
    )


def _time(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tempo", type=float, metavar="BPM")
    parser.add_argument("--count-in", type=int, default=1, metavar="BARS", choices=(1, 2))
    _click(parser)


def _click(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--click", choices=("beats", "eighths", "off-beats"), default="beats", help="where it is"
    )
    parser.add_argument("--eighths", action="store_true", help="the same as --click eighths")
    parser.add_argument(
        "--gap",
        type=_gap,
        metavar="BARS+SILENT[+MORE]",
        help="so many bars with the click, then so many without, each time so many more",
    )


def _along(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--with", dest="along", type=Path, metavar="RECORDING")
    parser.add_argument(
        "--loop", type=_loop, metavar="FIRST-LAST", help="these bars of the recording"
    )
    parser.add_argument("--speed", type=float, default=100.0, metavar="PERCENT", help="50 to 110")
    parser.add_argument(
        "--recording-db", type=float, default=-6.0, metavar="DB", help="its level under the click"
    )


def _folder(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", type=Path, metavar="FOLDER", help="where what was played is kept")


def _look(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--sound", metavar="PART", help="part of the sound device's name")
    parser.add_argument(
        "--buffer-ms",
        type=float,
        default=10.0,
        metavar="N",
        help="the sound buffer",
    )
    parser.add_argument(
        "--click-to", metavar="PART", help="the click as notes to this MIDI output: the kit's"
    )
    parser.add_argument("--dark", action="store_true", help="a dark sheet")
    parser.add_argument("--large", action="store_true", help="larger writing")


def _number_or_auto(text: str) -> float | str:
    try:
        return text if text == "auto" else float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is neither a number nor auto') from None


def _gap(text: str) -> tuple[int, int, int]:
    try:
        sounding, silent, *more = (int(part) for part in text.split("+"))
        (widening,) = more or [0]
    except ValueError:
        raise argparse.ArgumentTypeError(
            f'"{text}" is no gap: write it like 2+2 or 2+1+1'
        ) from None
    return sounding, silent, widening


def _loop(text: str) -> tuple[int, int]:
    try:
        first, last = (int(part) for part in text.split("-"))
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" are no bars: write them like 5-8') from None
    return first, last
