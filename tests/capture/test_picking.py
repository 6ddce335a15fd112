"""What was unsure or left out is taken or dropped, and the pattern follows."""

from fractions import Fraction

from playalong.capture import phrases
from playalong.capture.picking import State, changed, items, picked
from playalong.capture.understanding import Captured, understand
from playalong.midi.hits import Hit, Hits
from playalong.pattern.meter import Meter

BEAT_S = 0.6


def captured(*more: tuple[float, str]) -> Captured:
    """Eight bars of a plain groove without faults, and more hits at beats."""
    hits = []
    for bar in range(8):
        start = 4 * bar
        hits += [(start + place / 2, "hi-hat") for place in range(8)]
        hits += [(start + 0.0, "kick"), (start + 2.0, "kick"), (start + 2.5, "kick")]
        hits += [(start + 1.0, "snare"), (start + 3.0, "snare")]
    found = Hits.of(Hit(1.0 + BEAT_S * beat, voice, 80) for beat, voice in [*hits, *more])
    return understand(found, name="groove", title="Groove", meters=[Meter.parse("4/4")], bars=1)


def test_nothing_is_unsure_of_what_came_every_time() -> None:
    assert items(captured()) == []


def test_a_stray_may_be_taken() -> None:
    heard = captured((9.75, "snare"))
    (item,) = items(heard)
    assert (item.state, item.came, item.rounds) == (State.LEFT_OUT, 1, 8)
    assert picked(heard.pattern, [item]) == heard.pattern

    taken = picked(heard.pattern, [changed(item, 1)])

    new = set(taken.bars[0].strokes) - set(heard.pattern.bars[0].strokes)
    assert [(one.at, one.voice) for one in new] == [(Fraction(7, 16), "snare")]


def test_an_optional_stroke_may_be_taken_or_dropped() -> None:
    heard = captured(*((4.0 * bar + 1.5, "kick") for bar in (0, 1, 4, 6)))
    (item,) = items(heard)
    assert item.state is State.OPTIONAL

    def strokes(state: State) -> list[bool]:
        of = item if item.state is state else changed(item, 1)
        of = of if of.state is state else changed(item, -1)
        bar = picked(heard.pattern, [of]).bars[0]
        return [
            one.optional for one in bar.strokes if (one.at, one.voice) == (Fraction(3, 8), "kick")
        ]

    assert strokes(State.OPTIONAL) == [True]
    assert strokes(State.TAKEN) == [False]
    assert strokes(State.LEFT_OUT) == []


def test_what_was_left_out_is_told_by_its_place() -> None:
    lines = phrases.report(captured((9.75, "snare")))

    assert "left out: a of 2: snare, came in 1 of 8" in lines
