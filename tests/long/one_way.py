"""Whole lessons, and every take of them graded again by its file: the same to the last figure.

A case is a lesson on a shipped pattern, by a player whom it lets through, or by one of the
simulated people for as long as 60 takes; the cases go through patterns and players in turn.
"""

import json
import os
from collections import Counter
from collections.abc import Iterator
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import RunContext
from playalong.commands.main import main
from playalong.grading.verdicts import Rules
from playalong.records.pattern_files import library
from playalong.records.take_info import Simulated
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window
from playalong.simulation.skills import SKILLS
from playalong.sound.device.output import SilentOutput
from playalong.support.resources import folder
from tests.helpers.lesson_takes import played_lesson
from tests.helpers.steady_player import STEADY
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 12, 1

#: Of a lesson that a simulated person may never end.
MOST = 60

PLAYERS = {"steady": STEADY, **SKILLS}


def lesson(case: tuple[int, int]) -> Counter[tuple[str, str]]:
    """One lesson: by the kind of step, how many takes, and how many differ from what was shown."""
    number, seed = case
    os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
    names = library().names()
    name = names[number * 7 % len(names)]
    player = [*PLAYERS][number % len(PLAYERS)]
    found: Counter[tuple[str, str]] = Counter()
    with TemporaryDirectory() as where:
        window = Window.open((320, 180), offscreen=True)
        theme = Theme.load(folder("assets") / "fonts")
        context = RunContext(
            clock=SteppedClock(),
            window=window,
            theme=theme,
            output=SilentOutput(),
            notices=(),
            frame_s=0.1,
        )
        takes = played_lesson(
            library().get(name),
            Rules(),
            context,
            folder=Path(where),
            skill=PLAYERS[player],
            simulated=Simulated(player, seed + number),
            most=10_000 if player == "steady" else MOST,
        )
        window.close()
        for take in takes:
            now = graded_again(name, take.path)
            found[take.kind, "takes"] += 1
            found[take.kind, "otherwise"] += now != take.shown
            live = take.live or {}
            found[take.kind, "live"] += {key: now[key] for key in live} != live
    return found


def graded_again(name: str, path: Path) -> dict[str, object]:
    """What ``playalong grade`` prints of a take, without a further option."""
    with redirect_stdout(StringIO()) as out:
        code = main(["grade", name, str(path), "--json", "--hits"])
    return json.loads(out.getvalue()) if code == 0 else {}


def tables(options: Options) -> Iterator[Table]:
    """How many takes of each kind of step are graded again as they were."""
    found: Counter[tuple[str, str]] = Counter()
    for one in options.map(lesson, [(number, options.seed) for number in range(options.count)]):
        found += one
    table = Table(
        "takes of lessons, graded again", ("step", "takes", "not as shown", "not as live")
    )
    for kind in sorted({kind for kind, _ in found}):
        differ = found[kind, "otherwise"], found[kind, "live"]
        table.row(kind, found[kind, "takes"], *differ, holds=differ == (0, 0))
    total = sum(count for (_, what), count in found.items() if what == "takes")
    table.row("all", total, "", "", holds=total >= 10)
    yield table
