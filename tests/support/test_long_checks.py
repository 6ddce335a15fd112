"""A long check that is ended leaves no processes behind."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

#: Two processes that work for ten minutes.
PROGRAM = """
import time
from tests.long.frame import Options
list(Options(count=2, seed=1, jobs=2).map(time.sleep, [600, 600]))
"""
PATIENCE_S = 60.0


def children(of: int) -> set[int]:
    """The processes that one has started and that are there."""
    found = set()
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, parent = stat.read_text().rpartition(")")[2].split()[:2]
        except OSError:  # has just ended
            continue
        if int(parent) == of and state != "Z":
            found.add(int(stat.parent.name))
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc to look into")
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_its_processes_end_with_it(how: signal.Signals) -> None:
    program = subprocess.Popen([sys.executable, "-c", PROGRAM])
    begun_s = time.monotonic()
    workers: set[int] = set()
    while len(workers) < 3 and time.monotonic() < begun_s + PATIENCE_S:  # two, and a tracker
        time.sleep(0.1)
        workers = children(program.pid)
    assert len(workers) == 3
    time.sleep(1.0)  # until they wait
    program.send_signal(how)
    program.wait(PATIENCE_S)
    left = workers
    while left and time.monotonic() < begun_s + 2 * PATIENCE_S:
        time.sleep(0.1)
        left = {pid for pid in left if Path(f"/proc/{pid}").exists()}
    for pid in left:
        os.kill(pid, signal.SIGKILL)
    assert not left
