"""The speaking voice: words go to the library in another process, or nowhere."""

import time
from pathlib import Path

import pytest

from playalong.sound.speech import Speaker

ENGINE = """
from pathlib import Path
class Engine:
    def say(self, words):
        with Path({where!r}).open("a") as file:
            file.write(words + "\\n")
    def runAndWait(self):
        pass
def init():
    return Engine()
"""


def test_words_are_said_in_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    where = tmp_path / "said"
    (tmp_path / "pyttsx3.py").write_text(ENGINE.format(where=str(where)))
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    speaker = Speaker()
    speaker.say("no-whispers")
    speaker.say("push")
    deadline_s = time.monotonic() + 30
    while time.monotonic() < deadline_s and (
        not where.exists() or where.read_text().count("\n") < 2
    ):
        time.sleep(0.02)
    speaker.close()
    assert where.read_text() == "no whispers\npush\n"


def test_without_a_voice_nothing_happens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "pyttsx3.py").write_text("raise ImportError")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    speaker = Speaker()
    speaker.say("push")
    assert speaker._process is not None
    assert speaker._process.wait(30) != 0
    speaker.say("push")  # nobody listens any more, and that is no error
    speaker.close()
    Speaker().close()
