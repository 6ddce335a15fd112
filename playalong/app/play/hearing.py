"""Hearing a pattern, or a take against it: in the window, or into a wave file."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from playalong.app.grade.expected import own_pattern
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.listen_back import Playback, listen_back
from playalong.app.open_devices import Look, OpenDevices, counting_of
from playalong.app.play.play_session import to_hear
from playalong.app.run.clock import RealClock
from playalong.app.run.context import RunContext, SilentPort
from playalong.app.run.run import Run
from playalong.app.run.task import Task, with_company
from playalong.app.user_folders import UserFolders
from playalong.grading.gauges import Gauges
from playalong.grading.levels import Level
from playalong.grading.matching.pauses import Pauses
from playalong.midi.pads import Pads
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.model import Bar, Pattern
from playalong.pattern.targets import Targets
from playalong.records.take_info import TakeInfo
from playalong.records.takes import read
from playalong.screen.pages.run import RunPage
from playalong.screen.sheet.sheet import Sheet
from playalong.sound.listening import Which
from playalong.sound.mix import SOFT_CLICK_DB, Mix
from playalong.sound.rendering import blocks, write_wave
from playalong.sound.synth.click import Click, clicks
from playalong.support.errors import UserError
from playalong.support.text import quoted

WHICH = {"yours": Which.YOURS, "pattern": Which.PATTERN, "both": Which.BOTH}


def hear(task: Task, look: Look, click: bool, *, home: UserFolders, path: Path | None) -> None:
    """Let the program play ``task``, in the window or into a wave file at ``path``."""
    played = to_hear(task, click)
    if path is not None:
        ticks = task.ticks(counting_of(look, {})) if click else []
        write_wave(path, blocks(with_company(ticks, played), mix=_mix(look)))
        return
    with OpenDevices(look, home, RealClock(), notices=("listen",)) as context:
        Run(played, context, lambda _: SilentPort()).play()


def _mix(look: Look) -> Mix:
    """What is written into a file is mixed as it is asked for, and not as it was left."""
    click_db = SOFT_CLICK_DB if look.click_db is None else look.click_db
    return Mix(soft_click_db=click_db, drums_db=look.drums_db or 0.0, is_under_drums=True)


class HeardTake:
    """A take that is heard against a pattern.

    What is shown beside is as strict as the take says, or as ``level``. ``notices`` should be
    told: where the take is not of that pattern as it is now.
    """

    def __init__(
        self, pattern: Pattern, path: Path, *, click: bool, level: Level | None = None
    ) -> None:
        """Read the take at ``path``; UserError where it is of another pattern."""
        take = read(path)
        said = TakeInfo.from_plain(take.info)
        same = said.pattern_id == pattern_id(pattern) or said.pattern == pattern.name
        if own_pattern(said) is not None and not same:
            raise UserError(
                f"The take is of another pattern, {quoted(said.pattern)}: hear it with that."
            )
        graded = grade_take(pattern, take, Options(level=level))
        pads = Pads.from_plain(take.info.get("pads", {}))
        pauses = Pauses.from_plain(take.info.get("pauses", []))
        ticks = _clicks(graded.expected.bars, graded.run.targets) if click else []
        self._graded, self.notices = graded, graded.expected.notices
        self._played = Playback.of(take, pads, graded.run, pauses=pauses, clicks=ticks)

    def write(self, path: Path, which: str, *, speed: float, look: Look) -> None:
        """Write it into a wave file."""
        write_wave(path, blocks(self._played.sounds(WHICH[which], speed), mix=_mix(look)))

    def play(self, context: RunContext, which: str, *, speed: float) -> None:
        """Let it be heard in a window that is open."""
        context = replace(context, notices=self.notices)
        page = _page(self._graded, context)
        listen_back(context, page, self._played, which=WHICH[which], speed=speed)

    def play_alone(self, look: Look, home: UserFolders, which: str, *, speed: float) -> None:
        """Let it be heard where nobody is at a window."""
        with OpenDevices(look, home, RealClock(), notices=()) as context:
            self.play(context, which, speed=speed)


def _clicks(bars: Sequence[Bar], targets: Targets) -> list[Click]:
    """The click of a graded run of ``bars`` over and over, on the bars of its targets."""
    meters = [bars[bar % len(bars)].meter for bar in range(targets.bars)]
    steps, lines_s = [meter.length for meter in meters], targets.bar_starts_s
    if targets.beats_s:  # of a recording: each beat has its own second
        meters = [
            meter.of_beats(len(beats_s))
            for meter, beats_s in zip(meters, targets.beats_s, strict=True)
        ]
        steps = [beat for meter in meters for beat in meter.beats]
        lines_s = np.concatenate(targets.beats_s)
    lines = np.cumsum([0.0, *map(float, steps)])
    return clicks(meters, _Bars(lines, np.append(lines_s, targets.end_s)), count_in=0)


class _Bars(NamedTuple):
    """Bar lines in whole notes, and in seconds: places written positions in time between them."""

    lines: NDArray[np.float64]
    lines_s: NDArray[np.float64]

    def seconds(self, whole: Fraction) -> float:
        """When the position ``whole`` comes, in seconds."""
        return float(np.interp(float(whole), self.lines, self.lines_s))


def _page(graded: Graded, context: RunContext) -> RunPage:
    """The sheet of a graded take, with every word on it."""
    run, tempo_bpm, expected = graded.run, graded.grade.tempo_bpm, graded.expected
    sheet = Sheet(run.targets, expected.bars, run.rules, swing=expected.pattern.swing)
    for number in range(len(run.hits)):
        sheet.hit(number, run.hits[number])
    gauges = Gauges(run.targets, run.rules, tempo_bpm)
    for event in run.verdicts.events():
        sheet.judged(event)
        if event.hit is not None:
            gauges.heard(event, run.hits[event.hit])
    return RunPage(
        theme=context.theme,
        title=expected.pattern.title,
        subtitle="",
        tempo_bpm=tempo_bpm,
        sheet=sheet,
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
        level=context.level(),
    )
