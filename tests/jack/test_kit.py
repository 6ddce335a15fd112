"""Messages of a real MIDI port reach the live view of a kit, in the window and in a terminal."""

import threading
import time
from collections.abc import Iterator
from itertools import islice

import pytest

from playalong.app.kit_setup.kit_session import KitSession, watch
from playalong.app.run.clock import RealClock
from playalong.midi.port import Port
from playalong.midi_io.ports import open_port
from playalong.midi_io.rtmidi_port import VirtualOutput
from playalong.profile.profile import Profile
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Page
from playalong.screen.base.window import Window
from playalong.screen.kit_pages.messages import MessageRow, MessagesPage
from tests.helpers.stage import context_on

pytestmark = [pytest.mark.jack, pytest.mark.usefixtures("jack")]

NAME = "kit in the hall"
SENT = (bytes((0x99, 38, 96)), bytes((0xB9, 4, 127)), bytes((0x93, 46, 70)))

#: How long the messages are waited for.
PATIENCE_S = 20.0


@pytest.fixture
def port() -> Iterator[Port]:
    output = VirtualOutput(NAME)
    port = open_port(NAME)
    stop = threading.Event()

    def send() -> None:
        # Over and over: what is sent before the two ports are joined goes nowhere.
        while not stop.is_set():
            for data in SENT:
                output.send(data)
                stop.wait(0.02)

    sender = threading.Thread(target=send, daemon=True)
    sender.start()
    yield port
    stop.set()
    sender.join()
    port.close()
    output.close()


def test_the_messages_page_shows_what_comes(port):
    clock, rows = RealClock(), []
    end_s = clock.now() + PATIENCE_S
    window = Window.open((640, 360), offscreen=True)

    class Seen:
        """A window that is left as soon as enough has come."""

        page: Page | None = None
        is_closed = False

        def frame(self, page: Page, now_s: float) -> None:
            self.page = getattr(page, "page", page)  # beneath the stroke that has just come
            window.frame(page, now_s)

        def presses(self) -> list[Press]:
            if not isinstance(self.page, MessagesPage):
                return [Key.CLOSE]
            rows[:] = self.page.rows
            return [Key.CLOSE] if len(rows) >= 12 or clock.now() > end_s else []

    context = context_on(Seen(), clock)
    try:
        KitSession(context, port, Profile(kit="kit", player="me"), keep=lambda _: None).go(
            "messages"
        )
    finally:
        window.close()
    assert len(rows) >= 12
    told = {(row.voice, row.velocity) for row in rows}
    assert ("snare", 96.0) in told
    # No pedal has spoken on the channel of the hi-hat: the note alone tells the voice.
    assert ("hi-hat-open", 70.0) in told
    assert any("pedal 127" in row.words for row in rows)
    assert all(isinstance(row, MessageRow) and not row.dropped for row in rows)
    times_s = [row.time_s for row in rows]
    assert times_s == sorted(times_s)


def test_watching_prints_what_comes(port):
    lines = list(islice(watch(port, Profile(kit="kit", player="me"), time.perf_counter), 10))
    assert any("snare" in line and " 96 " in line for line in lines)
    assert any("open hi-hat" in line for line in lines)
    assert any("pedal 127" in line for line in lines)
