"""playalong import: a pattern out of a file of another program."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.out import add_force, refuse_other_kind, refuse_over
from playalong.commands.parser import Given, Parser, refuse, written_as
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import counted, quoted

if TYPE_CHECKING:
    from playalong.interchange.reading import Read

ABOUT = "make a pattern of a Standard MIDI File (written or played), of MusicXML or of drum tab"
EXAMPLES = (
    ("groove.toml, beside it", "playalong import groove.mid"),
    ("what is in it", "playalong import song.mid --list"),
    ("out of a notation program, or off a page of text", "playalong import groove.musicxml"),
    ("two bars of one track", "playalong import song.mid --track 3 --bars 9-10 --title Verse"),
)


#: What a file is by its ending; any other is taken for MIDI.
_SCORES, _TABS = (".musicxml", ".xml", ".mxl"), (".tab", ".txt")

#: More bytes than this no format has in a groove.
_MOST_BYTES = 20_000_000

#: Bar 1 starts within an hour.
_LATEST_S = 3600


class Options(Given, Protocol):
    """Of which file, which part of it, and where the pattern goes."""

    file: Path
    list: bool
    track: int | None
    channel: int | None
    part: int | None
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
    parser.add_argument(
        "file",
        type=Path,
        metavar="FILE",
        help="a Standard MIDI File, MusicXML (.musicxml, .mxl) or drum tab (.tab, .txt)",
    )
    parser.add_argument(
        "--list",
        action="store_true",
        help="say which tracks and channels it has, and write nothing",
    )
    parser.add_argument(
        "--track",
        type=int,
        metavar="N",
        help="this track of a MIDI file, 1 is the first (default all)",
    )
    parser.add_argument(
        "--channel",
        type=int,
        metavar="N",
        help="this channel of a MIDI file, 1 to 16 (default 10, the drums', or the only one)",
    )
    parser.add_argument(
        "--part", type=int, metavar="N", help="this part of MusicXML (default the one of drums)"
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
        help="where bar 1 starts, in seconds, 0 to 3600 (default as a take of this program says, "
        "or else 0)",
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
    from playalong.pattern.writer import write
    from playalong.support.files import write_file

    kind = given.file.suffix.lower()
    if kind in _SCORES or kind in _TABS:
        why = f"is for MIDI files, and {quoted(given.file.name)} is named like another kind"
        refuse(given, "--list --track --channel --start", why)
    if given.list:
        why = "says nothing with --list, which writes nothing"
        refuse(given, "--track --channel --bars --start --title --out --force", why)
    if kind not in _SCORES:
        refuse(given, "--part", "is for MusicXML: other files have no parts")
    data = _bytes(given.file)
    if given.list:
        from playalong.interchange.midi import reader as midi_reader

        print_lines(*map(str, midi_reader.read(data, str(given.file)).parts()))
        return
    out = given.out or given.file.with_suffix(".toml")
    refuse_other_kind(out, ".toml")
    refuse_over(out, given.force)
    found = _read(given, data, out.stem)
    pattern = found.pattern
    write_file(out, write(pattern))
    bars = counted(len(pattern.bars), "bar")
    print_lines(f'"{pattern.title}", {bars} at {pattern.tempo:g} bpm, is written: {out}')
    print_lines(*(f"  {words}" for words in found.notices))


def _bytes(path: Path) -> bytes:
    from playalong.support.reading import read_bytes, telling

    with telling(path):
        return read_bytes(path, _MOST_BYTES)


def _read(given: Options, data: bytes, name: str) -> "Read":
    """What is in the file, by its ending."""
    from playalong.interchange.midi import reader as midi_reader
    from playalong.interchange.musicxml import reader as musicxml_reader
    from playalong.interchange.tab import reader as tab_reader

    title, kind = (given.title or "").strip(), given.file.suffix.lower()
    if kind in _SCORES:
        return _part_of(
            given, musicxml_reader.read(data, str(given.file), title=title, part=given.part)
        )
    if kind in _TABS:
        text = data.decode("utf-8", "replace")
        return _part_of(given, tab_reader.read(text, str(given.file), title=title))
    file = midi_reader.read(data, str(given.file))
    if given.start is not None and not 0 <= given.start <= _LATEST_S:
        raise UserError(f"Bar 1 cannot start at {given.start:g} s: choose 0 to {_LATEST_S:,}.")
    return midi_reader.pattern_of(
        file,
        name,
        title=title,
        track=given.track,
        channel=given.channel,
        bars=given.bars,
        start_s=given.start if given.start is not None else _start_of_take(data),
    )


def _part_of(given: Options, found: "Read") -> "Read":
    """The bars that are asked for."""
    if given.bars is None:
        return found
    first, last = given.bars
    bars = found.pattern.bars
    if not 1 <= first <= last <= len(bars):
        raise UserError(f"There are no bars {first} to {last}: it has {len(bars)}.")
    excerpt = bars[first - 1 : last]
    if not any(bar.strokes for bar in excerpt):
        raise UserError(f"There is no stroke in bars {first} to {last}.")
    return replace(found, pattern=replace(found.pattern, bars=excerpt))
