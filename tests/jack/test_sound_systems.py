"""Sound systems that are asked for a device again and again, as where one was lost."""

import subprocess
import sys

import pytest

pytestmark = pytest.mark.jack

#: More often than a system has keys for threads: 1024 (PTHREAD_KEYS_MAX of Linux, limits.h).
TIMES = 1500

SCRIPT = """
import sys, time
from miniaudio import Backend
from playalong.sound.device.devices import defaults, opened

ways = [way for way in defaults() if way.backend == Backend.JACK]
assert ways, "miniaudio was built without JACK"
for _ in range(int(sys.argv[1])):
    assert opened(ways, 0.1, 10.0, now=time.perf_counter) is None, "there is a server"
print("still there")
"""


def test_jack_without_a_server_may_be_asked_any_number_of_times(monkeypatch):
    """Its library makes keys for threads each time it is loaded, and dies when there are none."""
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "nobody")
    monkeypatch.setenv("JACK_NO_START_SERVER", "1")
    command = [sys.executable, "-c", SCRIPT, str(TIMES)]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert (ended.returncode, ended.stdout) == (0, "still there\n"), ended.stderr[-500:]
