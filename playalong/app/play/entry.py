"""A session: opens what playing needs, lets play, and closes it again."""

import json
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Thread

from playalong.app import broken_off
from playalong.app.lesson.lesson_keeper import overview_of
from playalong.app.lesson.lesson_session import LessonSession, LessonSummary
from playalong.app.memory import Memory
from playalong.app.open_devices import Look, OpenDevices, on_kit
from playalong.app.play.play_session import PlaySession, SavedRun, result_page, save_run
from playalong.app.recording.background import work_in_terminal
from playalong.app.run.clock import Clock, RealClock, SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.run.run import Run, RunResult
from playalong.app.run.task import Task
from playalong.app.user_folders import UserFolders
from playalong.grading.verdicts import Rules
from playalong.midi.port import Port
from playalong.midi_io.ports import open_port
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.profile.profile import Profile
from playalong.records.take_info import Simulated
from playalong.screen.base.window import Window
from playalong.screen.pages.plan import PlanLine
from playalong.simulation.player import Performance, SimulatedPort, perform, send
from playalong.simulation.skills import SKILLS, Skill
from playalong.sound.recordings.decoding import Progress
from playalong.sound.synth.click import PLAIN, Clicking
from playalong.support.errors import UserError
from playalong.support.files import FileError, write_new_file

#: What the simulated player's own MIDI port is called.
_PLAYER = "playalong player"

#: The picture of the sheet is taken so many beats after a stroke that was missed, which is then in
#: view with what was played around it; in a run without one so long before its end.
_PICTURE_BEATS, _PICTURE_S = 1.5, 1.6


def play(
    task: Task, look: Look, port: Port, *, profile: Profile, home: UserFolders, folder: Path | None
) -> Iterator[SavedRun]:
    """Play ``task`` on ``port``, again as often as the player asks; what each run left."""
    with OpenDevices(look, home, RealClock(), notices=(port.name,)) as opened:
        memory = Memory(folder=folder or home.data)
        context = replace(on_kit(opened, look, port, profile=profile), memory=memory)
        if not context.window.offscreen:
            broken_off.offer(context, memory, profile.player)
        yield from PlaySession(task, context, port, folder=folder or home.data / "takes").runs()


@dataclass(frozen=True, kw_only=True)
class Player:
    """A simulated player: ``fast`` on the stepped clock, ``through_port`` by real MIDI."""

    skill: Skill
    seed: int
    fast: bool = False
    through_port: bool = False

    @property
    def simulated(self) -> Simulated:
        """What its takes say of it."""
        names = (name for name, skill in SKILLS.items() if skill == self.skill)
        return Simulated(next(names, "another"), self.seed)


#: More strokes than these take some seconds, even on the stepped clock: how far it is, is told.
_LONG = 3_000


def demo(
    task: Task, look: Look, player: Player, *, home: UserFolders, folder: Path | None, stay_s: float
) -> tuple[SavedRun, list[Path]]:
    """Let ``player`` play ``task``; what it left, and the files of the grade and pictures.

    The grade stays on a screen for ``stay_s`` seconds, unless a key goes on before.
    """
    fast = player.fast
    clock: Clock = SteppedClock() if fast else RealClock()
    task = replace(task, simulated=player.simulated)
    targets = task.targets()
    performance = perform(targets, player.skill, player.seed)
    with OpenDevices(look, home, clock, notices=("a simulated player plays",)) as opened:
        picture = _Picture(opened.window, _picture_s(targets, performance))
        memory = Memory(folder=folder or home.data, simulated=True)
        context = replace(opened, seen=picture.seen, echo=look.echo, memory=memory)
        if player.through_port:
            ended = _run_through_port(task, context, performance)
        else:

            def play(progress: Progress) -> RunResult:
                def seen(at_s: float) -> None:
                    picture.seen(at_s)
                    progress(min(1.0, max(0.0, at_s / targets.end_s)))

                return Run(
                    task,
                    replace(context, seen=seen),
                    lambda start_s: SimulatedPort(performance, start_s, clock.now),
                ).play()

            is_long = fast and len(targets) > _LONG
            ended = work_in_terminal("Played", play) if is_long else play(lambda _: None)
        saved = save_run(task, ended, folder or home.data / "takes", memory=memory)
        page = result_page(task, saved, context)
        context.window.frame(page, 0.0)
        made = {
            "grade.json": json.dumps(saved.graded.as_json(with_hits=True), indent=1).encode(),
            "sheet.png": picture.taken(),
            "grade.png": context.window.picture(),
        }
        files, trouble = _beside(saved.path, made)
        saved = replace(saved, trouble=(*saved.trouble, *trouble))
        if not fast and not context.window.offscreen:
            hold(context, page, 0.0, until_s=clock.now() + stay_s)
    return saved, files


def _beside(take: Path, made: Mapping[str, bytes]) -> tuple[list[Path], list[str]]:
    """Write what was ``made`` beside the take, over nothing; the files, and what went wrong."""
    files, trouble = list[Path](), list[str]()
    for what, data in made.items():
        try:
            files.append(write_new_file(take.parent, f"{take.stem}-{what}", data))
        except FileError as error:
            trouble.append(str(error))
    return files, trouble


def _run_through_port(task: Task, context: RunContext, performance: Performance) -> RunResult:
    """One run in which the player's messages go out of a port of our own and in by another."""
    try:
        from playalong.midi_io.rtmidi_port import VirtualOutput
    except ImportError:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        raise UserError(
            "A port of our own needs python-rtmidi, which is not there for this Python "
            f"({version}): use Python 3.11 or 3.12, or leave out --through-port."
        ) from None

    output = VirtualOutput(_PLAYER)
    clock = context.clock
    try:
        port = open_port(_PLAYER)

        def connect(start_s: float) -> Port:
            Thread(
                target=lambda: send(performance, output, start_s, now=clock.now, wait=clock.wait),
                daemon=True,
            ).start()
            return port

        try:
            return Run(task, context, connect).play()
        finally:
            port.close()
    finally:
        output.close()


def _picture_s(targets: Targets, performance: Performance) -> float:
    """When the sheet shows most of how somebody plays."""
    beat_s = targets.seconds_per_whole / 4.0
    missed = [float(targets.time_s[number]) for number in performance.truth.missed]
    after_s = min(missed, default=targets.end_s) + _PICTURE_BEATS * beat_s
    return min(after_s, targets.end_s - _PICTURE_S)


class _Picture:
    """The sheet as it was at a moment."""

    def __init__(self, window: Window, at_s: float) -> None:
        self._window, self._at_s = window, at_s
        self._taken: bytes | None = None

    def seen(self, now_s: float) -> None:
        """A frame was shown."""
        if self._taken is None and now_s >= self._at_s:
            self._taken = self._window.picture()

    def taken(self) -> bytes:
        """The picture, or the last frame where the run ended before; a PNG."""
        return self._window.picture() if self._taken is None else self._taken


def plan_lines(
    pattern: Pattern, rules: Rules, folder: Path, *, player: str, is_simulated: bool = False
) -> list[str]:
    """A player's plan of a pattern as the store in ``folder`` keeps it, a line for each step."""
    lines = overview_of(
        pattern, rules, Memory(folder=folder, simulated=is_simulated).path, player=player
    )
    return [
        f"{number:3}  {_stands(line):<9}  {line.words}{_so_far(line)}"
        for number, line in enumerate(lines, 1)
    ]


def _stands(line: PlanLine) -> str:
    return line.stands or ("done" if line.done else "")


def _so_far(line: PlanLine) -> str:
    """What a step took, and how much of it was right lately."""
    parts = [line.took, f"right lately: {line.sure}" if line.sure else ""]
    return f" ({'; '.join(filter(None, parts))})" if any(parts) else ""


def practise(
    pattern: Pattern,
    rules: Rules,
    look: Look,
    *,
    by: Port | Player,
    profile: Profile | None,
    home: UserFolders,
    folder: Path | None,
    clicking: Clicking = PLAIN,
) -> LessonSummary:
    """Practise ``pattern`` on a port, or let a simulated player do so."""
    data_folder = folder or home.data
    fast = isinstance(by, Player) and by.fast
    clock: Clock = SteppedClock() if fast else RealClock()
    notice = "a simulated player plays" if isinstance(by, Player) else by.name

    def connect(targets: Targets, number: int, start_s: float) -> Port:
        if not isinstance(by, Player):
            return by
        performance = perform(targets, by.skill, by.seed + number)
        return SimulatedPort(performance, start_s, clock.now)

    with OpenDevices(look, home, clock, notices=(notice,)) as opened:
        context = opened
        if not isinstance(by, Player):
            context = on_kit(opened, look, by, profile=profile or Profile(kit=by.name, player=""))
            if not context.window.offscreen:
                broken_off.offer(context, Memory(folder=data_folder), context.profile.player)
        if not fast:  # hundreds of repetitions in a minute are nobody's history
            context = replace(
                context, memory=Memory(folder=data_folder, simulated=isinstance(by, Player))
            )
        takes = data_folder / "takes"
        simulated = by.simulated if isinstance(by, Player) else None
        return LessonSession(
            pattern,
            rules,
            context,
            connect=connect,
            lesson_folder=data_folder,
            takes_folder=takes,
            clicking=clicking,
            simulated=simulated,
        ).go()
