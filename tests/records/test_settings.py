"""What is remembered from run to run, and what earlier versions kept of it."""

from pathlib import Path

import pytest

from playalong.grading.levels import Level
from playalong.records.settings import EarlierSettings, Settings, from_plain, read_earlier
from playalong.records.tables import TomlError


def test_what_the_store_keeps_is_read_and_nonsense_left_out():
    plain = {"level_db": -20, "kit": "practice kit", "port": 5, "another": True}
    assert from_plain(plain, "Ana") == Settings(level_db=-20.0, kit="practice kit", player="Ana")
    for level_db in (5.0, "loud", True, None, float("nan")):
        assert from_plain({"level_db": level_db}, "").level_db is None


def test_a_file_of_an_earlier_version_is_read(tmp_path: Path):
    path = tmp_path / "settings.toml"
    path.write_text(
        'sound_device = "Headphones"\nkit = "practice kit"\nplayer = "Ana"\nport = "Drum Port"\n'
        'left_handed = ["Bo, jr."]\nlevel_db = -20.0\n\n[levels]\n# How strict.\n'
        'Ana = "advanced"\n"Bo, jr." = "beginner"\n'
    )
    assert read_earlier(path) == EarlierSettings(
        settings=Settings(
            level_db=-20.0,
            sound_device="Headphones",
            kit="practice kit",
            player="Ana",
            port="Drum Port",
        ),
        levels={"Ana": Level.ADVANCED, "Bo, jr.": Level.BEGINNER},
        left_handed=("Bo, jr.",),
    )


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
def test_a_mistake_is_told_with_its_line_and_the_file_left_alone(tmp_path, text, line, words):
    path = tmp_path / "settings.toml"
    path.write_text(text)
    with pytest.raises(TomlError) as caught:
        read_earlier(path)
    assert str(caught.value).startswith(f"{path}, line {line}: ")
    assert words in str(caught.value)
    assert path.read_text() == text
