"""Learn mode, with made-up kits and a player who strikes what is lit up."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from playalong.midi.pads import Pads, Pedal
from playalong.pattern.voices import BY_NAME, BY_NOTE
from playalong.profile.pad_learning import LATE_S, WAIT_S, ZONES, Learning

FRAME_S = 1 / 60
#: The zones that the default table has numbers for, with these numbers.
USUAL = {
    "kick": 36,
    "snare": 38,
    "snare rim": 40,
    "cross-stick": 37,
    "pedal chick": 44,
    "hi-hat": 42,
    "hi-hat edge": 22,
    "open hi-hat": 46,
    "open hi-hat edge": 26,
    "high tom": 48,
    "high tom rim": 50,
    "mid tom": 45,
    "mid tom rim": 47,
    "floor tom": 43,
    "floor tom rim": 58,
    "crash": 49,
    "second crash": 57,
    "ride": 51,
    "ride edge": 59,
    "ride bell": 53,
}
ODD = {name: 1 + 2 * place for place, name in enumerate(USUAL)}


@dataclass(kw_only=True)
class Kit:
    """What a kit sends.

    ``notes``: zone to note, where a zone that is not there sends nothing. ``ends``: controller 4
    with the foot off and on, None without; ``streams``: told at each frame, one to and fro.
    ``bounce``, ``crosstalk``: a second trigger 30 ms later, and a soft note of another pad 2 ms
    sooner. ``rings``: a zone that also sounds the note of another, a little louder.
    """

    notes: dict[str, int]
    channel: int = 10
    ends: tuple[int, int] | None = (0, 127)
    streams: bool = False
    sensing: bool = False
    bounce: bool = False
    crosstalk: bool = False
    rings: dict[str, str] = field(default_factory=dict)

    def stroke(self, zone: str, at_s: float, velocity: int) -> list[tuple[float, bytes]]:
        if zone not in self.notes:
            return []
        note, on = self.notes[zone], 0x90 | (self.channel - 1)
        sent = [
            (at_s, bytes((on, note, velocity))),
            (at_s + 0.08, bytes((on, note, 0))),
            (at_s + 0.08, bytes((on & 0x8F, note, 64))),
        ]
        if self.bounce:
            sent.append((at_s + 0.03, bytes((on, note, velocity // 2))))
        if self.crosstalk:
            # A pad that has not been asked for yet hears it.
            other = [n for n in self.notes.values() if n != note][-1]
            sent.append((at_s - 0.002, bytes((on, other, max(1, velocity // 8)))))
        if zone in self.rings:
            sent.append(
                (at_s + 0.001, bytes((on, self.notes[self.rings[zone]], min(127, velocity + 8))))
            )
        return sent

    def pedal(self, at_s: float, pressed: float) -> tuple[float, bytes]:
        assert self.ends is not None
        value = round(self.ends[0] + pressed * (self.ends[1] - self.ends[0]))
        return at_s, bytes((0xB0 | (self.channel - 1), 4, value))


def learn(
    kit: Kit, learning: Learning, lacking: str = "wait", *, foot: float = 0.0
) -> tuple[float, set[str]]:
    """Play what is asked until all is known; how many seconds it took, and what was said.

    The player needs half a second for each zone and strikes twice a second. ``lacking`` says
    what is done where the kit lacks a zone: "wait", "skip" or "kick". ``foot`` is where the foot
    rests on the pedal at first, 0 to 1.
    """
    chance = np.random.default_rng(7)
    sent: list[tuple[float, bytes]] = []
    now_s, next_s, zone, pressed, course = 10.0, 10.5, None, foot, []
    said = set()
    while learning.zone is not None:
        assert now_s < 400.0, f"stuck at {learning.zone.name}"
        if learning.zone is not zone:
            zone, next_s, course = learning.zone, now_s + 0.5, []
            if zone.travels:
                # Down and up, twice, a quarter of a second each way.
                steps = np.interp(
                    np.arange(0.0, 1.0, FRAME_S), (0, 0.25, 0.5, 0.75, 1), (0, 1, 0, 1, 0)
                )
                course = [*np.linspace(pressed, 0.0, 5).tolist(), *steps.tolist(), 0.0]
        if now_s >= next_s and course:
            pressed = course.pop(0)
            if kit.ends:
                sent.append(kit.pedal(now_s, pressed))
        elif now_s >= next_s and not zone.travels:
            foot_at = {"hi-hat": 1.0, "pedal chick": 1.0}.get(zone.name.removesuffix(" edge"), 0.0)
            if kit.ends and foot_at != pressed and zone.name.startswith(("hi", "open", "pedal")):
                pressed = foot_at
                sent.append(kit.pedal(now_s, pressed))
            velocity = int(chance.integers(50, 110))
            if zone.name in kit.notes:
                sent += kit.stroke(zone.name, now_s + 0.005, velocity)
            elif lacking == "kick":
                sent += kit.stroke("kick", now_s + 0.005, velocity)
            elif lacking == "skip":
                learning.skip()
            next_s = now_s + 0.5
        elif kit.streams and kit.ends:
            wobble = float(np.clip(pressed + chance.uniform(-0.02, 0.02), 0.0, 1.0))
            sent.append(kit.pedal(now_s, wobble))
        if kit.sensing:
            sent.append((now_s, b"\xfe"))
        sent.sort()
        while sent and sent[0][0] <= now_s:
            learning.message(*sent.pop(0))
        learning.time_passed(now_s)
        said.add(learning.said)
        now_s += FRAME_S
    return now_s - 10.0, said


def test_the_usual_kit_needs_no_notes_of_its_own_and_a_minute():
    learning = Learning()
    seconds, _ = learn(Kit(notes=USUAL), learning)
    assert learning.result(fold=False) == Pads()
    assert seconds <= 60.0, seconds
    assert learning.words == "That was all."


def test_without_rims_of_their_own_rims_are_mapped_to_their_drum():
    learning = Learning()
    learn(Kit(notes=USUAL), learning)
    folded = learning.result(fold=True)
    assert folded == Pads({40: "snare", 37: "snare", 53: "ride"})


@pytest.mark.parametrize("lacking", ["wait", "skip", "kick"])
def test_a_kit_on_other_numbers_and_another_channel(lacking):
    learning = Learning()
    seconds, _ = learn(Kit(notes=ODD, channel=3, sensing=True), learning, lacking)
    pads = learning.result(fold=False)
    voices = {zone.name: zone.voice for zone in ZONES}
    for name, note in ODD.items():
        assert pads.voice(note) == voices[name], name
    assert set(pads.notes) <= set(ODD.values())
    assert all(BY_NOTE.get(note) != BY_NAME[voice] for note, voice in pads.notes.items())
    assert seconds <= 60.0, seconds


def test_bounces_crosstalk_and_a_running_pedal_are_no_strokes():
    kit = Kit(notes=ODD, channel=16, streams=True, sensing=True, bounce=True, crosstalk=True)
    learning = Learning()
    learn(kit, learning)
    clean = Learning()
    learn(Kit(notes=ODD), clean)
    assert learning.result(False).notes == clean.result(False).notes


def test_a_rim_that_sounds_the_head_as_well_is_still_a_rim():
    learning = Learning()
    learn(Kit(notes=USUAL, rings={"snare rim": "snare"}), learning)
    assert learning.result(False) == Pads()
    assert 40 in [found.note for found in learning.found]


@pytest.mark.parametrize("streams", [False, True])
@pytest.mark.parametrize("foot", [0.0, 1.0])
@pytest.mark.parametrize("ends", [(0, 127), (127, 0), (30, 80), (90, 20), (0, 16)])
def test_the_pedal_is_learned_wherever_the_foot_was(ends, foot, streams):
    learning = Learning()
    learn(Kit(notes=USUAL, ends=ends, streams=streams), learning, foot=foot)
    pedal = learning.result(False).pedal
    assert (pedal.open, pedal.closed) == ends


def test_the_foot_that_rests_on_the_pedal_is_found_out_by_the_hi_hat():
    zones = [zone for zone in ZONES if zone.name in ("pedal", "hi-hat", "open hi-hat")]
    learning = Learning(zones)
    for place, value in enumerate((100, 60, 10, 60, 100)):
        learning.message(0.1 * place, bytes((0xB9, 4, value)))
    learning.time_passed(2.0)
    assert "100 when let go" in learning.said
    for place, value in enumerate((98, 98, 12, 12)):
        learning.message(3.0 + place, bytes((0xB9, 4, value)))
        learning.message(3.1 + place, bytes((0x99, 42, 90)))
        learning.time_passed(3.5 + place)
    assert learning.result(False).pedal == Pedal(open=10, closed=100)


def test_one_note_for_the_hi_hat_is_told_open_by_its_pedal():
    notes = {name: note for name, note in USUAL.items() if "hi-hat" not in name}
    notes |= {"hi-hat": 42, "hi-hat edge": 42, "open hi-hat": 42}
    learning = Learning()
    _, said = learn(Kit(notes=notes), learning)
    assert "The pedal tells the open hi-hat from the hi-hat." in said
    assert "The kit cannot tell the hi-hat edge from the hi-hat: they count as one." in said
    assert learning.result(False) == Pads()


def test_without_controller_4_one_note_is_one_hi_hat():
    notes = USUAL | {"hi-hat edge": 42, "open hi-hat": 42, "open hi-hat edge": 42}
    learning = Learning()
    learn(Kit(notes=notes, ends=None), learning)
    assert learning.result(False) == Pads()
    assert sum(found.note == 42 for found in learning.found) == 1
    edge = next(found for found in learning.found if found.zone.name == "open hi-hat edge")
    assert not edge.requested


def test_a_kit_without_rims_is_learned_in_a_minute():
    """The player strikes each rim nevertheless, and the drum's own note comes."""
    notes = {
        name: note
        for name, note in USUAL.items()
        if not name.endswith((" rim", " edge", " bell", "-stick"))
    }
    for zone in ZONES:
        if zone.of in notes and zone.part != "middle":
            notes[zone.name] = notes[zone.of]
    learning = Learning()
    seconds, _ = learn(Kit(notes=notes), learning)
    assert seconds <= 60.0, seconds
    assert learning.result(False) == learning.result(True) == Pads()
    own = [found.note for found in learning.found if found.note is not None]
    assert len(own) == len(set(own)) == len(set(notes.values()))


def test_a_zone_waits_for_the_player_unless_a_kit_may_lack_it():
    learning = Learning()
    learning.time_passed(0.0)
    learning.time_passed(600.0)
    assert learning.zone.name == "kick"
    assert learning.hint == ""
    learning.skip()
    learning.skip()
    assert learning.zone.name == "pedal", "the rims go with the snare"
    learning.time_passed(601.0)
    learning.time_passed(601.0 + WAIT_S - 0.1)
    assert learning.zone.name == "pedal"
    learning.time_passed(601.0 + WAIT_S)
    assert learning.zone.name == "pedal chick"


def struck(learning, note, at_s):
    learning.message(at_s, bytes((0x99, note, 90)))
    learning.time_passed(at_s + 0.2)


def test_two_strokes_that_agree_settle_a_zone():
    learning = Learning()
    struck(learning, 10, 1.0)
    struck(learning, 11, 1.5)
    assert learning.zone.name == "kick"
    assert learning.words.endswith("Once more.")
    struck(learning, 11, 2.0)
    assert learning.zone.name == "snare"
    assert learning.found[0].note == 11
    assert learning.progress == (1, len(ZONES))
    assert learning.result(False) == Pads({11: "kick"})


@pytest.mark.parametrize(("after_s", "zone"), [(LATE_S / 2, "pedal chick"), (LATE_S, "hi-hat")])
def test_a_stroke_just_after_the_wait_is_for_what_was_waited_for(after_s, zone):
    learning = Learning([one for one in ZONES if one.name in ("pedal chick", "hi-hat", "china")])
    learning.time_passed(0.0)
    assert f"({WAIT_S:.0f} s)" in learning.hint
    learning.time_passed(WAIT_S - 1.5)
    assert "(2 s)" in learning.hint
    learning.time_passed(WAIT_S)
    assert learning.zone.name == "hi-hat"
    for at_s in (WAIT_S + after_s, WAIT_S + after_s + 0.5):
        struck(learning, 60, at_s)
    assert [found.zone.name for found in learning.found if found.note == 60] == [zone]


def test_both_floor_toms_of_a_kit_with_four_toms_are_learned():
    learning = Learning()
    notes = ODD | {"second floor tom": 101, "second floor tom rim": 103}
    learn(Kit(notes=notes), learning)
    assert {learning.result(False).notes[note] for note in (101, 103)} == {"floor-tom"}


def test_back_asks_again_and_forgets():
    learning = Learning()
    for at_s in (1.0, 1.5):
        struck(learning, 11, at_s)
    learning.skip()
    learning.back()
    assert learning.zone.name == "snare", "and not the rims that went with it"
    learning.back()
    assert learning.zone.name == "kick"
    learning.back()
    for at_s in (3.0, 3.5):
        struck(learning, 12, at_s)
    assert learning.result(False) == Pads({12: "kick"})


def test_another_pad_struck_twice_passes_over_what_is_not_there():
    zones = [zone for zone in ZONES if zone.name in ("kick", "china", "cowbell")]
    learning = Learning(zones)
    for at_s in (1.0, 1.5):
        struck(learning, 36, at_s)
    assert "kick twice" in learning.hint
    for at_s in (2.0, 2.5):
        struck(learning, 36, at_s)
    assert learning.said == "That is the kick: on without the china."
    assert learning.zone.name == "cowbell"


@pytest.mark.parametrize(
    "data",
    [b"", b"\xfe", b"\xf8", bytes((0x99, 38)), bytes((0x89, 38, 90)), bytes((0x99, 38, 0)),
     bytes((0xA9, 38, 90)), bytes((0xD9, 90)), bytes((0xF0, 1, 2, 0xF7)), bytes((0x99, 200, 90)),
     bytes((0xB9, 7, 90))],
    ids=lambda data: data.hex() or "nothing",
)  # fmt: skip
def test_all_else_is_no_stroke(data):
    learning = Learning()
    for at_s in (1.0, 1.5, 2.0):
        learning.message(at_s, data)
        learning.time_passed(at_s + 0.2)
    assert learning.zone.name == "kick"
    assert "Once more" not in learning.words


def test_the_table_hangs_together():
    names = [zone.name for zone in ZONES]
    assert len(set(names)) == len(names)
    for place, zone in enumerate(ZONES):
        assert zone.voice in BY_NAME
        assert zone.part in ("middle", "rim", "bell")
        assert zone.of is None or zone.of in names[:place]
        if zone.drum is not None:
            assert BY_NAME[zone.voice].folds_into == zone.drum


def test_a_hi_hat_that_was_taken_for_the_pedal_is_put_right():
    """Who strikes the hi-hat where its pedal is asked for can go on all the same."""
    asked = [zone for zone in ZONES if zone.name in ("kick", "pedal chick", "hi-hat", "high tom")]
    learning, at_s = Learning(asked), 0.0
    assert learning.hint == ""
    for note in (36, 36, 42, 42):
        at_s += 0.5
        learning.message(at_s, bytes((0x99, note, 90)))
        learning.time_passed(at_s + 0.2)
    assert learning.zone is not None
    assert learning.zone.name == "hi-hat"
    assert learning.hint == "If there is none, play the kick twice."
    for _ in range(4):
        at_s += 0.5
        learning.message(at_s, bytes((0x99, 42, 90)))
        learning.time_passed(at_s + 0.2)
    assert learning.zone is not None
    assert learning.zone.name == "high tom"
    assert learning.result(False).voice(42) == "hi-hat"


def test_what_is_lit_up_is_waited_for_anew():
    learning = Learning([zone for zone in ZONES if zone.name == "china"])
    for at_s in np.arange(0.0, 3 * WAIT_S, 0.5).tolist():
        learning.time_passed(at_s)
        learning.wait_anew()
    assert learning.zone is not None
    for at_s in (20.0, 20.0 + WAIT_S):
        learning.time_passed(at_s)
    assert learning.zone is None
