"""Every message of a kit as it comes: on its page, and as lines for a terminal."""

import time
from collections.abc import Callable, Iterator

from playalong.app.kit_setup.profile_text import loudness
from playalong.app.kit_setup.setup_context import SetupContext
from playalong.app.run.hit_input import HitInput
from playalong.midi.mapping import Heard
from playalong.midi.port import Port
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.voices import BY_NAME
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import LEAVE
from playalong.screen.kit_pages.messages import MessageRow, MessagesPage

#: How long the port is left alone between two looks, in seconds.
_SHORT_S = 0.005


def messages(setup: SetupContext) -> None:
    """Show what the kit sends until the page is left."""
    profile = setup.profile
    bands = profile.bands
    page = MessagesPage(
        theme=setup.context.theme,
        kit=profile.kit,
        port=setup.port.name,
        drawing=setup.drawing(),
        buttons=setup.buttons(LEAVE),
    )
    begin_s = setup.context.clock.now()

    def hears(heard: Heard) -> None:
        if not heard.words:
            return
        said = "" if heard.hit is None else loudness(bands, heard.hit.voice, heard.hit.velocity)
        page.heard(
            MessageRow(
                time_s=heard.time_s - begin_s,
                words=heard.words,
                voice=heard.voice,
                velocity=heard.velocity,
                loudness=said,
                dropped=heard.dropped,
            )
        )
        if heard.hit is not None:
            page.drawing.strike(heard.hit.voice, heard.hit.velocity, setup.context.clock.now())

    while setup.show(page, hears, by_pads=True) is not Outcome.LEAVE:
        pass


def watch(
    port: Port,
    profile: Profile,
    now: Callable[[], float] = time.perf_counter,
    *,
    wait: Callable[[float], None] = time.sleep,
) -> Iterator[str]:
    """A line for each message as it comes, without an end; waits for it in short sleeps.

    ``now`` is the program's clock, in seconds. A port that goes, and is back, has a line too.
    """
    hits, bands = HitInput(port, StampFilter(), profile.pads), profile.bands
    begin_s, was_there = now(), True
    yield _line("seconds", "message", voice="voice", velocity="velocity", said="loudness")
    while True:
        for heard in hits.read():
            if heard.words:
                hit = heard.hit
                said = loudness(bands, hit.voice, hit.velocity) if hit else _why(heard)
                yield _heard_line(heard, heard.time_s - begin_s, said)
        if hits.look(now()) is not was_there:
            was_there = hits.is_there
            yield f"{port.name} is {'back' if was_there else 'gone: check its cable'}"
        wait(_SHORT_S)


def _why(heard: Heard) -> str:
    return f"({heard.dropped})" if heard.dropped else ""


def _heard_line(heard: Heard, after_s: float, said: str) -> str:
    voice = BY_NAME[heard.voice].label if heard.voice else ""
    velocity = "" if heard.velocity is None else f"{heard.velocity:.0f}"
    return _line(f"{after_s:.3f}", heard.words, voice=voice, velocity=velocity, said=said)


def _line(seconds: str, words: str, *, voice: str, velocity: str, said: str) -> str:
    return f"{seconds:>9}  {words:<36}  {voice:<16}  {velocity:>8}  {said}".rstrip()
