"""What ``grade --json`` prints, held against the schema that comes with the program.

The schema is JSON Schema 2020-12, read by the library jsonschema.
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from playalong.commands import main
from playalong.grading.graces import Ornament
from playalong.grading.levels import Level
from playalong.grading.loudness import Loudness
from playalong.grading.verdicts import HiHat, Verdict
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import VOICES
from tests.helpers.grade_schema import CLOSED, SCHEMA

#: What the description of a figure says of its unit, by the end of its name.
UNITS = {
    "_ms": "milliseconds",
    "_s": "seconds",
    "_db": "decibels",
    "_bpm": "beats a minute",
    "_percent": "per cent",
}


def described(schema: Any, name: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every property in the schema with its name."""
    for key, value in (schema if isinstance(schema, dict) else {}).items():
        if key == "properties":
            for own, inner in value.items():
                yield own, inner
                yield from described(inner, own)
        elif isinstance(value, dict):
            yield from described(value, name)


def graded(*typed: str | Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    capsys.readouterr()
    assert main.main(["grade", *map(str, typed), "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_the_schema_is_one() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$id"].endswith(f":{SCHEMA['properties']['schema']['const']}")


def test_every_key_is_described_with_its_unit() -> None:
    named = list(described(SCHEMA))
    assert len(named) > 80
    for name, inner in named:
        words = inner.get("description", "")
        assert words.endswith("."), name
        for ending, unit in UNITS.items():
            if name.endswith(ending) and "$ref" not in inner and inner.get("type") != "object":
                assert unit in words, name
    for name, inner in SCHEMA["$defs"].items():
        assert inner["description"].endswith("."), name


def test_names_in_the_schema_are_those_of_the_program() -> None:
    defs = SCHEMA["$defs"]
    assert set(defs["voice"]["enum"]) == {voice.name for voice in VOICES}
    assert set(defs["dynamic"]["enum"]) == set(Dynamic)
    hit = defs["hit"]["properties"]
    assert set(hit["verdict"]["enum"]) == {*Verdict, None} - {Verdict.MISSED}
    assert set(hit["loudness"]["enum"]) == {*Loudness, None}
    assert set(hit["hi_hat"]["enum"]) == {*HiHat, None}
    assert set(hit["ornament"]["enum"]) == {*Ornament, None}
    assert SCHEMA["properties"]["level"]["enum"] == list(Level)


@pytest.mark.parametrize(
    ("pattern", "more"),
    [
        ("late-bus-home", ["--player", "beginner"]),
        ("late-bus-home", ["--player", "professional", "--bars", "1"]),
        ("split-kindling", ["--player", "beginner"]),
        ("corner-table", []),
        ("drip-tray", ["--player", "beginner"]),
    ],
)
def test_what_is_printed_fits(
    pattern: str, more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main.main(["demo", pattern, "--fast", *more, "--out", str(tmp_path)]) == 0
    (take,) = tmp_path.glob("*.mid")
    for options in ([], ["--hits"], ["--hits", "--start", "auto", "--tempo", "auto"]):
        told = graded(pattern, take, *options, capsys=capsys)
        CLOSED.validate(told)
        assert ("hits" in told) == ("--hits" in options)
    (shown,) = tmp_path.glob("*-grade.json")
    CLOSED.validate(json.loads(shown.read_text()))


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A take of one bar."""
    folder = tmp_path_factory.mktemp("take")
    assert main.main(["demo", "--fast", "--bars", "1", "--out", str(folder)]) == 0
    (path,) = folder.glob("*.mid")
    return path


def test_what_is_printed_of_nothing_played_fits(
    take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where hardly any figure can be had."""
    told = graded("late-bus-home", take, "--start", "1000000", "--hits", capsys=capsys)
    assert told["timing"]["mean_ms"] is None
    CLOSED.validate(told)


def test_many_takes_say_their_files(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main.main(["grade", "late-bus-home", str(take.parent), "--json"]) == 0
    (line,) = capsys.readouterr().out.splitlines()
    told = json.loads(line)
    CLOSED.validate(told)
    assert told["take"] == str(take)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda told: told.pop("score"),
        lambda told: told["counts"].pop("missed"),
        lambda told: told.update(new=1),
        lambda told: told["timing"].update(mean_ms="4"),
        lambda told: told["score"].update(total=101),
        lambda told: told["hits"][0].update(voice="gong"),
        lambda told: told.update(schema=0),
    ],
)
def test_what_does_not_fit_is_found(
    spoil: Any, take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = graded("late-bus-home", take, "--hits", capsys=capsys)
    assert CLOSED.is_valid(told)
    spoil(told)
    assert not CLOSED.is_valid(told)


def test_the_program_prints_its_schema() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "playalong", "grade", "--schema"], capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout) == SCHEMA
