"""playalong patterns: searched by all that a pattern says, as text and as JSON."""

import json

import pytest

from playalong.commands.main import main
from playalong.pattern.library.difficulty import difficulty
from playalong.pattern.model import Pattern, PatternKind
from tests.helpers.shipped import SHIPPED


def found(capsys, *options: str) -> list[dict]:
    assert main(["patterns", *options, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def figure(one: Pattern) -> float:
    return difficulty(one).figure


@pytest.mark.parametrize(
    ("options", "fits"),
    [
        ([], lambda one: True),
        (["--kind", "rudiment"], lambda one: one.kind is PatternKind.RUDIMENT),
        (["--trains", "swing"], lambda one: "swing" in one.trains),
        (
            ["--trains", "swing", "--trains", "ride"],
            lambda one: {"swing", "ride"} <= set(one.trains),
        ),
        (["--meter", "12/8"], lambda one: one.meter.written == "12/8"),
        (["--difficulty", "20-30"], lambda one: 20 <= figure(one) <= 30),
        (["--tempi", "84"], lambda one: one.tempo == 84),
        (
            ["TOMS", "--kind", "fill"],
            lambda one: (
                one.kind is PatternKind.FILL
                and ("toms" in one.trains or "toms" in one.about.lower())
            ),
        ),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "fits",
)
def test_what_is_found_is_what_fits_the_easiest_first(capsys, options, fits):
    told = found(capsys, *options)
    names = [one["name"] for one in told]
    assert names
    assert set(names) == {name for name, one in SHIPPED.items() if fits(one)}
    assert [one["difficulty"] for one in told] == sorted(one["difficulty"] for one in told)


def test_a_name_finds_one_and_the_ways_on_from_it(capsys):
    (one,) = found(capsys, "late", "bus", "home")
    assert one["title"] == "Late Bus Home"
    for thing, name in one["next"].items():
        assert thing in SHIPPED[name].trains
        assert figure(SHIPPED[name]) != figure(SHIPPED["late-bus-home"])
    assert main(["patterns", "late-bus-home"]) == 0
    told = capsys.readouterr().out
    for thing, name in one["next"].items():
        assert f"{thing}:" in told
        assert f"late-bus-home > {name}" in told


def test_nothing_found_is_said_and_no_mistake(capsys):
    assert found(capsys, "no", "such", "words") == []
    assert main(["patterns", "no", "such", "words"]) == 0
    assert "No pattern is like that" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--kind", "gruve"], '"gruve" is no kind; write one of groove'),
        (["--trains", "patience"], 'No pattern trains "patience"; they train accents,'),
        (["--difficulty", "60-40"], '"60-40" is no span'),
        (["late-bus-home", "--meter", "4/4"], "--meter says nothing where one pattern"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(capsys, options, told):
    try:
        code = main(["patterns", *options])
    except SystemExit as ended:
        code = ended.code
    assert code == 2
    assert told in capsys.readouterr().err
