"""Which recording a run goes along with, chosen in the window."""

from dataclasses import replace
from pathlib import Path

import pytest

from playalong.app.home.going_along import Choosing
from playalong.app.recording.entry import maps_folder
from playalong.app.recording.recent import RECENT, remember, remembered
from playalong.app.run.task import Task
from playalong.app.user_folders import UserFolders
from playalong.grading.verdicts import Rules
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.reader import read as read_pattern
from playalong.records import beat_maps
from playalong.screen.base.keys import Key
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.sound.rendering import write_wave
from tests.helpers.stage import Hands, context_on, unseen_window
from tests.sound.making_music import GROOVES, rendered, swaying

PATTERN = read_pattern(
    """
title = "To The Band"
meter = "4/4"
tempo = 110
[[bar]]
snare  = "-- X- -- X-"
kick   = "x- -- xx --"
""",
    "to-the-band",
)
TASK = Task(pattern=PATTERN, tempo_bpm=96.0, bars=4, variations=(), rules=Rules())


@pytest.fixture
def home(tmp_path: Path) -> UserFolders:
    return UserFolders(config=tmp_path / "config", data=tmp_path / "data")


@pytest.fixture
def song(home: UserFolders, tmp_path: Path) -> Path:
    """A recording whose beats are known."""
    path, beats_s = tmp_path / "wet street.wav", swaying(24)
    write_wave(path, rendered(beats_s, GROOVES["straight"]).sound)
    beat_maps.write(maps_folder(home), path, BeatMap.of(beats_s))
    remember(home, path)
    return path


def chosen(home: UserFolders, keys: list, task: Task = TASK) -> tuple[Task, list[object]]:
    """What comes of these keys, and the pages that were shown."""
    seen, left = list[object](), iter(keys)

    def script(page: object, _: float) -> object:
        if not seen or seen[-1] is not page:
            seen.append(page)
        return next(left, None) if isinstance(page, SettingsPage | TypedPage) else None

    class Seen(Hands):
        offscreen = False

    with unseen_window() as window:
        context = context_on(Seen(window, script))
        return Choosing(home, None).chosen(context, task), seen


def test_a_recording_whose_beats_are_known_is_chosen_and_left_again(home, song):
    along, seen = chosen(home, [Key.DOWN, Key.ENTER])
    assert along.along is not None
    assert along.along.name == "wet street.wav"
    assert along.along.again is not None  # so its bars can be looped and moved
    assert [choice.name for choice in seen[0].rows.choices] == [
        "the click alone",
        "wet street.wav",
        "another file",
    ]
    alone, _ = chosen(home, [Key.UP, Key.ENTER], along)
    assert alone.along is None
    assert (alone.tempo_bpm, alone.passes) == (110.0, None)


def test_nothing_is_changed_where_the_page_is_left(home, song):
    same, _ = chosen(home, [Key.DOWN, Key.ESCAPE])
    assert same is TASK


def test_a_file_that_is_not_there_or_none_of_sound_is_told(home, song, tmp_path):
    bad = tmp_path / "no sound.wav"
    bad.write_bytes(b"RIFF and nothing more")
    wrong = [*"x", Key.ENTER, *[Key.BACKSPACE] * 1, *"no sound.wav", Key.ENTER]
    same, seen = chosen(home, [Key.UP, Key.ENTER, *wrong, Key.ESCAPE])
    assert same is TASK
    typed = next(page for page in seen if isinstance(page, TypedPage))
    assert "There is no file" in typed.notice
    assert "no recording that can be played" in " ".join(seen[-1].notices)


def test_a_pattern_that_does_not_fit_is_told(home, song):
    waltz = replace(
        PATTERN,
        bars=read_pattern(
            'title = "Three"\nmeter = "3/4"\ntempo = 90\n[[bar]]\nkick = "x - -"\n', "three"
        ).bars,
    )
    task = replace(TASK, pattern=waltz)
    same, seen = chosen(home, [Key.DOWN, Key.ENTER, Key.ESCAPE], task)
    assert same is task
    assert "3/4" in " ".join(seen[-1].notices)


def test_the_last_are_remembered_and_no_more(home, tmp_path):
    for number in range(RECENT + 3):
        remember(home, tmp_path / f"{number}.wav")
    remember(home, tmp_path / "5.wav")
    assert [path.name for path in remembered(home)][:2] == ["5.wav", f"{RECENT + 2}.wav"]
    assert len(remembered(home)) == RECENT
