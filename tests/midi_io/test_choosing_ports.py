"""Choosing one of the MIDI ports by a part of its name."""

import pytest

from playalong.midi_io.backend import (
    ALSA_NUMBERS,
    NO_PORT,
    WINDOWS_NUMBER,
    PortError,
    choose,
    distinct_names,
    plain_name,
    plain_names,
)

ONE = ["Pad Box:MIDI 1"]
SEVERAL = ["Through:0", "Pad Box:MIDI 1", "Pad Box:MIDI 2", "Keys:0"]


@pytest.mark.parametrize(
    ("names", "part", "chosen"),
    [
        (ONE, None, "Pad Box:MIDI 1"),
        (ONE, "pad", "Pad Box:MIDI 1"),
        (SEVERAL, "keys", "Keys:0"),
        (SEVERAL, "BOX:midi 2", "Pad Box:MIDI 2"),
        (["Pad", "Pad Box"], "Pad", "Pad"),  # a whole name goes before parts of names
        (["Pad", "Pad Box"], "pad box", "Pad Box"),
        (["Pad", "Pad"], "Pad", "Pad"),
    ],
)
def test_one_fits(names, part, chosen):
    assert choose(names, part) == chosen


@pytest.mark.parametrize("part", [None, "pad"])
def test_there_is_none(part):
    with pytest.raises(PortError) as caught:
        choose([], part)
    assert str(caught.value) == NO_PORT


@pytest.mark.parametrize("part", ["drum", "Pad Box:MIDI 12"])
def test_none_fits(part):
    with pytest.raises(PortError) as caught:
        choose(SEVERAL, part)
    assert f'No MIDI port has "{part}" in its name' in str(caught.value)
    assert all(f'"{name}"' in str(caught.value) for name in SEVERAL)


@pytest.mark.parametrize("part", [None, "", "pad", "MIDI"])
def test_several_fit(part):
    with pytest.raises(PortError) as caught:
        choose(SEVERAL, part)
    assert "choose with --port one of" in str(caught.value)
    assert '"Pad Box:MIDI 1", "Pad Box:MIDI 2"' in str(caught.value)


@pytest.mark.parametrize(
    ("name", "numbers", "plain"),
    [
        ("Pad Box:Pad Box MIDI 1 24:0", ALSA_NUMBERS, "Pad Box:Pad Box MIDI 1"),
        ("Pad Box:MIDI 2", ALSA_NUMBERS, "Pad Box:MIDI 2"),
        ("Pad Box 1", WINDOWS_NUMBER, "Pad Box"),
        ("Pad Box", WINDOWS_NUMBER, "Pad Box"),
        ("12:0", ALSA_NUMBERS, "12:0"),
    ],
)
def test_what_changes_when_it_is_plugged_in_again_is_no_part_of_a_plain_name(name, numbers, plain):
    assert plain_name(name, numbers) == plain


def test_ports_of_one_name_are_told_apart_by_their_order():
    assert distinct_names(["Pad", "Keys", "Pad", "Pad"]) == ["Pad", "Keys", "Pad (2)", "Pad (3)"]


def test_ports_of_one_plain_name_are_told_apart_by_their_order(monkeypatch):
    monkeypatch.setattr("playalong.midi_io.backend.plain_name", lambda name: name.rsplit(" ", 1)[0])
    assert plain_names(["Pad 24:0", "Keys 28:0", "Pad 32:0"]) == {
        "Pad": "Pad 24:0",
        "Keys": "Keys 28:0",
        "Pad (2)": "Pad 32:0",
    }


@pytest.mark.parametrize(
    ("part", "remembered", "chosen"),
    [
        (None, "Pad Box:MIDI 2", "Pad Box:MIDI 2"),
        ("pad", "Pad Box:MIDI 2", "Pad Box:MIDI 2"),
        ("keys", "Pad Box:MIDI 2", "Keys:0"),  # what is asked for goes before what is remembered
    ],
)
def test_of_several_the_remembered_one_is_chosen(part, remembered, chosen):
    assert choose(SEVERAL, part, remembered) == chosen


def test_where_the_remembered_one_is_not_there_it_is_as_without():
    assert choose(ONE, None, "Keys:0") == "Pad Box:MIDI 1"
    with pytest.raises(PortError, match="choose with --port one of"):
        choose(SEVERAL, None, "Drums:0")
