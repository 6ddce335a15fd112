"""Mixing: called orders, and which variations a bar was played with."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern, Stroke
from playalong.pattern.targets import GRACE_S, lay_out
from playalong.practice.excerpts import Names
from playalong.practice.phrases import texture_lines, texture_next
from playalong.practice.variations.calling import called, mixed
from playalong.practice.variations.mixing import (
    GRACE_COST,
    MOST,
    Explainer,
    Explanation,
    allowed,
    inaudible,
)
from playalong.practice.variations.texture import texture
from tests.helpers.exact_takes import as_list, faultless, law
from tests.helpers.mixed_bars import named, named_fill
from tests.helpers.shipped import SHIPPED

from .making import pattern, steady_player

RULES = Rules()

SIX = pattern(
    """
[[bar]]
hi-hat = "x-x- x-x- x-x- x-x-"
snare  = "---- X--- ---- X---"
kick   = "x--- ---- x-x- ----"
[variation.push]
kick = "---- ---- ---- ---x"
[variation.early]
kick = "---x ---- ---- ----"
[variation.without]
kick = "---- ---- .-.- ----"
[variation.whispers]
snare = "---- -g-g ---- ----"
[variation.answer]
snare = "---- ---- -g-- --g-"
[variation.bark]
hi-hat = "---- ---- ---- --o-"
"""
)


def bar_of(whole: Pattern, names: Names, tempo_bpm: float = 90.0) -> list[Hit]:
    """One bar with these variations, played without a fault."""
    chosen = mixed(whole, [names])
    hits = as_list(faultless(lay_out(chosen, tempo_bpm)))
    opened = {float(s.at) for bar in chosen.bars for s in bar.strokes if s.is_open}
    scale = lay_out(chosen, tempo_bpm).seconds_per_whole
    return [
        Hit(hit.time_s, "hi-hat-open", hit.velocity)
        if hit.voice == "hi-hat" and any(abs(hit.time_s - at * scale) < 1e-9 for at in opened)
        else hit
        for hit in hits
    ]


# Called mixing.


@law(200)
@given(st.integers(1, 14), st.integers(0, 60), st.integers(0, 1000))
def test_a_called_order_never_repeats_too_soon_and_forgets_none(
    names: int, count: int, seed: int
) -> None:
    order = called(range(names), count, seed)
    assert len(order) == count
    assert order == called(range(names), count, seed)
    apart = names // 2
    for at, name in enumerate(order):
        assert name not in order[max(0, at - apart) : at]
    so_far: Counter[int] = Counter(dict.fromkeys(range(names), 0))
    for name in order:
        so_far[name] += 1
        assert max(so_far.values()) - min(so_far.values()) <= 2


def test_called_orders_differ() -> None:
    assert len({tuple(called("abcdef", 8, seed)) for seed in range(20)}) > 10
    assert called([], 5, 1) == []


def test_a_mixed_run_is_the_pattern_with_each_bars_variations() -> None:
    rounds: list[Names] = [(), ("push",), ("early", "whispers")]
    bars = mixed(SIX, rounds).bars
    assert bars == tuple(SIX.with_variations(names)[0] for names in rounds)


# The best explanation, against a search by other means.


def costs_of_answers(
    whole: Pattern, hits: Sequence[Hit], names: Names, *, tempo_bpm: float
) -> float:
    """The cost of one combination as the module's head defines it, voice by voice."""
    (bar,) = whole.with_variations(names)
    scale = lay_out(whole, tempo_bpm, 1).seconds_per_whole
    total = 0.0
    for voice in {stroke.voice for stroke in bar.strokes} | {sounds(hit) for hit in hits}:
        strokes = sorted(
            (float(s.at) * scale - grace * GRACE_S, grace, s)
            for s in bar.strokes
            if s.voice == voice
            for grace in range(s.graces + 1)
        )
        own = sorted((hit for hit in hits if sounds(hit) == voice), key=lambda hit: hit.time_s)
        total += best_in_order(strokes, own)
    return total


def sounds(hit: Hit) -> str:
    return "hi-hat" if hit.voice == "hi-hat-open" else hit.voice


def of_answer(time_s: float, grace: int, stroke: Stroke, *, hit: Hit) -> float | None:
    error = (hit.time_s - time_s) * 1000.0 / RULES.capture_ms
    if abs(error) > 1.0:
        return None
    if grace:
        return error**2 / 3.0
    band = RULES.bands.of(stroke.voice, stroke.dynamic)
    away = (hit.velocity - (band.low + band.high) / 2) / ((band.high - band.low) / 2)
    loudness = min(1.0, away**2 / 2)
    hat = stroke.voice == "hi-hat" and (hit.voice == "hi-hat-open") != stroke.is_open
    return (error**2 + loudness + float(hat)) / 3.0


def of_missed(grace: int, stroke: Stroke) -> float:
    return 0.0 if stroke.optional else GRACE_COST if grace else 1.0


def best_in_order(strokes: Sequence[tuple[float, int, Stroke]], hits: Sequence[Hit]) -> float:
    """Every way of answering in order, by plain recursion."""

    @cache
    def rest(i: int, j: int) -> float:
        if i == len(strokes):
            return float(len(hits) - j)
        options = [of_missed(*strokes[i][1:]) + rest(i + 1, j)]
        if j < len(hits):
            options.append(1.0 + rest(i, j + 1))
            answer = of_answer(*strokes[i], hit=hits[j])
            if answer is not None:
                options.append(answer + rest(i + 1, j + 1))
        return min(options)

    return rest(0, 0)


def every(names: Sequence[str]) -> Iterator[Names]:
    for size in range(len(names) + 1):
        yield from combinations(names, size)


def search(
    whole: Pattern, hits: Sequence[Hit], tempo_bpm: float
) -> tuple[dict[Names, float], Names]:
    costs = {
        names: costs_of_answers(whole, hits, names, tempo_bpm=tempo_bpm)
        for names in every(tuple(whole.variations))
    }
    least = min(costs.values())
    return costs, next(names for names, cost in costs.items() if cost < least + 1e-9)


HITS = st.lists(
    st.builds(
        Hit,
        st.floats(-0.1, 2.8),
        st.sampled_from(["kick", "kick", "snare", "snare", "hi-hat", "hi-hat-open"]),
        st.floats(1.0, 127.0),
    ),
    max_size=8,
)

#: Flams, optional strokes, and strokes so near to one another that their windows overlap.
CROWDED = pattern(
    """
[[bar]]
snare  = "x--- X--- ---- X---"
kick   = "x--- ---- x--- ----"
[variation.flams]
snare = "f--- ---- ---- F---"
[variation.may-be]
kick = "---- x?--- ---- ----"
[variation.rolls]
snare = "---- ---- xxxxxxxx ----"
[variation.soft]
snare = "g--- ---- ---- ----"
[variation.drag]
snare = "---- ---d ---- ----"
[variation.steps]
kick = "-x-x ---- .--- --xx"
"""
)


@law(25)
@given(st.sampled_from([SIX, CROWDED]), st.sets(st.integers(0, 5)), HITS, st.data())
def test_the_best_of_all_combinations_is_found(
    whole: Pattern, numbers: set[int], more: list[Hit], data: st.DataObject
) -> None:
    names = tuple(name for n, name in enumerate(whole.variations) if n in numbers)
    hits = [hit for hit in bar_of(whole, names) if data.draw(st.integers(0, 7))] + more
    expected, best = search(whole, hits, 90.0)
    explainer = Explainer(whole, 90.0)
    costs = explainer.costs(hits)
    assert costs.keys() == expected.keys()
    for chosen, cost in expected.items():
        assert costs[chosen] == pytest.approx(cost, abs=1e-6)
    found = explainer.explain(hits)
    assert found.names == (() if found.is_other else best)


def test_the_cost_is_that_of_the_cheapest_assignment() -> None:
    """Source: scipy.optimize.linear_sum_assignment, with a place to stay alone for each stroke
    and each hit. Strokes of a voice lie farther apart than two windows, so order binds nothing."""
    whole = pattern(
        '[[bar]]\nsnare = "-- X- -- X-"\nkick = "x- -- x- --"\n'
        '[variation.a]\nkick = "-x -- -- --"\n[variation.b]\nsnare = "-- -- -g --"'
    )
    chance = np.random.default_rng(5)
    explainer = Explainer(whole, 90.0)
    for _ in range(30):
        hits = [
            Hit(float(chance.uniform(0, 2.6)), str(voice), float(chance.integers(1, 128)))
            for voice in chance.choice(["snare", "kick"], 8)
        ]
        for names, cost in explainer.costs(hits).items():
            strokes = whole.with_variations(names)[0].strokes
            scale = lay_out(whole, 90.0).seconds_per_whole
            n, m = len(strokes), len(hits)
            matrix = np.full((n + m, m + n), 1e6)
            for i, stroke in enumerate(strokes):
                matrix[i, m + i] = 1.0
                for j, hit in enumerate(hits):
                    answer = of_answer(float(stroke.at) * scale, 0, stroke, hit=hit)
                    if hit.voice == stroke.voice and answer is not None:
                        matrix[i, j] = answer
            for j in range(m):
                matrix[n + j, j] = 1.0
            matrix[n:, m:] = 0.0
            rows, columns = linear_sum_assignment(matrix)
            assert cost == pytest.approx(float(matrix[rows, columns].sum()), abs=1e-6)


@pytest.mark.parametrize("names", list(every(tuple(SIX.variations))))
def test_a_faultless_bar_is_named_for_what_it_is(names: Names) -> None:
    found = Explainer(SIX, 90.0).explain(bar_of(SIX, names))
    assert found.names == names
    assert found.counts.on_time == found.counts.targets
    assert (found.counts.missed, found.counts.extra) == (0, 0)


def test_what_cannot_be_heard_is_not_named() -> None:
    whole = pattern(
        """
[[bar]]
snare = "x- x- x- x-"
[variation.same]
snare = "x- -- -- --"
[variation.may-be]
snare = "-x? -- -- --"
[variation.more]
snare = "-- -x -- --"
[variation.more-again]
snare = "-- -x -- --"
"""
    )
    explainer = Explainer(whole, 90.0)
    assert explainer.explain(bar_of(whole, ())).names == ()
    assert explainer.explain(bar_of(whole, ("more-again", "same"))).names == ("more",)


def test_silence_and_noise_are_explained_too() -> None:
    explainer = Explainer(SIX, 90.0)
    silent = explainer.explain([])
    assert silent.is_other
    assert silent.names == ()
    assert silent.counts.matched == 0
    noise = [Hit(0.3 + n / 1000.0, "crash", 80.0) for n in range(5)]
    assert explainer.explain(noise).cost == pytest.approx(silent.cost + 5.0)


# Many combinations.

TWELVE = pattern(
    '[[bar]]\nsnare = "---- X--- ---- X---"\nkick = "x--- ---- x--- ----"\n'
    + "".join(
        f'[variation.v{number}]\nkick = "{line[:4]} {line[4:8]} {line[8:12]} {line[12:]}"\n'
        for number, at in enumerate([1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 13, 14])
        for line in ["-" * at + "x" + "-" * (15 - at)]
    )
)


def test_twelve_variations_are_told_apart() -> None:
    names = tuple(TWELVE.variations)[:12]
    variations = {name: TWELVE.variations[name] for name in names}
    whole = Pattern(
        name=TWELVE.name,
        title=TWELVE.title,
        meter=TWELVE.meter,
        tempo=TWELVE.tempo,
        bars=TWELVE.bars,
        variations=variations,
    )
    assert len(allowed(whole, 0)) == 2**12 == MOST
    explainer = Explainer(whole, 90.0)
    chance = np.random.default_rng(3)
    for _ in range(40):
        chosen = tuple(name for name in names if chance.random() < 0.5)
        assert explainer.explain(bar_of(whole, chosen)).names == chosen


def test_of_more_combinations_those_of_the_fewest_variations_are_tried() -> None:
    found = allowed(TWELVE, 0)
    assert len(TWELVE.variations) == 13
    assert len(found) <= MOST
    assert max(len(names) for names in found) == 6
    assert [len(names) for names in found] == sorted(len(names) for names in found)


# Simulated players.


def test_nearly_all_bars_of_a_steady_player_are_named_right() -> None:
    """Six variations of one or two strokes each, mixed by chance, 640 bars in all."""
    chance = np.random.default_rng(11)
    whole = pattern(
        """
[[bar]]
hi-hat = "x-x- x-x- x-x- x-x-"
snare  = "---- X--- ---- X---"
kick   = "x--- ---- x-x- ----"
[variation.push]
kick = "---- ---- ---- ---x"
[variation.early]
kick = "---x ---- ---- ----"
[variation.without]
kick = "---- ---- .-.- ----"
[variation.whispers]
snare = "---- -g-g ---- ----"
[variation.answer]
snare = "---- ---- -g-- --g-"
[variation.softly]
snare = "---- ---- ---- g---"
"""
    )
    names = tuple(whole.variations)
    table: Counter[tuple[str, bool, bool]] = Counter()
    right = bars = 0
    for seed, tempo_bpm in enumerate((70.0, 90.0, 110.0, 130.0)):
        explainer = Explainer(whole, tempo_bpm)
        rounds = [tuple(name for name in names if chance.random() < 0.5) for _ in range(160)]
        hits = steady_player(lay_out(mixed(whole, rounds), tempo_bpm), seed)
        for chosen, own in zip(rounds, explainer.split(hits, len(rounds)), strict=True):
            found = explainer.explain(own).names
            right, bars = right + (found == chosen), bars + 1
            for name in names:
                table[name, name in chosen, name in found] += 1
    assert bars >= 600
    assert right >= 0.98 * bars
    for name in names:
        for played in (False, True):
            told = {said: table[name, played, said] for said in (False, True)}
            assert told[played] >= 0.98 * sum(told.values())


# Runs of several bars.

TWO_BARS = pattern(
    """
[[bar]]
hi-hat = "xx xx xx"
kick   = "x- -- --"
[[bar]]
hi-hat = "xx xx xx"
kick   = "x- -x --"
[variation.first]
bars = [1]
kick = "-- -- -x"
[variation.second]
bars = [2]
snare = "-- X- --"
""",
    'meter = "3/4"\ntempo = 90',
)


def test_a_run_is_split_at_its_bar_lines_with_some_room_for_early_hits() -> None:
    rounds: list[Names] = [(), ("first",), ("second",), ("first", "second")]
    targets = lay_out(mixed(TWO_BARS, rounds), 90.0)
    hits = faultless(targets)
    for by_s in (-0.03, 0.0, 0.03):
        moved = as_list(Hits(hits.time_s + by_s, hits.voice, hits.velocity))
        explainer = Explainer(TWO_BARS, 90.0)
        bars = explainer.split(moved, 8)
        assert [len(bar) for bar in bars] == np.bincount(targets.bar).tolist()
        found = [explainer.explain(bar, number % 2).names for number, bar in enumerate(bars)]
        assert found == [(), (), ("first",), (), (), ("second",), ("first",), ("second",)]


def test_a_hit_within_a_bar_stays_there_whatever_its_voice_has_to_play() -> None:
    for voice in ("snare", "kick", "crash"):
        for time_s in (0.2, 1.0, 1.8):  # a bar lasts two seconds
            bars = Explainer(TWO_BARS, 90.0).split([Hit(2.0 + time_s, voice, 80.0)], 3)
            assert [len(bar) for bar in bars] == [0, 1, 0]
            assert bars[1][0].time_s == pytest.approx(time_s)


def test_only_variations_that_change_a_bar_are_looked_for_in_it() -> None:
    assert allowed(TWO_BARS, 0) == ((), ("first",))
    assert allowed(TWO_BARS, 1) == ((), ("second",))


# Texture.


def explained(names: Names, errors_ms: dict[str, float]) -> Explanation:
    """A bar with its voices played so much late."""
    hits = [
        Hit(hit.time_s + errors_ms.get(hit.voice, 0.0) / 1000.0, hit.voice, hit.velocity)
        for hit in bar_of(SIX, names)
    ]
    return Explainer(SIX, 90.0).explain(hits)


def test_the_texture_tells_what_was_used_when_and_what_never() -> None:
    bars = [explained(names, {}) for names in [(), ("push",), (), ("push", "early")]]
    told = texture(tuple(SIX.variations), bars)
    assert told.used["push"] == (1, 3)
    assert told.used["early"] == (3,)
    assert told.plain == (0, 2)
    assert told.never == ("without", "whispers", "answer", "bark")
    assert told.spread_ms["push"] == pytest.approx(0.0, abs=1e-5)
    assert told.spread_ms["without"] is None
    assert any("Never" in sentence and '"without"' in sentence for sentence in texture_lines(told))


def test_the_spread_of_the_groove_is_that_of_its_own_strokes_less_their_habit() -> None:
    # The kick is always 10 ms late: a habit. Under "whispers" the snare is 20 ms early in one bar
    # and 20 ms late in the other: two of the groove's 13 strokes in each bar.
    bars = [
        explained((), {"kick": 10.0}),
        explained(("whispers",), {"kick": 10.0, "snare": -20.0}),
        explained(("whispers",), {"kick": 10.0, "snare": 20.0}),
    ]
    told = texture(tuple(SIX.variations), bars)
    assert told.plain_spread_ms == pytest.approx(0.0, abs=1e-5)
    assert told.spread_ms["whispers"] == pytest.approx(20.0 * np.sqrt(2 / 13), abs=1e-5)


def test_a_groove_that_gets_looser_is_told_and_by_chance_alone_it_is_not() -> None:
    tight = [explained((), {"snare": late, "kick": -late}) for late in (-3.0, 3.0, 2.0, -4.0)]
    loose = [
        explained(("whispers",), {"snare": late, "kick": -late})
        for late in (-20.0, 20.0, 25.0, -18.0)
    ]
    told = texture(("whispers",), [*tight, *loose])
    assert told.looser == ("whispers",)
    assert 'The groove gets looser under "whispers".' in texture_lines(told)
    few = texture(("whispers",), [*tight[:2], *loose[:2]])
    assert few.looser == (), "two bars say nothing"


def test_a_bar_that_is_none_of_them_is_told_as_none() -> None:
    silent = Explainer(SIX, 90.0).explain([])
    told = texture(("push",), [explained(("push",), {}), silent])
    assert told.other == (1,)
    assert told.plain == ()
    assert "None of them: bar 2." in texture_lines(told)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ([("push",), ()], '"early"'),
        ([("push",), ("early",), None], "bar 3"),
        ([("push",), ("early",)], "All of them"),
    ],
)
def test_one_sentence_says_what_to_do_next(names: list[Names | None], words: str) -> None:
    silent = Explainer(SIX, 90.0).explain([])
    bars = [silent if own is None else explained(own, {}) for own in names]
    assert words in texture_next(texture(("push", "early"), bars))


def test_variations_that_only_ask_for_what_may_be_left_out_cannot_be_heard() -> None:
    whole = pattern(
        '[[bar]]\nsnare = "xg? x- x- x-"\n[variation.asked]\nsnare = "-g -- -- --"\n'
        '[variation.more]\nsnare = "-- -x -- --"'
    )
    assert inaudible(whole) == ("asked",)


def test_loudness_is_heard_against_the_players_own_strokes() -> None:
    """Ghost notes at a velocity that the usual bands call plain, and plain strokes loud."""
    whole = pattern(
        '[[bar]]\nhi-hat = "xx xx xx xx"\nsnare = "-- x- -- x-"\n'
        '[variation.soft]\nsnare = "-- -- -- g-"'
    )
    explainer = Explainer(whole, 90.0)
    bars = [bar_of(whole, names) for names in [(), (), (), ("soft",)]]
    loud = [
        [replace(hit, velocity={84.0: 124.0, 30.0: 60.0}[hit.velocity]) for hit in bar]
        for bar in bars
    ]
    levels = explainer.levels([(0, bar) for bar in loud])
    assert [explainer.explain(bar, 0, levels).names for bar in loud] == [(), (), (), ("soft",)]


def test_a_sample_of_bars_with_human_timing_is_named_right() -> None:
    """python -m tests.long naming counts all patterns."""
    right = [
        one.is_right
        for seed, name in enumerate(("late-bus-home", "gravel-drive", "ferry-bell", "five-bricks"))
        for one in named(SHIPPED[name], SHIPPED[name].tempo, 8, seed=seed).bars
    ]
    assert np.mean(right) >= 0.9
    assert all(
        named_fill(SHIPPED[name], SHIPPED[name].tempo, seed).is_right
        for seed, name in enumerate(("late-bus-home", "gravel-drive", "ferry-bell", "five-bricks"))
    )
