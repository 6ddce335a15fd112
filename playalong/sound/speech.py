"""A speaking voice, where the optional library for it is installed (the extra "voice").

It speaks in a process of its own: the system's voices want a main thread, and a word must not
hold up a run. Without the library, or without a voice on the system, nothing is said.
"""

import subprocess
import sys
from contextlib import suppress


class Speaker:
    """Says words aloud, one after the other, without waiting for them."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def say(self, words: str) -> None:
        """Say ``words``; they are shown as well, so where there is no voice nothing is lost."""
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "playalong.sound.speech"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                text=True,
            )
        with suppress(OSError, ValueError):
            assert self._process.stdin is not None
            self._process.stdin.write(words.replace("-", " ") + "\n")
            self._process.stdin.flush()

    def close(self) -> None:
        """No more words."""
        if self._process is None:
            return
        with suppress(OSError, ValueError):
            assert self._process.stdin is not None
            self._process.stdin.close()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        self._process.kill()
        self._process.wait()


def _speak() -> None:
    """Say each line of standard input."""
    import pyttsx3

    engine = pyttsx3.init()
    for line in sys.stdin:
        engine.say(line.strip())
        engine.runAndWait()


if __name__ == "__main__":
    _speak()
