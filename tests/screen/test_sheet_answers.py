from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.grading.loudness import Loudness
from playalong.grading.matching.live_grader import Grader, judge
from playalong.grading.verdicts import Verdict, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.screen.sheet.answers import Answers

from .screen_samples import RULES, a_run, answering, numbered


def fed(targets, hits: list[Hit], events: list[VerdictEvent]) -> Answers:
    answers = Answers(targets, RULES)
    for number, hit in enumerate(hits):
        answers.hit(number, hit)
    for event in events:
        answers.judged(event)
    return answers


def last_events(answers: Answers):
    return (
        {number: replace(event, settled=False) for number, event in answers.of_target.items()},
        {number: replace(event, settled=False) for number, event in answers.of_hit.items()},
    )


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(-0.2, 6.0),
            st.sampled_from(["hi-hat", "snare", "kick", "floor-tom"]),
            st.floats(1.0, 127.0),
        ),
        max_size=40,
    )
)
def test_all_events_of_a_live_run_leave_what_the_settled_ones_alone_say(played):
    targets, _ = a_run(2)
    hits = Hits.of(Hit(*each) for each in played)
    in_order = [hits[number] for number in range(len(hits))]
    grader, events = Grader(targets, RULES), []
    for hit in in_order:
        events += [*grader.time_passed(hit.time_s), *grader.hit(hit)]
    events += [*grader.time_passed(9.0), *grader.finish()]
    live = fed(targets, in_order, events)
    settled = fed(targets, in_order, judge(targets, hits, RULES).events())
    assert last_events(live) == last_events(settled)


def test_a_target_waits_again_when_its_hit_answers_another():
    targets, _ = a_run(2)
    first, second = np.flatnonzero(np.array(targets.names) == "hi-hat")[:2].tolist()
    answers = fed(
        targets,
        [answering(targets, first)],
        [VerdictEvent(verdict=Verdict.LATE, target=first, hit=0, error_ms=40.0)],
    )
    assert not answers.is_ahead(first)
    shown = answers.judged(
        VerdictEvent(verdict=Verdict.EARLY, target=second, hit=0, error_ms=-40.0)
    )
    assert answers.is_ahead(first)
    assert not answers.is_ahead(second)
    assert {float(targets.time_s[first]), float(targets.time_s[second])} <= set(shown)


def test_an_event_that_only_settles_changes_nothing_on_the_sheet():
    targets, _ = a_run(2)
    event = VerdictEvent(
        verdict=Verdict.ON_TIME, target=0, hit=0, error_ms=1.0, loudness=Loudness.RIGHT
    )
    answers = fed(targets, [answering(targets, 0)], [event])
    assert answers.judged(replace(event, settled=True)) == []
    assert answers.judged(replace(event, verdict=Verdict.LATE, settled=True)) != []


def test_rows_stay_as_they_are_and_a_voice_without_one_lies_in_the_nearest_on_the_staff():
    targets, _ = a_run(2)
    answers = fed(targets, [Hit(0.5, "floor-tom", 60.0)], [])
    answers.judged(VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=0))
    assert answers.voices == targets.voices == ("hi-hat", "snare", "kick")
    rows = {"floor-tom": "snare", "crash": "hi-hat", "hi-hat-pedal": "kick", "snare": "snare"}
    assert {voice: answers.row_of(voice) for voice in rows} == rows


def test_a_voice_that_folds_into_a_written_one_lies_in_its_row():
    targets, _ = a_run(2)
    answers = fed(
        targets,
        [Hit(0.5, "rim-shot", 99.0)],
        [VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=0)],
    )
    assert answers.played[0].voice == "snare"
    assert answers.voices == targets.voices


def test_an_optional_stroke_stops_waiting_when_its_window_is_over():
    targets, _ = a_run(2)
    optional = int(np.flatnonzero(targets.optional)[0])
    time_s, window_s = float(targets.time_s[optional]), RULES.capture_ms / 1000.0
    answers = fed(targets, [], [])
    assert list(answers.passed(time_s + window_s / 2)) == []
    assert answers.is_ahead(optional)
    assert list(answers.passed(time_s + window_s + 0.01)) == [time_s]
    assert not answers.is_ahead(optional)
    assert answers.is_ahead(numbered(targets, "kick"))


def test_a_hit_shows_only_once_something_is_said_of_it():
    targets, _ = a_run(2)
    hits = [Hit(0.4, "hi-hat-pedal", 60.0), Hit(0.5, "kick", 60.0)]
    answers = fed(targets, hits, [VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=1)])
    assert [played.time_s for played, _ in answers.hits_between(0.0, 1.0)] == [0.5]
    assert list(answers.hits_between(0.51, 1.0)) == []
