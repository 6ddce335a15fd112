"""Takes of any make: bytes after Standard MIDI Files 1.0 (RP-001), and what they must mean."""

import numpy as np
import pytest

from playalong.records.takes import read

from .midi_bytes import END, event, file, header, in_file, quantity, tempo, text, track

#: Note-on, velocity 100, of the snare on channel 10.
SNARE = (0x99, 38, 100)


def read_bytes(folder, data):
    return read(in_file(folder, data))


@pytest.mark.parametrize(
    ("ticks", "written"),
    [  # The table of variable-length quantities in RP-001.
        (0x00000000, "00"),
        (0x00000040, "40"),
        (0x0000007F, "7F"),
        (0x00000080, "81 00"),
        (0x00002000, "C0 00"),
        (0x00003FFF, "FF 7F"),
        (0x00004000, "81 80 00"),
        (0x00100000, "C0 80 00"),
        (0x001FFFFF, "FF FF 7F"),
        (0x00200000, "81 80 80 00"),
        (0x08000000, "C0 80 80 00"),
        (0x0FFFFFFF, "FF FF FF 7F"),
    ],
)
def test_variable_length_quantities(tmp_path, ticks, written):
    assert quantity(ticks) == bytes.fromhex(written)
    take = read_bytes(tmp_path, file(0, 500, [track(bytes.fromhex(written) + bytes(SNARE))]))
    # 500 ticks to a quarter of half a second: a thousandth of a second each.
    assert take.time_s[0] == pytest.approx(ticks / 1000.0, rel=1e-12)


def test_the_worked_example_of_the_standard_in_format_0(tmp_path):
    """RP-001, example of format 0 (from memory): three channels, 96 ticks to a quarter, 120 bpm."""
    data = bytes.fromhex(
        "4D546864 00000006 0000 0001 0060"
        "4D54726B 0000003B"
        "00FF5804 04021808 00FF5103 07A120 00C005 00C12E 00C246"
        "00923060 003C60 60914340 60904C20 8140823040 003C40 00814340 00804C40 00FF2F00"
    )
    take = read_bytes(tmp_path, data)
    assert take.time_s.tolist() == [0.0, 0.0, 0.5, 1.0]
    assert take.note.tolist() == [48, 60, 67, 76]
    assert take.velocity.tolist() == [96.0, 96.0, 64.0, 32.0]
    assert (take.notices, take.start_s, dict(take.info)) == ((), 0.0, {})


def test_the_worked_example_of_the_standard_in_format_1(tmp_path):
    """RP-001, example of format 1 (from memory): the same, with note-on of velocity 0 for off."""
    data = bytes.fromhex(
        "4D546864 00000006 0001 0004 0060"
        "4D54726B 00000014 00FF5804 04021808 00FF5103 07A120 8300FF2F00"
        "4D54726B 00000010 00C005 8140904C20 81404C00 00FF2F00"
        "4D54726B 0000000F 00C12E 60914340 82204300 00FF2F00"
        "4D54726B 00000015 00C246 00923060 003C60 83003000 003C00 00FF2F00"
    )
    take = read_bytes(tmp_path, data)
    assert take.time_s.tolist() == [0.0, 0.0, 0.5, 1.0]
    assert take.note.tolist() == [48, 60, 67, 76]
    assert take.velocity.tolist() == [96.0, 96.0, 64.0, 32.0]


def test_running_status_goes_on_until_another_status(tmp_path):
    events = [event(0, 0x99, 38, 90), event(10, 36, 80), event(10, 42, 0), event(10, 0x89, 38, 0)]
    events += [event(10, 36, 64), event(10, 0x99, 42, 70), event(10, 42, 60)]
    take = read_bytes(tmp_path, file(0, 500, [track(*events)]))
    np.testing.assert_allclose(take.time_s, [0.0, 0.010, 0.050, 0.060], atol=1e-12)
    assert take.note.tolist() == [38, 36, 42, 42]
    assert take.velocity.tolist() == [90.0, 80.0, 70.0, 60.0]


def test_notes_of_all_tracks_are_read_in_order(tmp_path):
    tracks = [track(event(100, *SNARE)), track(event(50, 0x99, 36, 90), event(100, 0x99, 36, 91))]
    take = read_bytes(tmp_path, file(1, 500, tracks))
    np.testing.assert_allclose(take.time_s, [0.050, 0.100, 0.150], atol=1e-12)
    assert take.note.tolist() == [36, 38, 36]


def test_of_format_2_the_first_track_with_notes_is_read(tmp_path):
    tracks = [track(tempo(0, 1_000_000)), track(tempo(0, 250_000), event(500, *SNARE))]
    tracks.append(track(event(0, 0x99, 36, 90)))
    take = read_bytes(tmp_path, file(2, 500, tracks))
    assert take.note.tolist() == [38]
    assert take.time_s.tolist() == [0.25]


def test_a_tempo_in_another_track_holds_from_its_tick_on(tmp_path):
    """A quarter of half a second, one of a whole second, and again half of a quarter of one."""
    tempi = track(tempo(480, 1_000_000), tempo(480, 250_000))
    beats = track(*(event(240, *SNARE) for _ in range(6)))
    take = read_bytes(tmp_path, file(1, 480, [tempi, beats]))
    np.testing.assert_allclose(take.time_s, [0.25, 0.5, 1.0, 1.5, 1.625, 1.75], atol=1e-12)


@pytest.mark.parametrize("tempi", [(250_000, 1_000_000), (1_000_000, 250_000)])
def test_of_two_tempi_at_one_tick_the_last_holds(tmp_path, tempi):
    events = [*(tempo(0, microseconds) for microseconds in tempi), event(480, *SNARE)]
    take = read_bytes(tmp_path, file(0, 480, [track(*events)]))
    assert take.time_s[0] == pytest.approx(tempi[-1] / 1e6)


@pytest.mark.parametrize(
    ("frames", "parts", "tick_s"),
    [
        (25, 40, 0.001),  # the standard's own example: a millisecond
        (24, 10, 1 / 240),
        (30, 100, 1 / 3000),
        (29, 80, 1001 / (30_000 * 80)),  # 30 drop frame: 29.97 in a second (common practice)
    ],
)
def test_smpte_time_knows_no_tempo(tmp_path, frames, parts, tick_s):
    division = (256 - frames) << 8 | parts
    events = [tempo(0, 123_456), event(1000, *SNARE)]
    take = read_bytes(tmp_path, file(0, division, [track(*events)]))
    assert take.time_s[0] == pytest.approx(1000 * tick_s, rel=1e-12)


def test_where_channel_10_has_notes_only_it_counts(tmp_path):
    events = [event(0, 0x90, 60, 90), event(1, *SNARE), event(1, 0x91, 61, 90), event(1, *SNARE)]
    take = read_bytes(tmp_path, file(0, 500, [track(*events)]))
    assert take.note.tolist() == [38, 38]
    assert take.notices == ("Only channel 10 was read; 2 notes on others were left out.",)


@pytest.mark.parametrize("others", [[], [event(0, 0x99, 38, 0), event(0, 0x89, 38, 0)]])
def test_without_notes_on_channel_10_every_channel_counts(tmp_path, others):
    events = [*others, event(0, 0x90, 38, 90), event(5, 0x91, 36, 80)]
    take = read_bytes(tmp_path, file(0, 500, [track(*events)]))
    assert take.note.tolist() == [38, 36]
    assert take.notices == ()


def test_controller_88_adds_to_the_next_velocity_of_its_channel(tmp_path):
    """CA-031, High Resolution Velocity Prefix (from memory): 7 more bits below the velocity's."""
    events = [
        event(0, 0xB9, 88, 64),
        event(0, 0xB0, 88, 127),
        event(0, *SNARE),
        event(5, *SNARE),
        event(5, 0xB9, 88, 32),
        event(0, 0x99, 38, 0),
        event(5, 0x99, 38, 127),
        event(0, 0xB9, 4, 64),
        event(5, *SNARE),
    ]
    take = read_bytes(tmp_path, file(0, 500, [track(*events)]))
    assert take.velocity.tolist() == [100.5, 100.0, 127.0, 100.0]


def test_other_events_only_take_time(tmp_path):
    events = [
        b"\x05\xff\x03\x04kick",
        b"\x05\xf0\x03\x01\x02\xf7",
        b"\x05\xff\x58\x04\x04\x02\x18\x08",
        b"\x05\xff\x7f\x02\x00\x41",
        event(5, 0xE9, 0, 64),
        event(5, 0xC9, 3),
        event(5, 0xD9, 90),
        event(5, 0xA9, 49, 127),
        event(5, *SNARE),
    ]
    take = read_bytes(tmp_path, file(0, 500, [track(*events)]))
    assert take.time_s.tolist() == [0.045]


def test_a_chunk_of_an_unknown_kind_at_the_end_is_passed_over(tmp_path):
    data = file(0, 500, [track(event(7, *SNARE))]) + b"XYZW\x00\x00\x00\x02ab"
    assert read_bytes(tmp_path, data).time_s.tolist() == [0.007]


@pytest.mark.parametrize(
    "words", ["", "playalong", "playalong ", "playalong {", "playalong [1]", "played along {}"]
)
def test_words_of_others_are_no_information(tmp_path, words):
    take = read_bytes(tmp_path, file(0, 500, [track(text(words), event(7, *SNARE))]))
    assert dict(take.info) == {}
    assert take.start_s == 0.0


def test_a_header_may_be_longer_than_it_was(tmp_path):
    """RP-001: a reader shall go by the length that the header tells."""
    longer = b"MThd\x00\x00\x00\x08" + header(0, 1, 500)[8:] + b"\x00\x00"
    body = event(7, *SNARE) + END
    data = longer + b"MTrk" + len(body).to_bytes(4, "big") + body
    assert read_bytes(tmp_path, data).time_s.tolist() == [0.007]


def test_the_messages_of_any_take_are_there(tmp_path):
    """Of all tracks, in order of time; pedal and aftertouch too, what is no channel message not."""
    pedal, choke = (0xB9, 4, 90), (0xA9, 49, 127)
    tracks = [
        track(tempo(0, 600_000), event(480, *SNARE), event(0, *choke)),
        track(text("no more than a word"), event(240, *pedal), event(240, 0x99, 46, 80)),
    ]
    take = read_bytes(tmp_path, file(1, 480, tracks))
    assert [data for _, data in take.messages] == [
        *map(bytes, (pedal, SNARE, choke, (0x99, 46, 80)))
    ]
    assert [at_s for at_s, _ in take.messages] == pytest.approx([0.3, 0.6, 0.6, 0.6])


def test_only_the_messages_of_channel_10_count_where_only_its_notes_do(tmp_path):
    events = [event(0, 0xB0, 4, 5), event(0, 0x90, 60, 90), event(0, 0xB9, 4, 90), event(9, *SNARE)]
    take = read_bytes(tmp_path, file(0, 480, [track(*events)]))
    assert [data for _, data in take.messages] == [bytes((0xB9, 4, 90)), bytes(SNARE)]
