"""Keeping a take: what was recorded is what the file gives back."""

import os
from collections import Counter
from errno import ENOSPC
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.midi.hits import Hits
from playalong.midi.mapping import Mapper, hits_of
from playalong.midi.pads import Guard, Pads, Pedal
from playalong.pattern.voices import BY_NAME
from playalong.records.takes import Recording, Take, TakeError, read

from .midi_bytes import END

UNITS = (Fraction(1, 8), Fraction(1, 4), Fraction(3, 8))
TEMPI = st.floats(20.0, 400.0)
LEADS = st.floats(0.0, 20.0)
OFTEN = settings(max_examples=80, deadline=None)


def snare(velocity: int = 90, channel: int = 9) -> bytes:
    return bytes((0x90 | channel, 38, velocity))


def saved(recording: Recording) -> Take:
    with TemporaryDirectory() as folder:
        return read(recording.save(Path(folder), "take"))


def same(one: Take, other: Take) -> bool:
    arrays = ("time_s", "note", "velocity")
    return (
        all(np.array_equal(getattr(one, name), getattr(other, name)) for name in arrays)
        and all(getattr(one, name).dtype == getattr(other, name).dtype for name in arrays)
        and one.info == other.info
        and one.notices == other.notices
        and one.messages == other.messages
    )


@OFTEN
@given(TEMPI, st.sampled_from(UNITS), LEADS, st.lists(st.floats(0.0, 600.0), min_size=1))
def test_the_file_gives_back_the_very_times_that_were_told(tempo_bpm, unit, lead_s, times):
    recording = Recording(tempo_bpm, unit, lead_s, info={})
    told = np.array([recording.keep(time_s, snare()) for time_s in sorted(times)])
    take = saved(recording)
    assert (take.time_s - take.start_s == told).all()
    # The longest tick, of an eighth at 20, lasts 0.2 ms.
    assert np.abs(told - np.sort(times)).max() <= 0.0001 + 1e-9
    assert abs(take.start_s - lead_s) <= 0.0001 + 1e-9


@OFTEN
@given(TEMPI, st.sampled_from(UNITS), LEADS)
def test_what_is_kept_is_kept_again_unchanged(tempo_bpm, unit, lead_s):
    recording = Recording(tempo_bpm, unit, lead_s, info={})
    once = recording.keep(1.2345, snare())
    assert recording.keep(once, snare()) == once


def test_what_comes_before_the_file_begins_lies_at_its_beginning():
    recording = Recording(90.0, Fraction(1, 4), 1.0, info={})
    told = recording.keep(-3.0, snare())
    take = saved(recording)
    assert take.time_s[0] == 0.0
    assert told == -take.start_s


MESSAGES = st.one_of(
    st.tuples(st.sampled_from([0x99, 0x90, 0x91]), st.integers(20, 60), st.integers(0, 127)),
    st.tuples(st.sampled_from([0xB9, 0xB0]), st.sampled_from([88, 4, 1]), st.integers(0, 127)),
    st.tuples(st.integers(0x80, 0xEF), st.integers(0, 127), st.integers(0, 127)),
).map(bytes)
#: What else a driver may hand on: shorter messages, those of the system, or nothing.
OTHERS = st.sampled_from(
    [
        *(b"", b"\xc9\x05", b"\xd9\x40", b"\xf8", b"\xfe", b"\xff", b"\xfa\x00\x00"),
        *(b"\xf2\x01\x02", b"\xf0\x01\x02\xf7", b"\x99", b"\x99\x26", b"\x99\x26\xff"),
    ]
)


@OFTEN
@given(st.lists(st.tuples(st.floats(-2.0, 30.0), MESSAGES | OTHERS), max_size=30))
def test_the_take_in_the_making_is_the_take_that_is_read(rows):
    info = {"pattern": "wet-stairs", "tempo_bpm": 91.5, "variations": ["push"], "bars": 4}
    recording = Recording(91.5, Fraction(1, 4), 1.5, info=info)
    for time_s, data in rows:
        recording.keep(time_s, data)
    now = recording.take()
    if len(now.note):
        assert same(now, saved(recording))
    assert {**now.info} == {**info, "start_s": now.start_s}


#: A profile with everything that makes a hit depend on what came before it.
PADS = Pads({35: "snare"}, Pedal(10, 100), dict.fromkeys(BY_NAME, Guard(60.0, 20.0)))
#: Close together, so that pedal, prefixes and guards have their say.
STREAMS = st.lists(st.tuples(st.floats(0.0, 2.0), MESSAGES | OTHERS), max_size=40)


@OFTEN
@given(STREAMS, st.sampled_from([Pads(), PADS]))
def test_the_file_gives_back_the_very_hits_that_were_heard(rows, pads):
    """The same hits, whatever channel they came on, with the same voices and velocities."""
    recording, mapper = Recording(84.0, Fraction(1, 4), 2.0, info={"pattern": "x"}), Mapper(pads)
    heard = []
    for time_s, data in sorted(rows, key=lambda row: row[0]):
        hit = mapper.hit(recording.keep(time_s, data), data)
        if hit is not None:
            heard.append(hit)
    kept = Hits.of(heard)
    for take in (recording.take(), *([saved(recording)] if heard else [])):
        again, unknown = hits_of(take.messages, pads, take.start_s)
        assert [again[row] for row in range(len(again))] == [kept[row] for row in range(len(kept))]
        assert unknown == (mapper.unknown if len(take.note) else Counter())


@OFTEN
@given(STREAMS)
def test_notes_alone_are_the_hits_of_the_table_of_voices(rows):
    """Where no pedal speaks, the arrays of a take say the same as its messages."""
    recording = Recording(84.0, Fraction(1, 4), 2.0, info={"pattern": "x"})
    for time_s, data in sorted(rows, key=lambda row: row[0]):
        if len(data) < 2 or data[1] != 4 or data[0] & 0xF0 != 0xB0:
            recording.keep(time_s, data)
    take = recording.take()
    hits, unknown = Hits.of_notes(take.time_s, take.note, take.velocity)
    again, others = hits_of(take.messages)
    assert [again[row] for row in range(len(again))] == [hits[row] for row in range(len(hits))]
    assert sorted(others.elements()) == sorted(unknown.tolist())


def test_every_message_of_a_take_is_kept_in_order():
    recording = Recording(84.0, Fraction(1, 4), 2.0, info={"pattern": "x"})
    rows = [(0xB9, 4, 90), (0xB9, 88, 64), (0x99, 46, 90), (0xA9, 49, 127), (0xD9, 5), (0xB9, 4, 0)]
    told = [recording.keep(0.5, bytes(data)) for data in rows]
    recording.keep(0.25, snare())
    take = saved(recording)
    assert [data for _, data in take.messages] == [snare(), *map(bytes, rows)]
    assert [at_s - take.start_s for at_s, _ in take.messages[1:]] == told


def test_another_reader_finds_the_same_onsets(tmp_path):
    """Against pretty_midi, which reads the file through its own table of ticks."""
    recording = Recording(97.0, Fraction(1, 4), 2.0, info={"pattern": "wet-stairs"})
    told = []
    for number in range(64):
        time_s = number * 0.1543
        told.append(recording.keep(time_s, bytes((0x99, 36 + 2 * (number % 3), 20 + number))))
        recording.keep(time_s + 0.03, bytes((0x89, 36 + 2 * (number % 3), 0)))
    path = recording.save(tmp_path, "take")
    start_s = read(path).start_s
    (drums,) = pretty_midi.PrettyMIDI(str(path)).instruments
    notes = sorted(drums.notes, key=lambda note: note.start)
    assert drums.is_drum
    np.testing.assert_allclose([note.start - start_s for note in notes], told, atol=1e-6)
    assert [note.velocity for note in notes] == list(range(20, 84))
    assert [note.pitch for note in notes] == [36 + 2 * (number % 3) for number in range(64)]


def test_the_bytes_of_a_take(tmp_path):
    """Format 0, one track, 30,000 ticks to a quarter, the tempo first (RP-001)."""
    recording = Recording(120.0, Fraction(1, 4), 0.0, info={})
    recording.keep(0.5, snare(100))
    data = recording.save(tmp_path, "take").read_bytes()
    assert data[:14] == bytes.fromhex("4D546864 00000006 0000 0001 7530")
    assert data[14:18] == b"MTrk"
    assert int.from_bytes(data[18:22], "big") == len(data) - 22
    assert data[22:29] == bytes.fromhex("00 FF5103 07A120")
    # 30,000 = 1 * 128^2 + 106 * 128 + 48: three bytes.
    assert data.endswith(bytes((0x81, 0x80 | 106, 48, 0x99, 38, 100)) + END)


@pytest.mark.parametrize(
    ("tempo_bpm", "unit"),
    [(120.0, Fraction(1, 4)), (240.0, Fraction(1, 8)), (80.0, Fraction(3, 8))],
)
def test_the_tempo_in_the_file_is_that_of_its_quarter_notes(tmp_path, tempo_bpm, unit):
    """All three have 120 quarter notes a minute, so bars lie right in a sequencer."""
    recording = Recording(tempo_bpm, unit, 0.0, info={})
    recording.keep(0.0, snare())
    _, tempi = pretty_midi.PrettyMIDI(str(recording.save(tmp_path, "take"))).get_tempo_changes()
    np.testing.assert_allclose(tempi, [120.0], rtol=1e-6)


def test_a_tempo_too_slow_for_a_file_is_kept_all_the_same(tmp_path):
    """Three bytes hold 16.7 seconds a quarter; a thirty-second at 20 would need 24."""
    recording = Recording(20.0, Fraction(1, 32), 1.0, info={})
    told = recording.keep(12.0, snare())
    take = read(recording.save(tmp_path, "take"))
    assert take.time_s[0] - take.start_s == told
    assert told == pytest.approx(12.0, abs=0.0003)


def test_a_take_says_how_it_was_played(tmp_path):
    info = {"pattern": "späte-straße", "tempo_bpm": 84.0, "variations": ["a b"], "until_s": 3.5}
    recording = Recording(84.0, Fraction(1, 4), 2.0, info=info)
    recording.keep(0.0, snare())
    take = read(recording.save(tmp_path, "take"))
    assert {**take.info} == {**info, "start_s": take.start_s}
    assert take.start_s == pytest.approx(2.0, abs=0.0001)


def test_nothing_is_ever_overwritten(tmp_path):
    folder = tmp_path / "new" / "folder"
    paths = []
    for velocity in (10, 20, 30):
        recording = Recording(84.0, Fraction(1, 4), 0.0, info={})
        recording.keep(0.0, snare(velocity))
        paths.append(recording.save(folder, "take"))
    assert [path.name for path in paths] == ["take.mid", "take-2.mid", "take-3.mid"]
    assert [read(path).velocity.tolist() for path in paths] == [[10.0], [20.0], [30.0]]
    assert sorted(folder.iterdir()) == sorted(paths)


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way")
    recording = Recording(84.0, Fraction(1, 4), 0.0, info={})
    recording.keep(0.0, snare())
    for folder in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(TakeError) as caught:
            recording.save(folder, "take")
        assert str(caught.value).startswith(f"The take cannot be written to {folder} (")
        assert "\n" not in str(caught.value)


def test_a_full_disk_leaves_nothing_behind(tmp_path, monkeypatch):
    def full(_):
        raise OSError(ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    recording = Recording(84.0, Fraction(1, 4), 0.0, info={})
    recording.keep(0.0, snare())
    with pytest.raises(TakeError, match="No space left on device"):
        recording.save(tmp_path, "take")
    assert list(tmp_path.iterdir()) == []
