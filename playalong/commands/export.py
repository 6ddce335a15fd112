"""playalong export: a pattern as a file that other programs open."""

from pathlib import Path
from typing import Protocol

from playalong.commands.options.out import add_force, refuse_over
from playalong.commands.options.pattern import BarsOptions, PatternOption, add_bars, add_pattern
from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

ABOUT = "write a pattern as a Standard MIDI File, for a sequencer or a notation program"
EXAMPLES = (
    ("late-bus-home.mid in this folder", "playalong export late-bus-home"),
    (
        "eight bars of a variation, as they sound",
        "playalong export late-bus-home --variation push --bars 8 --as-it-sounds",
    ),
    ("your own, elsewhere", "playalong export my-groove.toml --out lesson/my-groove.mid"),
)

#: So many bars are enough.
MOST_BARS = 1_000


class Options(Given, PatternOption, BarsOptions, Protocol):
    """The pattern, how much of it, and where it goes."""

    tempo: float | None
    as_it_sounds: bool
    out: Path | None
    force: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    add_pattern(parser)
    add_bars(parser, usual="the pattern once")
    parser.add_argument(
        "--tempo", type=float, metavar="BPM", help="at this tempo (default the pattern's own)"
    )
    parser.add_argument(
        "--as-it-sounds",
        action="store_true",
        help="swung notes where they sound (default where they are written)",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.mid",
        help="where it goes (default the pattern's name, in this folder)",
    )
    add_force(parser)


def run(given: Options) -> None:
    """Write it; say where it is, and what the format has no place for."""
    from playalong.interchange.midi_form import left_out
    from playalong.interchange.midi_out import write
    from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM
    from playalong.records.pattern_files import load_pattern
    from playalong.support.files import write_file

    if given.bars is not None and not 1 <= given.bars <= MOST_BARS:
        raise UserError(f"{given.bars} bars cannot be written: choose 1 to {MOST_BARS:,}.")
    if given.tempo is not None and not SLOWEST_BPM <= given.tempo <= FASTEST_BPM:
        raise UserError(f"{given.tempo:g} bpm is no tempo: choose {SLOWEST_BPM} to {FASTEST_BPM}.")
    pattern = load_pattern(given.pattern)
    out = given.out or Path(f"{pattern.name}.mid")
    if out.suffix.lower() not in (".mid", ".midi"):
        raise UserError(f"{out} is named like another kind of file: call it {out.stem}.mid.")
    refuse_over(out, given.force)
    data = write(
        pattern,
        tempo_bpm=given.tempo,
        bars=given.bars,
        variations=tuple(given.variation or ()),
        as_it_sounds=given.as_it_sounds,
    )
    write_file(out, data)
    print_lines(f"It is written: {out}")
    for words in left_out(pattern):
        print_lines(f"  {words}")
