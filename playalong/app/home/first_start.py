"""The first start: the kit is heard, soft strokes arrive, latency, name, level and hand.

It takes about three minutes, every step can be skipped, and what is skipped is offered later by
the kit's pages and the settings.
"""

from collections.abc import Callable
from dataclasses import replace

from playalong.app.home.key_port import WORDS as KEYS_ARE_PADS
from playalong.app.home.kit_at_hand import SEEK_S, KitAtHand
from playalong.app.home.looks import FIRST_START, settings_of
from playalong.app.kit_setup.entry import keeping
from playalong.app.kit_setup.kit_session import click_on_kit
from playalong.app.kit_setup.latency import latency
from playalong.app.kit_setup.setup_context import SetupContext, pads_of_kit
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.stored_runs import NOBODY
from playalong.app.user_folders import UserFolders
from playalong.midi.mapping import Heard
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME
from playalong.profile.first_strokes import APART_DB, REQUESTED, TIMES, FirstStrokes
from playalong.profile.profile import Profile
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import CHANGING, Rows
from playalong.screen.base.widgets import SKIP, Buttons
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.home_pages.start import END_START, NEXT_STEP, StartPage, Strokes
from playalong.screen.home_pages.typed import KEEP, TypedPage
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError

TITLE = "First start"

#: The page ends by itself: a kit has been found.
_FOUND = Outcome.NEXT
STEPS = 5

_THRESHOLD = (
    "Do soft strokes not arrive? Turn the snare pad's threshold down on the module, "
    "or its sensitivity up."
)
_SAME = (
    "Soft and normal strokes come nearly as loud: play the soft ones from lower down, or choose "
    "a straighter velocity curve on the module."
)
_KEYS = "Keys say nothing of loudness: how loud is loud is learned once a kit is plugged in."
_MEASURE = (
    "The time from your stroke to this program is taken off before anything is judged.",
    "Play along to the click for a minute: start quiet, as loud as a clock.",
)


class FirstStart:
    """The steps, one after the other; ``profile`` is what is known of kit and player by then."""

    def __init__(
        self, home: UserFolders, kit: KitAtHand, context: Callable[[], RunContext]
    ) -> None:
        self._home, self._kit, self._context = home, kit, context
        self.profile = kit.profile

    def go(self) -> None:
        """Go through the steps until they are done, or put off."""
        steps = (self._hear_kit, self._strike, self._measure, self._name, self._level)
        for step in steps:
            if step() is Outcome.LEAVE:
                break
        if not self._context().window.is_closed:
            self._home.remember_for(None, **{FIRST_START: True})

    def _setup(self) -> SetupContext:
        context = self._context()
        keep = keeping(self._home)
        return SetupContext(
            context=context,
            port=self._kit.port,
            profile=self.profile,
            keep=keep,
            voices=pads_of_kit(self.profile),
        )

    def _page(self, number: int, prompt: str) -> StartPage:
        return StartPage(
            theme=self._context().theme,
            title=TITLE,
            subtitle=f"step {number} of {STEPS}",
            prompt=prompt,
        )

    def _hear_kit(self) -> Outcome:
        """Strike anything: the page answers at once. A kit may be plugged in meanwhile."""
        while True:
            outcome = self._hear_kit_at_hand()
            if outcome is not _FOUND:
                return outcome
            self.profile = self._kit.profile

    def _hear_kit_at_hand(self) -> Outcome:
        setup = self._setup()
        page = self._page(1, "Strike anything on your kit.")
        page.drawing, page.notices = setup.drawing(), [CAUTION]
        nothing = [f"Listening to {self._kit.port.name}."]
        if self._kit.is_keys:
            nothing = [
                "No kit yet: plug one in by USB or MIDI, and switch it on.",
                KEYS_ARE_PADS.replace("No kit: ", "Or try the keys: "),
            ]
        page.said = nothing

        def hears(message: Heard) -> None:
            hit = message.hit
            if hit is not None and page.drawing is not None:
                page.drawing.strike(hit.voice, hit.velocity, self._context().clock.now())
                label = BY_NAME[hit.voice].label
                page.prompt = "Your kit is heard."
                page.said = [f"That was the {label}, velocity {hit.velocity:.0f} of 127."]

        sought_s = [self._context().clock.now()]

        def before_frame(now_s: float) -> Outcome | None:
            if not self._kit.is_keys or now_s - sought_s[0] < SEEK_S:
                return None
            sought_s[0] = now_s
            return _FOUND if self._kit.seek(self._context(), self._home) else None

        return setup.show(page, hears, before_frame)

    def _strike(self) -> Outcome:
        """Three normal strokes on three pads, and three as soft as possible on the snare."""
        setup, machine = self._setup(), FirstStrokes()
        page = self._page(2, "")
        page.drawing = setup.drawing()
        machine.since_s = self._context().clock.now()

        def hears(message: Heard) -> None:
            if message.hit is not None:
                machine.hit(message.hit)
                if page.drawing is not None:
                    now_s = self._context().clock.now()
                    page.drawing.strike(message.hit.voice, message.hit.velocity, now_s)

        def before_frame(now_s: float) -> Outcome | None:
            page.prompt, page.said, page.is_off = _step_words(machine, now_s)
            if machine.is_done and self._kit.is_keys:
                page.said, page.is_off = [_KEYS], False
            page.now = machine.step
            page.strokes = [
                Strokes(_named(number), len(found), TIMES)
                for number, found in enumerate(machine.velocities)
            ]
            return None

        outcome = setup.show(page, hears, before_frame)
        if machine.strokes and not self._kit.is_keys:  # keys say nothing of loudness
            setup.learned(strokes={**machine.strokes, **self.profile.strokes})
            self.profile = setup.profile
        return outcome

    def _measure(self) -> Outcome:
        """Play along to a click, or later."""
        page = self._page(3, "How late do your strokes arrive?")
        page.said = _MEASURE
        outcome = hold(self._context(), page, 0.0) or Outcome.LEAVE
        if outcome is Outcome.START:
            setup = self._setup()
            latency(setup, click_on_kit)
            self.profile = setup.profile
        return outcome

    def _name(self) -> Outcome:
        """Who plays."""
        page = TypedPage(
            theme=self._context().theme,
            title=TITLE,
            prompt="What is your name?",
            notice="It stands on your takes and in your history, and goes nowhere else. "
            "Without one you go on as nobody, and may say it later.",
            longest=40,
            buttons=Buttons((KEEP, END_START)),
        )
        while True:
            outcome = hold(self._context(), page, 0.0) or Outcome.LEAVE
            if outcome is not Outcome.ACCEPT:
                return outcome
            name = page.typed.strip() or NOBODY
            try:
                if self._home.player(name) is None:
                    name = self._home.add_player(name).name
            except UserError as error:
                page.notice, page.is_off = str(error), True
                continue
            self._home.choose_player(name)
            before = self.profile
            self.profile = self._home.profile(before.kit, name)
            self._take_over(before)
            return outcome

    def _take_over(self, before: Profile) -> None:
        """What was measured before there was a name is this player's."""
        own = self.profile
        taken = replace(
            own,
            latency=own.latency or before.latency,
            strokes={**before.strokes, **own.strokes},
        )
        if taken != own:
            self.profile = replace(taken, port=own.port or before.port)
            self._home.keep(self.profile)

    def _level(self) -> Outcome:
        """How strict, and which hand leads."""
        player = self.profile.player or NOBODY
        settings = [row for row in settings_of(self._home, player) if row.name in _LAST]
        chosen = 0
        while True:
            page = SettingsPage(
                theme=self._context().theme,
                title=TITLE,
                subtitle=f"step {STEPS} of {STEPS}",
                rows=Rows([row.choice() for row in settings], chosen),
                buttons=Buttons((NEXT_STEP, *CHANGING, SKIP, END_START)),
            )
            outcome = hold(self._context(), page, 0.0) or Outcome.LEAVE
            chosen = page.rows.chosen
            if outcome not in (Outcome.LESS, Outcome.MORE):
                return outcome
            settings[chosen].step(1 if outcome is Outcome.MORE else -1)


_LAST = ("level", "leading hand")


def _named(number: int) -> str:
    voice, dynamic = REQUESTED[number]
    soft = "soft " if dynamic is Dynamic.GHOST else ""
    return f"{soft}{BY_NAME[voice].label}"


def _step_words(machine: FirstStrokes, now_s: float) -> tuple[str, list[str], bool]:
    """The prompt, the messages, and whether something is wrong."""
    if machine.is_done:
        apart_db = machine.apart_db
        if apart_db is not None and apart_db < APART_DB:
            return "All strokes arrived.", [_SAME], True
        later = "They are kept. How loud is loud on each pad is measured on the kit's page, later."
        return "All strokes arrived, the soft ones too.", [later], False
    voice, dynamic = REQUESTED[machine.step]
    label = BY_NAME[voice].label
    if dynamic is Dynamic.GHOST:
        words = f"The {label}: three strokes as soft as you can."
        missing = machine.soft_are_missing(now_s)
        return words, [_THRESHOLD] if missing else [], missing
    return f"The {label}: three normal strokes.", [], False
