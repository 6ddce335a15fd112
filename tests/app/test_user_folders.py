"""What is kept for a user: players, settings, profiles; and what earlier versions had kept."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.profile.latency import TYPED, Latency
from playalong.profile.profile import Profile
from playalong.records.profiles import as_text
from playalong.records.settings import Settings
from playalong.records.store.meanwhile import changes
from playalong.support.errors import UserError

KIT = Profile(
    kit="Practice Kit", player="Ines", port="Drum Port", latency=Latency(8.5, None, TYPED)
)


@pytest.fixture
def home(tmp_path: Path) -> UserFolders:
    return UserFolders(config=tmp_path / "config", data=tmp_path / "data")


def test_at_first_nothing_is_kept_and_nothing_is_made(home: UserFolders) -> None:
    assert home.players() == []
    assert home.player() is None
    assert home.settings() == Settings()
    assert home.settings_of(None) == home.settings_of("Ines") == {}
    assert home.level() == DEFAULT_LEVEL
    assert not home.is_left_handed()
    assert home.profile("Practice Kit", None) == Profile(
        kit="Practice Kit", player="player", port="Practice Kit"
    )
    assert not home.data.exists()


def test_players_are_added_renamed_and_chosen(home: UserFolders) -> None:
    assert home.add_player("  Ines \n Roth ").name == "Ines Roth"
    home.add_player("Tom")
    home.choose_player("Tom")
    assert home.settings().player == home.player().name == "Tom"
    home.keep(replace(KIT, player="Tom"))
    home.rename_player("Tom", "Thomas")
    assert [player.name for player in home.players()] == ["Ines Roth", "Thomas"]
    assert home.settings().player == "Thomas"
    assert home.profile(KIT.kit, None) == replace(KIT, player="Thomas")
    assert 'player = "Thomas"' in home.profile_text(KIT.kit, "Thomas")
    home.choose_player("Ada")
    assert home.player().name == "Ada"


@pytest.mark.parametrize(
    ("name", "words"), [("Tom", "already"), ("  ", "needs a name"), ("x" * 61, "at most 60")]
)
def test_a_name_that_is_none_or_taken_is_told(home: UserFolders, name: str, words: str) -> None:
    home.add_player("Tom")
    home.add_player("Ines")
    with pytest.raises(UserError, match=words):
        home.add_player(name)
    with pytest.raises(UserError, match=words):
        home.rename_player("Ines", name)
    assert [player.name for player in home.players()] == ["Ines", "Tom"]


def test_settings_of_the_computer_and_of_each_player(home: UserFolders) -> None:
    home.remember(level_db=-20.0, port="Drum Port", player="Ines")
    home.remember_for(None, first_seen=True)
    home.remember_for("Ines", theme="dark", loops=[1, 2])
    home.remember_for("Ines", loops=None)
    home.remember_level("Ines", Level.ADVANCED)
    home.remember_hand("Ines", True)
    again = UserFolders(config=home.config, data=home.data)
    assert again.settings() == Settings(level_db=-20.0, port="Drum Port", player="Ines")
    assert again.settings_of(None)["first_seen"] is True
    assert again.settings_of("Ines") == {"theme": "dark"}
    assert (again.level("Ines"), again.level("Tom")) == (Level.ADVANCED, DEFAULT_LEVEL)
    assert (again.is_left_handed("Ines"), again.is_left_handed("Tom")) == (True, False)
    assert again.notices == home.notices == []


def test_a_profile_keeps_what_a_person_wrote_into_it(home: UserFolders) -> None:
    mine = "# my cellar\n" + as_text(KIT)
    home.keep(KIT, mine)
    home.keep(replace(KIT, latency=None))
    assert home.profile_text(KIT.kit, "Ines").startswith("# my cellar\n")
    assert home.profile(KIT.kit, "Ines") == replace(KIT, latency=None)
    assert home.kits("Ines") == [KIT.kit]
    assert home.kits("Tom") == []


def test_a_text_that_cannot_take_what_is_new_is_set_aside(home: UserFolders) -> None:
    mine = 'kit = "Practice Kit"\nplayer = "Ines"\nhas = 5 # pads\n'
    home.keep(KIT, mine)
    assert home.profile(KIT.kit, "Ines") == Profile(kit=KIT.kit, player="Ines", port=KIT.kit)
    assert "line 3" in home.notices[0]
    assert home.keep(KIT)
    (aside,) = (home.data / "set-aside").iterdir()
    assert aside.read_text() == mine
    assert str(aside) in home.notices[-1]
    assert home.profile(KIT.kit, "Ines") == KIT


def test_what_can_be_kept_nowhere_is_told_and_stops_nothing(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(changes, "folders", lambda data: [data / "unfinished"])
    (tmp_path / "file").write_text("in the way")
    home = UserFolders(config=tmp_path, data=tmp_path / "file")
    home.remember(port="Drum Port")
    assert not home.keep(KIT)
    assert home.profile(KIT.kit, "Ines") == Profile(kit=KIT.kit, player="Ines", port=KIT.kit)
    assert home.notices
    assert all(str(tmp_path) in words or "is not kept" in words for words in home.notices)
    with pytest.raises(UserError, match="cannot be opened"):
        home.add_player("Ines")


def earlier(home: UserFolders) -> list[Path]:
    """Files of an earlier version."""
    (home.config / "profiles").mkdir(parents=True)
    settings = home.config / "settings.toml"
    settings.write_text(
        'kit = "Practice Kit"\nplayer = "Ines"\nport = "Drum Port"\nlevel_db = -24.0\n'
        'left_handed = ["Tom"]\n[levels]\nInes = "advanced"\n'
    )
    profile = home.config / "profiles" / "practice-kit--ines.toml"
    profile.write_text("# with the mesh heads\n" + as_text(KIT))
    broken = home.config / "profiles" / "cellar--ines.toml"
    broken.write_text('kit = "Cellar"\nplayer = "Ines"\nhas = 5\n')
    return [settings, profile, broken]


def test_what_earlier_versions_kept_is_taken_in_once_and_left_where_it_is(
    home: UserFolders,
) -> None:
    files = earlier(home)
    before = [path.read_text() for path in files]
    assert home.settings() == Settings(
        level_db=-24.0, kit="Practice Kit", player="Ines", port="Drum Port"
    )
    assert home.level() == Level.ADVANCED
    assert home.is_left_handed("Tom")
    assert home.profile("Practice Kit", None) == KIT
    assert home.profile_text("Practice Kit", "Ines") == before[1]
    assert f"{files[2]} was not taken in" in home.notices[0]
    assert "line 3" in home.notices[0]
    home.remember_level("Ines", Level.BEGINNER)
    again = UserFolders(config=home.config, data=home.data)
    assert again.level("Ines") == Level.BEGINNER, "it is taken in once"
    assert again.notices == []
    assert [path.read_text() for path in files] == before


def test_a_file_that_was_taken_in_by_another_program_is_not_taken_twice(home: UserFolders) -> None:
    """Two programs that start at once, or one that was ended in between."""
    earlier(home)
    home.settings()
    home.remember_level("Ines", Level.BEGINNER)
    connection = sqlite3.connect(home.memory.path)
    with connection:
        connection.execute("DELETE FROM setting WHERE name = 'moved_in'")
    connection.close()
    assert UserFolders(config=home.config, data=home.data).level("Ines") == Level.BEGINNER


def test_players_are_listed_added_renamed_and_chosen_by_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    assert main(["players"]) == 0
    assert "Nobody has played here yet." in capsys.readouterr().out
    UserFolders.of_user().remember(level_db=-20.0)  # there is a store, of nobody
    assert main(["history"]) == 2
    assert "Nothing has been played yet" in capsys.readouterr().err
    assert main(["players", "--add", "Ines"]) == 0
    assert main(["players", "--rename", "Ines", "Ines R."]) == 0
    assert main(["players", "--choose", "Tom"]) == 2
    assert "There is no player" in capsys.readouterr().err
    assert main(["players", "--add", "Ana"]) == 0
    capsys.readouterr()
    assert main(["history"]) == 2  # nobody of the two has played
    assert 'Say who, with --who; there is "Ana", "Ines R."' in capsys.readouterr().err
    home = UserFolders.of_user()
    home.remember_level("Ines R.", Level.ADVANCED)
    home.remember_hand("Ines R.", True)
    assert main(["players", "--choose", "Ines R."]) == 0
    line = capsys.readouterr().out.splitlines()[-1]
    assert line.split("  ")[0] == "* Ines R."
    assert "advanced" in line
    assert "left hand" in line
