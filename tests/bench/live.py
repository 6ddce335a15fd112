"""What judging a hit costs while playing: python -m tests.bench.live

The latency of ``Grader.hit`` and of ``time_passed`` after a thousand hits and after a million,
the memory over ten hours, and how long ``playalong grade`` takes as a process.
"""

import subprocess
import sys
import tempfile
import time
import tracemalloc
from importlib.util import find_spec
from pathlib import Path

import mido
import numpy as np

from playalong.grading.matching.live_grader import Grader
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets, lay_out
from tests.bench.grading import TEMPO_BPM, groove, targets_and_hits

FRAME_S = 1.0 / 60.0
TIMED = 4000
HOURS = 10
NOTES = {"hi-hat": 42, "snare": 38, "kick": 36}


class Player:
    """Feeds the hits of a take to a grader as time goes on."""

    def __init__(self, targets: Targets, hits: Hits) -> None:
        self._grader = Grader(targets, Rules())
        self._hits, self._next = hits, 0
        self.now_s = targets.start_s
        self.hit_s: list[float] = []
        self.passed_s: list[float] = []

    def until(self, number: int, step_s: float, timed: bool = False) -> None:
        """Play on until hit ``number`` has been told, in steps of ``step_s``."""
        grader, hits = self._grader, self._hits
        while self._next < number:
            self.now_s += step_s
            while self._next < number and hits.time_s[self._next] <= self.now_s:
                hit = hits[self._next]
                self._next += 1
                begin = time.perf_counter()
                grader.hit(hit)
                if timed:
                    self.hit_s.append(time.perf_counter() - begin)
            begin = time.perf_counter()
            grader.time_passed(self.now_s)
            if timed:
                self.passed_s.append(time.perf_counter() - begin)

    def measured(self) -> tuple[float, float]:
        """99th percentiles in microseconds of a hit and of a frame: the best of three rounds."""
        rounds = []
        for _ in range(3):
            self.hit_s, self.passed_s = [], []
            self.until(self._next + TIMED, FRAME_S, timed=True)
            rounds.append([1e6 * float(np.percentile(c, 99)) for c in (self.hit_s, self.passed_s)])
        hit_us, passed_us = np.min(rounds, axis=0).tolist()
        return hit_us, passed_us


def latency() -> None:
    """A hit and a frame, early and late in a very long run."""
    targets, hits, _ = targets_and_hits(1_100_000)
    player = Player(targets, hits)
    player.until(1000, FRAME_S)
    early = player.measured()
    player.until(1_000_000, 60.0)
    late = player.measured()
    for what, asked, first_us, then_us in zip(
        ("a hit", "a frame's time"), (" (asked: 100)", ""), early, late, strict=True
    ):
        print(
            f"  {what}: 99th percentile {first_us:.0f} us after a thousand hits{asked}, "
            f"{then_us / first_us:.2f} times that after a million (asked: 1)"
        )


def memory() -> None:
    """Traced memory after half an hour and after ten hours."""
    bars = int(HOURS * 3600 * TEMPO_BPM / 60 / 4)
    targets, hits, _ = targets_and_hits(16 * bars)
    player = Player(targets, hits)
    tracemalloc.start()
    player.until(len(hits) // 20, 2.0)
    before = tracemalloc.get_traced_memory()[0]
    player.until(len(hits), 2.0)
    after, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # Loudness is heard against the strokes of the whole run, so of each something is kept.
    print(
        f"  {HOURS} hours: {(after - before) / (0.95 * len(hits)):+.0f} bytes for each hit since "
        f"the first half hour (asked: 80), at most {most / 1024:.0f} KiB at any time"
    )


def process() -> None:
    """``playalong grade`` of a minute, as a process of its own."""
    if find_spec("playalong.__main__") is None:
        print("  playalong grade: there is no command yet")
        return
    targets = lay_out(groove(), TEMPO_BPM, 21)
    with tempfile.TemporaryDirectory() as folder:
        take = Path(folder) / "take.mid"
        _save(targets, take)
        command = [
            sys.executable,
            "-m",
            "playalong",
            "grade",
            "late-bus-home",
            str(take),
        ]
        took_s = _best_s([*command, "--json"])
    bare_s = _best_s([sys.executable, "-c", "import numpy"])
    print(
        f"  playalong grade of a minute: {took_s:.2f} s as a process (asked: 0.6), "
        f"{took_s / bare_s:.1f} times Python with numpy alone"
    )


def _best_s(command: list[str]) -> float:
    least = float("inf")
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        least = min(least, time.perf_counter() - begin)
    return least


def _save(targets: Targets, path: Path) -> None:
    """A Standard MIDI File of the targets, played exactly."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(TEMPO_BPM)))
    ticks = np.rint(targets.time_s * TEMPO_BPM / 60.0 * 480).astype(int).tolist()
    for voice, gap in zip(targets.names, np.diff(ticks, prepend=0).tolist(), strict=True):
        note = NOTES[voice]
        track.append(mido.Message("note_on", channel=9, note=note, velocity=84, time=gap))
    file.tracks.append(track)
    file.save(path)


def main() -> None:
    """Print the figures."""
    latency()
    memory()
    process()


if __name__ == "__main__":
    main()
