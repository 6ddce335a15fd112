"""A server that has gone is known by its sockets, whatever ended it."""

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from playalong.midi_io.hangup import Line

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/fd").exists(), reason="this system does not list open sockets"
)

#: A server that takes one client, and then waits.
SERVER = """
import socket, sys, time
server = socket.socket(socket.AF_UNIX)
server.bind(sys.argv[1])
server.listen()
print("there", flush=True)
client, _ = server.accept()
time.sleep(60)
"""


def test_a_server_that_is_killed_hangs_up(tmp_path):
    name = str(tmp_path / "server")
    command = [sys.executable, "-c", SERVER, name]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "there\n"

    def client() -> socket.socket:
        made = socket.socket(socket.AF_UNIX)
        made.connect(name)
        return made

    made, line = Line.of(client)
    assert not line.hangs_up
    process.kill()
    process.wait()
    assert line.hangs_up
    made.close()
    assert line.hangs_up  # though the client has let go of its own
    line.close()
    assert not line.hangs_up


def test_what_opens_no_socket_to_a_server_never_hangs_up():
    (reader, writer), line = Line.of(os.pipe)
    os.close(writer)
    assert not line.hangs_up
    os.close(reader)


def test_a_socket_to_nobody_is_no_line():
    made, line = Line.of(lambda: socket.socket(socket.AF_INET))
    assert not line.hangs_up
    made.close()
