"""Printing: no name moves the cursor, no encoding stops it, and a lost reader is a quiet end.

What a character is comes from the Unicode Character Database (unicodedata); what an encoding holds
from Python's codecs; broken pipes and full disks from the system itself.
"""

import io
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from playalong.support import terminal
from playalong.support.errors import UserError
from playalong.support.terminal import OutputError, print_lines, readable
from playalong.support.text import printable, quoted, sentence

#: A title as somebody with bad manners would write it: it clears the screen, turns writing round,
#: ends lines in five ways, and sets the window's title.
NASTY = "A\x1b[2J\u202eB\u2066C\nD\rE\x85F\u2028G\u2029H\x9b31mI\x00J\x07K\x1b]0;gone\x07L\u200eM"

ANY_TEXT = st.text(st.characters(codec=None), max_size=60)
ENCODINGS = ["ascii", "cp1252", "latin-1", "cp437", "koi8-r", "shift_jis", "utf-8", "utf-16"]


def moves_nothing(text: str) -> bool:
    """Whether no character of it is a control, a format mark, a separator of lines, or no text."""
    joiners = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"
    kinds = {unicodedata.category(char) for char in text if char not in joiners}
    return kinds.isdisjoint({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


@given(ANY_TEXT)
@example(NASTY)
def test_what_is_printable_moves_nothing(text: str) -> None:
    shown = printable(text)
    assert moves_nothing(shown)
    assert len(shown) == len(text)
    assert printable(shown) == shown
    assert quoted(text) == f'"{shown}"'


@given(st.text(st.characters(categories=["L", "M", "N", "P", "S"]), max_size=40))
@example("Ну что ж – dřív než ráno, ねえ, 🥁")
@example("می‌خواهم 👩‍🚀")
def test_what_can_be_read_stays_as_it_is(text: str) -> None:
    assert printable(text) == text


def test_spaces_of_any_width_are_spaces() -> None:
    assert printable("a\u00a0b\u2003c\td") == "a b c d"


@given(ANY_TEXT, st.sampled_from(ENCODINGS))
@example(NASTY, "ascii")
def test_what_is_readable_fits_the_encoding(text: str, encoding: str) -> None:
    shown = readable(printable(text), encoding)
    assert shown.encode(encoding).decode(encoding) == shown or encoding == "shift_jis"
    assert moves_nothing(shown)


@pytest.mark.parametrize(
    ("text", "encoding", "shown"),
    [
        ("Grüße – “swing” … 3 × 4 ≤ 12 → ½", "ascii", 'Grusse - "swing" ... 3 x 4 <= 12 -> 1/2'),
        ("Grüße – “swing” …", "cp1252", "Grüße – “swing” …"),
        ("Grüße – “swing” …", "latin-1", 'Grüße - "swing" ...'),
        ("dřív Łódź smørrebrød", "latin-1", "drív Lódz smørrebrød"),
        ("太鼓", "cp1252", "??"),
        ("太鼓", "shift_jis", "太鼓"),
        ("ﬁll", "ascii", "fill"),
    ],
)
def test_a_character_that_is_not_there_reads_the_same(text: str, encoding: str, shown: str) -> None:
    assert readable(text, encoding) == shown


@given(st.lists(ANY_TEXT, max_size=4), st.sampled_from(ENCODINGS))
@example([NASTY, ""], "cp1252")
def test_a_line_stays_a_line_on_any_terminal(lines: list[str], encoding: str) -> None:
    written = io.BytesIO()
    stream = io.TextIOWrapper(written, encoding, newline="\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        print_lines(*lines)
    shown = written.getvalue().decode(encoding)
    assert shown.count("\n") == len(lines)
    assert all(map(moves_nothing, shown.split("\n")))


@pytest.mark.parametrize("stream", [None, "closed"])
def test_without_a_terminal_nothing_is_printed(stream, monkeypatch) -> None:
    found = None
    if stream == "closed":
        found = io.StringIO()
        found.close()
    monkeypatch.setattr(sys, "stdout", found)
    monkeypatch.setattr(sys, "stderr", found)
    print_lines("one")
    terminal.print_errors("two")
    if found is None:
        terminal.print_progress("three")


def test_progress_is_for_who_looks_on(monkeypatch) -> None:
    class Screen(io.StringIO):
        def isatty(self) -> bool:
            return True

    for stream, shown in ((Screen(), "\ra �: 10%\ra �: 20%\n"), (io.StringIO(), "")):
        monkeypatch.setattr(sys, "stderr", stream)
        terminal.print_progress("a \x1b: 10%")
        terminal.print_progress("a \x1b: 20%", is_last=True)
        assert stream.getvalue() == shown


@pytest.mark.parametrize("encoding", ["utf-8", "cp850", "ascii"])
def test_a_bar_and_the_lines_beside_it(encoding, monkeypatch) -> None:
    """Lines go where they always go, and the bar where somebody looks on, in what that can show."""

    class Screen(io.TextIOWrapper):
        def isatty(self) -> bool:
            return True

    for screen in (Screen, io.TextIOWrapper):
        lines, bar = io.StringIO(), screen(io.BytesIO(), encoding=encoding)
        monkeypatch.setattr(sys, "stdout", lines)
        monkeypatch.setattr(sys, "stderr", bar)
        with terminal.progress(3, "takes") as step:
            step("one \x1b")
            step()
            step("two", "three")
        assert lines.getvalue() == "one \N{REPLACEMENT CHARACTER}\ntwo\nthree\n"
        bar.flush()
        shown = bar.buffer.getvalue().decode(encoding)
        assert ("| 0/3 [" in shown) == (screen is Screen)


@pytest.mark.parametrize("stream", [None, "closed"])
def test_a_bar_that_nobody_can_see(stream, monkeypatch) -> None:
    found = None
    if stream == "closed":
        found = io.StringIO()
        found.close()
    monkeypatch.setattr(sys, "stderr", found)
    monkeypatch.setattr(sys, "stdout", lines := io.StringIO())
    with terminal.progress(1, "takes") as step:
        step("one")
    assert lines.getvalue() == "one\n"


def test_an_error_has_its_lines_and_no_other() -> None:
    error = UserError("one\ntwo", "three")
    assert error.lines == ("one�two", "three")
    assert str(error) == "one�two\nthree"
    assert UserError.of(["a\nb", "c"]).lines == ("a", "b", "c")
    assert sentence(ValueError("no such bar")) == "No such bar."


# The program itself, with a terminal of its own -------------------------------------------------


def program(*arguments: str | Path, stdout: int | None = subprocess.PIPE, **environment: str):
    return subprocess.run(
        [sys.executable, "-m", "playalong", *map(str, arguments)],
        stdout=stdout,
        stderr=subprocess.PIPE,
        env=os.environ | environment,
        check=False,
        timeout=120,
    )


@pytest.fixture
def nasty_file(tmp_path: Path) -> Path:
    title = "".join(f"\\u{ord(char):04X}" for char in NASTY + " – Späti")
    path = tmp_path / "späti\x1b[31m\n.toml"
    text = f'title = "{title}"\nmeter = "4/4"\ntempo = 90\n[[bar]]\nkick = "x - x -"\n'
    try:
        path.write_text(text, encoding="utf-8")
    except OSError:  # a system whose file names hold no such characters
        path = tmp_path / "späti.toml"
        path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1", "utf-8"])
def test_the_program_prints_any_name_on_any_terminal(nasty_file: Path, encoding: str) -> None:
    done = program("check", nasty_file, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, b"")
    (line,) = done.stdout.decode(encoding).splitlines()
    assert moves_nothing(line)
    assert "is right: 1 bar of 4/4." in line
    assert ("Spati" if encoding == "ascii" else "Späti") in line


def test_an_error_with_any_name_is_one_line(tmp_path: Path) -> None:
    done = program("check", tmp_path / "no\x1b[31m\u202ewhere\n.toml", PYTHONIOENCODING="ascii")
    assert done.returncode == 2
    (line,) = done.stderr.decode("ascii").splitlines()
    assert line.startswith("playalong: There is no file ")
    assert moves_nothing(line)


def test_an_option_with_any_value_is_one_line() -> None:
    done = program("play", "x", "--click", NASTY.replace("\x00", ""), PYTHONIOENCODING="ascii")
    assert done.returncode == 2
    (line,) = done.stderr.decode("ascii").splitlines()
    assert "--click" in line
    assert moves_nothing(line)


@pytest.mark.parametrize("command", ["patterns", "--help"])
def test_nobody_reads_any_more(command: str) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = program(command, stdout=writer)
    finally:
        os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("command", ["patterns", "--help"])
def test_a_full_disk_is_told_in_one_line(command: str) -> None:
    with Path("/dev/full").open("wb") as full:
        done = program(command, stdout=full.fileno())
    assert done.returncode == 2
    (line,) = done.stderr.decode().splitlines()
    assert line.startswith("playalong: What is printed cannot be written (")


@pytest.mark.skipif(os.name == "nt", reason="a shell's way of closing standard output")
def test_closed_standard_output_is_no_trouble() -> None:
    command = [sys.executable, "-m", "playalong", "patterns"]
    done = subprocess.run(
        ["/bin/sh", "-c", '"$@" >&-', "sh", *command], stderr=subprocess.PIPE, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_terminal_that_breaks_is_told(monkeypatch) -> None:
    class Broken(io.StringIO):
        def flush(self) -> None:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(sys, "stdout", Broken())
    with pytest.raises(OutputError, match="No space left on device"):
        print_lines("one")
    monkeypatch.setattr(sys, "stderr", Broken())
    terminal.print_errors("nobody is left to be told")


@pytest.mark.parametrize(
    ("typed", "answer"), [(b"Ana \n", "Ana"), (b"", ""), (b"\xff\xfe\n", ""), (b"Ana", "Ana")]
)
def test_an_answer_is_what_is_typed_or_nothing(monkeypatch, typed, answer):
    stream = io.TextIOWrapper(io.BytesIO(typed), encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", stream)
    assert terminal.ask("Who? ") == answer


def test_nobody_answers_where_nothing_can_be_typed(monkeypatch):
    monkeypatch.setattr(sys, "stdin", None)
    assert terminal.ask("Who? ") == ""
    stream = io.StringIO()
    stream.close()
    monkeypatch.setattr(sys, "stdin", stream)
    assert terminal.ask("Who? ") == ""
