"""playalong capture: a groove that is played, as a pattern."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.folder import user_folders
from playalong.commands.options.out import add_force, refuse_other_kind, refuse_over
from playalong.commands.options.simulated import SEED, USUAL_SKILL, SimulatedOptions
from playalong.commands.parser import Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.capture.played_in import Known
    from playalong.app.home.home_session import HomeSession
    from playalong.capture.understanding import Captured

ABOUT = "make a pattern of a groove that is played: on the kit, or in a Standard MIDI File"
EXAMPLES = (
    ("play it in the window", "playalong capture"),
    ("to a click, by which tempo and bar 1 are known", "playalong capture --click 92"),
    ("groove.toml, beside it", "playalong capture groove.mid"),
    (
        "in one of two meters, at about that tempo, two bars long",
        "playalong capture groove.mid --meter 12/8 --meter 6/8 --tempo 60 --bars 2",
    ),
    ("what another reading makes of it", "playalong capture groove.mid --reading 2"),
    ("somebody simulated plays four bars", "playalong capture --simulate late-bus-home"),
)

#: Somebody simulated plays so many rounds, and so many bars at least.
_ROUNDS, _LEAST_BARS = 2, 4


class Options(SimulatedOptions, Protocol):
    """What is heard, what is known of it, and where the pattern goes."""

    file: Path | None
    tempo: float | None
    click: float | None
    meter: list[str] | None
    bars: int | None
    title: str | None
    reading: int
    simulate: str | None
    port: str | None
    out: Path | None
    force: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "file",
        type=Path,
        nargs="?",
        metavar="FILE",
        help="a Standard MIDI File that was played (default what is played in the window)",
    )
    known = parser.add_argument_group("what is known of it")
    known.add_argument(
        "--tempo",
        type=float,
        metavar="BPM",
        help="about how fast it is, in beats a minute (default it is found)",
    )
    known.add_argument(
        "--click",
        type=float,
        metavar="BPM",
        help="it is played to a click of that tempo, in beats a minute: the window counts it in, a "
        "file begins on a bar line (default no click)",
    )
    known.add_argument(
        "--meter",
        action="append",
        metavar="METER",
        help='a meter that it may be in, like "4/4" or "12/8"; may be repeated (default it is '
        "found among 4/4, 3/4, 5/4 and 7/8, and 6/8 and 12/8 where all of the threes are struck)",
    )
    known.add_argument(
        "--bars",
        type=int,
        metavar="N",
        help="how many bars the pattern has, 1 to 8 (default the fewest that say all of it)",
    )
    known.add_argument(
        "--reading",
        type=int,
        default=1,
        metavar="N",
        help="count it as the reading of that number, which is told, has it (default 1)",
    )
    parser.add_argument(
        "--title", metavar="WORDS", help="what the pattern is called (default as its file)"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.toml",
        help="where the pattern goes (default beside the file, or among your own patterns)",
    )
    add_force(parser)
    parser.add_argument(
        "--port",
        metavar="PART",
        help="part of the name of the kit's MIDI port (default the last one, or the only one)",
    )
    _add_simulated(parser)


def _add_simulated(parser: Parser) -> None:
    from playalong.simulation.skills import SKILLS

    group = parser.add_argument_group("simulated player")
    group.add_argument(
        "--simulate",
        metavar="PATTERN",
        help="let somebody simulated play this pattern (default nobody)",
    )
    group.add_argument(
        "--player",
        choices=tuple(SKILLS),
        help=f"how well they play (default {USUAL_SKILL})",
    )
    group.add_argument(
        "--seed",
        type=SEED,
        default=1,
        metavar="N",
        help="a whole number, 0 or more: the same plays the same (default %(default)s)",
    )


def run(given: Options) -> None:
    """Understand it, and write the pattern; say what was not plain."""
    from playalong.app.capture import played_in
    from playalong.capture import phrases
    from playalong.pattern.writer import write
    from playalong.support.files import write_file

    if given.file is not None and given.simulate is not None:
        raise UserError("A file is heard, or --simulate is: leave out one of them.")
    if given.click is not None and given.tempo is not None:
        raise UserError("The click says the tempo: leave out --tempo.")
    if given.out is not None:
        refuse_other_kind(given.out, ".toml")
    known = played_in.known(
        given.meter or (),
        given.tempo,
        click_bpm=given.click,
        bars=given.bars,
        title=(given.title or "").strip(),
        reading=given.reading,
    )
    if given.file is None and given.simulate is None:
        _play_in(given, known)
        return
    refuse(given, "--port", "goes with a groove that is played in the window")
    usual = Path(f"{given.simulate}-heard") if given.file is None else given.file
    out = given.out or usual.with_suffix(".toml")
    refuse_over(out, given.force)
    found, notices = _heard(given, known, out.stem)
    write_file(out, write(found.pattern))
    print_lines(
        f'"{found.pattern.title}", {phrases.understood(found, found.pattern)}, is written: {out}'
    )
    print_lines(*(f"  {words}" for words in (*phrases.report(found), *notices)))
    for number, one in enumerate(found.choices, start=1):
        if one is not found.reading:
            print_lines(f"  or {phrases.choice(one, found.reading)}: --reading {number}")


def _play_in(given: Options, known: "Known") -> None:
    """Play it in the window."""
    from playalong.app.kit_port import open_kit

    refuse(given, "--player --seed", "goes with --simulate")
    refuse(given, "--reading", "says nothing before it is played: the window offers them")
    if given.out is None:
        refuse(given, "--force", "goes with --out: nothing else is written over")
    if not has_person():
        raise UserError("There is no window here: say which file to hear, or --simulate PATTERN.")
    if given.out is not None:
        refuse_over(given.out, given.force)
    home = user_folders()

    def room(session: "HomeSession") -> Path | None:
        return session.play_in(known, given.out)

    if given.port is None:
        path = in_one_window(None, home, room=room)
    else:
        with open_kit(home, given.port, None) as kit:
            path = in_one_window(None, home, kit, room=room)
    print_lines("No groove was kept." if path is None else f"It is written: {path}")


def _heard(given: Options, known: "Known", name: str) -> "tuple[Captured, list[str]]":
    """What is in the file, or what somebody simulated plays; and what of it is no drum."""
    from playalong.app.capture import played_in

    if given.simulate is None:
        refuse(given, "--player --seed", "goes with --simulate")
        assert given.file is not None
        return played_in.of_file(given.file, known, name)
    from playalong.records.pattern_files import load_pattern
    from playalong.simulation.skills import SKILLS

    pattern = load_pattern(given.simulate)
    bars = max(_LEAST_BARS, _ROUNDS * len(pattern.bars))
    skill = SKILLS[given.player or USUAL_SKILL]
    if known.click_bpm is not None:
        pattern = replace(pattern, tempo=known.click_bpm)
    start_s = played_in.BEGINS_S if known.click_bpm is None else 0.0
    hits = played_in.simulated(pattern, skill, given.seed, bars=bars, start_s=start_s)
    return played_in.of_hits(hits, known, name, click=played_in.click_in_file(known)), []
