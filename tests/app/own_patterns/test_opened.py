"""Files of every format are opened; what is none of them is one plain line."""

from pathlib import Path

import pytest

from playalong.app.own_patterns.opened import ENDINGS, open_file
from playalong.interchange.midi import writer as midi_writer
from playalong.interchange.musicxml import writer as musicxml_writer
from playalong.interchange.tab import writer as tab_writer
from playalong.pattern.model import Pattern
from playalong.pattern.writer import write
from playalong.records.pattern_files import library
from playalong.support.errors import UserError
from tests.helpers.simulated_takes import recorded


def a_file(folder: Path, pattern: Pattern, ending: str) -> Path:
    path = folder / f"groove{ending}"
    score = musicxml_writer.write(pattern)
    written = {
        ".toml": write(pattern).encode(),
        ".mid": midi_writer.write(
            pattern, tempo_bpm=None, bars=None, variations=(), as_it_sounds=False
        ),
        ".mxl": musicxml_writer.compressed(score),
        ".tab": tab_writer.write(pattern).encode(),
    }
    same = {".midi": ".mid", ".musicxml": "", ".xml": "", ".txt": ".tab"}
    path.write_bytes(written.get(same.get(ending, ending), score))
    return path


@pytest.mark.parametrize("ending", ENDINGS)
def test_each_ending_is_opened_to_the_same_strokes(tmp_path, ending):
    pattern = library().get("wide-stairs")
    opened = open_file(a_file(tmp_path, pattern, ending))
    found = [(one.at, one.voice, one.dynamic) for one in opened.pattern.bars[0].strokes]
    assert found == [(one.at, one.voice, one.dynamic) for one in pattern.bars[0].strokes]
    assert opened.is_own == (ending == ".toml")
    assert opened.take is None


def test_what_cannot_be_opened_is_told(tmp_path):
    for name, data, words in (
        ("a.docx", b"", "of no kind that is opened here"),
        ("a.mid", b"no midi", "a.mid"),
        ("a.xml", b"<a/>", "a.xml"),
        ("a.mxl", b"PK", "a.mxl"),
        ("a.toml", b"x = ", "a"),
        ("a.txt", b"dear diary", "a.txt"),
    ):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(UserError, match=words):
            open_file(tmp_path / name)
    with pytest.raises(UserError, match="There is no file"):
        open_file(tmp_path / "none.mid")
    (tmp_path / "folder.mid").mkdir()
    with pytest.raises(UserError, match="is a folder: name the file in it"):
        open_file(tmp_path / "folder.mid")


def test_a_take_of_this_program_is_known_for_one(tmp_path):
    pattern = library().get("late-bus-home")
    path = tmp_path / "take.mid"
    path.write_bytes(recorded(pattern, "professional", 1, bars=4).as_bytes())
    opened = open_file(path)
    assert opened.take is not None
    assert opened.take.pattern == "late-bus-home"
    asked = {(one.at, one.voice) for one in pattern.bars[0].strokes}
    found = {(one.at, one.voice) for one in opened.pattern.bars[0].strokes}
    assert len(asked & found) >= len(asked) - 1
