"""Profiles as texts: what is written is read, a person's words stay, mistakes have their line."""

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
from playalong.records.profiles import as_text, file_name, from_text, names_in, read_file, renamed
from playalong.records.strokes import read as read_strokes
from playalong.records.tables import TomlError
from playalong.support.errors import UserError
from tests.helpers import letters

NAMES = [voice.name for voice in VOICES]
WORDS = st.text(letters.ANY, max_size=12)
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
    kit=WORDS,
    player=WORDS,
    port=WORDS,
    pads=PADS,
    strokes=st.dictionaries(
        st.sampled_from(NAMES),
        st.dictionaries(st.sampled_from(Dynamic), VELOCITIES.map(tuple), min_size=1),
        max_size=4,
    ),
    latency=st.none()
    | st.builds(
        Latency,
        st.floats(LEAST_MS, MOST_MS),
        st.none() | st.floats(0.0, MOST_MS),
        st.sampled_from([PLAYED_ALONG, TYPED, CLICK_ON_KIT]),
    ),
    calls=st.sampled_from(
        [
            Calls(),
            Calls("cowbell"),
            Calls("crash", {Command.LEAVE: "kick"}),
            Calls("kick", {Command.LEAVE: "crash"}),
            Calls("kick", {}),
        ]
    ),
    has=st.sampled_from([(), ("kick", "snare", "hi-hat")]),
)

PROFILE = Profile(
    kit="practice kit",
    player="Ana",
    port="Drum Port",
    pads=Pads({40: "snare", 99: "foot-splash"}, Pedal(10, 90), {"snare": Guard(20.0, 8.5)}),
    strokes={"snare": {Dynamic.GHOST: (22.0, 25.0, 24.0), Dynamic.NORMAL: (70.0, 78.0, 74.0)}},
    latency=Latency(12.5, 2.0, PLAYED_ALONG),
)


def text_of(profile: Profile = PROFILE, before: str | None = None) -> str:
    text = as_text(profile, before)
    assert text is not None
    return text


@settings(max_examples=80, deadline=None)
@given(PROFILES, PROFILES)
def test_what_is_written_is_read(one, other):
    """As a new text, and over what was there."""
    text = text_of(one)
    assert from_text(text, "") == one
    assert from_text(text_of(other, text), "") == other


@given(PROFILES)
@settings(max_examples=40, deadline=None)
def test_writing_the_same_again_changes_no_character(profile):
    text = text_of(profile)
    assert as_text(profile, text) == text


@pytest.mark.parametrize(
    ("kit", "player", "name"),
    [
        ("Practice Kit", "Ana", "practice-kit--ana.toml"),
        ("Übungs/Kit: *", "..", "ubungs-kit--player.toml"),
        ("太鼓", "Ana", "kit--ana.toml"),
        ("k" * 300, "Ana", "k" * 40 + "--ana.toml"),
    ],
)
def test_a_file_has_a_name_that_is_safe_on_every_system(kit, player, name):
    assert file_name(Profile(kit=kit, player=player)) == name


def test_a_player_may_be_called_otherwise():
    mine = text_of().replace('player = "Ana"', 'player = "Ana" # that is me')
    text = renamed(mine, "Anneliese")
    assert text == mine.replace('"Ana"', '"Anneliese"')
    assert renamed("kit =", "Anneliese") is None


def test_every_table_says_what_it_means():
    text = text_of()
    lines = text.splitlines()
    for table in ("notes", "pedal", "guards", "strokes", "latency", "calls"):
        assert lines[lines.index(f"[{table}]") + 1].startswith("# ")
    assert '40 = "snare"' in lines
    assert "ghost = [22, 25, 24]" in lines
    assert set(tomllib.loads(text)["notes"]) == {"40", "99"}


def test_comments_and_order_that_a_person_added_stay():
    mine = (
        "# My cellar kit.\n"
        'player = "Ana"   # that is me\n'
        'kit = "practice kit"\n\n'
        "[latency]\n# Measured in May.\nhow = 'played along' # with headphones\nms = 12.5\n\n"
        "[guards.snare]\nthreshold = 8.5  # was 6\nmask_ms = 20\n"
        '[notes]\n# The rim:\n40 = "snare" # folded\n99 = "foot-splash"\n'
    )
    changed = replace(
        PROFILE,
        port="Other Port",
        pads=Pads({40: "rim-shot"}, Pedal(), {"snare": Guard(25.0, 8.5), "kick": Guard(5.0)}),
        strokes={},
        latency=Latency(30.0, None, TYPED),
    )
    text = text_of(changed, mine)
    assert from_text(text, "") == changed
    lines = [line for line in text.splitlines() if line]
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


def test_a_text_with_mistakes_takes_nothing_new():
    text = text_of()
    assert as_text(PROFILE, text.replace("open = 10", "open = ten")) is None
    assert as_text(PROFILE, text.replace("open = 10", "open = 1000")) is None


def test_a_name_that_cannot_be_written_is_told():
    with pytest.raises(TomlError, match="cannot be kept"):
        as_text(Profile(kit="kit \udc80", player="Ana"))


def test_a_broken_file_still_tells_whose_it_is(tmp_path):
    path = tmp_path / "mine.toml"
    for text, names in (
        (text_of(), ("practice kit", "Ana")),
        (text_of().replace("open = 10", "open = ten"), ("practice kit", "Ana")),
        ('kit = "practice kit', None),
    ):
        path.write_text(text)
        assert names_in(path) == names
    assert names_in(tmp_path / "nowhere.toml") is None


# The player's own strokes, by --strokes.


def test_strokes_are_read_from_a_profile_or_from_a_file_of_their_own(tmp_path):
    profile = tmp_path / "profile.toml"
    profile.write_text(text_of())
    assert read_strokes(profile) == PROFILE.strokes
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
    with pytest.raises(UserError, match=r"There is no file .*: check the name"):
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
def test_a_text_written_in_another_way_takes_what_is_new_or_none_of_it(mine):
    written = f'kit = "practice kit"\nplayer = "Ana"\n{mine}\n'
    text = as_text(PROFILE, written)
    assert text is None or from_text(text, "") == PROFILE
