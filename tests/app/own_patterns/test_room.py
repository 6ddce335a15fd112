"""Patterns of one's own, by keys: made from nothing, changed, kept as drafts, opened from files."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import mido
import pytest

from playalong.app.own_patterns.edit_session import dynamic_of
from playalong.app.own_patterns.own_files import OwnFiles
from playalong.app.own_patterns.room import Hands as HandsOn
from playalong.app.own_patterns.room import OwnPatterns
from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.app.user_folders import UserFolders
from playalong.grading.loudness import DEFAULT_BANDS
from playalong.midi.hits import Hit
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.editing.changes import new_pattern
from playalong.pattern.model import Dynamic, Pattern, Roll
from playalong.pattern.reader import read
from playalong.pattern.writer import write
from playalong.profile.profile import Profile
from playalong.records.pattern_files import library
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.window import Window
from playalong.screen.edit_pages.edit import EditPage
from playalong.screen.edit_pages.opened import OpenedPage
from playalong.screen.edit_pages.write import WritePage
from playalong.screen.history_pages.choices import ChoicesPage
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from tests.helpers.stage import Hands, Wire, context_on, unseen_window


class Played:
    """A room with somebody who presses a list of keys, one on each page that is shown."""

    def __init__(self, window: Window, home: UserFolders) -> None:
        self.window, self.home, self.clock = window, home, SteppedClock()
        self.pages: list[Page] = []
        self.played: list[Pattern] = []
        self.changed = 0
        self._left: list[Press | Callable[[], None]] = []
        self.context: RunContext = context_on(
            Hands(window, self._press), self.clock, frame_s=0.05, listen_s=0.05
        )
        self.room = OwnPatterns(
            self.context,
            home,
            HandsOn(
                play=self.played.append,
                hear=self.played.append,
                look_at_take=lambda *_: None,
                play_in=lambda: home.data / "patterns" / "played.toml",
            ),
            changed=self._change,
        )

    def _change(self) -> None:
        self.changed += 1

    def _press(self, page: Page, _: float) -> Press | None:
        if not self.pages or self.pages[-1] is not page:
            self.pages.append(page)
        if not self._left:
            raise AssertionError(f"nothing is left to be pressed on {page}")
        press = self._left.pop(0)
        if callable(press):
            press()
            return None
        return press

    def presses(self, *presses: Press | Callable[[], None] | str) -> None:
        """From now on these are pressed; a string of more letters is typed."""
        for press in presses:
            is_typed = isinstance(press, str) and not isinstance(press, Outcome)
            self._left += list(press) if is_typed else [press]

    def kinds(self) -> list[type]:
        return [type(page) for page in self.pages]

    @property
    def files(self) -> OwnFiles:
        return OwnFiles(self.home)


@pytest.fixture
def played(tmp_path) -> Iterator[Played]:
    with unseen_window((1280, 720)) as window:
        yield Played(window, UserFolders(config=tmp_path / "config", data=tmp_path / "data"))


def strokes(pattern: Pattern) -> set[tuple[object, ...]]:
    return {
        (number, one.at * 16, one.voice, str(one.dynamic), one.graces, one.is_open)
        for number, bar in enumerate(pattern.bars)
        for one in bar.strokes
    }


def test_a_pattern_is_made_from_nothing_and_saved(played: Played):
    right = [Key.RIGHT]
    played.presses(
        Key.ENTER,  # a new pattern
        *([Key.SPACE, *right * 2] * 8),  # eighths on the hi-hat, and round to the beginning
        Key.DOWN,
        *(right * 4),
        "a",
        *(right * 3),
        "g",
        *(right * 5),
        "a",
        *(right * 4),
        Key.DOWN,
        Key.SPACE,
        *(right * 8),
        "x",
        "s",
        "Porch Step",
        Key.ENTER,
        Key.ESCAPE,  # the editor
        Key.ESCAPE,  # the room
    )
    played.room.go()
    (path,) = played.files.files()
    assert path.name == "porch-step.toml"
    pattern = read(path.read_text(), path.stem)
    assert pattern.title == "Porch Step"
    hats = {(0, at, "hi-hat", "normal", 0, False) for at in range(0, 16, 2)}
    snares = {
        (0, 4, "snare", "accent", 0, False),
        (0, 7, "snare", "ghost", 0, False),
        (0, 12, "snare", "accent", 0, False),
    }
    kicks = {(0, at, "kick", "normal", 0, False) for at in (0, 8)}
    assert strokes(pattern) == hats | snares | kicks
    assert played.changed == 1
    assert played.files.drafts() == []


def test_a_pattern_of_the_program_becomes_ones_own(played: Played):
    shipped = library().get("late-bus-home")
    played.presses(Key.BACKSPACE, "s", Key.ENTER, Key.ESCAPE)
    own = played.room.change(shipped)
    (path,) = played.files.files()
    assert path.name == "late-bus-home-my-own.toml"
    assert own == read(path.read_text(), path.stem)
    assert len(strokes(own)) == len(strokes(shipped)) - 1
    assert library().get("late-bus-home") == shipped
    # Once it is one's own it is written where it is, and not asked for again.
    played.presses(Key.SPACE, "s", Key.ESCAPE)
    again = played.room.change(own)
    assert played.files.files() == [path]
    assert strokes(again) == strokes(shipped)


def test_what_a_person_wrote_into_a_file_is_kept_beside_it(played: Played):
    folder = played.files.folder
    folder.mkdir(parents=True)
    path = folder / "mine.toml"
    by_hand = write(library().get("wide-stairs")) + "# my own remark\n"
    path.write_text(by_hand)
    pattern = read(by_hand, "mine")
    for _ in range(2):
        played.presses(Key.SPACE, "s", Key.ESCAPE)
        pattern = played.room.change(pattern)
    assert (folder / "mine.toml.before").read_text() == by_hand
    assert len(list(folder.iterdir())) == 2


def test_leaving_asks_and_a_draft_comes_back(played: Played):
    played.presses(Key.ENTER, Key.SPACE, Key.ESCAPE, Key.ESCAPE)  # asked, and back to writing
    played.presses(Key.ESCAPE, "k", Key.ESCAPE)
    played.room.go()
    assert played.kinds().count(ChoicesPage) == 2
    (draft,) = played.files.drafts()
    assert strokes(draft.pattern) == {(0, 0, "hi-hat", "normal", 0, False)}
    # Third row: the draft. It is saved, and gone.
    played.presses(*[Key.DOWN] * 3, Key.ENTER, "s", "A", Key.ENTER, Key.ESCAPE, Key.ESCAPE)
    played.room.go()
    assert played.files.drafts() == []
    assert [path.name for path in played.files.files()] == ["a.toml"]


def test_thrown_away_is_gone_and_an_empty_page_is_not_asked_about(played: Played):
    played.presses(Key.ENTER, Key.ESCAPE, Key.ESCAPE)
    played.room.go()
    assert ChoicesPage not in played.kinds()
    played.presses(Key.ENTER, Key.SPACE, Key.ESCAPE, "t", Key.ESCAPE)
    played.room.go()
    assert played.files.drafts() == played.files.files() == []


def test_a_window_that_is_closed_leaves_a_draft(played: Played):
    def close() -> None:
        played.window.is_closed = True

    played.presses(Key.ENTER, Key.SPACE, Key.RIGHT, "g", close)
    played.room.go()
    (draft,) = played.files.drafts()
    assert len(strokes(draft.pattern)) == 2


def test_a_draft_is_kept_while_it_is_written(played: Played):
    class KilledError(Exception):
        pass

    def kill() -> None:
        raise KilledError

    played.presses(Key.ENTER, Key.SPACE, *([Key.RIGHT] * 40), kill)
    with pytest.raises(KilledError):
        played.room.go()
    (draft,) = played.files.drafts()
    assert len(strokes(draft.pattern)) == 1


def test_a_full_disk_is_told_and_nothing_is_lost(played: Played, monkeypatch):
    import errno
    import os

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    notices: list[Iterable[str]] = []

    def look() -> None:
        page = played.pages[-1]
        assert isinstance(page, EditPage)
        notices.append(page.notices)

    played.presses(Key.ENTER, Key.SPACE, "s", "A", Key.ENTER, look, Key.ESCAPE, "t", Key.ESCAPE)
    played.room.go()
    assert any(os.strerror(errno.ENOSPC) in word for word in notices[0])


def test_a_click_is_as_loud_as_it_is_high_and_again_takes_it_away(played: Played):
    page_of: list[EditPage] = []

    def remember() -> None:
        page = played.pages[-1]
        assert isinstance(page, EditPage)
        page_of.append(page)
        grid = page._grid
        for (room, cell), high in zip(
            [one for one in grid._areas if one[1][2] == 1][:3], (0.95, 0.6, 0.3), strict=True
        ):
            at = Click(room.centerx, round(room.bottom - high * room.height))
            assert grid.pointed(at.x, at.y).cell == cell
            played.presses(at)
        played.presses(at, "s", "C", Key.ENTER, Key.ESCAPE, Key.ESCAPE)

    played.presses(Key.ENTER, remember)
    played.room.go()
    (path,) = played.files.files()
    assert strokes(read(path.read_text(), "c")) == {
        (0, 0, "snare", "accent", 0, False),
        (0, 1, "snare", "normal", 0, False),
    }


def test_dropped_files_are_shown_kept_and_told(played: Played, tmp_path: Path):
    from playalong.interchange.musicxml import writer as musicxml_writer

    good, bad = tmp_path / "good.musicxml", tmp_path / "bad.mid"
    good.write_bytes(musicxml_writer.write(library().get("wide-stairs")))
    bad.write_bytes(b"nothing")
    played.window.dropped += [bad, good]
    told: list[object] = []
    played.presses(
        Outcome.OPEN_FILE,
        Key.ENTER,  # keep it
        Key.ENTER,  # it is there already
        "p",
        Key.ESCAPE,
        lambda: told.append(played.pages[-1]),
        Key.ESCAPE,
    )
    played.room.go()
    assert OpenedPage in played.kinds()
    assert [path.name for path in played.files.files()] == ["wide-stairs.toml"]
    assert len(played.played) == 1
    (page,) = told
    assert isinstance(page, WritePage)
    assert any("bad.mid" in words for words in page.notices)


def test_a_file_is_opened_by_its_typed_name(played: Played, tmp_path: Path):
    path = tmp_path / "a.toml"
    path.write_text(write(library().get("wide-stairs")))
    home = len(f"{Path.home()}/")
    played.presses(Key.DOWN, Key.ENTER, *([Key.BACKSPACE] * home), "nowhere.mid", Key.ENTER)
    played.presses(*([Key.BACKSPACE] * 11), str(path), Key.ENTER, "s", Key.ESCAPE, Key.ESCAPE)
    played.room.go()
    assert TypedPage in played.kinds()
    (sheet,) = (played.home.data / "sheets").iterdir()
    assert sheet.read_bytes()[:5] == b"%PDF-"


def test_sticks_write_cell_after_cell_and_what_is_struck_together_stays_together(played: Played):
    wire = Wire(played.clock)
    profile = Profile(kit="a kit", player="somebody")
    commands = PadCommands(HitInput(wire, StampFilter(), profile.pads), profile.calls)
    context = replace(played.context, listen_s=0.01, pad_commands=commands)
    room = OwnPatterns(context, played.home, played.room._hands, has_kit=True)

    def strike() -> None:
        now = played.clock.now()
        wire.send(
            (now + 0.1, bytes((0x99, 42, 80))),
            (now + 0.12, bytes((0x99, 36, 110))),
            (now + 0.5, bytes((0x99, 46, 80))),
            (now + 0.9, bytes((0x99, 38, 12))),
        )

    shown: list[str] = []

    def look() -> None:
        page = played.pages[-1]
        assert isinstance(page, EditPage)
        shown.extend(page.buttons._pads)

    played.presses(
        look, "k", strike, *([Key.UP, Key.DOWN] * 12), "k", "s", "D", Key.ENTER, Key.ESCAPE
    )
    pattern = room.edit(new_pattern(), is_new=True)
    assert pattern is not None
    assert Outcome.HEAR in shown
    assert Outcome.LEAVE in shown
    assert [
        (int(at), voice, is_open) for _, at, voice, _, _, is_open in sorted(strokes(pattern))
    ] == [
        (0, "hi-hat", False),
        (0, "kick", False),
        (1, "hi-hat", True),
        (2, "snare", False),
    ]


def test_a_hit_is_as_loud_as_its_band():
    for velocity, dynamic in ((10, Dynamic.GHOST), (75, Dynamic.NORMAL), (125, Dynamic.ACCENT)):
        hit = Hit(time_s=0.0, voice="snare", velocity=velocity)
        assert dynamic_of(hit, DEFAULT_BANDS) is dynamic


def test_a_groove_is_played_in_and_the_room_says_where_it_is(played: Played):
    played.presses(Key.DOWN, Key.DOWN, Key.ENTER, Key.ESCAPE)

    played.room.go()

    told = [page.notices for page in played.pages if isinstance(page, WritePage)]
    assert told[-1] == (f"It is written: {played.home.data / 'patterns' / 'played.toml'}",)


def two_parts(path: Path) -> None:
    """A file with a bass on channel 1 and drums on channel 10, one bar of quarter notes each."""
    file = mido.MidiFile(ticks_per_beat=480)
    for name, channel, note in (("bass", 0, 40), ("drums", 9, 38)):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        for _ in range(4):
            on = mido.Message("note_on", channel=channel, note=note, velocity=90)
            track += [on, mido.Message("note_off", channel=channel, note=note, time=480)]
        file.tracks.append(track)
    file.save(path)


def test_of_a_midi_file_with_several_parts_one_is_asked_for(played: Played, tmp_path: Path):
    two_parts(tmp_path / "song.mid")
    played.window.dropped.append(tmp_path / "song.mid")

    played.presses(Key.ENTER, Key.ESCAPE)
    played.room.open_dropped()

    asked, opened = played.pages
    assert isinstance(asked, SettingsPage)
    assert [row.name for row in asked.rows.choices] == ["track 1", "track 2"]
    assert asked.rows.chosen == 1  # that of the drums
    assert isinstance(opened, OpenedPage)
    assert opened.pattern.voices == ("snare",)


def test_who_asks_for_none_of_the_parts_opens_nothing(played: Played, tmp_path: Path):
    two_parts(tmp_path / "song.mid")
    played.window.dropped.append(tmp_path / "song.mid")

    played.presses(Key.ESCAPE)
    played.room.open_dropped()

    assert played.kinds() == [SettingsPage]


def test_a_roll_and_a_variation_are_written_by_keys_and_saved(played: Played):
    played.presses(
        Key.ENTER,  # a new pattern
        Key.DOWN,
        "z...",  # a buzz on the snare, a beat long
        "m",
        *([Key.DOWN] * 6),
        Key.ENTER,  # one more variation
        Key.ENTER,  # called as it is proposed
        Key.ESCAPE,
        Key.RIGHT,
        Key.RIGHT,
        Key.LEFT,
        Key.LEFT,
        Key.BACKSPACE,  # without the buzz
        "a",
        "v",  # back to the pattern
        "s",
        *"Buzzing",
        Key.ENTER,
        Key.ESCAPE,
        Key.ESCAPE,
    )
    played.room.go()

    (path,) = (played.home.data / "patterns").glob("*.toml")
    pattern = read(path.read_text(encoding="utf-8"), path.stem)
    (stroke,) = pattern.bars[0].strokes
    assert stroke.roll == Roll(Fraction(1, 4))
    (varied,) = pattern.with_variations(["variation-1"])[0].strokes
    assert (varied.dynamic, varied.roll) == (Dynamic.ACCENT, None)
