"""The plan: the steps asked for, in order, and nothing left out."""

from itertools import pairwise

import pytest

from playalong.grading.verdicts import Rules
from playalong.pattern.model import Dynamic, Pattern, Practice
from playalong.practice.excerpts import excerpt, strokes_in, whole_bars
from playalong.practice.plan import (
    MANNERS,
    SILENT_S,
    Easing,
    Kind,
    Step,
    loosened,
    plan,
    practice_of,
    trials,
)
from tests.helpers.shipped import SHIPPED

from .making import FOUR_BEATS, pattern


def told(steps: tuple[Step, ...]) -> list[tuple[Kind, str]]:
    return [(step.kind, step.name) for step in steps]


def test_one_bar_is_learned_beat_by_beat_joined_looped_and_brought_up_to_tempo() -> None:
    assert told(plan(pattern(FOUR_BEATS))) == [
        (Kind.LEARN, "beat 1"),
        (Kind.LEARN, "beat 2"),
        (Kind.JOIN, "beats 1 and 2"),
        (Kind.LEARN, "beat 3"),
        (Kind.JOIN, "beats 1 to 3"),
        (Kind.LEARN, "beat 4"),
        (Kind.BAR, "the whole bar"),
        (Kind.GHOST, "beat 3"),
        (Kind.LOOP, "the whole bar"),
        (Kind.CLIMB, "the whole bar"),
    ]


def test_bars_are_joined_as_beats_are() -> None:
    bars = ['kick = "x - - -"', 'kick = "x - - x"', 'kick = "- x - x"']
    steps = plan(pattern("".join(f"[[bar]]\n{line}\n" for line in bars)))
    joins = [item for item in told(steps) if "bar" in item[1].split() or "bars" in item[1].split()]
    assert [item for item in told(steps) if item[0] in (Kind.BAR, Kind.LOOP)] == [
        (Kind.BAR, "bar 1"),
        (Kind.LOOP, "bar 1"),
        (Kind.BAR, "bar 2"),
        (Kind.LOOP, "bar 2"),
        (Kind.BAR, "bar 3"),
        (Kind.LOOP, "bar 3"),
        (Kind.BAR, "the whole pattern"),
        (Kind.LOOP, "the whole pattern"),
    ]
    assert joins.index((Kind.JOIN, "bars 1 and 2")) > joins.index((Kind.LOOP, "bar 2"))
    assert joins.index((Kind.JOIN, "bars 1 and 2")) < joins.index((Kind.BAR, "bar 3"))


def test_the_same_chunk_is_learned_once_and_that_is_told() -> None:
    steps = plan(pattern('[[bar]]\nsnare = "x- -x x- -x"'))
    assert [step.name for step in steps if step.kind is Kind.LEARN] == ["beat 1", "beat 2"]
    notes = [(step.name, step.note) for step in steps if step.note]
    assert notes == [
        ("beats 1 to 3", "Beat 3 is the same as beat 1: you know it."),
        ("the whole bar", "Beat 4 is the same as beat 2: you know it."),
    ]


def test_the_same_bar_is_learned_once_and_that_is_told() -> None:
    steps = plan(pattern('[[bar]]\nsnare = "x- -x x- -x"\n' * 2))
    assert [step.name for step in steps if step.kind is Kind.BAR] == ["bar 1", "the whole pattern"]
    last = next(step for step in steps if step.name == "the whole pattern")
    assert last.note == "Bar 2 is the same as bar 1: you know it."


def test_empty_beats_and_bars_are_not_asked_for_alone() -> None:
    steps = plan(pattern('[[bar]]\nsnare = "x - - -"\n[[bar]]\n'))
    assert told(steps) == [
        (Kind.BAR, "bar 1"),
        (Kind.LOOP, "bar 1"),
        (Kind.LOOP, "the whole pattern"),
        (Kind.CLIMB, "the whole pattern"),
    ]


def test_a_chunk_is_followed_by_a_rest_and_a_loop_is_not() -> None:
    for step in plan(SHIPPED["late-bus-home"]):
        rests = step.kind not in (Kind.LOOP, Kind.CLIMB, Kind.IN_TURN, Kind.CALLED, Kind.FREE)
        assert step.with_rest is rests or step.kind in (Kind.LEARN, Kind.JOIN)
        # What is asked in a row is asked of repetitions, or of rounds in one go.
        assert step.clean * step.times * len(step.rounds) >= 4


def test_a_chunk_ends_on_the_next_downbeat_that_is_struck() -> None:
    steps = plan(pattern('[[bar]]\nsnare = "xx -x x- x-"'))
    found = {
        step.name: step.landing and step.landing.name for step in steps if step.kind is Kind.LEARN
    }
    assert found == {"beat 1": None, "beat 2": "the 3", "beat 3": "the 4"}
    for step in steps:
        if step.kind is Kind.LEARN:
            struck = max(
                s.at for _, s in strokes_in(pattern('[[bar]]\nsnare = "xx -x x- x-"'), step.parts)
            )
            assert step.with_rest is (float(1 - struck) * 4.0 < SILENT_S) or step.landing


def test_the_whole_is_tried_before_its_bars_and_a_bar_before_its_chunks() -> None:
    steps = plan(
        pattern("".join(f'[[bar]]\nsnare = "{line}"\n' for line in ("x xx x -", "x x xx x")))
    )
    first, bar_1, bar_2 = trials(steps)
    assert steps[first.plays].name == "the whole pattern"
    assert first.covers[0] == 0
    assert [steps[trial.plays].name for trial in (bar_1, bar_2)] == ["bar 1", "bar 2"]
    for trial in (first, bar_1, bar_2):
        assert trial.plays in trial.covers


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_what_a_trial_passes_by_is_played_in_it(name: str) -> None:
    steps = plan(SHIPPED[name])
    for trial in trials(steps):
        played = set(
            strokes_in(SHIPPED[name], steps[trial.plays].parts, (*steps[trial.plays].rounds[-1],))
        )
        for number in trial.covers:
            part = strokes_in(SHIPPED[name], steps[number].parts, (*steps[number].rounds[-1],))
            assert set(part) <= played


def test_a_ghost_note_over_the_bass_drum_has_a_step_with_these_two_alone() -> None:
    groove = pattern(FOUR_BEATS)
    (step,) = (step for step in plan(groove) if step.kind is Kind.GHOST)
    part = excerpt(groove, step.parts, step.rounds, voices=step.voices)
    assert [(s.voice, s.dynamic) for bar in part.bars for s in bar.strokes] == [
        ("snare", Dynamic.GHOST),
        ("kick", Dynamic.NORMAL),
    ]


def test_a_variation_comes_alone_then_in_the_bar_then_in_turn() -> None:
    groove = pattern(FOUR_BEATS + '[variation.push]\nabout = "one more"\nkick = "-- -- -- -x"')
    steps = [step for step in plan(groove) if step.variation == "push"]
    assert told(tuple(steps)) == [
        (Kind.ALONE, "beat 4"),
        # The kick that it adds lies under a ghost note.
        (Kind.GHOST, "beat 4"),
        (Kind.IN_BAR, "the whole bar"),
        (Kind.IN_TURN, "the whole bar"),
    ]
    assert [step.rounds for step in steps] == [*[(("push",),)] * 3, ((), ("push",))]
    assert [step.note for step in steps] == ["One more.", "", "", ""]


def test_mixing_comes_last_and_only_where_there_are_variations() -> None:
    assert [step.kind for step in plan(SHIPPED["late-bus-home"])][-2:] == [Kind.CALLED, Kind.FREE]
    assert plan(pattern(FOUR_BEATS))[-1].kind is Kind.CLIMB


def test_tempi_are_the_teachers_or_come_from_the_pattern() -> None:
    steps = plan(pattern(FOUR_BEATS))
    assert {step.tempo_bpm for step in steps} == {60.0}
    assert [step.goal_bpm for step in steps if step.kind is Kind.CLIMB] == [90.0]
    bare = pattern('[[bar]]\nsnare = "x x x x"')
    assert practice_of(bare) == Practice(start_tempo=60.0, goal_tempo=90.0, clean=4)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_every_shipped_pattern_has_a_plan_that_leaves_nothing_out(name: str) -> None:
    whole = SHIPPED[name]
    steps = plan(whole)
    assert len({step.key for step in steps}) == len(steps)
    everything = set(strokes_in(whole, whole_bars(whole)))
    for kind in (Kind.LOOP, Kind.CLIMB):
        assert any(
            step.kind is kind and set(strokes_in(whole, step.parts)) == everything for step in steps
        )
    for variation in whole.variations:
        kinds = [step.kind for step in steps if step.variation == variation]
        assert kinds[-2:] == [Kind.IN_BAR, Kind.IN_TURN]
    for before, step in pairwise(steps):
        alike = (before.parts, before.rounds, before.voices, before.with_rest, before.goal_bpm)
        assert alike != (step.parts, step.rounds, step.voices, step.with_rest, step.goal_bpm)
        assert step.tempo_bpm <= step.goal_bpm


def test_rules_are_wider_while_learning_and_the_players_own_at_the_end() -> None:
    order = [Kind.LEARN, Kind.JOIN, Kind.BAR, Kind.LOOP, Kind.CLIMB]
    for field in ("tolerance", "wider_db"):
        values = [getattr(MANNERS[kind], field) for kind in order]
        assert values == sorted(values, reverse=True)
    own = Rules()
    assert loosened(own, MANNERS[Kind.CLIMB]) == own
    wide = loosened(own, MANNERS[Kind.LEARN])
    assert wide.tolerance_ms > own.tolerance_ms
    for dynamic in Dynamic:
        inner, outer = own.bands.of("snare", dynamic), wide.bands.of("snare", dynamic)
        assert 1.0 <= outer.low <= inner.low <= inner.high <= outer.high <= 127.0


def test_every_kind_of_step_can_be_made_easier_to_the_last() -> None:
    assert set(MANNERS) == set(Kind)
    for manner in MANNERS.values():
        assert manner.easings[-1] is Easing.GUIDED


def test_the_mark_changes_with_what_is_asked() -> None:
    one, other = (plan(pattern(FOUR_BEATS.replace("X- g-", what))) for what in ("X- g-", "X- x-"))

    def marks(steps: tuple[Step, ...]) -> dict[str, str]:
        return {step.key: step.mark for step in steps}

    before, after = marks(one), marks(other)
    changed = {key for key in before.keys() & after.keys() if before[key] != after[key]}
    named = {step.name for step in one if step.key in changed}
    assert named == {"beat 3", "beats 1 to 3", "the whole bar"}


def test_a_pattern_with_nothing_to_play_has_no_plan() -> None:
    whole = SHIPPED["late-bus-home"]
    silent = excerpt(whole, whole_bars(whole), voices=())
    assert isinstance(silent, Pattern)
    assert plan(silent) == ()
