"""Calls by stick: given on purpose they are always heard, and by accident practically never."""

from itertools import pairwise
from math import exp, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.midi.hits import Hit
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import BY_NAME, VOICES
from playalong.profile.pad_commands import (
    DEFAULT_PADS,
    GAP_S,
    QUIET_AFTER_S,
    QUIET_BEFORE_S,
    Calls,
    Command,
    Listener,
)
from tests.helpers.shipped import CHOSEN, SHIPPED

#: Ten pads that a kit usually has.
KIT = (
    "kick",
    "snare",
    "rim-shot",
    "hi-hat",
    "ride",
    "crash",
    "high-tom",
    "mid-tom",
    "floor-tom",
    "cowbell",
)
STRUCK = [voice.name for voice in VOICES if not voice.by_itself]
FRAME_S = 1 / 60


def answers(hits, until_s, calls=None, *, start_s=0.0):
    """What a listener answers that is asked at each frame, with its time."""
    listener = Listener(calls or Calls())
    found = []
    waiting = sorted(hits, key=lambda hit: hit.time_s)
    for frame in range(round((until_s - start_s) / FRAME_S)):
        now_s = start_s + frame * FRAME_S
        while waiting and waiting[0].time_s <= now_s:
            listener.hit(waiting.pop(0))
        command = listener.time_passed(now_s)
        if command is not None:
            found.append((now_s, command))
    return found


def commands(*args, **kwargs):
    return [command for _, command in answers(*args, **kwargs)]


def strokes(*pads, at_s=2.0, gap_s=0.4, velocity=90.0):
    return [Hit(at_s + n * gap_s, pad, velocity) for n, pad in enumerate(pads)]


def call(pad, call_pad="kick"):
    return strokes(call_pad, call_pad, pad, pad)


@pytest.mark.parametrize("command", [c for c in Command if c is not Command.AGAIN])
def test_each_command_is_answered_once(command):
    assert commands(call(DEFAULT_PADS[command]), 20.0) == [command]


def test_it_is_answered_when_the_silence_is_over_and_not_before():
    hits = call("ride")
    ((at_s, _),) = answers(hits, 6.0)
    assert at_s - hits[-1].time_s == pytest.approx(QUIET_AFTER_S, abs=FRAME_S)


def test_of_two_that_share_a_pad_the_first_is_answered():
    shared = Calls(pads={Command.AGAIN: "snare", Command.START: "snare"})
    assert commands(call("snare"), 6.0, shared) == [Command.START]
    assert commands(call("snare"), 6.0, Calls(pads={Command.AGAIN: "snare"})) == [Command.AGAIN]


def test_a_rim_shot_counts_as_the_snare_unless_it_has_a_command_of_its_own():
    mixed = strokes("kick", "kick", "rim-shot", "snare")
    assert commands(mixed, 6.0) == [Command.START]
    own = Calls(pads={Command.START: "snare", Command.NEXT: "rim-shot"})
    assert commands(mixed, 6.0, own) == []
    assert commands(call("rim-shot"), 6.0, own) == [Command.NEXT]


@pytest.mark.parametrize(
    "pads",
    [
        (),
        ("kick", "kick"),
        ("kick", "kick", "snare"),
        ("kick", "snare", "snare"),
        ("kick", "kick", "snare", "ride"),
        ("kick", "snare", "kick", "snare"),
        ("kick", "kick", "kick", "kick"),
        ("kick", "kick", "kick", "snare", "snare"),
        ("kick", "kick", "snare", "snare", "snare"),
        ("snare", "kick", "kick", "snare", "snare"),
        ("kick", "kick", "cowbell", "cowbell"),
    ],
)
def test_other_strokes_are_no_call(pads):
    assert commands(strokes(*pads), 10.0) == []


@pytest.mark.parametrize("gap_s", [GAP_S[0] - 0.02, GAP_S[1] + 0.02])
def test_too_fast_and_too_slow_is_no_call(gap_s):
    assert commands(strokes("kick", "kick", "snare", "snare", gap_s=gap_s), 10.0) == []


def test_it_must_be_silent_before_from_the_moment_it_listens():
    late_s = 2.0 - QUIET_BEFORE_S + 0.1
    assert commands([Hit(late_s, "crash", 90.0), *call("snare")], 8.0) == []
    assert commands([Hit(late_s - 0.2, "crash", 90.0), *call("snare")], 8.0) == [Command.START]
    assert commands(call("snare"), 8.0, start_s=late_s) == []


def test_two_calls_need_a_silence_between_them():
    second = [Hit(hit.time_s + 5.0, "kick" if n < 2 else "ride", 90.0)
              for n, hit in enumerate(call("ride"))]  # fmt: skip
    assert commands([*call("snare"), *second], 12.0) == [Command.START, Command.NEXT]


@pytest.mark.parametrize(
    "added",
    [
        lambda hit: Hit(hit.time_s + 0.025, hit.voice, 40.0),
        lambda hit: Hit(hit.time_s + 0.003, "mid-tom", hit.velocity * 0.4),
        lambda hit: Hit(hit.time_s - 0.003, "mid-tom", hit.velocity * 0.4),
        lambda hit: Hit(hit.time_s + 0.15, "hi-hat-pedal", 100.0),
    ],
    ids=["double trigger", "crosstalk after", "crosstalk before", "pedal"],
)
def test_what_the_kit_adds_breaks_no_call(added):
    hits = call("snare")
    assert commands([*hits, *map(added, hits)], 8.0) == [Command.START]


def test_two_pads_at_once_are_no_call():
    hits = call("snare")
    assert commands([*hits, Hit(hits[2].time_s + 0.005, "ride", 80.0)], 8.0) == []


@pytest.mark.parametrize("pace_s", [0.35, 0.4, 0.45, 0.5, 0.55])
def test_a_call_on_purpose_is_always_heard(pace_s):
    """Each stroke strays with a standard deviation of 25 ms, so that a gap strays with 35 ms."""
    chance = np.random.default_rng(round(pace_s * 100))
    given_, hits, listener, heard = [], [], Listener(Calls()), []
    offered = [c for c in Command if c is not Command.AGAIN]
    at_s = 2.0
    for _ in range(1000):
        command = offered[chance.integers(len(offered))]
        pads = ("kick", "kick", DEFAULT_PADS[command], DEFAULT_PADS[command])
        for place, pad in enumerate(pads):
            stray_s = float(chance.normal(0.0, 0.025))
            hits.append(Hit(at_s + place * pace_s + stray_s, pad, float(chance.uniform(20, 127))))
        given_.append(command)
        at_s = hits[-1].time_s + 2.0
    listener.time_passed(0.0)
    for hit, following in pairwise([*hits, Hit(at_s, "kick", 1.0)]):
        listener.hit(hit)
        command = listener.time_passed(following.time_s)
        if command is not None:
            heard.append(command)
    assert heard == given_


def count_calls(times_s, pads, calls=None):
    """How many commands come of hits; asked just before each, which is as good as always."""
    listener = Listener(calls or Calls())
    listener.time_passed(0.0)
    found = 0
    for time_s, pad in zip(times_s, pads, strict=True):
        found += listener.time_passed(time_s) is not None
        listener.hit(Hit(time_s, pad, 90.0))
    return found


def noise(rate, hours, pads, *, seed):
    """Hits at random moments, ``rate`` of them a second, on any pad alike."""
    chance = np.random.default_rng(seed)
    count = round(rate * hours * 3600)
    times_s = np.cumsum(chance.exponential(1.0 / rate, count)).tolist()
    return times_s, [pads[n] for n in chance.integers(len(pads), size=count).tolist()]


def expected_per_hour(rate, pads, offered):
    """Calls an hour in random hits, by the rule: silence, four pads, three gaps, silence.

    Exponential gaps; hits so close that they count as one are left out of account.
    """
    gap = exp(-rate * GAP_S[0]) - exp(-rate * GAP_S[1])
    silence = exp(-rate * (QUIET_BEFORE_S + QUIET_AFTER_S))
    return 3600 * rate * silence * gap**3 * offered / pads**4


def test_random_hits_on_two_pads_call_as_often_as_the_rule_says():
    hours = 60
    expected = hours * expected_per_hour(1.0, 2, 1)
    assert expected > 50
    times_s, pads = noise(1.0, hours, ("kick", "snare"), seed=1)
    assert count_calls(times_s, pads) == pytest.approx(expected, abs=5 * sqrt(expected))


@pytest.mark.parametrize("rate", [0.5, 1.0, 2.0, 5.0])
def test_ten_hours_of_random_hits_call_practically_never(rate):
    """By the rule, less than one call in 20 hours, whatever the rate.

    Five commands have one of the ten pads, and the snare with its rim, which counts for
    four, has two.
    """
    assert max(expected_per_hour(r / 10, 10, 5 + 4) for r in range(1, 100)) < 1 / 20
    times_s, pads = noise(rate, 10, KIT, seed=round(rate * 10))
    assert count_calls(times_s, pads) <= 2


def test_hours_of_grooves_call_never():
    """The chosen patterns, broken off again and again at any moment, for four hours."""
    chance = np.random.default_rng(4)
    hours = 0.0
    for name in CHOSEN:
        pattern = SHIPPED[name]
        targets = lay_out(pattern, pattern.tempo, 16)
        times_s, pads, start_s = [], [], 2.0
        while start_s < 400.0:
            length_s = float(chance.uniform(0.3, min(20.0, targets.end_s)))
            strays_s = chance.normal(0.0, 0.01, len(targets))
            run = [
                (start_s + at_s + stray_s, name)
                for at_s, stray_s, name in zip(
                    targets.time_s.tolist(), strays_s.tolist(), targets.names, strict=True
                )
                if at_s < length_s
            ]
            times_s += [at_s for at_s, _ in sorted(run)]
            pads += [name for _, name in sorted(run)]
            start_s += length_s + 2.0
        hours += start_s / 3600
        assert count_calls(times_s, pads) == 0, name
    assert hours > 3.9


def test_a_whole_kit_keeps_its_pads():
    assert Calls().fitting([voice.name for voice in VOICES]) == Calls()


@given(st.sets(st.sampled_from([voice.name for voice in VOICES])))
def test_calls_that_fit_use_only_pads_that_are_there(there):
    calls = Calls().fitting(there)
    used = {calls.call, *calls.pads.values()} if calls.pads else set()
    reachable = set()
    for voice in there:
        reachable.add(voice)
        while (into := BY_NAME[voice].folds_into) is not None:
            reachable.add(voice := into)
    assert used <= reachable
    # Whatever can be called is heard.
    for command, pad in calls.pads.items():
        alone = Calls(calls.call, {command: pad})
        assert commands(call(pad, calls.call), 6.0, alone) == [command]


def test_a_small_kit_goes_without_what_is_needed_least():
    calls = Calls().fitting(["kick", "snare", "hi-hat", "hi-hat-open", "hi-hat-pedal"])
    assert calls.call == "kick"
    assert calls.pads == {
        Command.START: "snare",
        Command.AGAIN: "snare",
        Command.NEXT: "hi-hat",
    }


def test_without_a_kick_another_pad_calls():
    calls = Calls().fitting([pad for pad in KIT if pad != "kick"])
    assert calls.call == "hi-hat"
    assert calls.pads[Command.SOUND] not in (*DEFAULT_PADS.values(), "kick")
    own = dict(DEFAULT_PADS)
    del own[Command.SOUND]
    assert {command: calls.pads[command] for command in own} == own


def test_one_pad_alone_gives_no_command():
    assert not Calls().fitting(["snare"]).pads
    assert not Calls().fitting([]).pads


@given(st.permutations(STRUCK))
def test_calls_come_back_from_a_file(pads):
    calls = Calls(pads[0], dict(zip(Command, pads[1:], strict=False)))
    assert Calls.from_plain(calls.as_plain()) == calls


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        (
            {"start": "snare", "next": "snare"},
            ("start", "next", "snare", "another pad", "cannot both"),
        ),
        ({"call": "ride", "next": "ride"}, ("next", "ride", "call")),
        ({"start": "triangle"}, ("start", "triangle", "snare")),
        ({"start": 38}, ("start", "38", "snare")),
        ({"call": "hi-hat-pedal"}, ("call", "hi-hat-pedal", "no pad to strike")),
        ({"go": "snare"}, ("go", "no command", "start")),
        (["snare"], ("table",)),
    ],
)
def test_what_is_wrong_is_said(plain, said):
    with pytest.raises(ValueError, match=r".") as error:
        Calls.from_plain(plain)
    for word in said:
        assert word in str(error.value)


def test_the_words_name_the_pad_that_calls():
    assert Calls().words() == "Kick twice, then twice:"
