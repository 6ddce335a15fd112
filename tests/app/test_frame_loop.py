"""The one loop that shows frames, on the stepped clock: what it asks of whom, and in what order."""

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace

import pygame
import pytest

from playalong.app.run.clock import Clock, SteppedClock
from playalong.app.run.context import GONE, GONE_MEANWHILE, RunContext
from playalong.app.run.frame_loop import ANEW_S, Scene, View, hold, show, show_pads
from playalong.app.run.hit_input import HitInput
from playalong.app.run.last_stroke import SHOWN_S
from playalong.app.run.pad_commands import PadCommands
from playalong.midi.mapping import Heard
from playalong.midi.pads import Pads
from playalong.midi.port import Arrival
from playalong.midi_io.hotplug import LOOK_S, SEEK_S
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.voices import note_of
from playalong.profile.pad_commands import Calls, Command
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.overlay import Covered
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import LEAVE, ButtonPage, Buttons, Level
from playalong.screen.base.window import Window
from playalong.screen.home_pages.settings import SettingsPage
from playalong.sound.device.output import STEP_DB, Sound, part_of
from playalong.sound.mix import Part
from playalong.support.system import interrupts
from tests.helpers.stage import Keys, Wire, context_on, struck, unseen_window

#: Halves of halves, so that the steps of the clock add up exactly.
FRAME_S, LISTEN_S = 1 / 64, 1 / 512


class Leaf:
    """A page that offers START and LEAVE."""

    def __init__(self, level: Level | None = None) -> None:
        self.level = level
        self.paused: tuple[str, ...] = ()

    def handle(self, press: Press | Outcome) -> Outcome | None:
        return {
            Key.ENTER: Outcome.START,
            Key.ESCAPE: Outcome.LEAVE,
            Outcome.START: Outcome.START,
            Outcome.LEAVE: Outcome.LEAVE,
        }.get(press)

    def offers(self, outcome: Outcome) -> bool:
        return outcome in (Outcome.START, Outcome.LEAVE)

    def draw(self, surface, now_s: float) -> None:
        surface.fill((0, 0, 0))


class Remembered(Keys):
    """A window that keeps what was shown."""

    offscreen = False

    def __init__(self, window: Window, clock: Clock) -> None:
        super().__init__(window, clock)
        self.shown: list[tuple[float, object]] = []

    def frame(self, page, now_s: float) -> None:
        self._window.frame(page, now_s)
        self.shown.append((self._clock.now(), page))


class Cable(Wire):
    """A port on which strokes come at times of the clock, and that knows when it was asked."""

    def __init__(self, clock: Clock, *strokes: tuple[float, str]) -> None:
        super().__init__(
            clock, *(m for at_s, voice in strokes for m in struck(note_of(voice), at_s))
        )
        self.polled_s: list[float] = []

    def poll(self) -> list[Arrival]:
        self.polled_s.append(self._clock.now())
        return super().poll()


class Diary(Scene):
    """A scene that writes down all that it is told, and ends at a time of the clock."""

    def __init__(self, page: Leaf, end_s: float) -> None:
        self.page, self._end_s = page, end_s
        self.told: list[tuple[str, float]] = []
        self.heard: list[Heard] = []

    def said(self, what: str) -> list[float]:
        return [at_s for told, at_s in self.told if told == what]

    def view(self, now_s: float) -> View | None:
        self.told.append(("view", now_s))
        return View(self.page, now_s) if now_s < self._end_s else None

    def received(self, message: Heard) -> None:
        self.heard.append(message)
        self.told.append(("received", message.time_s))

    def time_passed(self, now_s: float) -> None:
        self.told.append(("time", now_s))

    def kit_gone(self, now_s: float) -> None:
        self.told.append(("gone", now_s))

    def kit_back(self, now_s: float) -> None:
        self.told.append(("back", now_s))


@pytest.fixture(scope="module")
def window() -> Iterator[Window]:
    with unseen_window((160, 90)) as made:
        yield made


@pytest.fixture
def context(window: Window) -> RunContext:
    clock = SteppedClock()
    return context_on(Remembered(window, clock), clock, frame_s=FRAME_S, listen_s=LISTEN_S)


def listening(wire: Cable) -> HitInput:
    return HitInput(wire, StampFilter(), Pads())


def commanded(wire: Cable) -> PadCommands:
    calls = Calls("kick", {Command.START: "snare", Command.LEAVE: "crash"})
    return PadCommands(listening(wire), calls)


def called(at_s: float, pad: str) -> list[tuple[float, str]]:
    """The kick twice, then a pad twice, after a second of silence."""
    strokes = ("kick", "kick", pad, pad)
    return [(at_s + 0.4 * number, voice) for number, voice in enumerate(strokes)]


def test_frames_come_evenly_and_the_port_is_heard_in_between(context):
    wire = Cable(context.clock)
    diary = Diary(Leaf(), 10 * FRAME_S)
    assert show(context, diary, listening(wire)) is None
    frames_s = [FRAME_S * number for number in range(10)]
    assert [at_s for at_s, _ in context.window.shown] == frames_s
    assert wire.polled_s == [LISTEN_S * number for number in range(10 * 8 + 1)]
    assert diary.said("time") == wire.polled_s


def test_where_nobody_listens_a_frame_is_one_step_of_the_clock(context):
    waited: list[float] = []
    wait = context.clock.wait
    context.clock.wait = lambda seconds: (waited.append(seconds), wait(seconds))
    show(context, Diary(Leaf(), 5 * FRAME_S))
    assert waited == [FRAME_S] * 5


def test_what_came_is_told_before_the_frame_is_seen(context):
    """A stroke between two frames is told when it is heard, and before the next frame."""
    wire = Cable(context.clock, (0.021, "snare"))
    diary = Diary(Leaf(), 0.1)
    show(context, diary, listening(wire))
    (stroke,) = diary.heard
    assert (stroke.hit.voice, stroke.time_s) == ("snare", 0.021)
    place = diary.told.index(("received", 0.021))
    assert diary.told[place + 1] == ("time", 11 * LISTEN_S)
    assert ("view", FRAME_S) in diary.told[:place]
    assert ("view", 2 * FRAME_S) in diary.told[place:]


def test_a_scene_that_is_over_is_not_drawn(context):
    assert show(context, Diary(Leaf(), 0.0)) is None
    assert context.window.shown == []


def test_an_interrupt_that_fell_into_a_callback_of_c_code_ends_it_at_the_next_frame(context):
    """As the callbacks of a database: what is raised in one comes out as an error of its own."""
    database = sqlite3.connect(":memory:")
    database.create_function("interrupted", 0, interrupts.ask)
    with pytest.raises(sqlite3.OperationalError):
        database.execute("SELECT interrupted()")
    try:
        with pytest.raises(KeyboardInterrupt):
            show(context, Diary(Leaf(), 9.0))
    finally:
        interrupts.answered()
    assert show(context, Diary(Leaf(), FRAME_S)) is None


def test_keys_end_it_and_the_frame_is_not_waited_for(context):
    context.window.plan = [(0.03, "x"), (0.05, Key.ENTER), (0.05, Key.ESCAPE)]
    assert show(context, Diary(Leaf(), 9.0)) is Outcome.START
    assert context.clock.now() == 4 * FRAME_S


def test_the_level_of_the_sound_is_moved_and_shown(context):
    page = Leaf(Level())
    context.window.plan = [(0.01, "+"), (0.01, "+"), (0.04, "-")]
    before_db = context.output.level_db
    show(context, Diary(page, 0.2))
    assert context.output.level_db == page.level.db == pytest.approx(before_db + 3.0)


@pytest.mark.parametrize("paused", [(), GONE])
def test_a_kit_that_goes_is_told_once_and_covers_the_page(context, paused):
    """A page that says so itself is not covered."""
    wire = Cable(context.clock)
    wire.away_s = (1.0, 2.0)
    diary = Diary(Leaf(), 3.0)
    diary.page.paused = paused
    show(context, diary, listening(wire))
    (gone_s,), (back_s,) = diary.said("gone"), diary.said("back")
    assert 1.0 <= gone_s <= 1.0 + LOOK_S + FRAME_S
    assert 2.0 <= back_s <= 2.0 + SEEK_S + FRAME_S
    covered = [at_s for at_s, page in context.window.shown if isinstance(page, Covered)]
    away = [at_s for at_s, _ in context.window.shown if gone_s <= at_s < back_s]
    assert covered == ([] if paused else away)
    words = {page.words for _, page in context.window.shown if isinstance(page, Covered)}
    assert words == (set() if paused else {GONE_MEANWHILE})


def test_a_kit_that_is_back_at_once_was_gone_all_the_same(context):
    """The port says no once, however short the cable was out: what it sends then begins anew."""
    wire = Cable(context.clock)
    answers = iter([True, False])
    wire.is_there = lambda: next(answers, True)
    diary = Diary(Leaf(), 1.0)
    show(context, diary, listening(wire))
    assert len(diary.said("gone")) == len(diary.said("back")) == 1


def test_strokes_work_the_page(context):
    commands = commanded(Cable(context.clock, *called(1.5, "snare")))
    assert show(context, Diary(Leaf(), 9.0), commands.input, pad_commands=commands) is Outcome.START
    assert 1.5 + 1.2 < context.clock.now() < 5.0


@pytest.mark.parametrize(
    ("pads", "part", "steps"),
    [
        (("hi-hat", "high-tom", "high-tom", "snare"), "", 2),
        (("hi-hat", "mid-tom", "snare"), "", -1),
        (("hi-hat", "ride", "mid-tom", "snare"), "click", -1),
        (("hi-hat", "ride", "ride", "high-tom", "snare"), "drums", 1),
    ],
)
def test_the_level_of_the_sound_is_set_sticks_in_hand(context, pads, part, steps):
    """All of it or a part; afterwards the page is on again, and its strokes work it."""
    output = context.output
    before = output.mix.of(Part(part)) if part else output.level_db
    strokes = [one for n, pad in enumerate(pads) for one in called(1.5 + 4.0 * n, pad)]
    wire = Cable(context.clock, *strokes, *called(1.5 + 4.0 * len(pads), "crash"))
    commands = PadCommands(listening(wire), Calls())
    heard: list[Sound] = []
    output.schedule = lambda start_s, sounds: heard.extend(sounds)
    scene = Diary(Leaf(level=Level()), 60.0)
    held = replace(context, pad_commands=commands)
    assert show(held, scene, commands.input, pad_commands=commands) is Outcome.LEAVE
    after = output.mix.of(Part(part)) if part else output.level_db
    assert after - before == pytest.approx(steps * STEP_DB)
    assert [part_of(sound) for sound in heard] == [part or Part.CLICK] * abs(steps)
    pages = [type(getattr(page, "page", page)) for _, page in context.window.shown]
    assert pages[0] is pages[-1] is Leaf
    assert SettingsPage in pages
    assert context.clock.now() < 60.0


class Offering(ButtonPage):
    """A page that shows the level of the sound, and its buttons."""

    def __init__(self, theme: Theme) -> None:
        self.theme, self.level, self.buttons = theme, Level(), Buttons([LEAVE])

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        self.buttons.draw(Pen(surface, self.theme), left=0, right=surface.get_width(), base=40)


def offering(context: RunContext) -> tuple[RunContext, Offering, Click]:
    """With a kit: the page, and a click on the name of the pad that leads to the sound."""
    page = Offering(context.theme)
    held = replace(context, pad_commands=PadCommands(listening(Cable(context.clock)), Calls()))
    show_pads(held, page)
    page.draw(pygame.Surface((160, 90)), 0.0)
    return held, page, Click(*page.buttons._areas[Outcome.SOUND].center)


def test_a_click_leads_to_the_sound_as_well_and_nobody_is_hurried_on(context):
    held, page, click = offering(context)
    context.window.plan = [(1.0, click), (2.0, Key.UP), (5.0, Key.ENTER), (9.0, Key.ESCAPE)]
    assert hold(held, page, 0.0, until_s=1.5) is Outcome.LEAVE
    assert context.clock.now() >= 9.0
    seen = [type(one) for _, one in context.window.shown]
    assert seen[0] is seen[-1] is Offering
    assert SettingsPage in seen


def test_a_click_leads_nowhere_while_somebody_plays(context):
    class Playing(Diary):
        by_pads = False

    held, page, click = offering(context)
    context.window.plan = [(1.0, click)]
    assert show(held, Playing(page, 3.0)) is None
    assert {type(one) for _, one in context.window.shown} == {Offering}


def test_a_page_without_sound_has_no_stroke_for_its_level(context):
    commands = PadCommands(listening(Cable(context.clock, *called(1.5, "hi-hat"))), Calls())
    held = replace(context, pad_commands=commands)
    assert Outcome.SOUND not in commands.on(Leaf())
    assert commands.on(Leaf(level=Level()))[Outcome.SOUND] == "hi-hat"
    assert show(held, Diary(Leaf(), 6.0), commands.input, pad_commands=commands) is None
    assert not any(isinstance(page, SettingsPage) for _, page in context.window.shown)


def test_strokes_that_play_work_nothing(context):
    class Playing(Diary):
        by_pads = False

    commands = commanded(Cable(context.clock, *called(1.5, "snare")))
    diary = Playing(Leaf(), 6.0)
    assert show(context, diary, commands.input, pad_commands=commands) is None
    assert len(diary.heard) == 4


def scripted(context: RunContext, wire: Wire) -> Callable[[float | None], Outcome | None]:
    held = replace(context, pad_commands=commanded(wire))
    return lambda until_s: hold(held, Leaf(), 0.5, until_s=until_s)


def test_a_page_that_stands_still_does_so_until_its_time(context):
    held = scripted(context, Cable(context.clock))
    assert held(1.0) is None
    assert context.clock.now() == pytest.approx(1.0, abs=FRAME_S)


def test_what_was_struck_before_a_page_is_no_command(context):
    """Three strokes of four came before it: the fourth alone asks for nothing."""
    strokes = called(1.5, "crash")
    held = scripted(context, Cable(context.clock, *strokes))
    context.clock.wait(strokes[2][0] + 0.1)
    assert held(9.0) is None
    held = scripted(context, Cable(context.clock, *called(11.0, "crash")))
    assert held(19.0) is Outcome.LEAVE


class Page(Leaf):
    """A page of one grey, a letter typed makes it lighter; it notes when it is drawn."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock, self.grey = clock, 0
        self.drawn_s: list[float] = []

    def handle(self, press: Press | Outcome) -> Outcome | None:
        self.grey += 10 if press == "l" else 0
        return super().handle(press)

    def draw(self, surface, now_s: float) -> None:
        surface.fill((self.grey,) * 3)
        self.drawn_s.append(self._clock.now())


def held_page(context: RunContext, wire: Wire, *, keys: tuple[tuple[float, Press], ...]) -> Page:
    """A page that stands still for three seconds."""
    page = Page(context.clock)
    context.window.plan = [*keys, (3.0, Key.ESCAPE)]
    assert hold(replace(context, pad_commands=commanded(wire)), page, 0.5) is Outcome.LEAVE
    return page


def test_a_page_that_stands_still_is_drawn_twice_a_second(context):
    page = held_page(context, Cable(context.clock), keys=())
    assert page.drawn_s == [ANEW_S * number for number in range(7)]
    assert len(context.window.shown) == 3.0 / FRAME_S + 1


def test_it_is_drawn_at_once_when_a_key_is_pressed(context):
    seen: list[tuple[float, int]] = []
    held = replace(
        context,
        seen=lambda _: seen.append((context.clock.now(), context.window.surface.get_at((3, 3))[0])),
    )
    page = held_page(held, Cable(context.clock), keys=((1.25, "l"),))
    assert page.grey == 10
    assert {grey for at_s, grey in seen if at_s > 1.25} == {10}
    assert {grey for at_s, grey in seen if at_s <= 1.25} == {0}


def test_it_is_drawn_with_each_stroke_as_long_as_that_is_shown(context):
    page = held_page(context, Cable(context.clock, (1.0, "snare")), keys=())
    drawn = {at_s for at_s in page.drawn_s if 1.0 <= at_s <= 1.0 + SHOWN_S}
    assert len(drawn) >= SHOWN_S / FRAME_S
    without = min(at_s for at_s in page.drawn_s if at_s > 1.0 + SHOWN_S)
    assert without <= 1.0 + SHOWN_S + 2 * FRAME_S  # the stroke does not stay on the page


def test_it_is_drawn_when_the_kit_goes_and_comes_back(context):
    wire = Cable(context.clock)
    wire.away_s = (1.1, 2.1)
    held_page(context, wire, keys=())
    words = [type(page) for _, page in context.window.shown]
    assert Covered in words
    assert words[-1] is Page


def test_what_goes_on_is_drawn_in_every_frame(context):
    page = Page(context.clock)
    assert show(context, Diary(page, 2.0)) is None
    assert len(page.drawn_s) == 2.0 / FRAME_S
