"""Profiles on file: what is written is read, a person's words stay, mistakes have their line."""

import os
import tomllib
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.midi.pads import LONGEST_MASK_MS, Guard, Pads, Pedal
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import VOICES
from playalong.profile.latency import (
    CLICK_ON_KIT,
    LEAST_MS,
    MOST_MS,
    PLAYED_ALONG,
    TYPED,
    Latency,
)
from playalong.profile.pad_commands import Calls, Command
from playalong.profile.profile import Profile
from playalong.records.profiles import list_profiles, read, read_file, write
from playalong.records.strokes import read as read_strokes
from playalong.records.tables import TomlError
from playalong.support.errors import UserError

NAMES = [voice.name for voice in VOICES]
WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
VELOCITIES = st.lists(st.integers(1, 127) | st.floats(1.0, 127.0), min_size=1, max_size=8)

PADS = st.builds(
    Pads,
    st.dictionaries(st.integers(0, 127), st.sampled_from(NAMES), max_size=6),
    st.lists(st.integers(0, 127), min_size=2, max_size=2, unique=True).map(lambda e: Pedal(*e)),
    st.dictionaries(
        st.sampled_from(NAMES),
        st.builds(Guard, st.floats(0.0, LONGEST_MASK_MS), st.floats(0.0, 127.0)),
        max_size=4,
    ),
)
PROFILES = st.builds(
    Profile,
    WORDS,
    WORDS,
    WORDS,
    PADS,
    st.dictionaries(
        st.sampled_from(NAMES),
        st.dictionaries(st.sampled_from(Dynamic), VELOCITIES.map(tuple), min_size=1),
        max_size=4,
    ),
    st.none()
    | st.builds(
        Latency,
        st.floats(LEAST_MS, MOST_MS),
        st.none() | st.floats(0.0, MOST_MS),
        st.sampled_from([PLAYED_ALONG, TYPED, CLICK_ON_KIT]),
    ),
    st.sampled_from(
        [
            Calls(),
            Calls("cowbell"),
            Calls("crash", {Command.LEAVE: "kick"}),
            Calls("kick", {Command.LEAVE: "crash"}),
            Calls("kick", {}),
        ]
    ),
    st.sampled_from([(), ("kick", "snare", "hi-hat")]),
)

PROFILE = Profile(
    "practice kit",
    "Ana",
    "Drum Port",
    Pads({40: "snare", 99: "foot-splash"}, Pedal(10, 90), {"snare": Guard(20.0, 8.5)}),
    {"snare": {Dynamic.GHOST: (22.0, 25.0, 24.0), Dynamic.NORMAL: (70.0, 78.0, 74.0)}},
    Latency(12.5, 2.0, PLAYED_ALONG),
)


def there(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "profiles").iterdir())


def kept(folder: Path, profile: Profile = PROFILE) -> Path:
    path, told = write(folder, profile)
    assert told == ""
    return path


@settings(max_examples=80, deadline=None)
@given(PROFILES, PROFILES)
def test_what_is_written_is_read(one, other):
    """Into a new file, and over what was there; the other profile is none of its business."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        kept(folder, one)
        assert read(folder, one.kit, one.player) == (one, "")
        changed = replace(other, kit=one.kit, player=one.player)
        kept(folder, changed)
        assert read(folder, one.kit, one.player) == (changed, "")
        assert list_profiles(folder) == [(one.kit, one.player)]
        kept(folder, other)
        assert read(folder, other.kit, other.player) == (other, "")
        assert set(list_profiles(folder)) == {(p.kit, p.player) for p in (one, other)}


@given(PROFILES)
@settings(max_examples=40, deadline=None)
def test_writing_the_same_again_changes_no_byte(profile):
    with TemporaryDirectory() as name:
        path = kept(Path(name), profile)
        before = path.read_bytes()
        kept(Path(name), profile)
        assert path.read_bytes() == before
        assert there(Path(name)) == [path.name]


def test_where_there_is_no_file_the_profile_is_fresh(tmp_path):
    assert read(tmp_path, "practice kit", "Ana") == (Profile("practice kit", "Ana"), "")
    assert list_profiles(tmp_path) == []


@pytest.mark.parametrize(
    ("kit", "player", "name"),
    [
        ("Practice Kit", "Ana", "practice-kit--ana.toml"),
        ("Übungs/Kit: *", "..", "ubungs-kit--player.toml"),
        ("太鼓", "Ana", "kit--ana.toml"),
        ("k" * 300, "Ana", "k" * 40 + "--ana.toml"),
    ],
)
def test_a_file_has_a_name_that_is_safe_on_every_system(tmp_path, kit, player, name):
    assert kept(tmp_path, Profile(kit, player)).name == name


def test_names_that_are_alike_have_files_of_their_own(tmp_path):
    pairs = [("Kit 1", "Ana"), ("kit 1", "Ana"), ("kit-1", "ana"), ("太鼓", ""), ("鼓", "")]
    profiles = [Profile(*pair, port=str(at)) for at, pair in enumerate(pairs)]
    paths = [kept(tmp_path, profile) for profile in profiles]
    assert len({path.name.lower() for path in paths}) == len(pairs)
    for pair, profile in zip(pairs, profiles, strict=True):
        assert read(tmp_path, *pair) == (profile, "")
    assert list_profiles(tmp_path) == sorted(pairs)


def test_a_name_that_is_like_anothers_reads_nothing_of_it(tmp_path):
    kept(tmp_path, Profile("Kit 1", "Ana", "Port"))
    assert read(tmp_path, "kit 1", "ana") == (Profile("kit 1", "ana"), "")


def test_a_person_may_rename_the_kit_in_the_file(tmp_path):
    path = kept(tmp_path)
    path.write_text(path.read_text().replace('"practice kit"', '"cellar"'))
    moved = replace(PROFILE, kit="cellar")
    assert read(tmp_path, "cellar", "Ana") == (moved, "")
    assert kept(tmp_path, moved) == path


def test_every_table_says_what_it_means(tmp_path):
    text = kept(tmp_path).read_text()
    lines = text.splitlines()
    for table in ("notes", "pedal", "guards", "strokes", "latency", "calls"):
        assert lines[lines.index(f"[{table}]") + 1].startswith("# ")
    assert '40 = "snare"' in lines
    assert "ghost = [22, 25, 24]" in lines
    assert set(tomllib.loads(text)["notes"]) == {"40", "99"}


def test_comments_and_order_that_a_person_added_stay(tmp_path):
    path = kept(tmp_path)
    mine = (
        "# My cellar kit.\n"
        'player = "Ana"   # that is me\n'
        'kit = "practice kit"\n\n'
        "[latency]\n# Measured in May.\nhow = 'played along' # with headphones\nms = 12.5\n\n"
        "[guards.snare]\nthreshold = 8.5  # was 6\nmask_ms = 20\n"
        '[notes]\n# The rim:\n40 = "snare" # folded\n99 = "foot-splash"\n'
    )
    path.write_text(mine)
    changed = replace(
        PROFILE,
        port="Other Port",
        pads=Pads({40: "rim-shot"}, Pedal(), {"snare": Guard(25.0, 8.5), "kick": Guard(5.0)}),
        strokes={},
        latency=Latency(30.0, None, TYPED),
    )
    assert kept(tmp_path, changed) == path
    assert read(tmp_path, "practice kit", "Ana") == (changed, "")
    lines = [line for line in path.read_text().splitlines() if line]
    expected = [
        "# My cellar kit.",
        'player = "Ana"   # that is me',
        'kit = "practice kit"',
        "[latency]",
        "# Measured in May.",
        'how = "typed in" # with headphones',
        "ms = 30.0",
        "threshold = 8.5  # was 6",
        "mask_ms = 25.0",
        "[notes]",
        "# The rim:",
        '40 = "rim-shot" # folded',
    ]
    places = [lines.index(line) for line in expected]
    assert places == sorted(places)


HEAD = 'kit = "k"\nplayer = "p"\n'
LINES = [
    # What stands on line 3 and after; the line of the mistake; what is told of it.
    ('prot = "x"', 3, '"prot" is not known here; write port.'),
    ("port = 3", 3, '"port" must be words in quotes'),
    ('has = ["kick", "snair"]', 3, '"has" must be a list of voices'),
    ("notes = 3", 3, '"notes" must be a table: write [notes].'),
    ('[notes]\n38 = "snare"\n40 = "snar"', 5, "did you mean snare?"),
    ('[notes]\n# my pads\n\n128 = "snare"', 6, "is no note from 0 to 127"),
    ("[notes]\nsnare = 38", 4, '"snare" is no note from 0 to 127; write a line like 38 = "snare".'),
    ("[notes]\n38 = 5", 4, '"38" must be one of china'),
    ("[pedal]\nopen = 200", 4, '"open" must be a whole number from 0 to 127'),
    ("[pedal]\nopen = 1.5", 4, '"open" must be a whole number from 0 to 127'),
    ("[pedal]\nopen = 127", 3, "must differ; write open = 0 and closed = 127."),
    ("[pedal]\nclosd = 127", 4, '"closd" is not known here; write closed.'),
    ("[guards.snar]\nmask_ms = 3", 3, '"snar" is not a voice; write snare.'),
    ("[guards.snare]\nmask_ms = 900", 4, '"mask_ms" must be milliseconds from 0 to 200'),
    ("[guards.snare]\nthreshold = nan", 4, '"threshold" must be a velocity from 0 to 127'),
    ("[guards]\nsnare = 5", 4, '"snare" must be a table: write [guards.snare].'),
    ("[strokes.snare]\nghost = [1]\nsoft = [2]", 5, '"soft" is not a dynamic; write ghost'),
    ("[strokes.snare]\nghost = [1, 128]", 4, '"ghost" must be a list of velocities from 1 to 127'),
    ("[strokes.snare]\nghost = 5", 4, '"ghost" must be a list of velocities'),
    ("[strokes.snare]\nghost = []", 4, '"ghost" must be a list of velocities'),
    ("[strokes.snare]\nghost = [true]", 4, '"ghost" must be a list of velocities'),
    ("[latency]\nms = 9000", 4, '"ms" must be milliseconds from -50 to 500'),
    ("[latency]\nhow = 'typed in'", 3, '"ms" is missing; write ms = 12.5.'),
    ("[latency]\nms = 5\nhow = 'typed'", 5, "did you mean typed in?"),
    ("[latency]\nms = 5\nplus_minus_ms = -1", 5, '"plus_minus_ms" must be milliseconds from 0'),
    ("[calls]\ncall = 'kik'", 4, "did you mean kick?"),
    ("[calls]\nstrat = 'snare'", 4, '"strat" is not known here; write start'),
    ("[calls]\nleave = 5", 4, '"leave" must be one of'),
    ("[calls]\nleave = 'ride'", 3, '"next" and "leave" cannot both be on the ride.'),
    ("[notes", 3, "Expected ']'"),
    ('[notes]\n38 = "snare\n', 4, "Illegal"),
    ('[notes]\n38 = "kick"\n38 = "snare"', 5, "Cannot overwrite a value"),
]


def told_of(folder: Path, text: str) -> tuple[Path, list[str]]:
    """What is told of a file with mistakes, a line each."""
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TomlError) as caught:
        read_file(path)
    return path, str(caught.value).split("\n")


@pytest.mark.parametrize(("text", "line", "words"), LINES)
def test_a_mistake_is_told_with_its_line(tmp_path, text, line, words):
    path, told = told_of(tmp_path, HEAD + text)
    assert len(told) == 1
    assert told[0].startswith(f"{path}, line {line}: ")
    assert words in told[0]
    assert told[0].endswith((".", "?"))


def test_every_mistake_is_told(tmp_path):
    path, told = told_of(tmp_path, 'player = "p"\n[notes]\n400 = "snare"\n[pedal]\nopen = -1\n')
    assert [one.split(": ")[0] for one in told] == [f"{path}, line {line}" for line in (1, 3, 5)]
    assert '"kit" is missing; write kit = "...".' in told[0]


def test_a_file_in_another_encoding(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b'player = "p"\nkit = "\xfcbung"\n')
    with pytest.raises(TomlError, match=r"line 2: this is no UTF-8 text; save the file as UTF-8\."):
        read_file(path)


@pytest.mark.parametrize("text", ["x = " + "[" * 20_000, "x = " + "9" * 20_000])
def test_what_no_parser_can_hold_is_told(tmp_path, text):
    assert "line 1: " in told_of(tmp_path, text)[1][0]


@settings(max_examples=150, deadline=None)
@given(st.text(st.sampled_from("kitplayer38notes[]{}.=\",#\n '-_\\snare"), max_size=60))
def test_any_text_is_read_or_told(text):
    with TemporaryDirectory() as name:
        path = Path(name) / "mine.toml"
        path.write_text(text, encoding="utf-8")
        profile = None
        with suppress(TomlError):
            profile = read_file(path)
        if profile is None:
            assert told_of(Path(name), text)[1][0].startswith(f"{path}, line ")


def test_a_broken_profile_is_set_aside_and_never_lost(tmp_path):
    """However many there are already; the program goes on with a fresh one."""
    path = kept(tmp_path)
    broken = [
        path.read_text().replace("mask_ms = 20.0", f"mask_ms = {900 + at}") for at in range(3)
    ]
    for at, text in enumerate(broken):
        path.write_text(text)
        profile, told = read(tmp_path, "practice kit", "Ana")
        assert profile == Profile("practice kit", "Ana")
        aside = path.with_name(path.name + (".broken" if at == 0 else f".broken-{at + 1}"))
        line = text.splitlines().index(f"mask_ms = {900 + at}") + 1
        assert f"{path}, line {line}: " in told
        assert str(aside) in told
        assert aside.read_text() == text
        assert kept(tmp_path, profile) == path
    assert len(there(tmp_path)) == 4
    assert list_profiles(tmp_path) == [("practice kit", "Ana")]


def test_a_file_that_is_no_toml_any_more_is_set_aside_too(tmp_path):
    path = kept(tmp_path)
    path.write_text('kit = "practice kit\n')
    profile, told = read(tmp_path, "practice kit", "Ana")
    assert profile == Profile("practice kit", "Ana")
    assert told.startswith(f"{path}, line 1: ")
    assert there(tmp_path) == [f"{path.name}.broken"]


def test_what_was_broken_while_the_program_ran_is_set_aside_before_it_is_written(tmp_path):
    path = kept(tmp_path)
    mine = path.read_text().replace("open = 10", "open = ten")
    other = path.read_text().replace("open = 10", "open = 1000")
    path.write_text(other)
    again, told = write(tmp_path, PROFILE)
    assert again == path
    assert "must be a whole number" in told
    assert path.with_name(f"{path.name}.broken").read_text() == other
    assert read(tmp_path, "practice kit", "Ana") == (PROFILE, "")

    path.write_text(mine)  # no TOML at all: the names on top still tell whose it is
    again, told = write(tmp_path, PROFILE)
    assert again == path
    assert "line " in told
    assert path.with_name(f"{path.name}.broken-2").read_text() == mine
    assert read(tmp_path, "practice kit", "Ana") == (PROFILE, "")


def test_a_name_that_cannot_be_written_is_told(tmp_path):
    with pytest.raises(TomlError, match="cannot be written"):
        write(tmp_path, Profile("kit \udc80", "Ana"))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(TomlError) as caught:
        write(tmp_path / "file", PROFILE)
    assert "cannot be written (" in str(caught.value)
    assert "\n" not in str(caught.value)
    fresh, _ = read(tmp_path / "file", "practice kit", "Ana")
    assert fresh == Profile("practice kit", "Ana")


def test_a_folder_that_may_not_be_written_is_told_and_nothing_is_lost(tmp_path, monkeypatch):
    """As a system says it of a read-only folder; the one who may do anything is not told so."""
    path = kept(tmp_path)
    before = path.read_bytes()

    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")

    open_file = Path.open

    def opened(path, mode="r", *how, **more):
        return refused() if "x" in mode else open_file(path, mode, *how, **more)

    monkeypatch.setattr(Path, "open", opened)
    with pytest.raises(TomlError) as caught:
        write(tmp_path, replace(PROFILE, port="Other"))
    assert str(caught.value) == f"{path} cannot be written (Permission denied)."
    assert path.read_bytes() == before

    broken = before.replace(b"mask_ms = 20.0", b"mask_ms = 900")
    path.write_bytes(broken)
    monkeypatch.setattr(Path, "replace", refused)
    profile, told = read(tmp_path, "practice kit", "Ana")
    assert profile == Profile("practice kit", "Ana")
    assert "It cannot be set aside (Permission denied)." in told
    with pytest.raises(TomlError, match="Permission denied"):
        write(tmp_path, PROFILE)
    assert path.read_bytes() == broken
    assert there(tmp_path) == [path.name]


def test_a_write_that_is_cut_off_leaves_what_was_there(tmp_path, monkeypatch):
    path = kept(tmp_path)
    before = path.read_bytes()

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(TomlError, match="No space left on device"):
        write(tmp_path, replace(PROFILE, port="Other"))
    assert path.read_bytes() == before
    assert there(tmp_path) == [path.name]


def test_a_file_that_may_not_be_read_is_told_and_kept(tmp_path, monkeypatch):
    path = kept(tmp_path)
    before = path.read_bytes()

    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_text", refused)
        profile, told = read(tmp_path, "practice kit", "Ana")
        assert profile == Profile("practice kit", "Ana")
        assert told == f"{path} cannot be read (Permission denied)."
    assert path.read_bytes() == before


# The player's own strokes, by --strokes.


def test_strokes_are_read_from_a_profile_or_from_a_file_of_their_own(tmp_path):
    assert read_strokes(kept(tmp_path)) == PROFILE.strokes
    own = tmp_path / "strokes.toml"
    own.write_text("[snare]\nghost = [22, 25, 24]\nnormal = [70, 78, 74]\n")
    assert read_strokes(own) == PROFILE.strokes


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "holds no strokes: write a table like [snare]"),
        ("[snar]\nghost = [5, 6, 7]\n", 'line 1: "snar" is not a voice; write snare.'),
        ("[snare]\nghst = [5, 6, 7]\n", 'line 2: "ghst" is not a dynamic; write ghost.'),
        ("[snare]\nghost = [0, 6, 7]\n", 'line 2: "ghost" must be a list of velocities'),
        ("[snare]\nghost = [", "line 2: "),
        (HEAD + "[strokes]\n", "holds no strokes"),
    ],
)
def test_strokes_that_cannot_be_read_are_told(tmp_path, text, words):
    path = tmp_path / "strokes.toml"
    path.write_text(text)
    with pytest.raises(UserError) as caught:
        read_strokes(path)
    assert str(path) in str(caught.value)
    assert words in str(caught.value)


def test_no_strokes_file(tmp_path):
    with pytest.raises(UserError, match="cannot be read: No such file"):
        read_strokes(tmp_path / "nowhere.toml")


@pytest.mark.parametrize(
    "mine",
    [
        "guards = {} # none yet",
        "guards.snare.mask_ms = 12 # flams!\nlatency.ms = 14",
        "calls = { call = 'kick' }",
        "[[strokes]]",
    ],
)
def test_a_file_written_in_another_way_is_kept_or_set_aside_and_read_again(tmp_path, mine):
    path = kept(tmp_path)
    written = f'kit = "practice kit"\nplayer = "Ana"\n{mine}\n'
    path.write_text(written)
    again, told = write(tmp_path, PROFILE)
    assert again == path
    assert read(tmp_path, "practice kit", "Ana") == (PROFILE, "")
    aside = path.with_name(f"{path.name}.broken")
    if told:
        assert str(aside) in told
        assert aside.read_text() == written
    else:
        assert not aside.exists()


def test_mistakes_are_told_whatever_a_file_is_called(tmp_path):
    path = kept(tmp_path)
    other = path.with_name("my-own-name.toml")
    path.rename(other)
    other.write_text(other.read_text().replace("open = 10", "open = ten"))
    found, told = read(tmp_path, "practice kit", "Ana")
    assert told.startswith(f"{other}, line ")
    assert found == Profile("practice kit", "Ana")
