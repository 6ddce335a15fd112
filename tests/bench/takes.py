"""What reading and grading takes costs: python -m tests.bench.takes

Reading against mido, which makes an object of every message, of the same files in the same run; a
grade beside it, so that the two are not taken for each other; and a whole class at once.
"""

import os
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from subprocess import DEVNULL, run
from tempfile import TemporaryDirectory

import mido

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.run.task import Task
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.profile.profile import Profile
from playalong.records.pattern_files import load_pattern
from playalong.records.takes import read
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS

PATTERN = "late-bus-home"
BARS = 24
#: A class, and so many different takes of it: the rest are copies.
MANY, DIFFERENT = 1_200, 40


def takes(pattern: Pattern, folder: Path, count: int) -> list[Path]:
    """So many takes by a simulated player, note-offs and all."""
    task = Task(pattern=pattern, tempo_bpm=pattern.tempo, bars=BARS, variations=(), rules=Rules())
    targets = task.targets()
    paths = []
    for number in range(count):
        recording = task.recording(3.0, Profile(kit="", player=""), targets)
        for time_s, data in perform(targets, SKILLS["intermediate"], number).messages:
            recording.keep(time_s, data)
        paths.append(recording.save(folder, f"{number:04}"))
    return paths


def cpu_ms(work: Callable[[Path], object], paths: Sequence[Path]) -> float:
    """The least processor time of ``work`` on one file, the mean of all files, in ms."""
    least = float("inf")
    for _ in range(5):
        begin = time.process_time()
        for path in paths:
            work(path)
        least = min(least, time.process_time() - begin)
    return 1000.0 * least / len(paths)


def one_by_one(pattern: Pattern, paths: Sequence[Path]) -> None:
    """Reading, and grading what was read."""
    ours_ms = cpu_ms(read, paths)
    theirs_ms = cpu_ms(partial(mido.MidiFile, clip=True), paths)
    print(
        f"  a take of {BARS} bars: read in {ours_ms:.2f} ms, {theirs_ms / ours_ms:.0f} times "
        "faster than mido (asked: 5)"
    )
    known = {path: read(path) for path in paths}
    graded_ms = cpu_ms(lambda path: grade_take(pattern, known[path], Options()), paths)
    print(f"  and graded in {graded_ms:.1f} ms, {graded_ms / ours_ms:.0f} times reading")


def a_class(folder: Path, paths: Sequence[Path]) -> None:
    """Many takes by the command, on all processors."""
    for number in range(len(paths), MANY):
        os.link(paths[number % len(paths)], folder / f"{number:04}.mid")
    command = [sys.executable, "-m", "playalong", "grade", PATTERN, str(folder), "--csv"]
    begin_s, before = time.perf_counter(), os.times()
    run(command, check=True, stdout=DEVNULL)
    took_s, after = time.perf_counter() - begin_s, os.times()
    work_s = sum(after[2:4]) - sum(before[2:4])  # of the children, all processes together
    print(
        f"  {MANY} of them at once take {took_s:.1f} s (asked: 12 on two processors that are "
        f"free), {work_s:.1f} s of work (asked: 24)"
    )


def main() -> None:
    """Print the figures."""
    pattern = load_pattern(PATTERN)
    with TemporaryDirectory() as named:
        folder = Path(named)
        paths = takes(pattern, folder, DIFFERENT)
        one_by_one(pattern, paths)
        a_class(folder, paths)


if __name__ == "__main__":
    main()
