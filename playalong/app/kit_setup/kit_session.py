"""The kit as it really is: its overview, and from there each thing that can be learned of it."""

from collections.abc import Callable
from dataclasses import replace

from playalong.app.kit_click import KitClick
from playalong.app.kit_setup import profile_text as kit_words
from playalong.app.kit_setup.latency import ToKit, latency, typed_in
from playalong.app.kit_setup.loudness import loudness
from playalong.app.kit_setup.messages import messages, watch
from playalong.app.kit_setup.pad_commands import pad_commands
from playalong.app.kit_setup.pads import pads
from playalong.app.kit_setup.profile_text import shown
from playalong.app.kit_setup.setup_context import Keep, SetupContext, pads_of_kit
from playalong.app.kit_setup.triggers import triggers
from playalong.app.run.context import RunContext
from playalong.midi.mapping import Heard
from playalong.midi.port import Port
from playalong.midi_io.backend import PortError
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.screen.kit_pages.overview import CHOOSING, KitPage
from playalong.sound.device.output import Output, SilentOutput

__all__ = ["KitSession", "click_on_kit", "shown", "typed_latency", "watch"]


def click_on_kit(port: str) -> Output:
    """The sound of the kit on ``port``, and nothing of the computer's; PortError, with what helps,
    where none of the outputs has the name of the port or of its device.
    """
    failed: list[PortError] = []
    for part in (port, port.partition(":")[0]):
        try:
            return KitClick(SilentOutput(), part)
        except PortError as error:
            failed.append(error)
    raise PortError(f"{failed[0]} Start again with --click-to and a part of the right name.")


class KitSession:
    """Shows what is known of a kit and learns more; the profile is kept after each thing."""

    def __init__(
        self,
        context: RunContext,
        port: Port,
        profile: Profile,
        *,
        keep: Keep,
        to_kit: ToKit = click_on_kit,
        starts_on_kit: bool = False,
    ) -> None:
        """``keep`` keeps a profile; what it returns, or says with UserError, stands on the page.

        ``to_kit`` gives the output on which the kit sounds the click, by the name of its port;
        with ``starts_on_kit`` it does so from the beginning.
        """
        self._setup = SetupContext(
            context=context, port=port, profile=profile, keep=keep, voices=pads_of_kit(profile)
        )
        self._pages: dict[Outcome, Callable[[SetupContext], None]] = {
            Outcome.PADS: pads,
            Outcome.LOUDNESS: loudness,
            Outcome.TRIGGERS: triggers,
            Outcome.LATENCY: lambda setup: latency(setup, to_kit, starts_on_kit),
            Outcome.PAD_COMMANDS: pad_commands,
            Outcome.MESSAGES: messages,
        }
        self._chosen = 0

    def go(self, page: str | None = None) -> Profile:
        """Show the overview, after ``page`` where one is named, until it is left."""
        setup = self._setup
        outcome = Outcome(page) if page else self._overview()
        while outcome in self._pages and not setup.is_closed:
            self._pages[outcome](setup)
            outcome = Outcome.LEAVE if setup.is_closed else self._overview()
        return setup.profile

    def _overview(self) -> Outcome:
        setup = self._setup
        profile = setup.profile
        page = KitPage(
            theme=setup.context.theme,
            kit=profile.kit,
            player=profile.player,
            port="",
            there=True,
            lines=kit_words.lines(profile),
            drawing=setup.drawing(),
            buttons=setup.buttons(*CHOOSING),
            chosen=self._chosen,
        )

        def hears(message: Heard) -> None:
            hit = message.hit
            if hit is not None:
                page.drawing.strike(hit.voice, hit.velocity, setup.context.clock.now())

        def before_frame(_now_s: float) -> None:
            page.there = setup.is_there
            page.port = setup.port.name + ("" if setup.is_there else ": not there, check its cable")
            page.notices = [words for words in (*setup.context.notices, setup.trouble) if words]

        outcome = setup.show(page, hears, before_frame, by_pads=True)
        self._chosen = page.chosen
        return outcome


def typed_latency(profile: Profile, ms: float) -> Profile:
    """``profile`` with a latency in milliseconds that the user knows; UserError if none can be
    so.
    """
    return replace(profile, latency=typed_in(ms))
