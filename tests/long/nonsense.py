"""Nonsense for every option of every command, and every kind of file in the wrong place.

A case is a command that would do its work, with one option or argument replaced. It must do its
work or end with 2 and a plain line on standard error: never with a mistake of the program, never
later than ten seconds, and what lay in the folder lies there as it was.
"""

import argparse
import os
import signal
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import chdir, redirect_stderr, redirect_stdout, suppress
from functools import cache
from hashlib import sha256
from io import StringIO
from pathlib import Path
from types import FrameType

import numpy as np

from playalong.commands.main import COMMANDS, main, parser
from playalong.sound.rendering import write_wave
from tests.fuzz.damage import CORPUS
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 12_000, 60

#: What a command may take of the processor; and what it may wait, on a machine with much to do.
LONGEST_S, WAITS_S = 10, 120

#: Commands that do their work in a moment, without a kit, a window or a sound device.
SOUND = (
    ("patterns",),
    ("check", "pattern.toml"),
    ("ports",),
    ("sounds",),
    ("kit", "triggers", "--player", "professional", "--fast", "--out", "new"),
    ("demo", "pattern.toml", "--fast", "--bars", "1", "--out", "new"),
    ("hear", "pattern.toml", "--bars", "1", "--out", "new.wav"),
    ("hear", "pattern.toml", "--take", "take.mid", "--out", "new.wav"),
    ("hear", "pattern.toml", "--with", "recording.wav", "--out", "new.wav"),
    ("beats", "recording.wav", "--tempo", "100"),
    ("play", "pattern.toml", "--port", "nowhere"),
    ("grade", "pattern.toml", "take.mid"),
    ("grade", "late-bus-home", "take.mid", "--json", "--hits"),
    ("history", "--simulated"),
    ("report", "take.mid", "--out", "new.html"),
    ("verify", "result.zip"),
    ("remark", "result.zip", "--item", "1", "--comment", "good"),
    ("class", "folder"),
    ("assess", "nowhere", "--player", "beginner", "--fast", "--out", "new"),
)

FILES = (
    *("pattern.toml", "take.mid", "profile.toml", "recording.wav", "store.db", "result.zip"),
    *(
        "empty",
        "folder",
        "pipe",
        "picture.png",
        "nowhere/at/all",
        "/dev/zero",
        "/dev/null",
        "/proc",
    ),
)

VALUES = (
    *("", " ", "-1", "0", "1", "nan", "inf", "-inf", "1e999", "99999999999999999999", "1.5", "1-2"),
    *(
        "2-1",
        "9-9",
        "٣",
        "\udcff",
        "a\nb",
        "x" * 300,
        "auto",
        "--",
        "-",
        "a=b",
        "=",
        "None",
        "*",
        "~",
    ),
    *FILES,
)


def options_of(command: str) -> list[argparse.Action]:
    """The options and arguments of a command."""
    whole = parser([command])
    (group,) = (one for one in whole._actions if isinstance(one, argparse._SubParsersAction))
    own: argparse.ArgumentParser = group.choices[command]
    return [one for one in own._actions if "--help" not in one.option_strings]


#: What is written may be written to a pipe, which waits for who reads it.
WRITTEN = ("--out", "--html", "--csv")


@cache
def cases() -> list[tuple[str, ...]]:
    """All commands with one thing replaced."""
    found: list[tuple[str, ...]] = []
    for typed in SOUND:
        if typed[0] not in COMMANDS:
            continue
        for place in range(1, len(typed)):
            if typed[place] in ("--fast", "--out", "--player", "new"):
                continue
            values = _values(typed[place - 1])
            found += [(*typed[:place], value, *typed[place + 1 :]) for value in values]
        for option in options_of(typed[0]):
            if not option.option_strings or option.option_strings[-1] in ("--out", "--player"):
                continue
            name = option.option_strings[-1]
            if option.nargs == 0:
                found.append((*typed, name))
            else:
                found += [(*typed, name, value) for value in _values(name)]
    return found


def _values(option: str) -> list[str]:
    return [value for value in VALUES if value != "pipe" or option not in WRITTEN]


def made(folder: Path) -> None:
    """A file of each kind."""
    copies = {
        "pattern.toml": "patterns/everything.toml",
        "take.mid": "midi/of_ours.mid",
        "profile.toml": "profiles/measured.toml",
    }
    for name, sample in copies.items():
        (folder / name).write_bytes((CORPUS / sample).read_bytes())
    write_wave(folder / "recording.wav", np.zeros((96_000, 2), np.float32))
    (folder / "store.db").write_bytes(b"SQLite format 3\0" + bytes(200))
    (folder / "result.zip").write_bytes(b"PK\x05\x06" + bytes(18))
    (folder / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(30))
    (folder / "empty").touch()
    (folder / "folder").mkdir()
    with suppress(AttributeError):
        os.mkfifo(folder / "pipe")


class TooSlowError(BaseException):
    """A command that does not end."""


def _late(_: int, __: FrameType | None) -> None:
    raise TooSlowError


def tried(typed: Sequence[str]) -> str:
    """What is wrong with how a command ends, "" for nothing."""
    before = signal.getsignal(signal.SIGALRM)
    with tempfile.TemporaryDirectory(prefix="playalong-nonsense-") as name:
        folder = Path(name)
        made(folder)
        contents = _contents(folder)
        out, err = StringIO(), StringIO()
        signal.signal(signal.SIGALRM, _late)
        signal.signal(signal.SIGPROF, _late)
        signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
        signal.alarm(WAITS_S)
        try:
            with chdir(folder), redirect_stdout(out), redirect_stderr(err):
                code = main(list(typed))
        except TooSlowError:
            return f"more than {LONGEST_S} s of the processor, or {WAITS_S} s in all"
        except SystemExit as ended:
            code = int(ended.code or 0)
        except BaseException as error:
            return f"{type(error).__name__}: {error}"
        finally:
            signal.alarm(0)
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.signal(signal.SIGALRM, before)
        told = err.getvalue()
        if code not in (0, 2):
            return f"code {code}: {told[:200]}"
        if code == 2 and not told.startswith("playalong: "):
            return f"no word on standard error: {told[:200]!r}"
        if "Traceback" in told or "made a mistake" in told:
            return told[:200]
        changed = [one for one, data in contents.items() if _data(folder / one) != data]
        return f"changed: {', '.join(changed)}" if changed else ""


def _contents(folder: Path) -> dict[str, str]:
    files = (one for one in folder.iterdir() if one.is_file())
    return {one.name: _data(one) for one in files}


def _data(path: Path) -> str:
    return sha256(path.read_bytes()).hexdigest() if path.is_file() else "gone"


def tables(options: Options) -> Iterator[Table]:
    """How the commands ended."""
    every = cases()
    chosen = np.random.default_rng(options.seed).permutation(len(every))[: options.count]
    typed = [every[int(number)] for number in chosen]
    table = Table("nonsense typed", ("command", "cases", "failed"))
    told = list(options.map(tried, typed))
    count = Counter(one[0] for one in typed)
    failed = [(one, words) for one, words in zip(typed, told, strict=True) if words]
    wrong = Counter(one[0] for one, _ in failed)
    for name, n in count.items():
        table.row(name, n, wrong[name], holds=not wrong[name])
    table.row("all", len(typed), len(failed), holds=not failed)
    yield table
    if failed:
        examples = Table("what failed", ("typed", "what"))
        for one, words in failed[:40]:
            examples.row(" ".join(map(repr, one))[:200], words.replace("\n", " ")[:300])
        yield examples
