"""Finding a pattern by its name."""

import pytest

from playalong.pattern.library.catalogue import Library, UnknownPattern
from playalong.pattern.reader import PatternError

TEXT = 'title = "T"\nmeter = "1/4"\ntempo = 60\n[[bar]]\nsnare = "x"\n'
LIBRARY = Library({"wet-stairs": TEXT, "early-tram": TEXT, "tin-roof-2": TEXT, "broken": "tempo ="})


def test_names_are_in_order():
    assert LIBRARY.names() == ["broken", "early-tram", "tin-roof-2", "wet-stairs"]


@pytest.mark.parametrize(
    "asked", ["tin-roof-2", "Tin Roof 2", "TINROOF2", " tin_roof_2 ", "Tin Roof, 2"]
)
def test_capitals_spaces_and_hyphens_do_not_matter(asked):
    assert LIBRARY.get(asked).name == "tin-roof-2"


@pytest.mark.parametrize(
    ("asked", "nearest"),
    [("wet-stair", "wet-stairs"), ("tram", "early-tram"), ("Tin Rof", "tin-roof-2")],
)
def test_the_nearest_name_is_told_first(asked, nearest):
    with pytest.raises(UnknownPattern) as caught:
        LIBRARY.get(asked)
    assert str(caught.value).startswith(f'There is no pattern "{asked}"; did you mean "{nearest}"')


@pytest.mark.parametrize("asked", ["", "???", "zzzzqqqq"])
def test_where_no_name_is_near_it_says_how_to_list_them(asked):
    with pytest.raises(UnknownPattern, match="list them with: playalong patterns"):
        LIBRARY.get(asked)


def test_a_broken_file_is_told_only_when_it_is_asked_for():
    assert LIBRARY.get("wet stairs").title == "T"
    with pytest.raises(PatternError, match="broken, line 1"):
        LIBRARY.get("broken")
