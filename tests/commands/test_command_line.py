"""The command line as a whole: what every command promises in its help, and how it ends."""

import argparse
import re
import shlex
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from playalong.app.capture import played_in
from playalong.app.grade.checks import FASTEST_BPM, SLOWEST_BPM
from playalong.app.recording.beats_draft import MOST_TO_THE_BAR
from playalong.app.recording.recording_sounds import HIGHEST_DB, LOWEST_DB
from playalong.commands import export, first_page, kit, main
from playalong.commands.parser import Parser
from playalong.screen.kit_pages.overview import PAGES

#: What the name of an option with a unit ends with, and how that is shown.
UNITS = {"_ms": "MS", "_db": "DB", "tempo": "BPM", "speed": "PERCENT", "stay": "SECONDS"}


def parser_of(name: str) -> Parser:
    """The parser of one command, with its arguments."""
    (commands,) = (
        action
        for action in main.parser([name])._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    return commands.choices[name]


@pytest.mark.parametrize("name", main.COMMANDS)
def test_every_option_says_what_it_is_its_unit_and_its_default(name: str) -> None:
    parser = parser_of(name)
    for action in parser._actions:
        assert action.help, action.dest
        assert "default or else" not in action.help
        for named in re.findall(r"(?<!\S)--[a-z-]+", action.help):
            assert named in parser._option_string_actions, f"{action.dest} names {named}"
        if action.nargs == 0:
            continue
        assert action.metavar or action.choices, action.dest
        if action.option_strings or action.nargs == "?":
            assert "(default " in action.help, action.dest
            if isinstance(action.default, int | float) and "%(default)s" not in action.help:
                assert f"(default {action.default:g})" in action.help
        for ending, unit in UNITS.items():
            if action.dest.endswith(ending):
                assert action.metavar == unit, action.dest


@pytest.mark.parametrize("name", main.COMMANDS)
def test_every_command_shows_examples_that_can_be_typed(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    command = main.COMMANDS[name]
    with pytest.raises(SystemExit) as ended:
        main.main([name, "--help"])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert command.ABOUT[1:] in " ".join(shown.split())
    assert command.EXAMPLES
    for what, typed in command.EXAMPLES:
        assert f"  {typed}\n      {what}\n" in f"{shown}\n"
        program, *arguments = shlex.split(typed)
        assert program == "playalong"
        if "--schema" in arguments:  # prints, and ends
            with pytest.raises(SystemExit) as ended:
                main.main(arguments)
            assert ended.value.code == 0
        else:
            assert main.parser(arguments).parse_args(arguments).run == command.run


def test_the_help_of_all_shows_every_command_and_how_it_begins(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit):
        main.main(["--help"])
    shown = capsys.readouterr().out
    in_a_row = " ".join(shown.split())
    for name, command in main.COMMANDS.items():
        assert f" {name} {command.ABOUT} " in in_a_row
    for _, typed in main.EXAMPLES:
        _, *arguments = shlex.split(typed)
        if arguments and "--help" not in arguments:
            main.parser(arguments).parse_args(arguments)
    assert "physician" in shown


def test_figures_in_the_help_are_those_of_the_program() -> None:
    shown = " ".join(parser_of("play").format_help().split())
    assert f"{SLOWEST_BPM:g} to {FASTEST_BPM:g}" in shown
    assert f"{LOWEST_DB:g} to {HIGHEST_DB:g} dB" in shown
    for command, figure in (
        ("capture", f"1 to {played_in.MOST_BARS}"),
        ("beats", f"1 to {MOST_TO_THE_BAR}"),
        ("export", f"{export.MOST_BARS:,} at most"),
        ("export", f"{SLOWEST_BPM:g} to {FASTEST_BPM:g}"),
    ):
        assert figure in " ".join(parser_of(command).format_help().split())
    (page,) = (action for action in parser_of("kit")._actions if action.dest == "page")
    assert set(page.choices or ()) == {one.outcome.value for one in PAGES}


def test_it_runs_as_a_module_and_tells_its_version() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "playalong", "--version"], capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.decode().split() == ["playalong", version("playalong")]


def test_nobody_waits_for_what_another_command_needs() -> None:
    code = (
        "import sys\n"
        "from playalong.commands import main\n"
        "main.parser(['patterns'])\n"
        "print(sorted({'numpy', 'pygame', 'mido', 'miniaudio', 'tomlkit'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    assert done.stdout.split() == [b"[]"]


@pytest.mark.parametrize(
    ("typed", "known"),
    [
        (["play", "late-bus-home"], ["play"]),
        (["play", "grade"], ["play"]),
        (["plya", "grade"], [*main.COMMANDS]),
        (["--help", "grade"], [*main.COMMANDS]),
        (["--", "grade"], [*main.COMMANDS]),
        ([], [*main.COMMANDS]),
    ],
)
def test_no_other_command_is_made_ready_than_the_one_that_is_typed(
    typed: list[str], known: list[str]
) -> None:
    (commands,) = (one for one in main.parser(typed)._actions if one.choices is not None)
    assert [*(commands.choices or ())] == known


@pytest.mark.parametrize(
    ("ends_with", "code"), [(KeyboardInterrupt, 130), (BrokenPipeError, 0), (None, 0)]
)
def test_how_a_command_ends_is_told_by_its_code(
    ends_with: type[BaseException] | None, code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def run(_: object) -> None:
        if ends_with is not None:
            raise ends_with

    monkeypatch.setattr(kit, "run", run)
    assert main.main(["kit"]) == code


def test_a_mistake_of_the_program_is_one_line_and_kept(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(_: object) -> None:
        raise KeyError("two\nlines \x1b[2J")

    monkeypatch.setattr(kit, "run", run)
    assert main.main(["kit"]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "\x1b" not in err
    told, _, path = err.rstrip().partition(" What helps to mend it is in ")
    assert told.startswith("playalong: The program made a mistake (KeyError: ")
    assert "Traceback" in Path(path).read_text()
    monkeypatch.setattr("playalong.support.files.os.fsync", full)
    assert main.main(["kit"]) == 1
    assert capsys.readouterr().err.count("\n") == 1


def full(_: object) -> None:
    raise OSError(28, "No space left on device")


def test_alone_it_opens_the_window_for_a_person_and_shows_a_player_to_nobody(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done: list[str] = []
    monkeypatch.setattr(main.demo, "run", lambda given: done.append("demo"))
    monkeypatch.setattr(main, "open_first_page", lambda: done.append("window"))
    for there, what in ((True, "window"), (False, "demo")):
        monkeypatch.setattr(main, "has_person", lambda there=there: there)
        assert main.main([]) == 0
        assert done.pop() == what


def test_nobody_is_there_without_a_screen_a_terminal_or_on_a_build_server(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def there(**surroundings: str) -> bool:
        for name in ("CI", "DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER", "PLAYALONG_FROM_MENU"):
            monkeypatch.delenv(name, raising=False)
        for name, value in surroundings.items():
            monkeypatch.setenv(name, value)
        return first_page.has_person()

    monkeypatch.setattr(first_page.sys, "platform", "linux")
    monkeypatch.setattr(first_page, "is_read", lambda: True)
    assert there(DISPLAY=":0")
    assert there(WAYLAND_DISPLAY="wayland-0")
    assert not there()
    assert not there(DISPLAY=":0", CI="1")
    assert not there(DISPLAY=":0", SDL_VIDEODRIVER="dummy")
    monkeypatch.setattr(first_page, "is_read", lambda: False)
    assert not there(DISPLAY=":0")
    assert there(DISPLAY=":0", PLAYALONG_FROM_MENU="1")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["--louder"], "required: COMMAND. See playalong --help."),
        (["plai"], "invalid choice: 'plai'"),
        (["grade"], "required: PATTERN, TAKE. See playalong grade --help."),
        (["grade", "p", "t", "--tempo", "fast"], '"fast" is neither a number nor auto'),
        (["grade", "p", "t", "--start", "nan"], '"nan" is neither a number of seconds nor auto'),
        (["play", "p", "--gap", "2"], '"2" is no gap: write it like 2+2 or 2+1+1'),
        (["play", "p", "--loop", "5"], '"5" is no bars: write them like 5-8'),
        (["play", "p", "--louder"], "unrecognized arguments: --louder"),
        (["demo", "--player", "nobody"], "invalid choice: 'nobody'"),
        (["demo", "--seed=-1"], '"-1" is no seed: write a whole number, 0 or more'),
        (["demo", "--stay", "nan"], '"nan" is no time: write seconds, 0 or more'),
    ],
)
def test_what_does_not_fit_is_one_plain_line(
    typed: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main.main(typed) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("playalong: ")
    assert err.count("\n") == 1
    assert words in err
