"""A run of the history opened again."""

import json
from pathlib import Path

import pytest

from playalong.app.history import anew, reading
from playalong.app.memory import Memory
from playalong.commands.main import main
from playalong.records.store import runs
from playalong.support.errors import UserError


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    for skill in ("beginner", "professional"):
        assert main(["demo", "--fast", "--bars", "2", "--player", skill]) == 0
    return tmp_path / "XDG_DATA_HOME" / "playalong"


def opened(home: Path):
    database = Memory(folder=home, simulated=True).opened()
    return database, reading.player_of(database, "beginner", "")


def test_a_run_graded_anew_has_the_same_figures(home, capsys):
    database, who = opened(home)
    found = anew.anew(database, anew.run_of(database, who, 1))
    assert found.words == "Graded anew: the same figures."
    shown, hits = runs.grade_of(database, 1)
    assert {**shown, "hits": hits} == json.loads(json.dumps(found.graded.as_json(with_hits=True)))
    database.close()
    assert main(["history", "--simulated", "--who", "beginner", "--run", "1"]) == 0
    assert "Graded anew: the same figures." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("program", "words"),
    [
        ("0.1.9", "the figures differ: it was graded by version 0.1.9, and this is "),
        (None, "the figures differ: the rules of the program have changed since."),
    ],
)
def test_where_figures_differ_it_is_said_why_and_which(home, program, words):
    database, who = opened(home)
    shown, _ = runs.grade_of(database, 1)
    shown["score"]["total"] -= 5.0
    shown["findings"] = []
    database.write("UPDATE body SET grade = ? WHERE run = 1", (json.dumps(shown),))
    if program:
        database.write("UPDATE run SET program = ? WHERE id = 1", (program,))
    found = anew.anew(database, anew.run_of(database, who, 1))
    assert words in found.words
    total = found.graded.grade.score.total
    assert found.differences[0] == f"score total: {shown['score']['total']:g} then, {total:g} now"
    assert any(line.startswith("findings: 0 of them then") for line in found.differences)
    database.close()


def test_two_runs_are_compared(home, capsys):
    capsys.readouterr()
    database, who = opened(home)
    other = reading.player_of(database, "professional", "")
    one, two = (
        anew.anew(database, anew.run_of(database, player, number))
        for player, number in ((who, 1), (other, 2))
    )
    rows = {what: (left, right) for what, left, right in anew.compared(one, two)}
    assert float(rows["score"][0]) < float(rows["score"][1])
    assert rows["bars"] == ("2", "2")
    with pytest.raises(UserError, match="has no run 2"):
        anew.run_of(database, who, 2)
    database.close()
    assert (
        main(["history", "--simulated", "--who", "beginner", "--run", "1", "--against", "1"]) == 0
    )
    assert "run 1" in capsys.readouterr().out


def test_what_was_taken_in_is_graded_when_it_is_listed(home, capsys):
    database, _ = opened(home)
    shown, hits = runs.grade_of(database, 1)
    database.write("UPDATE run SET pending = 1, score = NULL WHERE id = 1")
    database.write("UPDATE body SET grade = NULL, hits = NULL WHERE run = 1")
    database.close()
    assert main(["history", "--simulated", "--who", "beginner"]) == 0
    database, _ = opened(home)
    assert runs.grade_of(database, 1) == (shown, hits)
    assert database.rows("SELECT pending, score FROM run WHERE id = 1") == [
        (0, shown["score"]["total"])
    ]
    database.close()
