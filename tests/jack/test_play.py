"""`playalong play` on a real MIDI port: what goes in at one end is graded at the other."""

import threading
import time
from pathlib import Path

import pytest

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.play import play_session
from playalong.app.play.play_session import SavedRun
from playalong.app.run.run import Run
from playalong.commands.main import main
from playalong.grading.text import as_json
from playalong.midi_io.rtmidi_port import VirtualOutput
from playalong.records.takes import read
from playalong.simulation.player import perform, send
from playalong.simulation.skills import SKILLS

pytestmark = [pytest.mark.jack, pytest.mark.usefixtures("jack")]

NAME = "lesson room kit"


def test_every_message_arrives_and_the_shown_grade_is_the_kept_takes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    output = VirtualOutput(NAME)
    sent, kept = [], []

    class Played(Run):
        """A run whose player sits at the other end of the port."""

        def __init__(self, task, context, connect) -> None:
            super().__init__(task, context, connect)
            performance = perform(task.targets(), SKILLS["beginner"], 4)
            sent.extend(performance.messages)
            clock = {"now": time.perf_counter, "wait": time.sleep}
            arguments = (performance, output, self.time.start_s)
            threading.Thread(target=send, args=arguments, kwargs=clock, daemon=True).start()

    keep = play_session.save_run

    def keeping(*arguments, **others) -> SavedRun:
        kept.append((arguments[0], keep(*arguments, **others)))
        return kept[-1][1]

    monkeypatch.setattr(play_session, "Run", Played)
    monkeypatch.setattr(play_session, "save_run", keeping)
    try:
        command = ["play", "late-bus-home", "--bars", "2", "--port", NAME, "--out", str(tmp_path)]
        assert main(command) == 0
    finally:
        output.close()
    out = capsys.readouterr().out
    ((task, left),) = kept
    take = read(left.path)
    played = sorted((data[1], data[2]) for _, data in sent if data[0] & 0xF0 == 0x90 and data[2])
    assert sorted(zip(take.note.tolist(), take.velocity.tolist(), strict=True)) == played
    again = grade_take(task.pattern, take, Options())
    assert as_json(again.grade) == as_json(left.graded.grade)
    assert f"{again.grade.score.total:.0f} of 100. {again.grade.advice}" in out
    assert str(left.path) in out
