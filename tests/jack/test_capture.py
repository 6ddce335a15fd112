"""A groove played in through a real MIDI port, to the click: it is written as it was played."""

import threading
import time
from pathlib import Path

import pytest

from playalong.app.capture import session as capture_session
from playalong.app.capture.played_in import Known
from playalong.app.capture.session import CaptureSession
from playalong.app.own_patterns.own_files import OwnFiles
from playalong.app.run.clock import RealClock
from playalong.app.user_folders import UserFolders
from playalong.midi_io.ports import open_port
from playalong.midi_io.rtmidi_port import VirtualOutput
from playalong.pattern.targets import lay_out
from playalong.records.pattern_files import load_pattern
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Page
from playalong.screen.capture_pages.listening import ListeningPage
from playalong.screen.capture_pages.understood import UnderstoodPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.simulation.player import perform, send
from playalong.simulation.skills import SKILLS
from tests.helpers.captured import unlike
from tests.helpers.stage import Hands, context_on, unseen_window

pytestmark = [pytest.mark.jack, pytest.mark.usefixtures("jack")]

NAME = "capture room kit"


def test_what_is_played_to_the_click_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(capture_session, "REST_S", 1.5)
    pattern = load_pattern("boots-by-the-door")
    output = VirtualOutput(NAME)
    clock = RealClock()

    class Listening(CaptureSession):
        """A session whose player hears the click at the other end of the port."""

        def _counted_in(self, *, simulated):
            click = super()._counted_in(simulated=simulated)
            targets = lay_out(pattern, click.tempo_bpm, 4)
            performance = perform(targets, SKILLS["professional"], 3)
            timing = {"now": time.perf_counter, "wait": time.sleep}
            arguments = (performance, output, click.start_s)
            threading.Thread(target=send, args=arguments, kwargs=timing, daemon=True).start()
            return click

    def script(page: Page) -> Press | None:
        return Key.ENTER if isinstance(page, UnderstoodPage | TypedPage) else None

    seen: list[ListeningPage] = []

    def pressed(page: Page, _: float) -> Press | None:
        if isinstance(page, ListeningPage):
            seen.append(page)
        return script(page)

    home = UserFolders(config=tmp_path / "config", data=tmp_path)
    try:
        port = open_port(NAME)
        with unseen_window() as window:
            kept = Listening(
                context_on(Hands(window, pressed), clock),
                port,
                Known(click_bpm=pattern.tempo, meters=(pattern.meter,)),
                save=lambda own: OwnFiles(home).save(own, None),
                hear=lambda _: None,
            ).go()
        port.close()
    finally:
        output.close()

    assert kept is not None
    assert seen[-1].hits
    assert kept[0].tempo == pattern.tempo
    assert unlike(pattern, kept[0]) == set()
