"""playalong export: what is told of what a file leaves out."""

from pathlib import Path

import pytest

from playalong.commands.main import main

TEXT = """
title = "Export"
meter = "4/4"
tempo = 84

[[bar]]
snare = "x x x x"

[variation.first]
snare = "- x - ."

[variation.second]
snare = ". - - -"
"""

NOT_NAMED = "variations that --variation does not name are left out"


def export(folder: Path, ending: str, *variations: str) -> int:
    pattern = folder / "export.toml"
    pattern.write_text(TEXT, encoding="utf-8")
    named = [part for name in variations for part in ("--variation", name)]
    return main(["export", str(pattern), "--out", str(folder / f"out{ending}"), *named])


@pytest.mark.parametrize("ending", [".mid", ".musicxml", ".mxl", ".tab"])
def test_variations_that_are_written_are_not_told_as_left_out(tmp_path, capsys, ending):
    for number, (named, told) in enumerate(
        [((), True), (("first",), True), (("first", "second"), False)]
    ):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert export(folder, ending, *named) == 0
        assert (NOT_NAMED in capsys.readouterr().out) is told


@pytest.mark.parametrize("ending", [".mid", ".musicxml", ".tab"])
def test_a_variation_that_is_not_there_is_told(tmp_path, capsys, ending):
    assert export(tmp_path, ending, "third") == 2
    assert 'no variation "third"; its variations are: first, second' in capsys.readouterr().err
    assert not (tmp_path / f"out{ending}").exists()
