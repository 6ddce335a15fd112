"""The lesson: laws of the machine, and players who learn."""

import json
from collections import defaultdict
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.grade_run import grade
from playalong.midi.hits import Hits
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import BY_NAME
from playalong.practice.feedback import Exercise, State
from playalong.practice.lesson import PATIENCE, Lesson
from playalong.practice.phrases import Code, said
from playalong.practice.plan import MANNERS, Kind, Step
from playalong.practice.repetition import Fault, Repetition, repetition

from .making import FOUR_BEATS, SHIPPED, law, pattern, steady_player

CLEAN = Repetition(True, seconds=5.0)
WRONG = Repetition(False, advice="The kick on 1 is missed.", seconds=5.0)
NAMES = st.sampled_from(sorted(SHIPPED))

#: Any fault there could be, in any bar and voice.
FAULTS = st.one_of(
    st.none(),
    st.builds(
        Fault,
        st.integers(0, 40),
        st.fractions(0, 2, max_denominator=16),
        st.sampled_from(sorted(BY_NAME)),
    ),
)
RESULTS = st.builds(
    Repetition,
    st.booleans(),
    st.booleans(),
    st.just("Count aloud."),
    st.just(""),
    FAULTS,
    st.floats(0.0, 60.0),
)


def exercise(lesson: Lesson) -> Exercise:
    found = lesson.exercise
    assert found is not None
    return found


def open_steps(lesson: Lesson) -> list[Step]:
    return [line.step for line in lesson.overview() if line.record.state is State.OPEN]


def what(lesson: Lesson) -> tuple[object, ...] | None:
    """What the player is asked to play, but for the row so far and what is heard."""
    found = lesson.exercise
    if found is None:
        return None
    # In called variations the order is another each time; that alone is no change.
    bars = found.pattern.bars if not found.calls else None
    return (found.step.key, bars, found.bars, found.tempo_bpm, found.clean, found.accompaniment)


@law(40)
@given(NAMES)
def test_a_faultless_player_goes_straight_through(name: str) -> None:
    lesson = Lesson(SHIPPED[name])
    for step in lesson.steps:
        assert lesson.step == step
        if step.goal_bpm == step.tempo_bpm:
            for number in range(step.clean):
                assert exercise(lesson).in_a_row == number
                assert exercise(lesson).tempo_bpm == step.tempo_bpm
                assert lesson.played(CLEAN).right
        else:
            tempi = []
            while lesson.step == step:
                tempi.append(exercise(lesson).tempo_bpm)
                for _ in range(step.clean):
                    assert lesson.played(CLEAN).right
            assert tempi[0] == step.tempo_bpm
            assert tempi[-1] == step.goal_bpm
            assert tempi == sorted(set(tempi))
    assert lesson.exercise is None
    assert all(line.record.state is State.LEARNED for line in lesson.overview())
    assert all(line.record.helped == 0 for line in lesson.overview())


@law(150)
@given(NAMES, st.data())
def test_something_changes_before_long_whatever_comes(name: str, data: st.DataObject) -> None:
    lesson = Lesson(SHIPPED[name])
    for _ in range(data.draw(st.integers(0, 12))):
        lesson.skip()
    failures, before = 0, what(lesson)
    for result in data.draw(st.lists(RESULTS, max_size=60)):
        answer = lesson.played(result)
        assert answer.next
        if what(lesson) != before:
            failures, before = 0, what(lesson)
        elif not answer.right:
            failures += 1
        assert failures < PATIENCE


@law(80)
@given(NAMES, st.lists(RESULTS, max_size=80))
def test_nothing_is_skipped_unless_the_player_asks(name: str, results: list[Repetition]) -> None:
    lesson = Lesson(SHIPPED[name])
    steps = list(lesson.steps)
    for result in results:
        before = open_steps(lesson)
        lesson.played(result)
        after = open_steps(lesson)
        assert after in (before, before[1:])
        if after != before:
            assert result.clean
        assert lesson.step == (after[0] if after else None)
    assert all(line.record.state is not State.SKIPPED for line in lesson.overview())
    assert list(lesson.steps) == steps


@law(60)
@given(NAMES, st.data())
def test_one_who_always_fails_stays_at_the_step_and_never_gets_stuck(
    name: str, data: st.DataObject
) -> None:
    lesson = Lesson(SHIPPED[name])
    for _ in range(data.draw(st.integers(0, len(lesson.steps) - 1))):
        lesson.skip()
    step = lesson.step
    assert step is not None
    seen = set()
    for _ in range(PATIENCE * (2 * len(step.manner.easings) + 2)):
        lesson.played(replace(WRONG, worst=data.draw(FAULTS)))
        assert lesson.step == step
        seen.add(str(what(lesson)))
    assert len(seen) > 1


def test_what_is_made_easier_is_built_back_up() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    for _ in range(2):  # to the two beats joined
        lesson.skip()
    whole = exercise(lesson)
    kick = Fault(0, Fraction(3, 8), "kick")
    stages = [what(lesson)]
    heard = []
    for _ in range(3):
        for _ in range(PATIENCE):
            answer = lesson.played(replace(WRONG, worst=kick))
        heard.append(answer.next)
        stages.append(what(lesson))
    assert "Slower" in heard[0]
    assert "smaller chunk: beat 2 " in heard[1]
    assert "kick foot" in heard[2]
    slow = exercise(lesson)
    assert slow.tempo_bpm < whole.tempo_bpm
    assert [s.voice for bar in slow.pattern.bars for s in bar.strokes] == ["kick"]
    assert slow.accompaniment is not None
    assert {s.voice for bar in slow.accompaniment.bars for s in bar.strokes} == {"hi-hat", "snare"}
    for stage in reversed(stages[:-1]):
        while not lesson.played(CLEAN).changed:
            pass
        assert what(lesson) == stage
    assert lesson.step == whole.step


def test_words_say_what_to_change_and_why_it_gets_easier() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    answers = [lesson.played(WRONG) for _ in range(PATIENCE)]
    assert all(answer.words == WRONG.advice and not answer.right for answer in answers)
    assert [answer.changed for answer in answers] == [False] * (PATIENCE - 1) + [True]
    assert f"{PATIENCE} times" in answers[-1].next
    assert "Slower" in answers[-1].next


def test_a_failure_breaks_the_row() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    for result in (CLEAN, CLEAN, CLEAN, WRONG):
        lesson.played(result)
    assert exercise(lesson).in_a_row == 0
    assert exercise(lesson).step == lesson.steps[0]


def at_step(lesson: Lesson, kind: Kind) -> Step:
    while lesson.step is not None and lesson.step.kind is not kind:
        lesson.skip()
    assert lesson.step is not None
    return lesson.step


def test_steps_in_tempo_are_larger_the_fewer_tries_it_took() -> None:
    gains = []
    for tries in (0, 1, 3):
        lesson = Lesson(pattern(FOUR_BEATS))
        at_step(lesson, Kind.CLIMB)
        begin = exercise(lesson).tempo_bpm
        for _ in range(tries):
            lesson.played(WRONG)
        lesson.played(CLEAN)
        gains.append(exercise(lesson).tempo_bpm - begin)
    assert gains[0] > gains[1] > gains[2] > 0


def test_the_goal_counts_only_when_it_is_steady() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    climb = at_step(lesson, Kind.CLIMB)
    unsteady = replace(CLEAN, steady=False)
    while exercise(lesson).tempo_bpm < climb.goal_bpm:
        assert lesson.played(unsteady).right
    answer = lesson.played(unsteady)
    assert not answer.right
    assert "tempo" in answer.words
    assert lesson.step == climb
    assert lesson.played(CLEAN).right
    assert lesson.step != climb


def test_a_ghost_note_over_the_bass_drum_is_told_either_way() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    at_step(lesson, Kind.GHOST)
    told = said(Code.KICK_UNDER_GHOST, voice="snare", count="3")
    words = "The kick on 3 is too soft under the ghost note of the snare."
    assert words in lesson.played(replace(WRONG, together=(told,))).words
    held = "The ghost note stayed soft and the kick strong."
    assert held in lesson.played(replace(CLEAN, together=(said(Code.BOTH_HELD),))).words


def test_called_mixing_names_every_bar_and_in_another_order_each_time() -> None:
    lesson = Lesson(SHIPPED["late-bus-home"])
    at_step(lesson, Kind.CALLED)
    orders = []
    for _ in range(PATIENCE):
        found = exercise(lesson)
        assert len(found.calls) == found.bars == len(found.pattern.bars)
        assert set(found.calls) == {"", *lesson.pattern.variations}
        for name, bar in zip(found.calls, found.pattern.bars, strict=True):
            assert bar == lesson.pattern.with_variations([name] if name else [])[0]
        orders.append(found.calls)
        lesson.played(WRONG)
    assert len(set(orders)) > 1


def test_the_player_may_skip_go_back_and_ask_for_it_easier() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    first, second = lesson.steps[:2]
    assert not lesson.back().changed
    lesson.skip()
    assert lesson.step == second
    assert lesson.overview()[0].record.state is State.SKIPPED
    lesson.back()
    assert lesson.step == first
    before = exercise(lesson).tempo_bpm
    answer = lesson.easier()
    assert answer.changed
    assert exercise(lesson).tempo_bpm < before
    for _ in range(20):
        answer = lesson.easier()
    assert not answer.changed
    assert "cannot be made easier" in answer.next


def test_what_was_left_out_is_told_at_the_end() -> None:
    lesson = Lesson(pattern('[[bar]]\nsnare = "x x x x"'))
    while lesson.step is not None:
        answer = lesson.skip()
    assert f"{len(lesson.steps)} steps" in answer.next
    assert lesson.back().changed
    assert lesson.step == lesson.steps[-1]
    while lesson.step is not None:
        lesson.played(CLEAN)


def test_a_few_that_were_left_out_are_named() -> None:
    lesson = Lesson(pattern('[[bar]]\nsnare = "x x x x"'))
    while lesson.step is not None:
        if lesson.step.kind is Kind.LOOP:
            lesson.skip()
        else:
            answer = lesson.played(CLEAN)
    assert "the whole bar without a rest" in answer.next


def test_a_break_is_proposed_after_some_minutes_and_again_after_as_many() -> None:
    lesson = Lesson(SHIPPED["late-bus-home"], break_after_s=60.0)
    long = replace(WRONG, seconds=20.0)
    rests = [bool(lesson.played(long).rest) for _ in range(6)]
    assert rests == [False, False, True] * 2
    for _ in range(2):
        lesson.played(long)
    words = lesson.played(long).rest
    assert "wrists" in words
    assert "ears" in words


def test_the_default_break_comes_after_twenty_minutes() -> None:
    lesson = Lesson(SHIPPED["late-bus-home"])
    assert not lesson.played(replace(CLEAN, seconds=19.9 * 60)).rest
    assert "20 minutes" in lesson.played(replace(CLEAN, seconds=0.1 * 60)).rest


# Another day.


@law(60)
@given(NAMES, st.lists(RESULTS, max_size=120), st.integers(0, 10))
def test_what_is_kept_comes_back(name: str, results: list[Repetition], skips: int) -> None:
    lesson = Lesson(SHIPPED[name])
    for _ in range(skips):
        lesson.skip()
    for result in results:
        lesson.played(result)
    plain = lesson.as_plain()
    again = Lesson.from_plain(SHIPPED[name], json.loads(json.dumps(plain)))
    assert again.as_plain() == plain
    assert [line.record for line in again.overview()] == [line.record for line in lesson.overview()]
    assert open_steps(again) == open_steps(lesson)


def test_steps_that_had_another_name_in_earlier_versions_keep_their_records() -> None:
    lesson = Lesson(SHIPPED["late-bus-home"])
    for _ in lesson.steps:
        lesson.skip()
    plain = lesson.as_plain()
    old = {
        key.replace("called variations", "called mixing").replace(
            "variations played freely", "free mixing"
        ): record
        for key, record in plain["steps"].items()
    }
    assert set(old) != set(plain["steps"])
    again = Lesson.from_plain(SHIPPED["late-bus-home"], {**plain, "steps": old})
    assert (again.as_plain(), again.told) == (plain, ())


def test_another_day_begins_with_what_took_help_and_goes_on_where_it_stopped() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    for _ in range(PATIENCE):
        lesson.played(WRONG)
    while lesson.step == lesson.steps[0]:
        lesson.played(CLEAN)
    while lesson.step == lesson.steps[1]:
        lesson.played(CLEAN)
    again = Lesson.from_plain(pattern(FOUR_BEATS), lesson.as_plain())
    assert len(again.told) == 1
    assert "repeat" in again.told[0]
    assert again.step == lesson.steps[0]
    repeats = 0
    while again.step == lesson.steps[0]:
        repeats += 1
        again.played(CLEAN)
    assert 0 < repeats < lesson.steps[0].clean
    assert again.step == lesson.steps[2]
    assert Lesson.from_plain(pattern(FOUR_BEATS), again.as_plain()).told == ()


def test_a_climb_goes_on_from_its_tempo() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    at_step(lesson, Kind.CLIMB)
    lesson.played(CLEAN)
    reached = exercise(lesson).tempo_bpm
    again = Lesson.from_plain(pattern(FOUR_BEATS), lesson.as_plain())
    assert exercise(again).tempo_bpm == reached > lesson.steps[0].tempo_bpm


def test_what_no_longer_fits_is_dropped_and_told() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    while lesson.step is not None:
        lesson.played(CLEAN)
    changed = pattern(FOUR_BEATS.replace("X- g-", "X- x-"))
    again = Lesson.from_plain(changed, lesson.as_plain())
    assert [step.name for step in open_steps(again)] == [
        "beat 3",
        "beats 1 to 3",
        *["the whole bar"] * 3,
    ]
    assert "beat 3" in again.told[0]


@pytest.mark.parametrize(
    "plain",
    [
        None,
        [],
        "x",
        {},
        {"steps": []},
        {"steps": {"learn 1:0-1/4": None}},
        {"steps": {"learn 1:0-1/4": {"state": "learned"}}},
        {"steps": {"learn 1:0-1/4": {"state": "learnt", "mark": 3}}},
    ],
)
def test_what_cannot_be_read_starts_anew_and_that_is_told(plain: object) -> None:
    again = Lesson.from_plain(pattern(FOUR_BEATS), plain)
    assert again.told
    assert "anew" in again.told[0]
    assert open_steps(again) == list(again.steps)


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@law(100)
@given(st.data())
def test_no_kept_value_can_break_it(data: st.DataObject) -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    for _ in range(PATIENCE):
        lesson.played(WRONG)
    while lesson.step == lesson.steps[0]:
        lesson.played(CLEAN)
    plain = lesson.as_plain()
    record = plain["steps"][lesson.steps[0].key]
    record[data.draw(st.sampled_from(sorted(record)))] = data.draw(JUNK)
    again = Lesson.from_plain(pattern(FOUR_BEATS), plain)
    assert again.step in again.steps
    assert again.played(CLEAN).next


# Players who learn.


class Learner:
    """Plays clean by a chance that grows with practice, and falls with tempo and size.

    The figures are made up: a beat at the start tempo goes at about every other try at first, a
    whole bar at the goal one time in a hundred.
    """

    def __init__(self, seed: int) -> None:
        self._chance = np.random.default_rng(seed)
        self._tries: dict[str, int] = defaultdict(int)

    def play(self, task: Exercise) -> Repetition:
        strokes = [(n, s) for n, bar in enumerate(task.pattern.bars) for s in bar.strokes]
        begin, goal = 60.0, 96.0
        pace = (task.tempo_bpm - begin) / (goal - begin)
        known = np.log1p(sum(self._tries.values()) / 4.0)
        size = np.log1p(len(strokes) * task.bars / len(task.pattern.bars))
        odds = 2.0 + 1.1 * known - 1.2 * size - 2.0 * pace
        self._tries[task.step.key] += 1
        clean = bool(self._chance.random() < 1.0 / (1.0 + np.exp(-odds)))
        worst = None
        if not clean:
            bar, stroke = strokes[int(self._chance.integers(len(strokes)))]
            worst = Fault(bar, stroke.at, stroke.voice)
        return Repetition(clean, advice="Slowly.", worst=worst, seconds=5.0)


@pytest.mark.parametrize("seed", range(6))
def test_a_learner_reaches_the_end_with_some_help_and_in_good_time(seed: int) -> None:
    lesson, learner = Lesson(SHIPPED["late-bus-home"]), Learner(seed)
    faultless = Lesson(SHIPPED["late-bus-home"])
    least = 0
    while faultless.exercise is not None:
        faultless.played(CLEAN)
        least += 1
    repetitions = 0
    while (task := lesson.exercise) is not None and repetitions < 10 * least:
        lesson.played(learner.play(task))
        repetitions += 1
    assert lesson.exercise is None
    assert least < repetitions
    assert all(line.record.state is State.LEARNED for line in lesson.overview())
    assert sum(line.record.helped for line in lesson.overview()) > 0
    assert sum(line.record.repetitions for line in lesson.overview()) == repetitions


@pytest.mark.parametrize("name", ["late-bus-home", "split-kindling", "mill-wheel"])
def test_a_steady_player_plays_the_whole_lesson_through_the_grader(name: str) -> None:
    lesson, least = Lesson(SHIPPED[name]), Lesson(SHIPPED[name])
    fewest = repetitions = 0
    while least.exercise is not None:
        least.played(CLEAN)
        fewest += 1
    while (task := lesson.exercise) is not None and repetitions < 3 * fewest:
        targets = lay_out(task.pattern, task.tempo_bpm, task.bars)
        hits = Hits.of(steady_player(targets, repetitions))
        grade_of, _ = grade(
            task.pattern, task.tempo_bpm, targets=targets, hits=hits, rules=task.rules
        )
        lesson.played(repetition(grade_of, task.pattern, targets.end_s))
        repetitions += 1
    assert lesson.exercise is None


def test_easier_steps_are_held_as_loosely_as_the_step_itself() -> None:
    lesson = Lesson(pattern(FOUR_BEATS))
    before = exercise(lesson).rules
    assert before.tolerance_ms == pytest.approx(45.0 * MANNERS[Kind.LEARN].tolerance)
    lesson.easier()
    assert exercise(lesson).rules == before
