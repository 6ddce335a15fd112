"""A store with thousands of runs: real runs of simulated players, kept over and over."""

import random
from datetime import datetime, timedelta
from pathlib import Path

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.app.stored_runs import begin, result_of
from playalong.grading.verdicts import Rules
from playalong.profile.profile import Profile
from playalong.records.pattern_files import library
from playalong.records.store import players, runs
from playalong.records.store.database import Database
from playalong.records.take_info import TakeInfo
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from tests.helpers.stage import context_on, unseen_window

PLAYER = "Ines"

#: So many different runs are played; the others are as one of these.
_DIFFERENT = 12

_NAMES = ("late-bus-home", "boots-by-the-door", "turns-at-the-pump")


def fill(path: Path, count: int, *, days: int = 700, now: datetime | None = None) -> None:
    """Keep ``count`` runs of ``PLAYER`` in the store at ``path``, over so many days until now."""
    now = now or datetime.now().astimezone()
    chance, played = random.Random(5), [_played(number) for number in range(_DIFFERENT)]
    database = Database.open(path)
    players.choose(database, players.player_of(database, PLAYER, now).id)
    for first in range(0, count, 500):
        with database.writing():
            for number in range(first, min(count, first + 500)):
                recording, graded = chance.choice(played)
                began = now - timedelta(days=days * (count - number) / count)
                recording.info["date"] = began.isoformat(timespec="seconds")
                said = TakeInfo.from_plain(recording.info)
                run = begin(database, said, "play", plain=recording.as_plain())
                runs.keep(database, run, result_of(recording, graded, None))
    database.close()


def _played(number: int):
    pattern = library().get(_NAMES[number % len(_NAMES)])
    skill = list(SKILLS.values())[number % len(SKILLS)]
    with unseen_window() as window:
        context = context_on(
            window, frame_s=0.2, profile=Profile(kit="Practice Kit", player=PLAYER)
        )
        task = Task(pattern=pattern, tempo_bpm=80.0 + number, bars=4, variations=(), rules=Rules())
        clock, performance = context.clock, perform(task.targets(), skill, number)
        ended = Run(
            task, context, lambda start_s: SimulatedPort(performance, start_s, clock.now)
        ).play()
    return ended.recording, grade_take(pattern, ended.recording.take(), Options())
