"""MusicXML in and out, against music21 (Cuthbert and Ariza, BSD licence) and partitura (Cancino-
Chacon et al., Apache licence), which read what is written here, and whose files are read."""

import warnings
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from hypothesis import HealthCheck, assume, given, settings

from playalong.interchange.musicxml.form import BOTTOM, STEPS, not_carried
from playalong.interchange.musicxml.reader import read
from playalong.interchange.musicxml.writer import compressed, write
from playalong.pattern.model import Bar, Dynamic, Pattern
from playalong.pattern.voices import BY_NAME
from playalong.records.pattern_files import library
from playalong.support.errors import UserError
from tests.pattern.made_patterns import Made, patterns, unrolled

#: Grace notes, triplets, an uneven meter, 12/8, several bars, swing, hands.
TELLING = (
    *("split-kindling", "drip-tray", "three-spoons", "crooked-gate", "slow-harbour"),
    *("falling-crates", "corner-table", "odd-socks-drawer"),
)


def strokes(bars: tuple[Bar, ...]) -> list[tuple[object, ...]]:
    return [(bar.meter, *(replace(one, optional=False) for one in bar.strokes)) for bar in bars]


def same(pattern: Pattern, again: Pattern) -> None:
    assert strokes(again.bars) == strokes(pattern.bars)
    assert (again.title, again.swing) == (pattern.title, pattern.swing)
    assert again.tempo == pytest.approx(pattern.tempo, abs=0.002)


def score(measures: str, instruments: str = "", before: str = "") -> bytes:
    """A file of one part, as another program might write it."""
    return (
        f'<?xml version="1.0"?>{before}<score-partwise version="3.1"><part-list>'
        f'<score-part id="D"><part-name>Kit</part-name>{instruments}</score-part></part-list>'
        f'<part id="D">{measures}</part></score-partwise>'
    ).encode()


HEAD = (
    "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type></time>"
    "</attributes>"
)


def note(step: str, octave: int, more: str = "", *, duration: int = 2) -> str:
    shown = f"<display-step>{step}</display-step><display-octave>{octave}</display-octave>"
    return f"<note><unpitched>{shown}</unpitched><duration>{duration}</duration>{more}</note>"


def measure(number: int, notes: str) -> str:
    return f'<measure number="{number}">{notes}</measure>'


def test_the_whole_library_comes_back_plain_and_compressed():
    for name in library().names():
        pattern = library().get(name)
        data = write(pattern)
        same(unrolled(pattern), read(data, f"{name}.musicxml").pattern)
        for variation in pattern.variations:
            bars = pattern.with_variations([variation])
            varied = read(write(replace(pattern, bars=bars)), name).pattern
            asked = unrolled(replace(pattern, bars=bars)).bars
            assert strokes(varied.bars) == strokes(asked), (name, variation)
    same(unrolled(pattern), read(compressed(data), "last.mxl").pattern)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(patterns())
def test_generated_patterns_come_back(made: Made):
    pattern = replace(made.pattern, title="A Title", meter=made.pattern.bars[0].meter)
    try:
        data = write(pattern)
    except UserError:  # a length that no note value has
        assume(False)
    same(unrolled(pattern), read(data, "made.musicxml").pattern)


def test_rolls_have_their_sign():
    pattern = library().get("flags-at-the-corner")
    signs = [
        (one.get("type"), one.text)
        for one in ElementTree.fromstring(write(pattern)).iter("tremolo")
    ]
    assert signs == [("single", "3"), ("unmeasured", "0")]


def test_music21_reads_the_same_strokes_and_its_files_are_read(tmp_path: Path):
    import music21

    for name in TELLING:
        pattern = library().get(name)
        path = tmp_path / f"{name}.musicxml"
        path.write_bytes(write(pattern))
        parsed = music21.converter.parse(path)
        measures = parsed.parts[0].getElementsByClass("Measure")
        assert len(measures) == len(pattern.bars)
        for bar, found in zip(pattern.bars, measures, strict=True):
            told, graces = [], 0
            for one in found.recurse().notes:
                own = one.notes if isinstance(one, music21.percussion.PercussionChord) else (one,)
                graces += len(own) if one.duration.isGrace else 0
                at = Fraction(one.getOffsetInHierarchy(found)).limit_denominator(960) / 4
                for each in own if not one.duration.isGrace else ():
                    step = each.displayOctave * len(STEPS) + STEPS.index(each.displayStep)
                    told.append((at, step - BOTTOM))
            asked = [(one.at, BY_NAME[one.voice].staff_line) for one in bar.strokes]
            assert sorted(told) == sorted(asked)
            assert graces == sum(one.graces for one in bar.strokes)
    pattern = library().get("late-bus-home")
    parsed = music21.converter.parse(write(pattern), format="musicxml")
    again = read(Path(parsed.write("musicxml", tmp_path / "its-own.musicxml")).read_bytes(), "its")
    assert again.pattern.tempo == pattern.tempo
    (bar,), (its,) = pattern.bars, again.pattern.bars
    # It puts the accent of a chord on one of its notes: all of the chord is read as accented.
    loud = {one.at for one in bar.strokes if one.dynamic is Dynamic.ACCENT}
    asked = {
        one.place: "accent" if one.at in loud and one.voice != "kick" else str(one.dynamic)
        for one in bar.strokes
    }
    assert {one.place: str(one.dynamic) for one in its.strokes} == asked


def test_partitura_reads_the_same_strokes_and_its_files_are_read(tmp_path: Path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import partitura

        # Strokes together in one hand's voice are a chord, at which its release 1.9 gives up.
        for name in ("turns-at-the-pump", "chairs-to-the-hall"):
            pattern = library().get(name)
            path = tmp_path / f"{name}.musicxml"
            path.write_bytes(write(pattern))
            parsed = partitura.load_musicxml(path)
            (part,) = parsed.parts
            told = sorted(
                (
                    Fraction(float(part.quarter_map(one.start.t))).limit_denominator(960) / 4,
                    one.octave * len(STEPS) + STEPS.index(one.step) - BOTTOM,
                )
                for one in part.iter_all(partitura.score.UnpitchedNote)
            )
            length = pattern.meter.length
            assert told == sorted(
                (number * length + one.at, BY_NAME[one.voice].staff_line)
                for number, bar in enumerate(pattern.bars)
                for one in bar.strokes
            )
            own = tmp_path / "its-own.musicxml"
            partitura.save_musicxml(parsed, own)
            its = read(own.read_bytes(), "its").pattern.bars
            places = [[one.place for one in bar.strokes] for bar in its]
            assert places == [[one.place for one in bar.strokes] for bar in pattern.bars]


def test_voices_are_known_by_note_by_name_and_by_height():
    instruments = (
        '<score-instrument id="a"><instrument-name>Pedal Hi-Hat</instrument-name>'
        '</score-instrument><score-instrument id="b"><instrument-name>Thing</instrument-name>'
        '</score-instrument><midi-instrument id="b"><midi-unpitched>50</midi-unpitched>'
        "</midi-instrument>"
    )
    cross = "<notehead>x</notehead>"
    soft = '<notehead parentheses="yes">normal</notehead>'
    bar = measure(
        1,
        HEAD
        + note("F", 4, duration=1, more='<instrument id="a"/>')
        + note("F", 4, duration=1, more='<instrument id="b"/>')
        + note("G", 5, duration=1, more=cross)
        + note("C", 5, duration=1, more=soft),
    )
    (found,) = read(score(bar, instruments), "kit.xml").pattern.bars
    told = [(one.voice, str(one.dynamic)) for one in found.strokes]
    assert told == [
        ("hi-hat-pedal", "normal"),
        ("crash", "normal"),
        ("hi-hat", "normal"),
        ("snare", "ghost"),
    ]


def test_repeats_and_their_endings_are_played_out():
    def lines(*kinds: str) -> str:
        return "".join(f"<barline>{kind}</barline>" for kind in kinds)

    back, forth = '<repeat direction="backward"/>', '<repeat direction="forward"/>'
    ending = '<ending number="{}" type="{}"/>'.format
    kick, snare, hat, crash = note("F", 4), note("C", 5), note("G", 5), note("A", 5)
    bars = (
        measure(1, HEAD + kick + kick)
        + measure(2, lines(forth) + snare + snare)
        + measure(3, lines(ending(1, "start")) + hat + hat + lines(ending(1, "stop") + back))
        + measure(4, lines(ending(2, "start")) + crash + crash + lines(ending(2, "discontinue")))
        + measure(5, kick + snare + lines('<repeat direction="backward" times="3"/>'))
    )
    found = read(score(bars), "repeats.xml").pattern.bars
    assert [bar.strokes[0].voice for bar in found[:5]] == [
        "kick",
        "snare",
        "hi-hat",
        "snare",
        "crash",
    ]
    assert len(found) > 5


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"x", "this is no XML, or is damaged"),
        (b"<score-partwise>", "line 1, column 17: this is no XML"),
        (b"<html/>", "no MusicXML: it begins with <html>"),
        (b"<score-timewise/>", "save it as MusicXML by parts"),
        (score(measure(1, "<note><rest/></note>")), "no part of unpitched drums"),
        (score(measure(1, HEAD)) + b"more", "is no XML, or is damaged"),
        (
            score(
                measure(
                    1,
                    "<attributes><time><beats>5</beats><beat-type>5</beat-type></time>"
                    "</attributes>" + note("C", 5),
                )
            ),
            '"5/5" is no meter',
        ),
        (score("", before='<!DOCTYPE a [<!ENTITY b "c">]>'), "defines entities of its own"),
        (score("", before='<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]>'), "entities"),
        (b"PK\x03\x04 no more", "is a compressed file without a score, or is damaged"),
    ],
)
def test_what_is_no_score_is_told(data: bytes, told: str):
    with pytest.raises(UserError) as error:
        read(data, "strange.xml")
    assert told in error.value.lines[0]
    assert error.value.lines[0].startswith("strange.xml")


def test_a_file_that_unpacks_to_too_much_is_refused(monkeypatch):
    monkeypatch.setattr("playalong.interchange.musicxml.reader.MOST_BYTES", 100_000)
    file = BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as packed:
        packed.writestr("META-INF/container.xml", '<c><rootfile full-path="bomb.xml"/></c>')
        packed.writestr("bomb.xml", b"<a>" + b" " * 10_000_000)
    assert len(file.getvalue()) < 100_000
    with pytest.raises(UserError, match="unpacks to more than"):
        read(file.getvalue(), "bomb.mxl")


def test_what_is_not_carried_is_told():
    told = " ".join(not_carried(library().get("spare-key-on-a-nail")))
    assert "optional strokes" in told
    assert "stickings" not in told


def test_a_title_that_xml_cannot_hold_is_written_without_what_it_cannot():
    for title, kept in (
        ("a\x08b\x00", "ab"),
        ("\ufffe 1 < 2 & \ud800\U0001f941", " 1 < 2 & \U0001f941"),
    ):
        pattern = replace(library().get("wide-stairs"), title=title)
        assert read(write(pattern), "odd").pattern.title == kept.strip()
