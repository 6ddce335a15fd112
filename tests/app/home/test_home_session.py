"""The first page and its rooms, worked by keys: Back leads back, and nothing is lost by leaving."""

from collections.abc import Callable, Iterator
from datetime import date

import pytest

from playalong.app.home.home_session import SHOWN, HomeSession
from playalong.app.home.key_port import KeyPort
from playalong.app.home.kit_at_hand import KitAtHand
from playalong.app.home.looks import settings_of
from playalong.app.home.remembered import Remembered, remembered
from playalong.app.open_devices import Look
from playalong.app.run.clock import SteppedClock
from playalong.app.stored_runs import NOBODY
from playalong.app.user_folders import UserFolders
from playalong.grading.levels import Level
from playalong.grading.loudness import Band
from playalong.interchange.musicxml import writer as musicxml_writer
from playalong.midi.port import Port
from playalong.pattern.model import Dynamic, PatternKind
from playalong.records.pattern_files import library
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.overlay import Covered, Struck
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.window import Window
from playalong.screen.edit_pages.edit import EditPage
from playalong.screen.edit_pages.opened import OpenedPage
from playalong.screen.edit_pages.write import WritePage
from playalong.screen.history_pages.look_back import LookBackPage
from playalong.screen.home_pages.first import FirstPage
from playalong.screen.home_pages.patterns import PatternsPage
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.home_pages.start import StartPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.screen.pages.ready import ReadyPage
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import RunPage
from playalong.sound.device import devices
from tests.helpers.shipped import SHIPPED
from tests.helpers.simulated_takes import recorded
from tests.helpers.stage import Hands, Wire, context_on, struck, unseen_window


class Seen(Hands):
    """A window that somebody looks at."""

    offscreen = False


@pytest.fixture
def window() -> Iterator[Window]:
    with unseen_window() as made:
        yield made


@pytest.fixture
def home(tmp_path) -> UserFolders:
    found = UserFolders(config=tmp_path / "config", data=tmp_path / "data")
    found.add_player("Ana")
    found.choose_player("Ana")
    return found


def bare(page: Page) -> Page:
    while isinstance(page, Covered | Struck):
        page = page.page
    return page


def a_session(
    window: Window, home: UserFolders, script: Callable[[Page], Press | None], *, keys: bool = False
) -> tuple[HomeSession, Wire, list[Page]]:
    """A session with a kit on a wire, and the pages that are seen, each once in a row."""
    clock, seen = SteppedClock(), []
    wire = Wire(clock)

    def noting(page: Page, _: float) -> Press | None:
        page = bare(page)
        if not seen or seen[-1] is not page:
            seen.append(page)
        return script(page)

    context = context_on(Seen(window, noting), clock, frame_s=0.05, listen_s=0.05)
    port: Port = KeyPort(window, clock.now) if keys else wire
    kit = KitAtHand(port, home.profile(port.name, None), keys)
    return HomeSession(context, Look(), home, kit=kit), wire, seen


def pressing(**presses: list[Press]) -> Callable[[Page], Press | None]:
    """What is pressed on the pages of each class, in order, and Escape where nothing is left."""
    left = {name: iter(keys) for name, keys in presses.items()}

    def script(page: Page) -> Press | None:
        name = type(page).__name__
        if isinstance(page, RunPage):
            return next(left.get(name, iter(())), None)
        return next(left.get(name, iter(())), Key.ESCAPE)

    return script


def kinds(seen: list[Page]) -> list[type]:
    found: list[type] = []
    for page in seen:
        if not found or found[-1] is not type(page):
            found.append(type(page))
    return found


def test_escape_leads_back_page_by_page_and_ends_only_on_the_first(window, home):
    script = pressing(
        FirstPage=["p", "s"], PatternsPage=[Key.DOWN, Key.ENTER], ReadyPage=[Key.ESCAPE]
    )
    session, _, seen = a_session(window, home, script)
    session.go()
    assert kinds(seen) == [
        FirstPage,
        PatternsPage,
        ReadyPage,
        PatternsPage,
        FirstPage,
        SettingsPage,
        FirstPage,
    ]


def test_the_list_is_made_shorter_and_comes_back_whole(window, home):
    """By keys, and by what pads ask for."""
    press = pressing(
        FirstPage=["p"],
        PatternsPage=[Key.LEFT, Outcome.SLOWER, Outcome.SLOWER, Key.ESCAPE],
        SettingsPage=[
            *[Key.RIGHT, Key.RIGHT, Key.ENTER],  # groove, fill
            *[Outcome.NEXT, Outcome.FASTER, Outcome.START],  # the first thing that fills train
            *[Key.DOWN, Key.LEFT, Outcome.BACK, Key.LEFT, Key.LEFT, Key.ENTER],
        ],
    )
    found: list[tuple[str, list[str]]] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, PatternsPage):
            assert page.of == len(SHIPPED)
            found.append((page.wanted, [line.name for line in page.lines]))
        return press(page)

    session, _, _ = a_session(window, home, script)
    session.go()
    fills = {name for name, one in SHIPPED.items() if one.kind is PatternKind.FILL}
    thing = min(thing for name in fills for thing in SHIPPED[name].trains)
    both = {name for name in fills if thing in SHIPPED[name].trains}
    wanted = ["", "fills", f"fills, {thing}", ""]
    assert [words for words, _ in found] == wanted
    assert [set(names) for _, names in found] == [set(SHIPPED), fills, both, set(SHIPPED)]


def test_a_pattern_is_searched_played_graded_and_gone_on_with(window, home):
    script = pressing(
        FirstPage=["p", Key.ENTER],
        PatternsPage=[*"boots", Key.ENTER],
        ReadyPage=[Key.ENTER, Key.ESCAPE],
        ResultPage=[Key.ESCAPE],
    )
    session, _, seen = a_session(window, home, script)
    session.go()
    first, last = (page for page in (seen[0], seen[-1]))
    assert isinstance(first, FirstPage)
    assert isinstance(last, FirstPage)
    assert first.going_on.title.startswith("Begin: ")
    assert last.going_on.title == "Go on: Boots by the Door"
    assert [page.title for page in seen if isinstance(page, ReadyPage)] == ["Boots by the Door"] * 2
    told = remembered(home, "Ana")
    assert told.last is not None
    assert told.last.name == "boots-by-the-door"
    assert len(told.bests) == 1
    assert len(last.week) == 7
    # A run with nothing played has a finding without places, and the page still stands.
    assert told.last.weak is not None


def test_closing_the_window_leaves_every_page_at_once(window, home):
    def script(page: Page) -> Press | None:
        if isinstance(page, FirstPage):
            return "p"
        session.context.window._window.is_closed = True
        return Key.CLOSE

    session, _, seen = a_session(window, home, script)
    session.go()
    assert kinds(seen) == [FirstPage, PatternsPage]


def test_a_stroke_is_told_on_every_page(window, home):
    """Each page is shown until a stroke is told on it; the next stroke comes on the next page."""
    notes = iter([(38, "snare"), (36, "kick"), (51, "ride")])
    presses = iter(["s", Key.ESCAPE, Key.ESCAPE])
    expected: list[str] = []
    told: list[tuple[str, str]] = []

    def script(page: Page) -> Press | None:
        last = session.context.last_stroke
        if last.hit is None:
            if len(expected) == len(told):
                note, voice = next(notes)
                expected.append(voice)
                wire.send(*struck(note, session.context.clock.now() + 0.1))
            return None
        told.append((type(page).__name__, last.hit.voice))
        last.hit = None
        return next(presses)

    session, wire, _ = a_session(window, home, script)
    session.go()
    assert told == [("FirstPage", "snare"), ("SettingsPage", "kick"), ("FirstPage", "ride")]


def test_the_week_begins_on_monday_and_tells_minutes_and_rests():
    thursday = date(2026, 11, 26)
    told = Remembered(days={date(2026, 11, 23): 12.4, date(2026, 11, 19): 30.0})
    week = told.week(thursday)
    assert [day.name for day in week] == ["Mo", "Tu", "We", "Th", "Fr", "Sa", "Su"]
    assert [day.minutes for day in week] == [12.4, 0, 0, 0, 0, 0, 0]
    assert [day.is_past for day in week] == [True, True, True, False, False, False, False]
    assert Remembered().week(thursday) == []


def test_settings_are_kept(window, home):
    rows = ["full screen", "window", "dark", "larger writing", "strong contrast", "less motion"]
    keys: list[Press] = []
    for name in (*rows, "pads", "click", "count", "level", "hand"):
        if name in ("dark", "less motion", "click", "count", "level", "hand"):
            keys.append(Key.RIGHT)
        keys.append(Key.DOWN)
    script = pressing(FirstPage=["s"], SettingsPage=keys)
    session, _, _ = a_session(window, home, script)
    session.go()
    kept = home.settings_of(None)
    assert kept["dark"] is True
    assert kept["still"] is True
    assert kept["click"] == "beats and eighths"
    assert kept["counting"] == "one two three four" == session.context.counting
    assert home.level("Ana") is Level.ADVANCED
    assert home.is_left_handed("Ana")
    assert session.context.theme.still
    again, _, _ = a_session(window, home, pressing())
    assert again.task(again._all_patterns.easiest).rules.left_handed


def test_somebody_new_plays_and_has_a_level_of_their_own(window, home):
    home.remember_level("Ana", Level.PROFESSIONAL)
    script = pressing(
        FirstPage=["s"],
        SettingsPage=[*[Key.UP] * 4, Key.RIGHT, Key.DOWN, Key.ENTER],
        TypedPage=[*"Bo", Key.ENTER],
    )
    session, _, _ = a_session(window, home, script)
    session.go()
    assert session.player == "Bo"
    assert home.settings().player == "Bo"
    assert home.level("Bo") is not Level.PROFESSIONAL


def test_a_player_takes_another_name_in_the_window(window, home):
    """One that somebody else has is refused; all that is kept stays."""
    home.remember_level("Ana", Level.PROFESSIONAL)
    home.add_player("Bo")
    script = pressing(
        FirstPage=["s"],
        SettingsPage=[*[Key.UP] * 3, Key.RIGHT],
        TypedPage=[*[Key.BACKSPACE] * 3, *"Bo", Key.ENTER, *"dil", Key.ENTER],
    )
    session, _, seen = a_session(window, home, script)
    session.player_is("Ana")
    session.go()
    told = [page.notice for page in seen if type(page).__name__ == "TypedPage"]
    assert any("There is a player" in words for words in told)
    assert session.player == home.settings().player == "Bodil"
    assert home.level("Bodil") is Level.PROFESSIONAL
    assert [player.name for player in home.players()] == ["Bo", "Bodil"]


def test_a_folder_of_ones_own_is_listed_and_what_is_wrong_in_it_told(window, home, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "good.toml").write_text(
        'title = "Mine Alone"\nmeter = "4/4"\ntempo = 90\n[[bar]]\nsnare = "x- x- x- x-"\n'
    )
    (folder / "bad.toml").write_text('title = "No Bars"\n')
    home.remember_for(None, pattern_folders=[str(folder)])
    session, _, seen = a_session(window, home, pressing(FirstPage=["p"]))
    session.go()
    (page,) = (one for one in seen if isinstance(one, PatternsPage))
    assert "Mine Alone" in [line.title for line in page.lines]
    assert any(words.startswith("bad.toml is left out.") for words in page.notices)


def test_a_simulated_player_shows_what_is_what_and_leaves_no_history(window, home):
    session, _, seen = a_session(window, home, pressing(FirstPage=["w"]))
    session.go()
    assert kinds(seen) == [FirstPage, RunPage, ResultPage, FirstPage]
    assert remembered(home, "Ana").last is None
    assert SHOWN in session._all_patterns.patterns


def test_without_a_kit_keys_are_pads(window, home):
    session, _, seen = a_session(window, home, pressing(), keys=True)
    session.go()
    assert isinstance(seen[0], FirstPage)
    assert "space kick" in seen[0].subtitle


def test_the_first_start_is_shown_once_and_every_step_can_be_skipped(window, tmp_path):
    fresh = UserFolders(config=tmp_path / "config", data=tmp_path / "data")
    script = pressing(
        StartPage=[Outcome.SKIP] * 3, TypedPage=[*"Cleo", Key.ENTER], SettingsPage=[Key.ENTER]
    )
    session, _, seen = a_session(window, fresh, script)
    session.go()
    assert kinds(seen) == [StartPage, TypedPage, SettingsPage, FirstPage]
    assert fresh.settings().player == "Cleo"
    assert isinstance(seen[-1], FirstPage)
    assert seen[-1].title.endswith(", Cleo")
    again, _, seen = a_session(window, fresh, pressing())
    again.go()
    assert kinds(seen) == [FirstPage]


@pytest.mark.parametrize("page", [StartPage, TypedPage])
def test_the_first_start_can_be_put_off_at_any_step(window, tmp_path, page):
    fresh = UserFolders(config=tmp_path / "config", data=tmp_path / "data")
    script = pressing(**({} if page is StartPage else {"StartPage": [Outcome.SKIP] * 3}))
    session, _, seen = a_session(window, fresh, script)
    session.go()
    assert kinds(seen)[-2:] == [page, FirstPage]
    assert fresh.settings_of(None)["first_start"] is True


@pytest.mark.parametrize(("soft", "kept"), [(20, True), (88, False)])
def test_the_first_strokes_are_kept_for_who_played_them(window, tmp_path, soft, kept):
    """Three ordinary ones on three pads, three soft ones on the snare: nothing is played twice."""
    fresh = UserFolders(config=tmp_path / "config", data=tmp_path / "data")
    typed = iter([*"Cleo", Key.ENTER])
    sent: list[StartPage] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, StartPage) and page.subtitle.startswith("step 2"):
            if not sent:
                sent.append(page)
                from_s = session.context.clock.now()
                played = [(38, 90), (42, 85), (36, 95), (38, soft)]
                wire.send(
                    *(
                        message
                        for at, (note, velocity) in enumerate(played)
                        for number in range(3)
                        for message in struck(
                            note, from_s + 1.0 + at + 0.3 * number, velocity=velocity
                        )
                    )
                )
            return Key.ENTER if page.prompt.startswith("All strokes") else None
        if isinstance(page, TypedPage):
            return next(typed)
        return Outcome.SKIP if isinstance(page, StartPage) else Key.ESCAPE

    session, wire, _ = a_session(window, fresh, script)
    session.go()
    profile = fresh.profile("wire", "Cleo")
    if not kept:
        assert profile.strokes == {}
        return
    soft_ones, normal = (profile.strokes["snare"][one] for one in (Dynamic.GHOST, Dynamic.NORMAL))
    assert (soft_ones, normal) == ((20.0,) * 3, (90.0,) * 3)
    assert profile.bands is not None
    assert profile.bands.by_voice == {("snare", Dynamic.GHOST): Band(1.0, 55.0)}
    assert not profile.is_loudness_known


@pytest.mark.parametrize("way", ["play", "lesson"])
def test_ctrl_c_in_a_run_ends_the_program_and_not_the_run_alone(window, home, way):
    """So does a signal to end: what was played is kept, and no page waits for a key."""
    presses = pressing(
        FirstPage=[Key.ENTER],
        ReadyPage=[Key.ENTER if way == "play" else "p"],
        PlanPage=[Key.ENTER],
    )

    def script(page: Page) -> Press | None:
        if isinstance(page, RunPage):
            if pressed:
                return None  # drawn once more, as the sheet that is kept
            pressed.append(Key.CLOSE)
            raise KeyboardInterrupt
        return presses(page)

    pressed: list[Press] = []
    session, _, seen = a_session(window, home, script)
    session.go()
    assert pressed
    assert kinds(seen)[-1] is RunPage


def test_the_sound_device_is_chosen_in_the_settings_and_kept(window, home, monkeypatch):
    monkeypatch.setattr(devices, "device_names", lambda: ["Desk Box", "Big Cans"])
    to_it = [Key.DOWN] * len(settings_of(home, "Ana"))
    script = pressing(FirstPage=["s"], SettingsPage=[*to_it, Key.RIGHT, Key.RIGHT, Key.ESCAPE])
    session, _, seen = a_session(window, home, script)
    session.go()
    rows = [page.rows.choice for page in seen if isinstance(page, SettingsPage)]
    assert [row.value for row in rows] == ["the system's own", "Desk Box", "Big Cans"]
    assert home.settings().sound_device == "Big Cans"


def test_who_looks_back_comes_back_and_who_erases_themselves_is_nobody(window, home):
    """Nothing played is told; then a run can be opened again from the first page."""
    keys = {"FirstPage": ["l", *[Key.ESCAPE] * 9]}
    session, _, seen = a_session(window, home, pressing(**keys))
    session.go()
    assert [type(page) for page in seen] == [FirstPage, LookBackPage, FirstPage]
    keys = {
        "FirstPage": ["l", Key.ESCAPE],
        "LookBackPage": ["d"],
        "ChoicesPage": ["x", "y", Key.ESCAPE],
    }
    session, _, seen = a_session(window, home, pressing(**keys))
    session.go()
    assert home.players() == []
    assert session.player == NOBODY
    assert type(seen[-1]) is FirstPage


def test_a_file_is_dropped_and_played_and_a_pattern_is_changed_and_printed(window, home, tmp_path):
    pattern = library().get("wide-stairs")
    dropped = tmp_path / "stairs.musicxml"
    dropped.write_bytes(musicxml_writer.write(pattern))
    window.dropped.append(dropped)
    script = pressing(
        FirstPage=["p", "t"],
        OpenedPage=["p", Key.ENTER],
        PatternsPage=["w", "i", "d", "e", Key.ENTER, Key.ESCAPE],
        # What was dropped; the pattern of the program, printed and changed; as it is then.
        ReadyPage=[Key.ESCAPE, "s", "e"],
        EditPage=[Key.SPACE, "s"],
        TypedPage=["!", Key.ENTER],
    )
    session, _, seen = a_session(window, home, script)
    session.go()
    assert kinds(seen) == [
        OpenedPage,
        ReadyPage,
        OpenedPage,
        FirstPage,
        PatternsPage,
        ReadyPage,
        EditPage,
        TypedPage,
        EditPage,
        ReadyPage,
        PatternsPage,
        FirstPage,
        WritePage,
        FirstPage,
    ]
    last = [page for page in seen if isinstance(page, ReadyPage)][-1]
    assert last.title == "Wide Stairs, my own!"
    names = sorted(path.name for path in (home.data / "patterns").iterdir())
    assert names == ["wide-stairs-my-own.toml", "wide-stairs.toml"]
    (sheet,) = (home.data / "sheets").iterdir()
    assert sheet.read_bytes()[:5] == b"%PDF-"


def test_the_grade_of_a_take_that_is_dropped(window, home, tmp_path):
    take = tmp_path / "take.mid"
    take.write_bytes(recorded(library().get("late-bus-home"), "professional", 1).as_bytes())
    window.dropped.append(take)
    session, _, seen = a_session(window, home, pressing(OpenedPage=["g"]))
    session.go()
    assert kinds(seen) == [OpenedPage, ResultPage, OpenedPage, FirstPage]
    page = next(page for page in seen if isinstance(page, ResultPage))
    assert page._total > 80
