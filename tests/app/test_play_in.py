"""A groove played in: listened to until there is a rest, looked at, changed, kept as a file."""

from collections.abc import Callable
from pathlib import Path

import pytest

from playalong.app.capture.played_in import Known
from playalong.app.capture.session import CaptureSession
from playalong.app.own_patterns.own_files import OwnFiles
from playalong.app.run.clock import SteppedClock
from playalong.app.user_folders import UserFolders
from playalong.midi.messages import PERCUSSION_CHANNEL, note_on
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.records.pattern_files import load_pattern
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.capture_pages.listening import ListeningPage
from playalong.screen.capture_pages.understood import UnderstoodPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from tests.helpers.captured import unlike
from tests.helpers.stage import Hands, Wire, context_on, unseen_window

GROOVE = """
title = "Groove"
meter = "4/4"
tempo = 100

[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- x- -- x-"
kick   = "x- -x x- --"
"""

Kept = tuple[Pattern, Path] | None


def session(
    folder: Path,
    script: Callable[[Page], Press | None],
    *,
    messages: list[tuple[float, bytes]],
    heard: list[Pattern] | None = None,
    known: Known | None = None,
    has_kit: bool = True,
) -> Kept:
    clock = SteppedClock()
    with unseen_window() as window:
        hands = Hands(window, lambda page, _: script(page))
        context = context_on(hands, clock, frame_s=0.05, listen_s=0.05)
        wire = Wire(clock, *messages)
        home = UserFolders(config=folder / "config", data=folder)
        return CaptureSession(
            context,
            wire,
            known or Known(),
            save=lambda pattern: OwnFiles(home).save(pattern, None),
            hear=lambda pattern: (heard if heard is not None else []).append(pattern),
            has_kit=has_kit,
        ).go()


def groove(bars: int = 4) -> list[tuple[float, bytes]]:
    pattern = read(GROOVE, "groove")
    targets = lay_out(pattern, pattern.tempo, bars, start_s=1.0)
    return list(perform(targets, SKILLS["professional"], 4).messages)


def keeping(page: Page) -> Press | None:
    return Key.ENTER if isinstance(page, UnderstoodPage | TypedPage) else None


def test_who_rests_has_a_pattern_in_a_file(tmp_path: Path) -> None:
    kept = session(tmp_path, keeping, messages=groove())

    assert kept is not None
    pattern, path = kept
    assert path == tmp_path / "patterns" / "groove.toml"
    assert pattern.title == "Groove"
    written = read(path.read_text(encoding="utf-8"), path.stem)
    assert unlike(read(GROOVE, "groove"), written) == set()


def test_a_title_is_typed_and_no_other_file_written_over(tmp_path: Path) -> None:
    folder = tmp_path / "patterns"
    folder.mkdir()
    (folder / "mine.toml").write_text("mine")
    typed = iter([*[Key.BACKSPACE] * len("Groove"), Key.ENTER, *"Mine", Key.ENTER])

    def script(page: Page) -> Press | None:
        return next(typed) if isinstance(page, TypedPage) else keeping(page)

    kept = session(tmp_path, script, messages=groove())

    assert kept is not None
    assert (kept[0].title, kept[1].name) == ("Mine", "mine-2.toml")
    assert (folder / "mine.toml").read_text() == "mine"


def test_it_is_heard_counted_otherwise_and_kept_so(tmp_path: Path) -> None:
    heard: list[Pattern] = []
    pressed = iter(["h", Key.RIGHT, "h", Key.ENTER])

    def script(page: Page) -> Press | None:
        return next(pressed) if isinstance(page, UnderstoodPage) else keeping(page)

    kept = session(tmp_path, script, messages=groove(8), heard=heard)

    assert kept is not None
    first, second = heard
    assert first.tempo == pytest.approx(100.0, rel=0.01)
    assert (second.tempo, second.bars) != (first.tempo, first.bars)
    assert kept[0].tempo == second.tempo


def test_sticks_work_the_page_of_what_was_understood(tmp_path: Path) -> None:
    asked = (Outcome.NEXT, Outcome.BACK, Outcome.SLOWER, Outcome.FASTER, Outcome.AGAIN)
    pages: list[UnderstoodPage] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, UnderstoodPage):
            pages.append(page)
            assert all(page.offers(outcome) for outcome in (*asked, Outcome.START, Outcome.LEAVE))
            return Outcome.FASTER if len(pages) == 1 else Outcome.START
        return keeping(page)

    kept = session(tmp_path, script, messages=groove(8))

    assert kept is not None
    first, second = pages[0], pages[-1]
    assert (first.tempo_bpm, first.bars) != (second.tempo_bpm, second.bars)


def test_too_little_is_told_and_it_may_be_played_again(tmp_path: Path) -> None:
    few = [(0.5 + n * 0.5, note_on(PERCUSSION_CHANNEL, 38, 90)) for n in range(3)]
    told: list[str] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, ListeningPage):
            told.append(page.notice)
            if len(page.hits) == 3 and not page.notice:
                return Key.ENTER
            return Key.ESCAPE if page.notice else None
        return keeping(page)

    assert session(tmp_path, script, messages=few) is None
    assert "two bars at least" in told[-1]
    assert not (tmp_path / "patterns").exists()


def test_a_click_counts_in_and_says_tempo_and_bar_1(tmp_path: Path) -> None:
    listened: list[ListeningPage] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, ListeningPage):
            listened.append(page)
        return keeping(page)

    bpm = 100.0
    begins_s = 0.4 + 4 * 60.0 / bpm  # the click's lead, and one bar that it counts
    messages = [(at_s - 1.0 + begins_s, data) for at_s, data in groove()]
    kept = session(tmp_path, script, messages=messages, known=Known(click_bpm=bpm))

    assert kept is not None
    assert kept[0].tempo == bpm
    assert unlike(read(GROOVE, "groove"), kept[0]) == set()
    assert listened[0].tempo == "100 bpm"


def test_the_click_is_turned_on_and_made_faster_by_keys(tmp_path: Path) -> None:
    pressed = iter(["c", Key.RIGHT, Key.RIGHT, Key.LEFT, "c", Key.ESCAPE])
    tempi: list[str] = []

    def script(page: Page) -> Press | None:
        if not isinstance(page, ListeningPage):
            return None
        tempi.append(page.tempo)
        return next(pressed)

    assert session(tmp_path, script, messages=[]) is None
    assert tempi == ["", "90 bpm", "92 bpm", "94 bpm", "92 bpm", ""]


def test_without_a_kit_somebody_simulated_plays(tmp_path: Path) -> None:
    asked: list[bool] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, ListeningPage):
            assert page.offers(Outcome.WATCH)
            if not asked:
                asked.append(True)
                return "w"
        return keeping(page)

    kept = session(tmp_path, script, messages=[], has_kit=False)

    assert kept is not None
    assert unlike(load_pattern("late-bus-home"), kept[0]) == set()


def test_with_a_kit_nobody_simulated_is_offered(tmp_path: Path) -> None:
    def script(page: Page) -> Press | None:
        if isinstance(page, ListeningPage):
            assert not page.offers(Outcome.WATCH)
        return Key.ESCAPE

    assert session(tmp_path, script, messages=[]) is None


def test_what_it_may_be_as_well_is_said_and_one_key_away(tmp_path: Path) -> None:
    pages: list[UnderstoodPage] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, UnderstoodPage):
            pages.append(page)
            return Key.RIGHT if len(pages) == 1 else Key.ENTER
        return keeping(page)

    session(tmp_path, script, messages=groove(8))

    other = dict(pages[0].facts)["or"]
    assert pages[-1].rows.choices[0].value.endswith(other)
