"""What is remembered from run to run."""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.grading.levels import Level
from playalong.records.settings import HIGHEST_DB, LOWEST_DB, Settings, read, write
from playalong.records.tables import TomlError

WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
LEVELS = st.dictionaries(WORDS, st.sampled_from(Level), max_size=3)
SETTINGS = st.builds(
    Settings, st.none() | st.floats(LOWEST_DB, HIGHEST_DB), WORDS, WORDS, WORDS, WORDS, LEVELS
)
MINE = Settings(
    -20.0,
    "Headphones",
    "practice kit",
    "Ana",
    "Drum Port",
    {"Ana": Level.ADVANCED, "Bo, jr.": Level.BEGINNER},
)


@settings(max_examples=80, deadline=None)
@given(SETTINGS, SETTINGS)
def test_what_is_written_is_read(one, other):
    with TemporaryDirectory() as name:
        for remembered in (one, other):
            assert write(Path(name), remembered) == ""
            assert read(Path(name)) == (remembered, "")


def test_at_first_nothing_is_remembered(tmp_path):
    assert read(tmp_path) == (Settings(), "")
    assert list(tmp_path.iterdir()) == []


def test_comments_and_order_that_a_person_added_stay(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('# mine\nport = "Drum Port" # the grey cable\n\nkit = "practice kit"\n')
    assert write(tmp_path, replace(MINE, port="Other Port")) == ""
    lines = path.read_text().splitlines()
    kept = ["# mine", 'port = "Other Port" # the grey cable', 'kit = "practice kit"']
    places = [lines.index(line) for line in kept]
    assert places == sorted(places)
    assert read(tmp_path) == (replace(MINE, port="Other Port"), "")


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('kit = "a"\nplayr = "b"\n', 2, '"playr" is not known here; write player.'),
        ("\nlevel_db = 5\n", 2, '"level_db" must be a level in dB from -100 to 0, as in -20.0.'),
        ("level_db = 'loud'\n", 1, '"level_db" must be a level in dB'),
        ("level_db = nan\n", 1, '"level_db" must be a level in dB'),
        ("kit = 5\n", 1, '"kit" must be words in quotes'),
        ('[levels]\nAna = "strict"\n', 2, '"Ana" must be one of beginner, intermediate, advanced'),
        ("levels = 3\n", 1, '"levels" must be a table: write [levels].'),
        ('kit = "a\n', 1, "Illegal"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_the_file_set_aside(tmp_path, text, line, words):
    path = tmp_path / "settings.toml"
    for at in range(2):
        path.write_text(text)
        found, told = read(tmp_path)
        assert found == Settings()
        assert told.startswith(f"{path}, line {line}: ")
        assert words in told
        aside = tmp_path / ("settings.toml.broken" if at == 0 else "settings.toml.broken-2")
        assert str(aside) in told
        assert aside.read_text() == text
        assert not path.exists()


def test_what_is_broken_is_set_aside_before_it_is_written(tmp_path):
    (tmp_path / "settings.toml").write_text("kit = 5\n")
    assert '"kit" must be words' in write(tmp_path, MINE)
    assert read(tmp_path) == (MINE, "")
    assert (tmp_path / "settings.toml.broken").read_text() == "kit = 5\n"


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(TomlError) as caught:
        write(tmp_path / "file", MINE)
    assert "cannot be written (" in str(caught.value)
    assert "\n" not in str(caught.value)
