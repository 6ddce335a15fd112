"""Patterns to Standard MIDI Files and back; files of others; files that mean nothing."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from typing import Any

import mido
import numpy as np
import pretty_midi
import pytest
from hypothesis import given, settings

from playalong.interchange.midi.form import VELOCITIES, not_carried
from playalong.interchange.midi.reader import Read, pattern_of, read
from playalong.interchange.midi.writer import write
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import BY_NAME, note_of
from playalong.pattern.writer import write as write_text
from playalong.records.pattern_files import library
from playalong.support.errors import UserError
from playalong.support.text import printable
from tests.pattern.made_patterns import Made, patterns, unrolled

LIBRARY = library()


def carried(stroke: Stroke) -> Stroke:
    """What of a stroke the format has a place for."""
    voice, is_open = stroke.voice, stroke.is_open
    if not BY_NAME[voice].notes or voice == "hi-hat-open":
        voice = str(BY_NAME[voice].folds_into)
    if voice == "hi-hat-open":
        voice, is_open = "hi-hat", True
    return replace(stroke, voice=voice, is_open=is_open, optional=False, hand=None)


def strokes(bars: tuple[Bar, ...]) -> list[tuple[Any, list[Stroke]]]:
    return [
        (bar.meter, sorted(map(carried, bar.strokes), key=lambda stroke: stroke.place))
        for bar in bars
    ]


def there_and_back(pattern: Pattern, **options: Any) -> Read:
    return pattern_of(read(write(pattern, **options), "a.mid"), pattern.name)


@pytest.mark.parametrize("name", LIBRARY.names())
def test_the_library_goes_there_and_back(name: str) -> None:
    pattern = unrolled(LIBRARY.get(name))
    for variations in ((), *((one,) for one in pattern.variations)):
        found = there_and_back(pattern, variations=variations)
        again = found.pattern
        assert strokes(again.bars) == strokes(pattern.with_variations(variations))
        assert (again.title, again.meter, again.swing) == (
            pattern.title,
            pattern.meter,
            pattern.swing,
        )
        assert again.tempo == pytest.approx(pattern.tempo, abs=0.01)
        assert found.notices == ()
        assert read_pattern(write_text(again), name).bars == again.bars


def test_a_roll_is_written_as_its_strokes_and_that_is_told() -> None:
    text = 'title = "T"\nmeter = "4/4"\ntempo = 60\n[[bar]]\nsnare = "{}"\n'
    counted = read_pattern(text.format("r~~~ X--- x--- ----"), "t")
    written_out = read_pattern(text.format("xxxxxxxx X--- x--- ----"), "t")
    assert strokes(there_and_back(counted).pattern.bars) == strokes(written_out.bars)
    buzz = read_pattern(text.format("z~~~ X--- x--- ----"), "t")
    notes = read(write(buzz), "a.mid").notes
    assert len(notes) == 3 + len(lay_out(buzz, 60.0).bounces_s(0))
    assert "how long rolls last" in " ".join(not_carried(buzz))


def uncrowded(pattern: Pattern) -> Pattern:
    """Without the grace strokes that would begin before the stroke that comes before theirs."""
    last: dict[str, Fraction] = {}
    before, bars = Fraction(0), []
    for bar in pattern.bars:
        kept = []
        for stroke in bar.strokes:
            at = before + stroke.at
            close = at - last.get(stroke.voice, Fraction(-1)) < Fraction(1, 16)
            kept.append(replace(stroke, graces=0) if close else stroke)
            last[stroke.voice] = at
        bars.append(replace(bar, strokes=tuple(kept)))
        before += bar.meter.length
    return replace(pattern, bars=tuple(bars))


@given(patterns())
@settings(max_examples=25, deadline=None)
def test_patterns_made_at_random_go_there_and_back(made: Made) -> None:
    pattern = uncrowded(unrolled(made.pattern))
    slow = all(not stroke.graces for bar in pattern.bars for stroke in bar.strokes)
    again = there_and_back(pattern, tempo_bpm=pattern.tempo if slow else 60.0).pattern
    assert strokes(again.bars) == strokes(pattern.bars)
    assert again.swing == pattern.swing
    assert again.title == printable(pattern.title).strip()


def test_another_program_hears_what_is_to_be_played() -> None:
    """pretty_midi's notes, seconds, velocities and meters, against the program's own targets."""
    pattern = LIBRARY.get("late-bus-home")
    heard = pretty_midi.PrettyMIDI(BytesIO(write(pattern, bars=4, as_it_sounds=True)))
    (drums,) = heard.instruments
    assert drums.is_drum
    targets = lay_out(pattern, pattern.tempo, 4)
    found = sorted((note.start, note.pitch, note.velocity) for note in drums.notes)
    asked = sorted(
        (float(at), note_of("hi-hat-open" if is_open else voice), VELOCITIES[tuple(Dynamic)[code]])
        for at, voice, code, is_open in zip(
            targets.time_s, targets.names, targets.dynamic, targets.is_open, strict=True
        )
    )
    assert [one[1:] for one in found] == [one[1:] for one in asked]
    assert np.allclose([one[0] for one in found], [one[0] for one in asked], atol=1e-3)
    (meter,) = heard.time_signature_changes
    assert f"{meter.numerator}/{meter.denominator}" == "4/4"
    assert heard.get_tempo_changes()[1][0] == pytest.approx(pattern.tempo, abs=1e-3)


def test_bars_have_markers_and_graces_before_the_first_bar_have_room() -> None:
    text = (
        'title = "Flams"\nmeter = "3/4"\ntempo = 100\n[[bar]]\nsnare = "f -d F"\nkick = "x - -"\n'
    )
    pattern = read_pattern(text, "flams")
    data = write(pattern, bars=3)
    file = mido.MidiFile(file=BytesIO(data))
    marks = []
    for track in file.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "marker":
                marks.append((tick, message.text))
    quarter = file.ticks_per_beat
    assert marks == [(3 * quarter * n, f"bar {n}") for n in (1, 2, 3)]
    again = pattern_of(read(data, "a.mid"), "flams").pattern
    assert strokes(again.bars) == strokes(pattern.bars * 3)


def test_as_it_sounds_is_swung() -> None:
    text = 'title = "S"\nmeter = "4/4"\ntempo = 90\nswing = 66\n[[bar]]\nhi-hat = "xx xx x- x-"\n'
    pattern = read_pattern(text, "s")
    swung = there_and_back(pattern, as_it_sounds=True).pattern
    assert swung.swing.is_straight
    at = [float(stroke.at) for stroke in swung.bars[0].strokes]
    assert at[1] == pytest.approx(0.25 * 0.66, abs=0.01)
    assert there_and_back(pattern).pattern.swing == pattern.swing


def test_what_is_not_carried_is_told() -> None:
    plain = 'title = "A"\nmeter = "4/4"\ntempo = 90\n[[bar]]\nsnare = "x - x -"\n'
    assert not_carried(read_pattern(plain, "a")) == []
    whole = plain.replace("\nmeter", '\nabout = "b"\nmeter').replace('"x -', '"x? -')
    whole += 'sticking = "R - L -"\n[variation.v]\nsnare = "- x - -"\n'
    whole += "[practice]\nstart = 60\ngoal = 90\n"
    told = not_carried(read_pattern(whole, "a"))
    assert len(told) == 5
    for words in ("optional", "sticking", "--variation", "lesson", "about"):
        assert any(words in line for line in told)


# Files of others.


def file_of(
    notes: list[tuple[float, int, int]], *, ticks: int = 480, channel: int = 9, bpm: float = 100.0
) -> bytes:
    """A file with (quarter, note, velocity)."""
    file = mido.MidiFile(ticks_per_beat=ticks)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(bpm))])
    file.tracks.append(track)
    rows = sorted((round(at * ticks), note, velocity) for at, note, velocity in notes)
    now = 0
    for tick, note, velocity in rows:
        shared = {"channel": channel, "note": note}
        track.append(mido.Message("note_on", velocity=velocity, time=tick - now, **shared))
        track.append(mido.Message("note_on", velocity=0, time=0, **shared))
        now = tick
    data = BytesIO()
    file.save(file=data)
    return data.getvalue()


def groove(bars: int) -> list[tuple[float, int, int]]:
    rows = []
    for bar in range(bars):
        at = 4.0 * bar
        rows += [(at + half / 2, 42, 70) for half in range(8)]
        rows += [(at, 36, 100), (at + 2, 36, 100), (at + 1, 38, 118), (at + 3, 38, 118)]
        rows += [(at + 1.75, 38, 28)]
    return rows


def written(bar: Bar, voice: str) -> list[tuple[Fraction, Dynamic]]:
    return [(s.at, s.dynamic) for s in bar.strokes if s.voice == voice]


GROOVE = {
    "kick": [(Fraction(0), Dynamic.NORMAL), (Fraction(1, 2), Dynamic.NORMAL)],
    "snare": [
        (Fraction(1, 4), Dynamic.ACCENT),
        (Fraction(7, 16), Dynamic.GHOST),
        (Fraction(3, 4), Dynamic.ACCENT),
    ],
    "hi-hat": [(Fraction(n, 8), Dynamic.NORMAL) for n in range(8)],
}


def test_a_written_loop_is_one_bar() -> None:
    found = pattern_of(read(file_of(groove(8)), "a.mid"), "a")
    (bar,) = found.pattern.bars
    assert {voice: written(bar, voice) for voice in GROOVE} == GROOVE
    assert found.pattern.tempo == 100.0
    assert "8 times the same" in found.notices[0]
    two = pattern_of(read(file_of(groove(8)), "a.mid"), "a", bars=(2, 3))
    assert len(two.pattern.bars) == 2
    with pytest.raises(UserError, match="no bars 8 to 9: it has 8"):
        pattern_of(read(file_of(groove(8)), "a.mid"), "a", bars=(8, 9))


@pytest.mark.parametrize("seed", range(3))
def test_a_played_groove_is_set_to_its_grid(seed: int) -> None:
    """With the spread of a good drummer, a beat's early notes before the bar line included."""
    chance = np.random.default_rng(seed)
    rows = [(max(0.0, at + chance.normal(-8, 12) / 600), n, v) for at, n, v in groove(8)]
    found = pattern_of(read(file_of(rows), "a.mid"), "a")
    assert any("It was played" in line for line in found.notices)
    right = sum(
        {voice: written(bar, voice) for voice in GROOVE} == GROOVE for bar in found.pattern.bars
    )
    assert len(found.pattern.bars) in (1, 8)
    assert right >= len(found.pattern.bars) - 1


def test_which_track_and_channel_is_asked_where_it_is_not_clear() -> None:
    drums, bass = file_of(groove(1)), file_of([(0, 40, 90), (1, 43, 90)], channel=0)
    file = mido.MidiFile(file=BytesIO(drums))
    file.tracks += mido.MidiFile(file=BytesIO(bass)).tracks
    both = BytesIO()
    file.save(file=both)
    found = read(both.getvalue(), "a.mid")
    assert [str(part) for part in found.parts()] == [
        "track 1, channel 10: 13 notes",
        "track 2, channel 1: 2 notes",
    ]
    assert pattern_of(found, "a").pattern.voices == ("hi-hat", "snare", "kick")
    assert pattern_of(found, "a", track=2).pattern.voices == ("rim-shot", "floor-tom")
    for others in ({"channel": 3}, {"track": 1, "channel": 1}, {"track": 9}):
        with pytest.raises(UserError):
            pattern_of(found, "a", **others)


def test_notes_that_are_no_drum_are_told() -> None:
    found = pattern_of(read(file_of([*groove(1), (0.0, 82, 90)]), "a.mid"), "a")
    assert found.notices == ("Note 82 is no drum of the kit: 1 stroke left out.",)


def empty() -> bytes:
    data = BytesIO()
    mido.MidiFile().save(file=data)
    return data.getvalue()


HOSTILE: dict[str, Callable[[], bytes]] = {
    "nothing": lambda: b"",
    "no file": lambda: b"MThd" * 9,
    "no notes": empty,
    "cut off": lambda: file_of(groove(1))[:60],
    "too large": lambda: bytes(600_000),
    "a note in a thousand years": lambda: file_of([(0, 36, 90), (500_000, 36, 90)]),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_groove_is_told_in_plain_words(name: str) -> None:
    with pytest.raises(UserError) as told:
        pattern_of(read(HOSTILE[name](), "a.mid"), "a")
    assert all(line.isprintable() and len(line) < 200 for line in told.value.lines)


def test_damaged_files_are_a_pattern_or_a_plain_message() -> None:
    """A few; ``python -m tests.long fuzz`` takes more."""
    chance = np.random.default_rng(4)
    data = bytearray(write(LIBRARY.get("late-bus-home")))
    for _ in range(150):
        other = bytearray(data)
        for at in chance.integers(len(data), size=int(chance.integers(1, 6))):
            other[at] = int(chance.integers(256))
        try:
            found = pattern_of(read(bytes(other), "a.mid"), "a").pattern
        except UserError:
            continue
        assert read_pattern(write_text(found), "a").bars == found.bars
