"""playalong export: a pattern as a file that other programs open."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.out import add_force, refuse_other_kind, refuse_over
from playalong.commands.options.pattern import BarsOptions, PatternOption, add_bars, add_pattern
from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.pattern.model import Pattern

ABOUT = "write a pattern as a Standard MIDI File, as MusicXML or as drum tab"
EXAMPLES = (
    ("late-bus-home.mid in this folder", "playalong export late-bus-home"),
    (
        "eight bars of a variation, as they sound",
        "playalong export late-bus-home --variation push --bars 8 --as-it-sounds",
    ),
    ("for a notation program", "playalong export late-bus-home --out late-bus-home.musicxml"),
    ("your own, as text to post", "playalong export my-groove.toml --out my-groove.tab"),
)

#: What is written, by the ending of the file.
_MIDI, _SCORES, _TABS = (".mid", ".midi"), (".musicxml", ".xml", ".mxl"), (".tab", ".txt")

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
    add_bars(parser, usual="the pattern once; 1,000 at most")
    parser.add_argument(
        "--tempo",
        type=float,
        metavar="BPM",
        help="beats a minute, 20 to 400 (default the pattern's own)",
    )
    parser.add_argument(
        "--as-it-sounds",
        action="store_true",
        help="swung notes where they sound, in a MIDI file (default where they are written)",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="where it goes; its ending says as what: .mid, .musicxml, .mxl, .tab, .txt (default "
        "the pattern's name and .mid, in this folder)",
    )
    add_force(parser)


def run(given: Options) -> None:
    """Write it; say where it is, and what the format has no place for."""
    from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM
    from playalong.records.pattern_files import load_pattern
    from playalong.support.files import write_file

    if given.bars is not None and not 1 <= given.bars <= MOST_BARS:
        raise UserError(f"{given.bars} bars cannot be written: choose 1 to {MOST_BARS:,}.")
    if given.tempo is not None and not SLOWEST_BPM <= given.tempo <= FASTEST_BPM:
        raise UserError(f"{given.tempo:g} bpm is no tempo: choose {SLOWEST_BPM} to {FASTEST_BPM}.")
    pattern = load_pattern(given.pattern)
    out = given.out or Path(f"{pattern.name}.mid")
    kind = out.suffix.lower()
    refuse_other_kind(out, _MIDI[0], _SCORES[0], _TABS[0], also=(*_MIDI, *_SCORES, *_TABS))
    if kind not in _MIDI:
        refuse(given, "--as-it-sounds", "is for MIDI files: notes are written where they are meant")
    refuse_over(out, given.force)
    data, left_out = _written(given, pattern, kind)
    write_file(out, data)
    print_lines(f"It is written: {out}")
    print_lines(*(f"  {words}" for words in left_out))


def _written(given: Options, pattern: "Pattern", kind: str) -> tuple[bytes, list[str]]:
    """The file, and what is left out of it."""
    from playalong.app.grade.checks import check_variations
    from playalong.interchange.midi import form as midi_form
    from playalong.interchange.midi import writer as midi_writer
    from playalong.interchange.musicxml import form as musicxml_form
    from playalong.interchange.musicxml import writer as musicxml_writer
    from playalong.interchange.tab import form as tab_form
    from playalong.interchange.tab import writer as tab_writer

    variations = tuple(given.variation or ())
    check_variations(pattern, variations)
    rest = {name: one for name, one in pattern.variations.items() if name not in variations}
    if kind in _MIDI:
        data = midi_writer.write(
            pattern,
            tempo_bpm=given.tempo,
            bars=given.bars,
            variations=variations,
            as_it_sounds=given.as_it_sounds,
        )
        varied = replace(pattern, bars=pattern.with_variations(variations), variations=rest)
        return data, midi_form.not_carried(varied)
    played = pattern.with_variations(variations)
    count = given.bars or len(played)
    bars = tuple(played[number % len(played)] for number in range(count))
    tempo = given.tempo or pattern.tempo
    pattern_played = replace(pattern, bars=bars, tempo=tempo, variations=rest)
    if kind in _TABS:
        return tab_writer.write(pattern_played).encode(), tab_form.not_carried(pattern_played)
    score = musicxml_writer.write(pattern_played)
    packed = musicxml_writer.compressed(score) if kind == ".mxl" else score
    return packed, musicxml_form.not_carried(pattern_played)
