"""playalong import: a pattern out of a file of another program."""

from pathlib import Path
from typing import Protocol

from playalong.commands.options.out import add_force, refuse_over
from playalong.commands.parser import Given, Parser, written_as
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import counted

ABOUT = "make a pattern of a Standard MIDI File, written by a program or played"
EXAMPLES = (
    ("groove.toml, beside it", "playalong import groove.mid"),
    ("what is in it", "playalong import song.mid --list"),
    ("two bars of one track", "playalong import song.mid --track 3 --bars 9-10 --title Verse"),
)


#: Bar 1 starts within an hour.
_LATEST_S = 3600


class Options(Given, Protocol):
    """Of which file, which part of it, and where the pattern goes."""

    file: Path
    list: bool
    track: int | None
    channel: int | None
    bars: tuple[int, int] | None
    start: float | None
    title: str | None
    out: Path | None
    force: bool


def _bars(text: str) -> tuple[int, int]:
    first, _, last = text.partition("-")
    return int(first), int(last or first)


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument("file", type=Path, metavar="FILE.mid", help="a Standard MIDI File")
    parser.add_argument(
        "--list",
        action="store_true",
        help="say which tracks and channels it has, and write nothing",
    )
    parser.add_argument(
        "--track", type=int, metavar="N", help="this track, 1 is the first (default all)"
    )
    parser.add_argument(
        "--channel",
        type=int,
        metavar="N",
        help="this channel, 1 to 16 (default 10, the drums', or the only one)",
    )
    parser.add_argument(
        "--bars",
        type=written_as(_bars, "no bars: write 5, or 5-8"),
        metavar="A-B",
        help="these bars, 1 is the first (default all that have notes, and one round of bars that "
        "come again)",
    )
    parser.add_argument(
        "--start",
        type=float,
        metavar="SECONDS",
        help="where bar 1 starts (default as a take of this program says, or else 0)",
    )
    parser.add_argument(
        "--title", metavar="WORDS", help="what the pattern is called (default as in the file)"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.toml",
        help="where the pattern goes (default beside the file)",
    )
    add_force(parser)


def _start_of_take(data: bytes) -> float:
    """Where bar 1 of a take of this program is, 0 in files of others."""
    from playalong.records.takes import TakeError, from_bytes

    try:
        start_s = from_bytes(data, "").info.get("start_s")
    except TakeError:
        return 0.0
    return float(start_s) if isinstance(start_s, int | float) else 0.0


def run(given: Options) -> None:
    """Write the pattern; say where it is, and what was not plain."""
    from playalong.interchange.midi_in import MOST_BYTES, pattern_of, read
    from playalong.pattern.writer import write
    from playalong.support.files import write_file
    from playalong.support.reading import read_bytes

    try:
        data = read_bytes(given.file, MOST_BYTES)
    except FileNotFoundError:
        raise UserError(f"There is no file {given.file}: check the name and the folder.") from None
    except OSError as error:
        raise UserError(f"{given.file} cannot be read: {error.strerror}.") from None
    found = read(data, str(given.file))
    if given.start is not None and not 0 <= given.start <= _LATEST_S:
        raise UserError(f"Bar 1 cannot start at {given.start:g} s: choose 0 to {_LATEST_S:,}.")
    if given.list:
        print_lines(*map(str, found.parts()))
        return
    out = given.out or given.file.with_suffix(".toml")
    if out.suffix.lower() != ".toml":
        raise UserError(f"{out} is named like another kind of file: call it {out.stem}.toml.")
    refuse_over(out, given.force)
    start_s = given.start if given.start is not None else _start_of_take(data)
    made = pattern_of(
        found,
        out.stem,
        title=(given.title or "").strip(),
        track=given.track,
        channel=given.channel,
        bars=given.bars,
        start_s=start_s,
    )
    pattern = made.pattern
    write_file(out, write(pattern))
    bars = counted(len(pattern.bars), "bar")
    print_lines(f'"{pattern.title}", {bars} at {pattern.tempo:g} bpm, is written: {out}')
    print_lines(*(f"  {words}" for words in made.told))
