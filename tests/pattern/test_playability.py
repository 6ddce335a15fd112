"""What two hands and two feet can play: plain cases on either side of each figure."""

from fractions import Fraction

import pytest

from playalong.pattern.library.playability import stop
from playalong.pattern.reader import read


def stopped(tempo: float, second_pedal: bool = False, **lines: str):
    rows = "".join(f'{name.replace("_", "-")} = "{line}"\n' for name, line in lines.items())
    text = f'title = "A Test"\nmeter = "4/4"\ntempo = 100\n[[bar]]\n{rows}'
    return stop(read(text, "a-test"), tempo, second_pedal=second_pedal)


SIXTEENTHS = "xxxx xxxx xxxx xxxx"


def test_more_than_two_hands_at_once():
    found = stopped(60, crash="x - - -", hi_hat="x - - -", snare="x - - -")
    assert (found.bar, found.at) == (0, Fraction(0))
    assert "crash, hi-hat, snare" in found.why


def test_a_flam_needs_both_hands():
    assert stopped(60, hi_hat="x x x x", snare="- f - -") is not None
    assert stopped(60, hi_hat="x - x x", snare="- f - -") is None


@pytest.mark.parametrize(("tempo", "can"), [(112, True), (128, False)])
def test_sixteenth_notes_of_one_hand(tempo, can):
    right = " ".join(["RRRR"] * 4)
    assert (stopped(tempo, hi_hat=SIXTEENTHS, sticking=right) is None) is can


@pytest.mark.parametrize(("tempo", "can"), [(200, True), (252, False)])
def test_sixteenth_notes_hand_to_hand(tempo, can):
    hands = " ".join(["RLRL"] * 4)
    assert (stopped(tempo, snare=SIXTEENTHS, sticking=hands) is None) is can


@pytest.mark.parametrize(("tempo", "can"), [(140, True), (172, False)])
def test_doubles_bounce_up_to_their_speed(tempo, can):
    snare, hands = " ".join(["xxxxxxxx"] * 4), " ".join(["RRLLRRLL"] * 4)
    assert (stopped(tempo, snare=snare, sticking=hands) is None) is can


@pytest.mark.parametrize(("pedal", "can"), [(False, False), (True, True)])
def test_sixteenth_notes_of_the_foot(pedal, can):
    assert (stopped(140, pedal, kick=SIXTEENTHS) is None) is can


def test_the_other_foot_cannot_be_on_two_pedals():
    foot = "x--- x--- x--- x---"
    assert stopped(100, True, kick=SIXTEENTHS, hi_hat_pedal=foot) is None
    fast = stopped(170, True, kick=SIXTEENTHS, hi_hat_pedal="xxxx xxxx xxxx xxxx")
    assert fast is not None
    assert "foot" in fast.why


def test_a_hand_needs_time_to_reach_another_drum():
    lines = {"snare": "xx-- ---- ---- ----", "high_tom": "--x- ---- ---- ----"}
    hands = "RRR- ---- ---- ----"
    assert stopped(100, **lines, sticking=hands) is None
    assert stopped(180, **lines, sticking=hands) is not None
