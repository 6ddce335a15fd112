"""A JACK server of our own, on its dummy driver: real MIDI ports without any device."""

import os
import shutil
import subprocess
import time
from collections.abc import Iterator

import pytest

PATIENCE_S = 20.0


@pytest.fixture(scope="session")
def jack() -> Iterator[str]:
    """The name of a running server, which rtmidi will use in this process."""
    program = shutil.which("jackd")
    if program is None:
        pytest.fail("jackd is not installed; these tests need JACK 2 (Debian: jackd2)")
    name = f"playalong-{os.getpid()}"
    # In step with its clients (-S), or a busy machine would lose messages.
    command = [program, "-n", name, "-r", "-S", "-d", "dummy", "-r", "48000", "-p", "64"]
    with pytest.MonkeyPatch.context() as patch:
        # libjack reads both when a client is opened.
        patch.setenv("JACK_DEFAULT_SERVER", name)
        patch.setenv("JACK_NO_START_SERVER", "1")
        server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            _wait_for(server)
            yield name
        finally:
            server.terminate()
            try:
                server.wait(PATIENCE_S)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()


def _wait_for(server: "subprocess.Popen[bytes]") -> None:
    import rtmidi

    from playalong.support.system.quiet_stderr import quiet_stderr

    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.fail("python-rtmidi was built without JACK; its wheels for Linux have it")
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if server.poll() is not None:
            pytest.fail(f"jackd ended at once with code {server.returncode}")
        with quiet_stderr():
            try:
                rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="waiting").delete()
                return
            except (rtmidi.RtMidiError, SystemError):
                time.sleep(0.1)
    pytest.fail(f"jackd did not answer within {PATIENCE_S:g} seconds")
