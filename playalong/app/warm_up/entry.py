"""The warm-up from end to end: what is kept is read, it is played, and kept again."""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from playalong.app.memory import Memory
from playalong.app.open_devices import Look, OpenDevices, on_kit
from playalong.app.play.entry import Player
from playalong.app.run.clock import Clock, RealClock, SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.stored_runs import NOBODY
from playalong.app.user_folders import UserFolders
from playalong.app.warm_up.kept import Kept, exercise_patterns, keep, kept
from playalong.app.warm_up.warm_up_session import WarmUpResult, WarmUpSession
from playalong.grading.verdicts import Rules
from playalong.midi.port import Port
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.pattern.voices import VOICES
from playalong.practice.warm_up.exercises import Exercise, playable
from playalong.practice.warm_up.machine import WarmUp
from playalong.practice.warm_up.routine import USUAL, Routine, music, routine
from playalong.practice.warm_up.routine_file import RoutineFile
from playalong.profile.profile import Profile
from playalong.simulation.player import SimulatedPort, perform
from playalong.support.errors import UserError

#: What can be played on: the voices of each.
SETS: dict[str, tuple[str, ...]] = {
    "pad": ("snare",),
    "pad-and-kick": ("snare", "kick"),
    "kit": tuple(voice.name for voice in VOICES),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What kind of warm-up is wanted.

    ``minutes``; ``seed`` of what is drawn, None for another each day; ``on`` is one of ``SETS``;
    ``file`` a teacher's own routine; ``lesson`` the pattern that is being learned, the music at the
    end.
    """

    minutes: float = USUAL
    seed: int | None = None
    on: str = "kit"
    file: RoutineFile | None = None
    lesson: Pattern | None = None


def warm_up(
    wish: Wish,
    rules: Rules,
    look: Look,
    *,
    by: Port | Player,
    profile: Profile | None,
    home: UserFolders,
    folder: Path | None,
) -> WarmUpResult:
    """Warm up on a port, or let a simulated player do so; takes go to ``folder``."""
    fast = isinstance(by, Player) and by.fast
    clock: Clock = SteppedClock() if fast else RealClock()
    notice = "a simulated player plays" if isinstance(by, Player) else by.name
    with OpenDevices(look, home, clock, notices=(notice,)) as opened:
        context = opened
        if not isinstance(by, Player):
            context = on_kit(opened, look, by, profile=profile or Profile(kit=by.name, player=""))
        memory = Memory(folder=folder or home.data, simulated=isinstance(by, Player))
        context = replace(context, memory=memory)
        return in_window(
            wish,
            rules,
            context,
            by=by,
            home=replace(home, simulated=isinstance(by, Player)),
            takes=(folder or home.data) / "takes",
        )


def in_window(
    wish: Wish,
    rules: Rules,
    context: RunContext,
    *,
    by: Port | Player,
    home: UserFolders,
    takes: Path,
) -> WarmUpResult:
    """Warm up in a window that is open already; what came of it is kept in ``home``."""
    who = _name(by, context)
    before, day = kept(home, who), date.today()
    patterns = exercise_patterns()
    if wish.lesson is not None:
        patterns[wish.lesson.name] = wish.lesson
    machine = WarmUp(
        _routine(wish, patterns, before, day=day),
        patterns,
        level=rules.level,
        knowledge=before.knowledge,
        seed=_seed(wish, day),
        day=day.isoformat(),
    )
    clock = context.clock

    def connect(targets: Targets, number: int, start_s: float) -> Port:
        if not isinstance(by, Player):
            return by
        performance = perform(targets, by.skill, by.seed + number)
        return SimulatedPort(performance, start_s, clock.now)

    result = WarmUpSession(
        machine,
        context,
        connect,
        diary=before.diary,
        rules=rules,
        takes_folder=takes,
        day=day,
        lesson=None if wish.lesson is None else wish.lesson.title,
        simulated=by.simulated if isinstance(by, Player) else None,
    ).go()
    if machine.reports:
        keep(home, who, result.kept)
    return result


def _name(by: Port | Player, context: RunContext) -> str:
    if isinstance(by, Player):
        return by.simulated.skill
    return context.profile.player or NOBODY


def _routine(wish: Wish, patterns: dict[str, Pattern], before: Kept, *, day: date) -> Routine:
    """The exercises of today."""
    there = playable(SETS[wish.on], patterns)
    last = None
    if wish.lesson is not None and set(SETS[wish.on]).issuperset(wish.lesson.voices):
        last = music(wish.lesson)
    if wish.file is not None:
        exercises: list[Exercise] = [one for one in wish.file.exercises if one in there]
        if not exercises:
            raise UserError(
                f'Nothing in "{wish.file.title}" can be played with --on {wish.on}: choose more.'
            )
        if wish.file.has_music and last is not None:
            exercises.append(last)
        return Routine(tuple(exercises), (len(exercises) + 1) // 2, wish.file.rest_s)
    return routine(there, before.knowledge, minutes=wish.minutes, seed=_seed(wish, day), last=last)


def _seed(wish: Wish, day: date) -> int:
    return day.toordinal() if wish.seed is None else wish.seed
