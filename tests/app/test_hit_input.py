"""The way in of a hit: stamps, latency, take and mapping, and that a file gives back the same."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.app.run.hit_input import HitInput
from playalong.midi.mapping import Mapper, hits_of
from playalong.midi.pads import Guard, Pads
from playalong.midi.port import Arrival
from playalong.midi_io.timestamps import StampFilter
from playalong.records.takes import Recording

#: The driver's clock is so far behind the program's.
BEHIND_S = 812.25

SNARE, KICK, HAT = 38, 36, 42

#: A snare that doubles, and one that is touched.
GUARDED = Pads(guards={"snare": Guard(30.0, 12), "kick": Guard(20.0, 0)})


def struck(note: int, velocity: int = 90) -> bytes:
    return bytes((0x99, note, velocity))


class Late:
    """A port whose messages get here some time after their stamps."""

    name = "a kit"

    def __init__(self, *messages: tuple[float, float, bytes]) -> None:
        """Each message: when it was sent, how long it took, and its bytes."""
        self._waiting = [
            Arrival(stamp_s=sent_s - BEHIND_S, arrival_s=sent_s + late_s, data=data)
            for sent_s, late_s, data in messages
        ]
        self.there = True

    def poll(self) -> list[Arrival]:
        waiting, self._waiting = self._waiting, []
        return waiting

    def is_there(self) -> bool:
        return self.there

    def reopen(self) -> bool:
        return self.there

    def close(self) -> None:
        pass


def test_a_hit_has_the_time_of_its_stamp():
    """Late by 1 ms at least; what is later is told by its stamp all the same."""
    port = Late((1.0, 0.001, struck(SNARE)), (1.5, 0.009, struck(KICK)), (2.0, 0.03, struck(HAT)))
    found = HitInput(port, StampFilter(), Pads()).read()
    assert [one.hit.voice for one in found] == ["snare", "kick", "hi-hat"]
    assert [one.time_s for one in found] == pytest.approx([1.001, 1.501, 2.001])


def test_latency_and_origin_are_taken_off():
    port = Late((10.0, 0.0, struck(SNARE)))
    (found,) = HitInput(port, StampFilter(), Pads(), latency_ms=25.0, origin_s=4.0).read()
    assert found.time_s == found.hit.time_s == pytest.approx(5.975)


def test_what_is_no_hit_is_told_too():
    port = Late((1.0, 0.0, bytes((0xB9, 4, 100))), (1.1, 0.0, struck(127)))
    pedal, unknown = HitInput(port, StampFilter(), Pads()).read()
    assert pedal.hit is unknown.hit is None
    assert pedal.data == bytes((0xB9, 4, 100))
    assert unknown.dropped == "unknown pad"


def test_what_is_discarded_is_gone():
    hits = HitInput(Late((1.0, 0.0, struck(SNARE))), StampFilter(), Pads())
    hits.discard()
    assert hits.read() == []


def test_other_pads_hold_from_then_on():
    port = Late((1.0, 0.0, struck(100)))
    hits = HitInput(port, StampFilter(), Pads())
    assert hits.read()[0].hit is None
    hits.pads = Pads({100: "snare"})
    port._waiting = [Arrival(stamp_s=2.0, arrival_s=2.0, data=struck(100))]
    assert hits.read()[0].hit.voice == "snare"


def test_it_knows_since_when_the_port_is_away():
    port = Late()
    hits = HitInput(port, StampFilter(), Pads())
    assert hits.look(1.0)
    port.there = False
    assert not hits.look(2.0)
    assert (hits.is_there, hits.there_s) == (False, 1.0)
    port.there = True
    assert hits.look(3.0)
    assert hits.there_s == 3.0


MESSAGES = st.lists(
    st.tuples(
        st.floats(0.0, 0.4),
        st.floats(0.0, 0.05),
        st.one_of(
            st.builds(struck, st.sampled_from((SNARE, KICK, HAT, 46, 127)), st.integers(0, 127)),
            st.builds(lambda value: bytes((0xB9, 4, value)), st.integers(0, 127)),
            st.builds(lambda value: bytes((0x89, HAT, value)), st.integers(0, 127)),
        ),
    ),
    max_size=30,
)


@given(MESSAGES, st.floats(0.0, 80.0), st.sampled_from((Pads(), GUARDED)))
def test_the_take_gives_back_the_same_hits(messages, latency_ms, pads):
    """Bit by bit: what was judged live is what the file is graded with."""
    origin_s, at_s, sent = 3.0, 3.0, []
    for gap_s, late_s, data in messages:
        at_s += gap_s
        sent.append((at_s, late_s, data))
    recording = Recording(120.0, Fraction(1, 4), 2.0, info={})
    hits = HitInput(
        Late(*sent),
        StampFilter(),
        pads,
        latency_ms=latency_ms,
        origin_s=origin_s,
        recording=recording,
    )
    live = [one.hit for one in hits.read() if one.hit is not None]
    take = recording.take()
    again, _ = hits_of(take.messages, pads, take.start_s)
    told = sorted((hit.time_s, hit.voice, hit.velocity) for hit in live)
    read = sorted((again[n].time_s, again[n].voice, again[n].velocity) for n in range(len(again)))
    assert told == read


@given(MESSAGES)
def test_without_guards_is_what_a_mapper_without_guards_makes(messages):
    bare = Mapper(Pads())
    at_s, sent = 1.0, []
    for gap_s, _, data in messages:
        at_s += gap_s
        sent.append((at_s, 0.0, data))
    hits = HitInput(Late(*sent), StampFilter(), GUARDED)
    for one in hits.read():
        assert one.unguarded == bare.hit(one.time_s, one.data)
