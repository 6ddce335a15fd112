"""playalong sheet: files that are asked for, and no others."""

import errno
import os
import re
from pathlib import Path

import pytest

from playalong.report.paper import staff
from tests.commands.making import code_and_errors


@pytest.fixture(autouse=True)
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_sheet_is_a_pdf_in_this_folder_and_several_are_one(tmp_path, capsys):
    assert code_and_errors(capsys, "sheet", "wide-stairs") == (0, "")
    assert code_and_errors(capsys, "sheet", "wide-stairs", "slow-harbour") == (0, "")
    assert names(tmp_path) == ["sheets.pdf", "wide-stairs.pdf"]
    both, one = ((tmp_path / name).read_bytes() for name in names(tmp_path))
    assert [len(re.findall(rb"/Type /Page\b", data)) for data in (both, one)] == [2, 1]


def test_pages_of_pictures_are_numbered_and_none_is_written_over(tmp_path, capsys):
    (tmp_path / "x-2.svg").write_text("mine")
    sheet = ["sheet", "wide-stairs", "slow-harbour", "--out", "x.svg"]
    code, told = code_and_errors(capsys, *sheet)
    assert code == 2
    assert "x-2.svg is there already" in told
    assert names(tmp_path) == ["x-2.svg"]
    assert (tmp_path / "x-2.svg").read_text() == "mine"
    assert code_and_errors(capsys, *sheet, "--force") == (0, "")
    assert names(tmp_path) == ["x-1.svg", "x-2.svg"]
    assert (tmp_path / "x-2.svg").read_text() != "mine"


def test_a_full_disk_leaves_nothing(tmp_path, capsys, monkeypatch):
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    sheet = ["sheet", "wide-stairs", "slow-harbour", "--out", "x.png"]
    code, told = code_and_errors(capsys, *sheet)
    assert (code, told.count("\n")) == (2, 1)
    assert os.strerror(errno.ENOSPC) in told
    assert names(tmp_path) == []


def test_another_kind_of_file_is_refused_and_so_is_a_book(tmp_path, capsys):
    code, told = code_and_errors(capsys, "sheet", "wide-stairs", "--out", "x.docx")
    assert code == 2
    assert "call it x.pdf, x.svg or x.png" in told
    bars = "[[bar]]\nsnare = 'x'\n" * 201
    (tmp_path / "long.toml").write_text(f"title = 'Long'\nmeter = '1/4'\ntempo = 90\n{bars}")
    code, told = code_and_errors(capsys, "sheet", "long.toml")
    assert code == 2
    assert "Long has 201 bars" in told


def test_without_the_library_the_grid_is_drawn_and_told(tmp_path, capsys, monkeypatch):
    from playalong.commands.main import main

    monkeypatch.setattr(staff, "find_spec", lambda _: None)
    assert main(["sheet", "wide-stairs"]) == 0
    said = capsys.readouterr().out
    assert "own grid" in said
    assert "playalong[sheet]" in said
