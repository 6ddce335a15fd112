"""A sitting in real time, in a real window: keys by the X server, strokes by a real MIDI port.

Somebody takes an assessment of two items. In the middle of an attempt the program is killed, as by
a battery that is empty; in the middle of the next the kit's cable is out for some seconds. Then it
goes on to its end. Held against the clock of this process: the time that was counted, and that
which was not. Needs what ``tests.long window`` needs.
"""

import json
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playalong.app.assessment.tasks import item_task
from playalong.app.assessment.verifying import verify
from playalong.records.assessments.files import load_assessment
from playalong.records.assessments.results import read_result
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from tests.long.frame import Options, Table
from tests.long.window import KIT, Desk

FULL_COUNT = SAMPLE_COUNT = 1

#: The whole time, and how far the clocks of two processes may be apart, with the frames and the
#: two seconds between two times that are kept.
TOTAL_S, APART_S = 300.0, 3.0

#: So long after bar 1 something goes wrong, and so long the cable is out.
WRONG_S, OUT_S = 2.0, 6.0

TEXT = """
title = "A sitting"
minutes = 5
warm-up = 1
[[item]]
pattern = "late-bus-home"
tempo = 120
bars = 2
attempts = 2
[item.asked]
score = { good = 80, pass = 60 }
[[item]]
pattern = "boots-by-the-door"
tempo = 120
bars = 2
sight = 5
"""


class StoppedError(Exception):
    """A page that was waited for has not come."""


@dataclass(kw_only=True)
class Sitting:
    """Somebody at the desk: ``counted_s`` is how long, by this process, the clock must have run."""

    desk: Desk
    path: Path
    counted_s: float = 0.0
    runs: int = 0
    _since_s: float | None = None
    pages: list[str] = field(default_factory=list)

    def begin(self) -> None:
        """Start the program with the assessment."""
        command = ("assess", str(self.path), "--who", "Ada", "--port", KIT)
        self.desk.start(*command)

    def await_(self, *names: str) -> None:
        """StoppedError where none of these pages comes."""
        if not self.desk.wait_for(*names):
            raise StoppedError(f"{' or '.join(names)} awaited, {self.desk.page()!r} shown")
        self.pages.append(self.desk.page())

    def clock_runs(self, runs: bool) -> None:
        """From now on the clock of the sitting runs, or stands."""
        now_s = time.monotonic()
        if self._since_s is not None:
            self.counted_s += now_s - self._since_s
        self._since_s = now_s if runs else None

    def plays(self, item: int, until_s: float = 100.0) -> threading.Thread:
        """Go on to the run that comes, and play it as a professional does, up to ``until_s``."""
        self.await_("RunPage")
        start_s = float(Path(f"{self.desk.pages}.start").read_text(encoding="utf-8"))
        assessment = load_assessment(str(self.path)).assessment
        targets = item_task(assessment, assessment.items[item]).targets()
        performance = perform(targets, SKILLS["professional"], self.runs)
        self.runs += 1

        def play() -> None:
            for at_s, data in performance.messages:
                if at_s > until_s:
                    return
                time.sleep(max(0.0, start_s + at_s - time.perf_counter()))
                if self.desk.kit is not None:
                    self.desk.kit.send(data)  # type: ignore[attr-defined]

        thread = threading.Thread(target=play, daemon=True)
        thread.start()
        thread.join(max(0.0, start_s + min(until_s, targets.end_s) - time.perf_counter()))
        return thread

    def enter(self) -> None:
        """Press Enter."""
        self.desk.press("Return")

    def left_s(self) -> float:
        """The time that was left when it was kept last."""
        (path,) = self.desk.folder.glob("data/**/progress.json")
        return float(json.loads(path.read_text(encoding="utf-8"))["sitting"]["left_s"])


def _to_ready(sitting: Sitting) -> None:
    """From the start to the page before the first attempt."""
    sitting.begin()
    sitting.await_("SittingPage")
    sitting.enter()  # what is agreed
    time.sleep(0.5)
    sitting.enter()  # warm
    sitting.await_("ReadyPage")
    sitting.clock_runs(True)


def _whole_attempt(sitting: Sitting, item: int) -> None:
    sitting.plays(item).join()
    sitting.await_("ResultPage")
    sitting.enter()


def _first_attempt(sitting: Sitting) -> None:
    sitting.enter()
    _whole_attempt(sitting, 0)
    sitting.await_("ReadyPage")


def _killed(sitting: Sitting) -> None:
    """In the middle of an attempt the program is gone at once; it is started again."""
    sitting.enter()
    sitting.plays(0, WRONG_S)
    program = sitting.desk.program
    assert program is not None
    program.send_signal(signal.SIGKILL)
    program.wait()
    sitting.clock_runs(False)
    left_s = sitting.left_s()
    sitting.begin()
    sitting.await_("SittingPage")
    time.sleep(2.0)
    if sitting.left_s() != left_s:
        raise StoppedError("the clock ran while it stood still")
    sitting.enter()
    sitting.await_("ReadyPage")
    sitting.clock_runs(True)


def _pulled(sitting: Sitting) -> None:
    """In the middle of an attempt the kit is gone; some seconds later it is back."""
    sitting.enter()
    sitting.plays(0, WRONG_S)
    sitting.desk.pull()
    sitting.await_("SittingPage")
    sitting.clock_runs(False)
    time.sleep(OUT_S)
    sitting.desk.plug_in()
    until_s = time.monotonic() + 20.0
    while "Covered" in sitting.desk.page() and time.monotonic() < until_s:
        time.sleep(0.05)
    sitting.enter()
    sitting.await_("ReadyPage")
    sitting.clock_runs(True)


def _second_attempt(sitting: Sitting) -> None:
    sitting.enter()
    _whole_attempt(sitting, 0)
    sitting.await_("SittingPage")


def _at_sight(sitting: Sitting) -> None:
    """The sheet is covered; then it is shown, and counted in by itself."""
    sitting.enter()
    sitting.await_("ReadyPage")
    began_s = time.monotonic()
    thread = sitting.plays(1)
    if time.monotonic() - began_s < 5.0:
        raise StoppedError("the sheet was shown for less than five seconds")
    thread.join()
    sitting.await_("ResultPage")
    sitting.clock_runs(False)
    sitting.enter()
    sitting.await_("SittingPage")


def _ended(sitting: Sitting) -> None:
    sitting.enter()
    program = sitting.desk.program
    assert program is not None
    try:
        code = program.wait(20)
    except subprocess.TimeoutExpired:
        raise StoppedError(f"the program goes on: {sitting.desk.page()}") from None
    if code != 0:
        raise StoppedError(f"the program ended with {code}")


_STEPS = {
    "what is agreed, warm-up, ready": _to_ready,
    "the first attempt": _first_attempt,
    "killed in the middle of the second": _killed,
    "the cable out in the middle of the next": _pulled,
    "the second attempt": _second_attempt,
    "an item at sight": _at_sight,
    "the end": _ended,
}


def tables(options: Options) -> Iterator[Table]:
    """The sitting step by step, and its result."""
    table = Table("A sitting in real time", ("what", "came of it"))
    needed = [name for name in ("Xvfb", "xdotool", "jackd") if shutil.which(name) is None]
    if needed:
        table.row("needs", " ".join(needed), holds=False)
        yield table
        return
    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / "a-sitting.toml"
        path.write_text(TEXT, encoding="utf-8")
        desk = Desk(Path(made))
        try:
            sitting = Sitting(desk=desk, path=path)
            for name, step in _STEPS.items():
                try:
                    step(sitting)
                except StoppedError as error:
                    table.row(name, str(error), holds=False)
                    break
                table.row(name, "done")
            else:
                _result(table, sitting)
            errors = desk.errors.read_text(encoding="utf-8", errors="replace")
            bad = [line for line in errors.splitlines() if "Traceback" in line or "mistake" in line]
            table.row("tracebacks and mistakes", len(bad), holds=not bad)
        finally:
            desk.close()
    yield table


def _result(table: Table, sitting: Sitting) -> None:
    """What the result says, held against what was done."""
    (path,) = sitting.desk.folder.glob("data/**/results/*.zip")
    plain: dict[str, Any] = json.loads(read_result(path).files["result.json"])
    lost = [(one["loss"], one["item"], one["state"]) for one in plain["interruptions"]]
    said = [("program", 0, "playing"), ("kit", 0, "playing")]
    table.row("interruptions", str(lost), holds=lost == said)
    runs = [(run["item"], run["number"], run["state"]) for run in plain["runs"]]
    table.row("runs", str(runs), holds=[run[2] for run in runs].count("played") == 3)
    scores = [item["score"] for item in plain["items"]]
    table.row("scores", str([round(score) for score in scores]), holds=min(scores) > 80)
    found = verify(path)
    table.row("it fits", "; ".join(found.wrong) or "yes", holds=found.fits)
    used_s = TOTAL_S - plain["left_s"]
    near = abs(used_s - sitting.counted_s) < APART_S
    table.row("time used, by the result", f"{used_s:.1f} s")
    table.row("time used, by this process", f"{sitting.counted_s:.1f} s", holds=near)
    reports = [line for line in verify_lines(path) if line]
    table.row("verify", reports[-1] if reports else "")


def verify_lines(path: Path) -> list[str]:
    """What ``playalong verify`` prints."""
    import sys

    ended = subprocess.run(
        [sys.executable, "-m", "playalong", "verify", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )
    return (ended.stdout + ended.stderr).splitlines()
