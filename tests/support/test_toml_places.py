"""Places in TOML: texts are written with the place of everything noted down, and must give it back.

What a text means comes from tomllib (TOML 1.0.0), which reads it beside.
"""

import tomllib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.support.toml.places import TomlText, TomlTextError
from tests.helpers import letters

#: Values as they are written, and at which of their characters what they hold begins; many look
#: like something else.
VALUES = [
    ("84", 0),
    ("-1.5e3", 0),
    ("true", 0),
    ("1979-05-27 07:32:00", 0),
    ('"x--- x---"', 1),
    ("'R- L-'", 1),
    ('""', 1),
    ("''", 1),
    ('"a # b = [c] \\" d"', 1),
    ("'a # b = [c] \\'", 1),
    ('"""one line"""', 3),
    ('"""\n[table]\nkey = 1\n"""', 4),
    ("'''\n[[bar]]\nsnare = \"x\"\n'''", 4),
    ('"""\\\n  a \\""" = b\n"""', 3),
    ('"""two quotes at the end"""""', 3),
    ("[]", 0),
    ("[1, 2] # key = 3", 0),
    ('[\n  1, # ] and [\n  "[x]",\n  [2,\n3], ]', 0),
    ('{ a = 1, "b.c" = [1, 2], d = { e = "]" } }', 0),
]
NAMES = [("tempo", "tempo"), ("hi-hat", "hi-hat"), ('"two words"', "two words"), ("'a.b'", "a.b")]
NAMES += [('"a \\"b\\" = [c]"', 'a "b" = [c]'), ("1", "1"), ('""', "")]
FILLING = ["", "\n", "# a comment = [here]\n", "   \n\t# [table]\n"]


class Writing:
    """A text that is written statement by statement, with its places noted down."""

    def __init__(self) -> None:
        self.text = ""
        self.keys: dict[tuple, int] = {}
        self.values: dict[tuple, int] = {}
        self.table: tuple = ()
        self.counts: dict[str, int] = {}

    def fill(self, text: str) -> None:
        self.text += text

    def header(self, name: str) -> None:
        self.table = (name,)
        self.keys[self.table] = len(self.text)
        self.text += f"[{name}]\n"

    def one_of_many(self, name: str) -> None:
        self.counts[name] = self.counts.get(name, -1) + 1
        self.table = (name, self.counts[name])
        self.text += "  "
        self.keys[self.table] = len(self.text)
        self.text += f"[[ {name} ]] # one\n"

    def below(self, name: str, under: str) -> None:
        self.table = (name, self.counts[name], under)
        self.keys[self.table] = len(self.text)
        self.text += f"[{name} . {under}]\n"

    def key(self, names: list[tuple[str, str]], value: tuple[str, int]) -> None:
        path = (*self.table, *(meant for _, meant in names))
        self.keys[path] = len(self.text)
        self.text += f"{'.'.join(written for written, _ in names)} =  "
        self.values[path] = len(self.text) + value[1]
        self.text += f"{value[0]}\n"


@st.composite
def writings(draw: st.DrawFn) -> Writing:
    made = Writing()
    for number in range(draw(st.integers(0, 5))):
        made.fill(draw(st.sampled_from(FILLING)))
        kind = draw(st.sampled_from(["same", "table", "array", "below"]))
        if kind == "table":
            made.header(f"t{number}")
        elif kind == "array":
            made.one_of_many(draw(st.sampled_from(["bar", "chunk"])))
        elif kind == "below" and made.counts:
            made.below(draw(st.sampled_from(sorted(made.counts))), f"u{number}")
        for names in draw(st.lists(st.lists(st.sampled_from(NAMES), min_size=1, max_size=2))):
            path = (*made.table, *(meant for _, meant in names))
            ways = [path[:length] for length in range(len(made.table) + 1, len(path) + 1)]
            below = any(known[: len(path)] == path for known in made.keys)
            if below or any(way in made.values for way in ways):
                continue  # a name is given once
            made.key(names, draw(st.sampled_from(VALUES)))
    return made


def place(text: str, at: int) -> tuple[int, int]:
    lines = text[:at].split("\n")
    return len(lines), len(lines[-1]) + 1


@given(writings(), st.booleans())
def test_everything_is_found_where_it_was_written(made: Writing, marked: bool) -> None:
    found = TomlText(("\ufeff" if marked else "") + made.text)
    assert found.tables == tomllib.loads(made.text)
    for path, at in made.keys.items():
        assert found.key(path) == place(made.text, at), path
    for path, at in made.values.items():
        assert found.value(path) == place(made.text, at), path


def test_a_character_of_a_value_has_its_own_place() -> None:
    found = TomlText('[[bar]]\nsnare = "x q"\nabout = """\none\ntwo"""\n')
    assert found.value(("bar", 0, "snare"), 2) == (2, 12)
    assert found.value(("bar", 0, "about"), 0) == (4, 1)
    assert found.value(("bar", 0, "about"), 5) == (5, 2)


def test_what_is_not_written_by_itself_is_where_it_stands_in() -> None:
    found = TomlText("a = 1\n[b.c]\nd = { e = 2 }\n")
    assert found.key(("b", "c", "d", "e")) == (3, 1)
    assert found.value(("b", "c", "d", "e")) == (3, 1)
    assert found.key(("b",)) == (2, 1)
    assert found.key(("nowhere", 3)) == (1, 1)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("a = 1\nb = \n", 2, 5),
        ("a = 1\nb = 2 c\n", 2, 7),
        ("[a\n", 1, 3),
        ('a = "x', 1, 1),  # at the end of the text
        ("a = [1,\n\n", 3, 1),
        ("a = 1\na = 2\n", 2, 6),
    ],
)
def test_a_text_that_is_no_toml_is_told_at_its_place(text: str, line: int, column: int) -> None:
    with pytest.raises(TomlTextError) as caught:
        TomlText(text)
    assert (caught.value.line, caught.value.column) == (line, column)
    assert "(at" not in caught.value.message
    assert str(caught.value) == caught.value.message


@pytest.mark.parametrize("value", ["9" * 5000, "[" * 100_000])
def test_a_text_beyond_what_can_be_held_is_told(value: str) -> None:
    with pytest.raises(TomlTextError, match="too long to be read"):
        TomlText(f"a = {value}")


@given(st.text(letters.ANY, max_size=80))
def test_any_text_is_read_or_told(text: str) -> None:
    told: TomlTextError | None = None
    try:
        found = TomlText(text)
    except TomlTextError as error:
        told = error
    if told is None:
        assert all(found.key((name,)) >= (1, 1) for name in found.tables)
    else:
        assert 1 <= told.line <= text.count("\n") + 1
        assert told.column >= 1


def test_numbers_are_made_as_is_asked() -> None:
    assert TomlText("a = 0.1", parse_float=Decimal).tables == {"a": Decimal("0.1")}
