"""The machine of a sitting, told what happens, with time that passes only when it is told."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.practice.assessment import machine
from playalong.practice.assessment.machine import TIMED, Event, Loss, Sitting, State
from playalong.practice.assessment.model import Assessment, Item, Kind

ITEM = Item(title="An item", pattern="p", tempo_bpm=84.0, bars=4, attempts=2)

TEST = Assessment(
    name="a.toml",
    title="A",
    kind=Kind.TIMED,
    items=(replace(ITEM, rehearsals=1), replace(ITEM, sight_s=20.0, attempts=1)),
    patterns={},
    total_s=300.0,
    warm_up_s=60.0,
    pauses=1,
)
HOMEWORK = replace(
    TEST, kind=Kind.HOMEWORK, items=(ITEM, ITEM, ITEM), total_s=0.0, warm_up_s=0.0, pauses=0, days=7
)


def told(sitting: Sitting, *events: Event) -> Sitting:
    for event in events:
        sitting.tell(event)
    return sitting


def test_a_sitting_from_the_first_page_to_the_last_item() -> None:
    sitting = Sitting(TEST)
    sitting.time_passed(1000.0)
    assert (sitting.state, sitting.left_s) == (State.AGREEING, 300.0), "reading costs nothing"
    told(sitting, Event.GO_ON)
    assert sitting.state is State.WARMING_UP
    sitting.time_passed(59.0)
    assert sitting.state is State.WARMING_UP
    sitting.time_passed(1.0)
    assert (sitting.state, sitting.left_s) == (State.READY, 300.0)
    assert sitting.is_rehearsal
    told(sitting, Event.GO_ON, Event.PLAYED)
    assert not sitting.is_rehearsal
    assert sitting.attempts == 0
    told(sitting, Event.GO_ON)
    sitting.time_passed(30.0)
    told(sitting, Event.PLAYED)
    assert (sitting.item, sitting.attempts, sitting.left_s) == (0, 1, 270.0)
    told(sitting, Event.GO_ON, Event.BROKEN_OFF)
    assert (sitting.item, sitting.attempts) == (1, 0), "an attempt that is broken off is one"
    told(sitting, Event.GO_ON)
    assert sitting.state is State.LOOKING
    sitting.time_passed(19.5)
    sitting.time_passed(0.5)
    assert (sitting.state, sitting.left_s) == (State.PLAYING, 250.0)
    told(sitting, Event.PLAYED)
    assert sitting.state is State.CLOSED


def test_time_that_is_over_ends_it_and_what_has_begun_is_played_to_its_end() -> None:
    waiting = told(Sitting(TEST), Event.GO_ON, Event.GO_ON)
    waiting.time_passed(300.0)
    assert waiting.state is State.CLOSED
    playing = told(Sitting(TEST), Event.GO_ON, Event.GO_ON, Event.GO_ON)
    playing.time_passed(400.0)
    assert (playing.state, playing.left_s) == (State.PLAYING, 0.0)
    told(playing, Event.PLAYED)
    assert (playing.state, playing.rehearsals) == (State.CLOSED, 1)


@pytest.mark.parametrize("loss", Loss)
def test_what_is_lost_costs_no_attempt_and_no_time(loss: Loss) -> None:
    sitting = told(Sitting(TEST), Event.GO_ON, Event.GO_ON, Event.GO_ON)
    sitting.time_passed(12.5)
    if loss is Loss.KIT:
        sitting.lost(loss)
    else:
        sitting = Sitting.resumed(TEST, sitting.as_plain())
    assert sitting.state is State.STOPPED
    sitting.time_passed(5000.0)
    assert sitting.left_s == 287.5
    told(sitting, Event.GO_ON)
    assert (sitting.state, sitting.rehearsals, sitting.left_s) == (State.READY, 0, 287.5)
    (one,) = sitting.interruptions
    assert (one.loss, one.item, one.state, one.left_s) == (loss, 0, State.PLAYING, 287.5)


def test_a_sheet_that_was_seen_is_not_shown_again() -> None:
    sitting = told(Sitting(TEST), *[Event.GO_ON] * 2, *[Event.GO_ON, Event.PLAYED] * 3)
    told(sitting, Event.GO_ON)
    sitting.time_passed(15.0)
    sitting.lost(Loss.KIT)
    told(sitting, Event.GO_ON, Event.GO_ON)
    assert (sitting.state, sitting.look_s) == (State.LOOKING, 5.0)
    told(sitting, Event.GO_ON)
    sitting.lost(Loss.KIT)
    told(sitting, Event.GO_ON, Event.GO_ON)
    assert sitting.state is State.PLAYING


def test_a_pause_stops_the_clock_as_often_as_the_file_allows() -> None:
    sitting = told(Sitting(TEST), Event.GO_ON, Event.GO_ON, Event.PAUSE)
    sitting.time_passed(600.0)
    assert (sitting.state, sitting.left_s) == (State.PAUSED, 300.0)
    told(sitting, Event.GO_ON)
    assert not sitting.may(Event.PAUSE)
    with pytest.raises(ValueError, match="pause is not possible while ready"):
        sitting.tell(Event.PAUSE)


def test_the_next_item_only_after_an_attempt() -> None:
    sitting = told(Sitting(TEST), Event.GO_ON, Event.GO_ON, Event.GO_ON, Event.PLAYED)
    assert not sitting.may(Event.NEXT), "a rehearsal is no attempt"
    told(sitting, Event.GO_ON, Event.PLAYED, Event.NEXT)
    assert (sitting.item, sitting.state) == (1, State.READY)


def test_homework_has_no_clock_and_no_end() -> None:
    sitting = told(Sitting(HOMEWORK), Event.GO_ON)
    assert sitting.state is State.READY
    for attempt in range(20):
        told(sitting, Event.GO_ON, Event.PLAYED)
        sitting.time_passed(1e6)
        assert (sitting.state, sitting.attempts) == (State.READY, attempt + 1)
    told(sitting, Event.BACK)
    assert sitting.item == 2
    told(sitting, Event.NEXT, Event.NEXT, Event.FINISH)
    assert (sitting.item, sitting.state) == (1, State.CLOSED)


def test_what_makes_no_sitting_is_refused() -> None:
    plain = Sitting(TEST).as_plain()
    assert Sitting.resumed(TEST, plain).state is State.AGREEING
    for wrong in ({}, {**plain, "state": "?"}, {**plain, "item": 7}, {**plain, "left_s": None}):
        with pytest.raises(ValueError, match="kept"):
            Sitting.resumed(TEST, wrong)


def test_the_table_at_the_head_is_the_table() -> None:
    """Every cell of the table in the module's text says what the machine does, and no other."""
    rows = [
        [cell.strip() for cell in line.strip("| ").split("|")]
        for line in (machine.__doc__ or "").splitlines()
        if line.startswith("| ") and "---" not in line
    ]
    events = [[name.strip() for name in head.split(",")] for head in rows[0][2:]]
    seen = set()
    for name, runs, *cells in rows[1:]:
        state = State[name]
        seen.add(state)
        assert (runs == "runs") is (state in TIMED)
        for names, cell in zip(events, cells, strict=True):
            for event in names:
                may = (state, Event[event]) in machine._TABLE
                assert may is (cell != "-"), (state, event)
                if may:
                    allowed = {State[one] for one in re.findall(r"[A-Z_]{4,}", cell)}
                    assert _results(state, Event[event]) <= allowed, (state, event)
    assert seen == set(State)


#: Item, attempts played, and seconds left.
_STANDS = ((0, 0, 300.0), (0, 1, 300.0), (1, 0, 300.0), (1, 0, 0.0), (1, 1, 300.0))


def _results(state: State, event: Event) -> set[State]:
    """Where ``event`` leads from ``state``, with and without warm-up, sight and attempts left."""
    found = set()
    for item, attempts, left_s in _STANDS:
        sitting = Sitting(HOMEWORK if event is Event.BACK else TEST)
        sitting._go_to(item)
        sitting.attempts, sitting.rehearsals, sitting.left_s = attempts, 1, left_s
        sitting.state = state
        if sitting.may(event):
            sitting.tell(event)
            found.add(sitting.state)
    return found


STEPS = st.lists(st.one_of(st.sampled_from(Event), st.floats(0.0, 90.0)), max_size=60)


@given(STEPS, st.sampled_from([TEST, HOMEWORK]))
@settings(deadline=None, max_examples=200)
def test_whatever_happens_the_laws_hold(steps: list[Event | float], assessment: Assessment) -> None:
    sitting = Sitting(assessment)
    for step in steps:
        left_s, state, was_timed = sitting.left_s, sitting.state, sitting.is_timed
        if isinstance(step, float):
            sitting.time_passed(step)
            if not was_timed:
                assert sitting.left_s == left_s
        elif sitting.may(step):
            sitting.tell(step)
            assert sitting.left_s == left_s, "nothing that happens costs time"
        else:
            with pytest.raises(ValueError, match="is not possible"):
                sitting.tell(step)
        assert 0.0 <= sitting.left_s <= left_s
        assert state is not State.CLOSED or sitting.state is State.CLOSED
        assert 0 <= sitting.item < len(assessment.items)
        assert assessment.is_homework or sitting.attempts <= sitting.current_item.attempts
        again = Sitting.resumed(assessment, sitting.as_plain())
        assert again.left_s == pytest.approx(sitting.left_s, abs=1e-3)
        assert not again.is_timed, "the clock stands until somebody goes on"
