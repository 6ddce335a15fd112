"""A kit is set up: its pages, for whoever plays it."""

from collections.abc import Callable
from dataclasses import replace

from playalong.app.kit_setup.kit_session import KitSession, click_on_kit
from playalong.app.kit_setup.latency import latency
from playalong.app.kit_setup.setup_context import SetupContext, pads_of_kit
from playalong.app.kit_setup.simulated_player import ROUTE, Kit, KitPlayer
from playalong.app.open_devices import Look, OpenDevices, on_kit
from playalong.app.play.entry import Player
from playalong.app.run.clock import Clock, RealClock, SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.simulation.faulty_kit import ROUGH
from playalong.support.errors import UserError

#: The simulated kit that is learned where there is no real one.
_SIMULATED = "simulated kit"


def set_up(
    by: Port | Player, look: Look, profile: Profile | None, *, home: UserFolders, page: str | None
) -> Profile:
    """Learn the kit on a port, or let a simulated player do so; the profile as it is left."""
    if isinstance(by, Player):
        return _simulated(by, look, home, page=page)
    profile = profile or home.profile(by.name, None)
    # What is measured is told by where the click is: here only the page of latency moves it.
    part, look = look.kit_click, replace(look, kit_click=None)
    with OpenDevices(look, home, RealClock(), notices=()) as context:
        if context.window.offscreen:
            raise UserError(
                "There is no screen for the pages of a kit: --watch prints every message, "
                "--latency-ms takes a latency, and --show prints what is known."
            )
        session = KitSession(
            on_kit(context, look, by, profile=profile),
            by,
            profile,
            keep=keeping(home),
            to_kit=lambda name: click_on_kit(part or name),
            starts_on_kit=part is not None,
        )
        return session.go(page)


def _simulated(by: Player, look: Look, home: UserFolders, *, page: str | None) -> Profile:
    clock: Clock = SteppedClock() if by.fast else RealClock()
    name, rough = next(iter(ROUGH.items()))
    with OpenDevices(look, home, clock, notices=("a simulated player plays",)) as context:
        route = (Outcome(page),) if page else ROUTE
        player = KitPlayer(context, by.skill, Kit(rough), seed=by.seed, route=route)
        profile = Profile(kit=f"{_SIMULATED} {name}", player="simulated player", port=_SIMULATED)
        own = replace(home, simulated=True)
        session = KitSession(player.context, player.port, profile, keep=keeping(own))
        return session.go()


def measured_latency(context: RunContext, port: Port, *, home: UserFolders) -> Profile:
    """Measure the latency of the kit on ``port`` on its page alone; the profile as it is then."""
    profile = context.profile
    setup = SetupContext(
        context=context,
        port=port,
        profile=profile,
        keep=keeping(home),
        voices=pads_of_kit(profile),
    )
    latency(setup, click_on_kit)
    return setup.profile


def keeping(home: UserFolders) -> Callable[[Profile], None]:
    """Keeps a profile in ``home``; UserError says what went wrong."""

    def keep(profile: Profile) -> None:
        before = len(home.notices)
        home.keep(profile)
        if home.notices[before:]:
            raise UserError.of(home.notices[before:])

    return keep
