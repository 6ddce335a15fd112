"""Files are read as mido reads them, only faster; mido is the reference here.

In one thing mido 1.3 is not: it forgets the ticks before a meta event that it does not know. Here
such events come at the moment of the event before; that their ticks count is held against the
standard by itself.
"""

import os
from io import BytesIO
from pathlib import Path
from typing import Any

import mido
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from playalong.records import midi_file
from playalong.records.midi_file import TooLargeError, parse

from .midi_bytes import END, event, file, quantity, tempo, text, track

Row = tuple[int, Any]


def reference(data: bytes) -> tuple[int, int, list[tuple[list[Row], list[Row], list[str]]]]:
    """Format, division, and of each track its channel messages, tempi and texts, by mido."""
    found = mido.MidiFile(file=BytesIO(data), clip=True)
    tracks = []
    for messages in found.tracks:
        tick = 0
        rows: tuple[list[Row], list[Row], list[str]] = ([], [], [])
        for message in messages:
            tick += message.time
            if message.type == "set_tempo":
                rows[1].append((tick, message.tempo))
            elif message.type == "text":
                rows[2].append(message.text)
            elif not message.is_meta and message.bytes()[0] < 0xF0:
                rows[0].append((tick, bytes(message.bytes())))
        tracks.append(rows)
    return found.type, found.ticks_per_beat, tracks


def plain(found: midi_file.MidiFile) -> object:
    tracks = [(track.messages, track.tempi, track.texts) for track in found.tracks]
    return found.format, found.division, tracks


def outcome(read: Any, data: bytes) -> object:
    """What ``read`` gives, or how it fails: the kind of error and its words."""
    try:
        found = read(data)
    except Exception as error:
        return type(error).__name__, str(error)
    return plain(found) if isinstance(found, midi_file.MidiFile) else found


BYTE = st.integers(0, 127)
TICKS = st.sampled_from([0, 0, 1, 5, 127, 128, 1000, 0x3FFF, 0x4000, 0x0FFFFFFF])
LENGTHS = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}  # MIDI 1.0
#: Meta events of every kind that RP-001 names, with bodies that make sense, and some unknown.
META = st.one_of(
    st.binary(max_size=200).map(lambda words: (0x01, words)),
    st.tuples(st.sampled_from([2, 3, 4, 5, 6, 7, 9, 0x7F]), st.binary(max_size=20)),
    st.binary(min_size=3, max_size=3).map(lambda body: (0x51, body)),
    st.sampled_from([(0x00, b""), (0x00, b"\1\2"), (0x20, b"\x09"), (0x21, b"\0"), (0x2F, b"")]),
    st.sampled_from([(0x54, bytes((0x61, 59, 59, 29, 99))), (0x58, b"\4\2\x18\x08")]),
    st.sampled_from([(0x59, b"\0\0"), (0x59, b"\xf9\1")]),
)
STRANGE = st.tuples(st.sampled_from([0x08, 0x0A, 0x60, 0x7E, 0x90]), st.binary(max_size=20))


@st.composite
def tracks(draw: st.DrawFn) -> bytes:
    """A track that the standard allows, with running status wherever it may be."""
    parts, running = [], 0
    for kind in draw(st.lists(st.sampled_from("ccccccccmsu"), max_size=40)):
        ticks = draw(TICKS)
        if kind == "c":
            status = draw(st.sampled_from([*LENGTHS]) | st.just(0x90)) | draw(
                st.sampled_from([0, 9])
            )
            size = LENGTHS[status & 0xF0]
            values = draw(st.lists(BYTE, min_size=size, max_size=size))
            short = status == running and draw(st.booleans())
            parts.append(event(ticks, *([] if short else [status]), *values))
            running = status
        elif kind == "s":
            body = draw(st.binary(max_size=150))
            mark = draw(st.sampled_from([b"\xf0", b"\xf7"]))
            parts.append(quantity(ticks) + mark + quantity(len(body)) + body)
            running = 0
        else:
            number, body = draw(META if kind == "m" else STRANGE)
            at = ticks if kind == "m" else 0
            parts.append(quantity(at) + bytes((0xFF, number)) + quantity(len(body)) + body)
            running = 0
    return track(*parts)


DIVISIONS = st.sampled_from([24, 96, 480, 30_000, 0x7FFF, 0xE728, 0xE850, 0xE364])
FILES = st.builds(file, st.integers(0, 2), DIVISIONS, st.lists(tracks(), max_size=3))
MANY = settings(
    max_examples=300,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@MANY
@given(FILES)
def test_what_the_standard_allows_is_read_without_mido(data: bytes) -> None:
    assert plain(midi_file._regular(data)) == reference(data)


@MANY
@given(FILES, st.data())
def test_a_broken_file_is_read_or_refused_in_the_same_words(data: bytes, drawn: st.DataObject):
    damaged = bytearray(data)
    for _ in range(drawn.draw(st.integers(1, 3))):
        at = drawn.draw(st.integers(0, len(damaged) - 1))
        how = drawn.draw(st.sampled_from(["other", "gone", "more", "cut"]))
        if how == "other":
            damaged[at] = drawn.draw(st.integers(0, 255))
        elif how == "gone" and len(damaged) > 1:
            del damaged[at]
        elif how == "more":
            damaged.insert(at, drawn.draw(st.integers(0, 255)))
        elif at:
            del damaged[at:]
    found = outcome(parse, bytes(damaged))
    assert found == outcome(reference, bytes(damaged)) or has_strange_ticks(bytes(damaged))


def has_strange_ticks(data: bytes) -> bool:
    """Whether damage has given ticks to a meta event that mido does not know."""
    try:
        found = mido.MidiFile(file=BytesIO(data), clip=True)
    except Exception:
        return False
    return any(message.type == "unknown_meta" for track in found.tracks for message in track)


@MANY
@given(st.binary(max_size=80))
def test_any_bytes_for_a_track(body: bytes) -> None:
    data = file(0, 480, [b"MTrk" + len(body).to_bytes(4, "big") + body])
    assert outcome(parse, data) == outcome(reference, data) or has_strange_ticks(data)


SNARE = (0x99, 38, 100)


@pytest.mark.parametrize(
    "body",
    [
        event(0, 38, 100),  # running status from nothing
        event(0, 0xF0, 1, 0) + event(0, 38, 100) + END,  # and after a maker's own message
        event(0, 0xF8) + END,  # no message of a file
        event(0, 0xF4) + END,
        event(0, 0x99, 200, 255) + END,  # a data byte beyond 127
        event(0, *SNARE)[:-1],
        b"\x00\xff\x51\x02\x07\xa1" + END,  # a tempo of two bytes
        b"\x00\xff\x59\x02\x09\x00" + END,  # nine sharps
        b"\x00\xff\x54\x05\x61\x3c\x00\x00\x00" + END,  # minute 60
        b"\x00\xff\x58\x04\x04\x1d\x18\x08" + END,
        b"\x00\xff\x01" + quantity(1_000_001) + bytes(40_000) + END,
        b"\x00\xff\x01" + quantity(50) + b"short",
        b"\xff" * 12 + b"\x7f" + bytes(SNARE) + END,  # a quantity of 13 bytes
        b"\x81" * 2_000 + b"\x7f" + bytes(SNARE) + END,
    ],
)
def test_by_name(body: bytes) -> None:
    data = file(0, 480, [b"MTrk" + len(body).to_bytes(4, "big") + body])
    assert outcome(parse, data) == outcome(reference, data)


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (event(0, *SNARE) * 1_000_001, "more than 1000000 events"),
        (b"\x00\xff\x01\x01a" * 100_001, "more than 1000000 events"),  # a text counts as ten
        (event(0, *SNARE) * 200_000 + event(0, 0xF4), "it is damaged, and of such a file"),
        (b"\x00\xff\x01" + quantity(1_000_001) + bytes(1_000_001) + END, "it is damaged"),
        (b"\xff" * 100_000 + b"\x7f" + bytes(SNARE) + END, "a number in it does not end"),
    ],
)
def test_a_file_that_would_take_long_is_too_large(body: bytes, told: str) -> None:
    with pytest.raises(TooLargeError, match=told):
        parse(file(0, 480, [b"MTrk" + len(body).to_bytes(4, "big") + body]))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"MThd",
        b"MThd\0\0\0\5\0\0\0\1\1",
        b"MThd\0\0\0\x07\0\0\0\1\1\xe0\0" + track(event(0, *SNARE)),  # a longer header
        b"MThd\0\0\xff\x07\0\0\0\1\1\xe0\0" + track(event(0, *SNARE)),
        file(0, 480, [])[:-4] + b"\xff\xff\1\xe0",  # minus one tracks
        file(1, 480, [track(event(0, *SNARE))]) + b"what follows is nobody's",
        file(1, 480, [track(event(0, *SNARE)), b"MThd\0\0\0\0"]),
        file(1, 480, [b"MTrk\0\0\0\x02" + track(event(0, *SNARE))]),
    ],
)
def test_headers(data: bytes) -> None:
    assert outcome(parse, data) == outcome(reference, data)


def test_the_ticks_before_an_unknown_event_count() -> None:
    """RP-001: a delta-time stands before every event, and what is not known is to be ignored."""
    strange = quantity(240) + b"\xff\x60\x01\x00"
    data = file(0, 480, [track(strange, event(240, *SNARE), tempo(0, 400_000), text("end"))])
    assert parse(data).tracks[0].messages == [(480, bytes(SNARE))]
    assert parse(data).tracks[0].tempi == [(480, 400_000)]


def test_takes_of_drummers() -> None:
    """Every eighth of them: mido takes half a minute for all."""
    folder = os.environ.get("PLAYALONG_TAKES")
    if not folder:
        pytest.skip("PLAYALONG_TAKES names no folder with takes by drummers")
    paths = sorted(Path(folder).glob("*.mid"))[::8]
    assert paths
    for path in paths:
        data = path.read_bytes()
        assert plain(midi_file._regular(data)) == reference(data), path.name
