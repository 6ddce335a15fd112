"""Choosing one of the MIDI ports by a part of its name."""

import pytest

from playalong.kit.ports import NO_PORT, PortError, choose

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
