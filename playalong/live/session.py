"""A session: opens what a run needs, plays, keeps the take, grades it, shows the grade.

Nothing that was played is lost: a take that cannot be written where it should be is written
where it can be, and a run that loses its port is graded up to there.
"""

import json
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from threading import Thread

import platformdirs

from playalong import shipped
from playalong.grading.measure import judged_hits
from playalong.grading.verdicts import Rules
from playalong.grading.words import as_json, figures
from playalong.kit.player import Performance, SimulatedPort, Skill, perform, send
from playalong.kit.ports import Port, open_port
from playalong.live.clock import Clock, RealClock, SteppedClock
from playalong.live.loop import FRAME_S, Ended, Nobody, Run, Stage, Task, hold, with_company
from playalong.live.practice import Practice, Practised, overview_of
from playalong.pattern.beats import Tempo
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.plain import CAUTION
from playalong.records.takes import Recording, TakeError
from playalong.regrading import Graded, Options, grade_take
from playalong.screen.page import Outcome
from playalong.screen.plan_page import PlanLine
from playalong.screen.result_page import ResultPage
from playalong.screen.theme import Theme
from playalong.screen.window import Window
from playalong.sound.click import clicks
from playalong.sound.output import DeviceOutput, Output, SilentOutput
from playalong.sound.rendering import rendered, write_wave

#: On the stepped clock only some frames are drawn: how far it goes between them.
_FAST_FRAME_S = 1 / 10

#: What the simulated player's own MIDI port is called.
_PLAYER = "playalong player"

#: How long before the end of the run the picture of the sheet is taken.
_PICTURE_S = 1.6


@dataclass(frozen=True)
class Look:
    """How the window looks, and which sound device is asked for, by part of its name."""

    dark: bool = False
    large: bool = False
    device: str | None = None


@dataclass(frozen=True)
class Kept:
    """What a run left: where its take is, its grade, and what went wrong on the way."""

    path: Path
    graded: Graded
    trouble: tuple[str, ...]


def _data_folder() -> Path:
    """Where takes and lessons are kept: the user's data folder."""
    return platformdirs.user_data_path("playalong")


def play(task: Task, look: Look, port: Port, folder: Path | None) -> Iterator[Kept]:
    """Play ``task`` on ``port``, again as often as the player asks; what each run left."""
    with _Opened(look, RealClock(), fast=False, notices=(port.name,)) as stage:
        while True:
            ended = Run(task, stage, lambda _: port).play()
            stage.output.clear()
            kept = _keep(task, ended, folder)
            yield kept
            if kept.trouble or stage.window.offscreen:
                return
            if _show(task, kept, stage, None) is not Outcome.AGAIN:
                return


@dataclass(frozen=True)
class Player:
    """A simulated player: ``fast`` on the stepped clock, ``through_port`` by real MIDI."""

    skill: Skill
    seed: int
    fast: bool = False
    through_port: bool = False


def demo(
    task: Task, look: Look, player: Player, folder: Path | None, stay_s: float
) -> tuple[Kept, list[Path]]:
    """Let ``player`` play ``task``; what it left, and the files of the grade and pictures.

    The grade stays on a screen for ``stay_s`` seconds, unless a key goes on before.
    """
    fast = player.fast
    clock: Clock = SteppedClock() if fast else RealClock()
    targets = task.targets()
    performance = perform(targets, player.skill, player.seed)
    with _Opened(look, clock, fast, ("a simulated player plays",)) as opened:
        picture = _Picture(opened.window, targets.end_s - _PICTURE_S)
        stage = replace(opened, seen=picture.seen)
        if player.through_port:
            ended = _run_through_port(task, stage, performance)
        else:
            ended = Run(
                task, stage, lambda start_s: SimulatedPort(performance, start_s, clock.now)
            ).play()
        kept = _keep(task, ended, folder)
        beside = kept.path.with_suffix("")
        files = [Path(f"{beside}-{what}") for what in ("grade.json", "sheet.png", "grade.png")]
        told = as_json(kept.graded.grade, judged_hits(kept.graded.run))
        files[0].write_text(json.dumps(told, indent=1), encoding="utf-8")
        picture.save(files[1])
        page = _result_page(task, kept, stage.theme)
        stage.window.frame(page, 0.0)
        stage.window.save(files[2])
        if not fast and not stage.window.offscreen:
            _show(task, kept, stage, stay_s)
    return kept, files


def _run_through_port(task: Task, stage: Stage, performance: Performance) -> Ended:
    """One run in which the player's messages go out of a port of our own and in by another."""
    from playalong.kit.rtmidi_port import VirtualOutput

    output = VirtualOutput(_PLAYER)
    clock = stage.clock
    try:
        port = open_port(_PLAYER)

        def connect(start_s: float) -> Port:
            Thread(
                target=send, args=(performance, output, start_s, clock.now, clock.wait), daemon=True
            ).start()
            return port

        try:
            return Run(task, stage, connect).play()
        finally:
            port.close()
    finally:
        output.close()


class _Picture:
    """The sheet as it was when the run had nearly ended."""

    def __init__(self, window: Window, at_s: float) -> None:
        self._window, self._at_s, self._taken = window, at_s, False
        self._folder = tempfile.TemporaryDirectory()
        self._draft = Path(self._folder.name) / "sheet.png"

    def seen(self, now_s: float) -> None:
        """A frame was shown."""
        if not self._taken and now_s >= self._at_s:
            self._taken = True
            self._window.save(self._draft)

    def save(self, path: Path) -> None:
        """Keep the picture, or the last frame where the run ended before."""
        if not self._taken:
            self._window.save(self._draft)
        shutil.move(self._draft, path)
        self._folder.cleanup()


def hear(task: Task, look: Look, click: bool, path: Path | None) -> None:
    """Let the program play ``task``, in the window or into a wave file at ``path``."""
    # What is to be heard is the pattern itself, with its variations written out.
    bars = task.written()
    written = replace(task.pattern, bars=bars, variations={})
    played = replace(task, pattern=written, variations=(), company=written, judged=False)
    if path is not None:
        tempo = Tempo(task.tempo_bpm, task.pattern.meter.unit)
        ticks = clicks(task.meters(), tempo, task.count_in, task.between) if click else []
        write_wave(path, rendered(with_company(ticks, played)))
        return
    with _Opened(look, RealClock(), fast=False, notices=("listen",)) as stage:
        Run(replace(played, clicked=click), stage, lambda _: Nobody()).play()


def plan_lines(pattern: Pattern, rules: Rules, folder: Path | None) -> list[str]:
    """The plan of a pattern as it stands, a line for each step."""
    lines = overview_of(pattern, rules, (folder or _data_folder()) / "lessons")
    return [
        f"{number:3}  {_stands(line):<8}  {line.words}" + (f" ({line.took})" if line.took else "")
        for number, line in enumerate(lines, 1)
    ]


def _stands(line: PlanLine) -> str:
    if line.now:
        return "now"
    return "done" if line.done else "left out" if line.left_out else ""


def practise(
    pattern: Pattern, rules: Rules, look: Look, by: Port | Player, folder: Path | None
) -> Practised:
    """Practise ``pattern`` on a port, or let a simulated player do so."""
    kept = folder or _data_folder()
    fast = isinstance(by, Player) and by.fast
    clock: Clock = SteppedClock() if fast else RealClock()
    notice = "a simulated player plays" if isinstance(by, Player) else by.name

    def connect(targets: Targets, number: int, start_s: float) -> Port:
        if not isinstance(by, Player):
            return by
        performance = perform(targets, by.skill, by.seed + number)
        return SimulatedPort(performance, start_s, clock.now)

    with _Opened(look, clock, fast, (notice,)) as stage:
        sitting = Practice(pattern, rules, stage, connect, kept / "lessons", kept / "takes")
        return sitting.go()


class _Opened:
    """Window and sound, opened together and closed together."""

    def __init__(self, look: Look, clock: Clock, fast: bool, notices: tuple[str, ...]) -> None:
        self._look, self._clock, self._fast, self._notices = look, clock, fast, notices

    def __enter__(self) -> Stage:
        look = self._look
        fonts = shipped.folder("assets") / "fonts"
        self._window = Window.open(offscreen=True if self._fast else None)
        try:
            self._output: Output = SilentOutput() if self._fast else DeviceOutput(look.device)
        except BaseException:
            self._window.close()
            raise
        silent = (self._output.message,) if self._output.message else ()
        return Stage(
            self._clock,
            self._window,
            Theme.load(fonts, look.dark, look.large),
            self._output,
            (*self._notices, *silent),
            _FAST_FRAME_S if self._fast else FRAME_S,
        )

    def __exit__(self, *_: object) -> None:
        self._output.close()
        self._window.close()


def _keep(task: Task, ended: Ended, folder: Path | None) -> Kept:
    trouble = []
    if ended.lost_port is not None:
        trouble.append(
            f'The MIDI port "{ended.lost_port}" went away: check its cable. '
            "What was played until then is graded."
        )
    path, moved = _write(ended.recording, folder or _data_folder() / "takes", task.pattern.name)
    if moved:
        trouble.append(moved)
    graded = grade_take(task.pattern, ended.recording.take(), Options())
    return Kept(path, graded, tuple(trouble))


def _write(recording: Recording, folder: Path, name: str) -> tuple[Path, str | None]:
    """Write the take, elsewhere if it must be; its path, and a word if it is elsewhere."""
    stamped = f"{name}-{datetime.now():%Y-%m-%d-%H%M%S}"
    try:
        return recording.save(folder, stamped), None
    except TakeError as error:
        for other in (Path.home(), Path.cwd(), Path(tempfile.gettempdir())):
            try:
                path = recording.save(other, stamped)
            except TakeError:
                continue
            return path, f"{error} It is kept here instead: {path}"
        raise


def _result_page(task: Task, kept: Kept, theme: Theme) -> ResultPage:
    grade = kept.graded.grade
    bars = "1 bar" if grade.bars == 1 else f"{grade.bars} bars"
    return ResultPage(
        theme,
        title=task.pattern.title,
        subtitle=f"{bars} at {grade.tempo_bpm:g} bpm",
        total=grade.score.total,
        advice=grade.advice,
        figures=figures(grade),
        places=grade.places,
        bars=task.written(),
        voices=kept.graded.run.targets.voices,
        notes=[f"The take is kept: {kept.path}"],
        caution=CAUTION,
        rules=task.rules,
    )


def _show(task: Task, kept: Kept, stage: Stage, stay_s: float | None) -> Outcome | None:
    """Show the grade until the player goes on, or for ``stay_s``."""
    until_s = None if stay_s is None else stage.clock.now() + stay_s
    return hold(stage, _result_page(task, kept, stage.theme), 0.0, until_s)
