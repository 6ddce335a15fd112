"""The one table of voices."""

import pretty_midi
import pytest

from playalong.pattern.voices import (
    BY_NAME,
    BY_NOTE,
    STAFF_ORDER,
    VOICES,
    folded,
    is_judged,
    note_of,
)

#: The names of General MIDI's percussion key map for what each of our voices covers. 40 is a rim
#: on electronic kits, and 22, 26 and 58 are theirs alone (from memory of the mapping published
#: with the Groove MIDI Dataset).
GENERAL_MIDI = {
    "china": {"Chinese Cymbal"},
    "splash": {"Splash Cymbal"},
    "crash": {"Crash Cymbal 1", "Crash Cymbal 2"},
    "hi-hat-open": {"Open Hi Hat"},
    "hi-hat": {"Closed Hi Hat"},
    "ride-bell": {"Ride Bell"},
    "ride": {"Ride Cymbal 1", "Ride Cymbal 2"},
    "cowbell": {"Cowbell"},
    "tambourine": {"Tambourine"},
    "high-tom": {"High Tom", "Hi-Mid Tom"},
    "mid-tom": {"Low-Mid Tom", "Low Tom"},
    "cross-stick": {"Side Stick"},
    "rim-shot": set(),
    "snare": {"Acoustic Snare"},
    "floor-tom": {"High Floor Tom", "Low Floor Tom"},
    "kick": {"Acoustic Bass Drum", "Bass Drum 1"},
    "hi-hat-pedal": {"Pedal Hi Hat"},
}
KITS_ALONE = {22: "hi-hat", 26: "hi-hat-open", 40: "rim-shot", 58: "floor-tom"}


@pytest.mark.parametrize("voice", VOICES, ids=lambda voice: voice.name)
def test_note_numbers_are_those_of_general_midi(voice):
    """Against pretty_midi.note_number_to_drum_name, which holds the key map."""
    notes = [note for note in voice.notes if note not in KITS_ALONE]
    told = {pretty_midi.note_number_to_drum_name(note) for note in notes}
    assert told == GENERAL_MIDI.get(voice.name, set())


def test_only_what_a_pedal_or_a_profile_tells_has_no_number():
    assert {voice.name for voice in VOICES if not voice.notes} == {"hi-hat-half", "foot-splash"}


@pytest.mark.parametrize("voice", VOICES, ids=lambda voice: voice.name)
def test_a_voice_is_written_as_itself_or_as_what_it_folds_into(voice):
    written = BY_NOTE[note_of(voice.name)].name
    assert folded(voice.name, {written}) == written
    assert written == voice.name or not voice.notes


def test_usual_numbers_of_rims_edges_and_the_pedal():
    """From memory of the mapping published with the Groove MIDI Dataset (Gillick et al., ICML
    2019): each belongs to the drum or cymbal whose rim or edge it is. 52 and 55, there the edges
    of crashes, are General MIDI's china and splash, which count as a crash."""
    drums = {22: "hi-hat", 26: "hi-hat", 40: "snare", 50: "high-tom", 47: "mid-tom"}
    drums |= {58: "floor-tom", 52: "crash", 55: "crash", 53: "ride", 59: "ride"}
    assert {note: folded(BY_NOTE[note].name, ()) for note in drums} == drums
    assert BY_NOTE[44].name == "hi-hat-pedal"


def test_what_kits_add_is_there():
    assert {note: BY_NOTE[note].name for note in KITS_ALONE} == KITS_ALONE


def test_every_drum_of_a_drum_set_is_there():
    """General MIDI's set, 35 to 59, less the clap, which no kit has a pad for."""
    missing = set(range(35, 60)) - set(BY_NOTE)
    assert [pretty_midi.note_number_to_drum_name(note) for note in missing] == ["Hand Clap"]


def test_no_name_label_or_note_is_given_twice():
    notes = [note for voice in VOICES for note in voice.notes]
    assert len(notes) == len(set(notes)) == len(BY_NOTE)
    assert len({voice.name for voice in VOICES}) == len(VOICES) == len(BY_NAME)
    assert len({voice.label for voice in VOICES}) == len(VOICES)
    assert all(0 <= note <= 127 for note in notes)


def test_staff_order_runs_from_above_to_below():
    lines = [BY_NAME[name].staff_line for name in sorted(STAFF_ORDER, key=STAFF_ORDER.__getitem__)]
    assert lines == sorted(lines, reverse=True)


@pytest.mark.parametrize(
    ("voice", "written", "counts_as"),
    [
        ("cross-stick", {"snare"}, "snare"),
        ("cross-stick", {"snare", "cross-stick"}, "cross-stick"),
        ("rim-shot", {"snare"}, "snare"),
        ("hi-hat-open", {"hi-hat"}, "hi-hat"),
        ("hi-hat-open", {"hi-hat-open"}, "hi-hat-open"),
        ("hi-hat-half", {"hi-hat"}, "hi-hat"),
        ("hi-hat-half", {"hi-hat", "hi-hat-open"}, "hi-hat-open"),
        ("hi-hat-half", {"hi-hat", "hi-hat-half"}, "hi-hat-half"),
        ("foot-splash", {"hi-hat-pedal"}, "hi-hat-pedal"),
        ("ride-bell", {"ride"}, "ride"),
        ("china", {"crash"}, "crash"),
        ("splash", set(), "crash"),
        ("hi-hat", {"hi-hat-open"}, "hi-hat"),
        ("kick", {"snare"}, "kick"),
        ("hi-hat-pedal", {"hi-hat"}, "hi-hat-pedal"),
    ],
)
def test_a_voice_counts_as_what_the_pattern_has_a_line_for(voice, written, counts_as):
    assert folded(voice, written) == counts_as


@pytest.mark.parametrize("voice", VOICES, ids=lambda voice: voice.name)
def test_folding_ends(voice):
    last = folded(voice.name, ())
    assert BY_NAME[last].folds_into is None
    assert folded(last, ()) == last


def test_only_what_sounds_by_itself_goes_unjudged_where_it_is_not_written():
    unjudged = {voice.name for voice in VOICES if not is_judged(voice.name, {"snare"})}
    assert unjudged == {"hi-hat-pedal", "foot-splash"}
    assert all(is_judged(voice.name, {voice.name}) for voice in VOICES)
    assert is_judged("foot-splash", {"hi-hat-pedal"})
    assert not is_judged("hi-hat-pedal", {"foot-splash"})
