"""How strict: asked for, remembered for each player, kept in the take."""

import json
from pathlib import Path

import pytest

from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.commands.options import rules
from playalong.grading.levels import DEFAULT_LEVEL, LEVELS, Level
from playalong.profile.profile import Profile


class Typed:
    """What was typed."""

    capture_ms = None
    tolerance_ms = None
    strokes = None

    def __init__(self, level: Level | None = None, left_handed: bool | None = None) -> None:
        self.level = None if level is None else level.value
        self.left_handed = left_handed


def test_each_player_is_judged_as_strictly_as_was_asked_last(tmp_path: Path) -> None:
    home = UserFolders(config=tmp_path, data=tmp_path)

    def level(player: str, typed: Level | None = None) -> Level:
        found = rules.rules_of_player(Typed(typed), Profile(kit="kit", player=player), home)
        assert found.tolerance_ms == LEVELS[found.level].tolerance_ms
        return found.level

    assert level("Ana") == DEFAULT_LEVEL
    assert list(tmp_path.iterdir()) == [], "nothing is kept where nothing is new"
    assert level("Ana", Level.ADVANCED) == Level.ADVANCED
    assert level("Bo, jr.", Level.BEGINNER) == Level.BEGINNER
    assert (level("Ana"), level("Bo, jr."), level("Cy")) == (
        Level.ADVANCED,
        Level.BEGINNER,
        DEFAULT_LEVEL,
    )
    assert level("Ana", DEFAULT_LEVEL) == DEFAULT_LEVEL
    home.remember(player="Bo, jr.")
    assert home.level() == Level.BEGINNER
    assert home.notices == []


def test_a_level_that_cannot_be_remembered_still_holds(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    home = UserFolders(config=tmp_path, data=tmp_path / "file")
    found = rules.rules_of_player(Typed(Level.ADVANCED), Profile(kit="kit", player="Ana"), home)
    assert found.level == Level.ADVANCED
    assert "cannot be opened" in home.notices[0]


def test_who_leads_with_the_left_hand_is_remembered(tmp_path: Path) -> None:
    home = UserFolders(config=tmp_path, data=tmp_path)

    def is_left(player: str, typed: bool | None = None) -> bool:
        return rules.rules_of_player(
            Typed(left_handed=typed), Profile(kit="kit", player=player), home
        ).left_handed

    assert not is_left("Ana")
    assert is_left("Ana", True)
    assert (is_left("Ana"), is_left("Bo")) == (True, False)
    assert not is_left("Ana", False)
    assert not is_left("Ana")
    assert home.notices == []


def test_a_take_keeps_the_hand_that_leads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["demo", "turns-at-the-pump", "--fast", "--left-handed", "--out", str(tmp_path)]
    assert main(command) == 0
    (take,) = tmp_path.glob("*.mid")

    def snare_hand(*options: str) -> str:
        """The hand whose errors are those of the snare, which it alone plays."""
        capsys.readouterr()
        assert main(["grade", "turns-at-the-pump", str(take), "--json", *options]) == 0
        timing = json.loads(capsys.readouterr().out)["timing"]
        snare = timing["by_voice"]["snare"]
        (hand,) = (limb for limb, own in timing["by_limb"].items() if own == snare)
        return str(hand)

    assert snare_hand() == "right hand"
    assert snare_hand("--no-left-handed") == "left hand"


@pytest.mark.parametrize("level", Level)
def test_a_take_keeps_its_level_until_another_is_asked_for(
    level: Level, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["demo", "--fast", "--player", "beginner", "--level", level.value]
    assert main([*command, "--out", str(tmp_path)]) == 0
    (take,) = tmp_path.glob("*.mid")
    (shown,) = tmp_path.glob("*-grade.json")

    def graded(*options: str) -> dict:
        capsys.readouterr()
        assert main(["grade", "late-bus-home", str(take), "--json", "--hits", *options]) == 0
        return json.loads(capsys.readouterr().out)

    kept = graded()
    assert kept == json.loads(shown.read_text())
    assert kept["level"] == level.value
    by_level = {other: graded("--level", other.value) for other in Level}
    assert by_level[level] == kept
    on_time = [by_level[other]["counts"]["on_time"] for other in Level]  # from lenient to strict
    assert on_time == sorted(on_time, reverse=True)
    assert on_time[0] > on_time[-1]
    assert graded("--tolerance-ms", "1")["counts"]["on_time"] < on_time[-1]


@pytest.mark.parametrize("where", [["--out", "a.wav"], ["--take", "t.mid", "--out", "a.wav"]])
def test_a_level_says_nothing_of_what_is_only_heard(
    where: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["hear", "late-bus-home", "--level", "advanced", *where]) == 2
    assert "playalong: --level " in capsys.readouterr().err
