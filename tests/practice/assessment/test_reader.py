"""The assessment file: what it means, and that every mistake is told where it stands."""

import tomllib

import pytest

from playalong.grading.grade import Code
from playalong.grading.levels import Level
from playalong.pattern.library.catalogue import UnknownPattern
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read as read_pattern
from playalong.practice.assessment.model import Clicks, Counts, Kind, Limit
from playalong.practice.assessment.phrases import how, overview, requirements
from playalong.practice.assessment.reader import AssessmentError, is_assessment, own_patterns, read
from playalong.records.assessments.files import load_assessment, shipped

GROOVE = """title = "A groove"
meter = "4/4"
tempo = 90
[[bar]]
hi-hat = "xx xx xx xx"
snare = "--g- X--- ---- X---"
[variation.push]
snare = "---- ---- ---- ---x"
"""

WHOLE = f"""
title = "Autumn term"
instructions = "Loosen up first."
minutes = 15
warm-up = 2.5
pauses = 2
level = "beginner"
by-eye = ["posture"]
not-yet = "once more"

[[item]]
title = "The groove"
pattern = "groove"
variations = ["push"]
tempo = 72.5
bars = 8
count-in = 2
click = "off-beats"
gap = "2+1+1"
level = "advanced"
rehearsals = 1
attempts = 3
counts = "mean"
judging = false
by-eye = ["sticking", "grip"]

[item.asked]
missed = 2
score = {{ good = 75, "very good" = 90 }}
without = ["ghost_loud"]

[[item]]
pattern = "own"
sight = 20

[pattern]
own = '''
{GROOVE}'''
"""


def find(name: str) -> Pattern:
    if name != "groove":
        raise UnknownPattern(f'There is no pattern "{name}".')
    return read_pattern(GROOVE, name)


def test_all_that_can_be_written_is_read() -> None:
    found = read(WHOLE, "autumn.toml", find)
    assert (found.title, found.kind) == ("Autumn term", Kind.TIMED)
    assert (found.total_s, found.warm_up_s, found.pauses) == (900.0, 150.0, 2)
    assert (found.by_eye, found.not_yet) == (("posture",), "once more")
    groove, own = found.items
    assert groove.title == "The groove"
    assert (groove.tempo_bpm, groove.bars, groove.count_in) == (72.5, 8, 2)
    assert (groove.click, groove.gap) == (Clicks.OFF_BEATS, (2, 1, 1))
    assert (groove.level, own.level) == (Level.ADVANCED, Level.BEGINNER)
    assert (groove.rehearsals, groove.attempts, groove.counts) == (1, 3, Counts.MEAN)
    assert groove.judging is False
    missed, score = groove.requirements
    assert missed.limits == (Limit("reached", 2.0),)
    assert score.limits == (Limit("very good", 90.0), Limit("good", 75.0)), "the best first"
    assert groove.without == (Code.GHOST_LOUD,)
    assert (own.title, own.bars, own.tempo_bpm, own.sight_s) == ("A groove", 4, 90.0, 20.0)
    assert found.own_patterns == ("own",)
    assert own_patterns(WHOLE)["own"] == GROOVE
    assert is_assessment(WHOLE)
    assert not is_assessment(GROOVE)


@pytest.mark.parametrize(
    ("change", "line", "column", "words"),
    [
        (('minutes = 15', 'minutes = "a"'), 4, 12, '"minutes" must be minutes, 1 to 600'),
        (('minutes = 15', ''), 1, 1, '"minutes" is missing: write minutes = 15'),
        (('minutes = 15', 'minutes = 15\nwarmup = 3'), 5, 1, 'did you mean "warm-up"?'),
        (('"beginner"', '"beginer"'), 7, 10, '"beginner", "intermediate"'),
        (('pattern = "groove"', 'pattern = "grove"'), 13, 12, 'There is no pattern "grove".'),
        (('["push"]', '["pull"]'), 14, 14, 'no variation "pull"; its variations are: push'),
        (('gap = "2+1+1"', 'gap = "0+2"'), 19, 8, 'as in "2+2" or "2+1+1"'),
        (('attempts = 3', 'attempts = 1'), 23, 11, "one attempt has no mean"),
        (('missed = 2', 'misses = 2'), 28, 1, 'did you mean "missed"'),
        (('missed = 2', 'missed = -2'), 28, 10, "a number from 0 to"),
        (('"very good" = 90', '"very good" = 75'), 29, 9, "the same limit, 75"),
        (('["ghost_loud"]', '["ghosts"]'), 30, 11, '"ghosts" is no finding'),
        (('sight = 20', 'sight = 20\nrehearsals = 1'), 35, 14, "at sight is not rehearsed"),
        (('own = ', 'other = '), 33, 12, 'There is no pattern "own".'),
        (('X--- ---- X---"\n[variation', 'X--- --?- X---"\n[variation'), 43, 22, "?"),
        (('tempo = 72.5', 'recording = "a/b.flac"'), 15, 14, "without a folder"),
        (('attempts = 3', 'attempts = 3' + '\n[[item]]\nrehearsals = 50' * 21), 11, 1, "than 1000"),
        (('title = "Autumn term"', 'title = '), 2, 9, "Invalid value"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_where_it_stands(
    change: tuple[str, str], line: int, column: int, words: str
) -> None:
    assert WHOLE.count(change[0]) >= 1
    with pytest.raises(AssessmentError) as told:
        read(WHOLE.replace(*change, 1), "autumn.toml", find)
    problem = told.value.problems[0]
    assert words in problem.message
    assert (problem.line, problem.column) == (line, column)


def test_what_is_asked_is_read_where_the_pattern_is_unknown_too() -> None:
    wrong = WHOLE.replace('"groove"', '"grove"').replace("good = 75", "good = 750")
    with pytest.raises(AssessmentError) as told:
        read(wrong, "autumn.toml", find)
    assert [problem.line for problem in told.value.problems] == [13, 29]


def test_a_recording_that_is_not_there_is_told_where_it_is_named() -> None:
    text = WHOLE.replace("tempo = 72.5", 'recording = "evening.flac"')
    assert read(text, "autumn.toml", find).items[0].recording == "evening.flac"
    with pytest.raises(AssessmentError) as told:
        read(text, "autumn.toml", find, is_beside=lambda name: name != "evening.flac")
    (problem,) = told.value.problems
    assert (problem.line, problem.column) == (15, 14)
    assert "beside this one" in problem.message


def test_homework_has_no_clock() -> None:
    text = 'title = "Week"\nkind = "homework"\n{}\n[[item]]\npattern = "groove"\n{}\n'
    found = read(text.format("days = 7", ""), "week.toml", find)
    assert (found.is_homework, found.days, found.total_s) == (True, 7, 0.0)
    for top, own, words in (
        ("days = 7\nminutes = 3", "", "homework has no clock"),
        ("days = 7", "attempts = 3", "every run counts"),
        ("", "", '"days" is missing'),
    ):
        with pytest.raises(AssessmentError) as told:
            read(text.format(top, own), "week.toml", find)
        assert words in told.value.problems[0].message


def test_what_a_pattern_cannot_show_is_not_asked() -> None:
    text = WHOLE.replace("missed = 2", "ghost-contrast = 12\nunisons = 20")
    assert read(text, "autumn.toml", find).items[0].requirements[0].measure == "ghost-contrast"
    plain = GROOVE.replace("--g- X---", "---- X---").replace("hi-hat", "kick")
    bare = plain.replace('kick = "xx xx xx xx"\n', "")
    with pytest.raises(AssessmentError) as told:
        read(text, "autumn.toml", lambda name: read_pattern(bare, name))
    messages = [problem.message for problem in told.value.problems]
    assert any("no ghost notes" in one for one in messages)
    assert any("fall together" in one for one in messages)


def test_those_that_come_with_the_program_can_be_read_and_told() -> None:
    assert len(shipped()) == 3
    kinds = set()
    for name in shipped():
        found = load_assessment(name).assessment
        kinds.add(found.kind)
        assert overview(found)
        assert found.instructions
        for item in found.items:
            assert how(found, item)
            assert requirements(found, item)
    assert kinds == set(Kind)


def test_the_reader_reads_what_the_standard_library_reads() -> None:
    """Against tomllib (TOML 1.0.0): the same keys and values, whatever order they stand in."""
    plain = tomllib.loads(WHOLE)
    found = read(WHOLE, "autumn.toml", find)
    assert [item.get("tempo") for item in plain["item"]] == [found.items[0].tempo_bpm, None]
    assert plain["pattern"]["own"] == GROOVE
