"""What makes no sense is refused in words: a few of the cases of ``tests.long.nonsense``."""

from pathlib import Path

import numpy as np
import pytest

from tests.long.nonsense import cases, tried

LONG = "x" * 300

#: What once was a mistake of the program.
FOUND = [
    ("demo", LONG, "--fast"),
    ("play", LONG),
    ("hear", LONG, "--out", "new.wav"),
    ("hear", "pattern.toml", "--out", LONG),
    ("hear", "pattern.toml", "--take", LONG, "--out", "new.wav"),
    ("beats", LONG, "--tempo", "100"),
    ("grade", LONG, "take.mid"),
    ("grade", "pattern.toml", LONG),
    ("check", LONG),
    ("assess", LONG, "--player", "beginner", "--fast"),
    ("report", "take.mid", "--out", "result.zip"),
    ("report", "take.mid", "--out", LONG),
    ("class", LONG),
]


@pytest.mark.parametrize("typed", FOUND)
def test_what_was_a_mistake_is_told(typed: tuple[str, ...]):
    assert tried(typed) == ""


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="this system has no such folder")
def test_a_folder_whose_files_come_and_go():
    assert tried(("grade", "pattern.toml", "/proc")) == ""


def test_some_of_all():
    every = cases()
    assert len(every) > 5_000
    for number in np.random.default_rng(1).permutation(len(every))[:40]:
        assert tried(every[int(number)]) == "", every[int(number)]
