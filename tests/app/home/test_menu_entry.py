"""The entry in the system's menu, held against the specifications it is written after."""

import configparser
import shutil
import subprocess
from xml.etree import ElementTree

import pytest

from playalong.app.home import menu_entry
from playalong.commands.main import main


@pytest.fixture
def data(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    return tmp_path


def entry(text: str) -> dict[str, str]:
    parser = configparser.RawConfigParser(interpolation=None, strict=True)
    parser.optionxform = str
    parser.read_string(text)
    assert parser.sections() == ["Desktop Entry"]
    return dict(parser["Desktop Entry"])


def test_the_entry_and_its_icon_are_where_the_desktop_looks_for_them(data, capsys):
    assert main(["shortcut"]) == 0
    path = data / "applications" / "playalong.desktop"
    keys = entry(path.read_text(encoding="utf-8"))
    assert keys["Type"] == "Application"
    assert keys["Terminal"] == "false"
    assert keys["Exec"].startswith("env PLAYALONG_FROM_MENU=1 ")
    icon = data / "icons" / "hicolor" / "scalable" / "apps" / f"{keys['Icon']}.svg"
    assert ElementTree.parse(icon).getroot().tag.endswith("svg")
    assert str(path) in capsys.readouterr().out
    if shutil.which("desktop-file-validate"):  # of desktop-file-utils, by the same authors
        told = subprocess.run(
            ["desktop-file-validate", str(path)], capture_output=True, text=True, check=False
        )
        assert (told.returncode, told.stdout) == (0, "")


def test_what_was_added_is_removed(data, capsys):
    assert main(["shortcut"]) == 0
    assert main(["shortcut", "--remove"]) == 0
    assert not list(data.rglob("playalong.*"))
    capsys.readouterr()
    assert main(["shortcut", "--remove"]) == 0
    assert capsys.readouterr().out == "There was no entry.\n"


@pytest.mark.parametrize(
    ("argument", "written"),
    [
        ("/usr/bin/playalong", "/usr/bin/playalong"),
        ("/home/a b/playalong", '"/home/a b/playalong"'),
        ("50%", "50%%"),
        ('a"b', '"a\\"b"'),
        ("a$b", '"a\\$b"'),
        ("", '""'),
    ],
)
def test_arguments_are_quoted_by_the_rules_of_the_exec_key(argument, written):
    """Desktop Entry Specification 1.5, "The Exec key"."""
    assert menu_entry.exec_argument(argument) == written


def test_backslashes_are_escaped_once_more_in_the_file():
    keys = entry(menu_entry.desktop_entry(["/a$b/playalong"]))
    assert keys["Exec"].endswith('"/a\\\\$b/playalong"')
