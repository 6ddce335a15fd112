"""Homework out of findings: patterns that train what was found, and a file that can be used."""

import pytest

from playalong.grading.grade import Code
from playalong.practice.assessment.homework import (
    MOST,
    TRAINS,
    Played,
    Trained,
    as_text,
    proposals,
    trains,
)
from playalong.practice.assessment.reader import read
from playalong.records.pattern_files import library

KNOWN = library()
PATTERNS = {name: KNOWN.get(name) for name in KNOWN.names()}

#: Nothing is to be trained where nothing, or something quite different, was played, or where a pad
#: is at fault.
NOT_TRAINED = {Code.CLEAN, Code.NOTHING_PLAYED, Code.OTHER_PATTERN, Code.DOUBLE_TRIGGER}


def played(*findings: tuple[str, float]) -> Played:
    plain = [{"code": code, "gain": gain} for code, gain in findings]
    return Played(pattern=PATTERNS["late-bus-home"], tempo_bpm=80.0, findings=plain)


def test_every_finding_that_can_be_trained_is() -> None:
    assert set(TRAINS) == set(Code) - NOT_TRAINED


@pytest.mark.parametrize("what", [one for one in Trained if one not in ("time", "slowly")])
def test_the_library_trains_all_that_patterns_can(what: Trained) -> None:
    own = {Trained.TIME, Trained.SLOWLY}
    fitting = [name for name, pattern in PATTERNS.items() if trains(pattern, what)]
    assert bool(fitting) is (what not in own)


@pytest.mark.parametrize(
    ("code", "pattern", "tempo_bpm", "gap"),
    [
        ("speeding_up", "late-bus-home", 80.0, (2, 2, 0)),
        ("missed_stroke", "late-bus-home", 60.0, None),
    ],
)
def test_time_and_wrong_strokes_are_practised_on_the_same_pattern(
    code: str, pattern: str, tempo_bpm: float, gap: tuple[int, int, int] | None
) -> None:
    (one,) = proposals([played((code, 3.0))], PATTERNS)
    assert (one.pattern, one.tempo_bpm, one.gap) == (pattern, tempo_bpm, gap)


def test_the_plainest_pattern_that_has_it_is_proposed_and_none_twice() -> None:
    found = proposals(
        [played(("ghost_loud", 1.0), ("flam_flat", 4.0)), played(("ghost_soft", 2.0))], PATTERNS
    )
    assert [one.trained for one in found] == [Trained.FLAMS, Trained.GHOSTS]
    assert all(trains(PATTERNS[one.pattern], one.trained) for one in found)
    assert all(one.tempo_bpm < PATTERNS[one.pattern].tempo for one in found)


def test_a_week_has_room_for_few_things_and_the_file_can_be_used() -> None:
    codes = [(code.value, float(n)) for n, code in enumerate(TRAINS)]
    found = proposals([played(*codes)], PATTERNS)
    assert len(found) == MOST
    homework = read(as_text(found), "week.toml", KNOWN.get)
    assert homework.is_homework
    assert [item.pattern for item in homework.items] == [one.pattern for one in found]
    assert proposals([played(("clean", 0.0), ("a later code", 9.0))], PATTERNS) == []
