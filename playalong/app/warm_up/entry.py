"""The warm-up from end to end: what is known is read, it is played, and saved again."""

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
from playalong.app.warm_up.saved import (
    LENGTHS,
    SAID,
    SETS,
    SavedWarmUps,
    can_play,
    exercise_patterns,
    load,
    save,
)
from playalong.app.warm_up.warm_up_session import WarmUpResult, WarmUpSession
from playalong.grading.levels import Level
from playalong.grading.verdicts import Rules
from playalong.midi.port import Port
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.practice.warm_up.exercises import Exercise, playable
from playalong.practice.warm_up.machine import WarmUp
from playalong.practice.warm_up.routine import USUAL, Routine, music, routine
from playalong.practice.warm_up.routine_file import RoutineFile
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.simulation.player import SimulatedPort, perform
from playalong.support.errors import UserError


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What kind of warm-up is wanted.

    ``minutes``, and ``on``, one of ``SETS``: None for what it was the last time; ``seed`` of what
    is drawn, None for another each day; ``file`` a teacher's own routine; ``lesson`` the pattern
    that is being learned, the music at the end.
    """

    minutes: float | None = None
    seed: int | None = None
    on: str | None = None
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
    """Warm up in a window that is open already; what came of it is saved in ``home``."""
    who = _name(by, context)
    before, day = load(home, who), date.today()
    patterns = exercise_patterns()
    if wish.lesson is not None:
        patterns[wish.lesson.name] = wish.lesson
    choices = _Choices(wish, patterns, before, level=rules.level, day=day)
    clock = context.clock

    def connect(targets: Targets, number: int, start_s: float) -> Port:
        if not isinstance(by, Player):
            return by
        performance = perform(targets, by.skill, by.seed + number)
        return SimulatedPort(performance, start_s, clock.now)

    session = WarmUpSession(
        choices.machine(),
        context,
        connect,
        choices=choices,
        diary=before.diary,
        rules=rules,
        takes_folder=takes,
        day=day,
        lesson=None if wish.lesson is None else wish.lesson.title,
        simulated=by.simulated if isinstance(by, Player) else None,
    )
    try:
        return session.go()
    finally:  # however it ended, Ctrl+C included
        if session.machine.reports:
            now = session.as_saved()
            save(home, who, replace(now, minutes=choices.minutes, on=choices.on))


def _name(by: Port | Player, context: RunContext) -> str:
    if isinstance(by, Player):
        return by.simulated.skill
    return context.profile.player or NOBODY


class _Choices:
    """How long, and on what: may be chosen before the first stroke."""

    def __init__(
        self,
        wish: Wish,
        patterns: dict[str, Pattern],
        before: SavedWarmUps,
        *,
        level: Level,
        day: date,
    ) -> None:
        self._wish, self._patterns, self._before = wish, patterns, before
        self._level, self._day = level, day
        self._seed = day.toordinal() if wish.seed is None else wish.seed
        self.minutes = wish.minutes or before.minutes or USUAL
        self.on = wish.on or before.on or "kit"

    @property
    def said(self) -> str:
        """The choice in words."""
        return SAID[self.on]

    def machine(self) -> WarmUp:
        """The warm-up that is chosen; UserError where nothing of it can be played."""
        return WarmUp(
            self._routine(),
            self._patterns,
            level=self._level,
            knowledge=self._before.knowledge,
            seed=self._seed,
            day=self._day.isoformat(),
        )

    def other(self, outcome: Outcome) -> WarmUp:
        """Longer, shorter, or on something else."""
        if outcome is Outcome.NEXT:
            names = list(SETS)
            self.on = names[(names.index(self.on) + 1) % len(names)]
        else:
            nearest = min(LENGTHS, key=lambda minutes: abs(minutes - self.minutes))
            step = 1 if outcome is Outcome.FASTER else -1
            at = min(max(LENGTHS.index(nearest) + step, 0), len(LENGTHS) - 1)
            self.minutes = LENGTHS[at]
        return self.machine()

    @property
    def is_open(self) -> bool:
        """Whether there is anything to choose: a teacher's routine is played as it is."""
        return self._wish.file is None

    def _routine(self) -> Routine:
        """The exercises of today."""
        there = playable(SETS[self.on], self._patterns)
        lesson, file = self._wish.lesson, self._wish.file
        last = None
        if lesson is not None and can_play(self.on, lesson):
            last = music(lesson)
        if file is None:
            return routine(
                there, self._before.knowledge, minutes=self.minutes, seed=self._seed, last=last
            )
        exercises: list[Exercise] = [one for one in file.exercises if one in there]
        if not exercises:
            raise UserError(
                f'Nothing in "{file.title}" can be played with --on {self.on}: choose more.'
            )
        if file.has_music and last is not None:
            exercises.append(last)
        return Routine(tuple(exercises), (len(exercises) + 1) // 2, file.rest_s)
