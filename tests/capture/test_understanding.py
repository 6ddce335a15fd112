"""A groove that was played comes back as a pattern: its strokes, its tempo, what varies."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.capture.bars import ClickHeard
from playalong.capture.understanding import understand
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.voices import STAFF_ORDER
from playalong.pattern.writer import write
from playalong.records.pattern_files import load_pattern
from playalong.simulation.skills import SKILLS
from playalong.support.errors import UserError
from tests.helpers.captured import START_S, played, sounds_unlike, unlike

GROOVE = """
title = "Groove"
meter = "4/4"
tempo = 92

[[bar]]
hi-hat = "x-x- x-x- x-x- x-o-"
snare  = "---- x--g -g-- x---"
kick   = "x--x ---- --x- ----"
"""

#: Grooves of this test alone, with what each is about.
GROOVES = {
    "ghost notes and an open hi-hat": GROOVE,
    "flams": """
title = "Flams"
meter = "4/4"
tempo = 84

[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- f- -- f-"
kick   = "x- -x x- --"
""",
    "swung eighths": """
title = "Swung"
meter = "4/4"
tempo = 112
swing = 64

[[bar]]
ride  = "x- xx x- xx"
snare = "-- x- -- x-"
kick  = "x- -- -x --"
""",
    "triplets": """
title = "Triplets"
meter = "4/4"
tempo = 78

[[bar]]
hi-hat = "xxx xxx xxx xxx"
snare  = "--- x-- --- x--"
kick   = "x-- --x x-- ---"
""",
    "two bars": """
title = "Two Bars"
meter = "4/4"
tempo = 88

[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- x- -- x-"
kick   = "x- -- x- --"

[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- x- -- xx"
kick   = "x- -x -x --"
""",
    "three in a bar": """
title = "Three"
meter = "3/4"
tempo = 104

[[bar]]
hi-hat = "xx xx xx"
snare  = "-- x- x-"
kick   = "x- -- -x"
""",
}


def groove(text: str) -> Pattern:
    return read(text, "groove")


def steady(pattern: Pattern, *, bars: int, seed: int = 3) -> Hits:
    return played(pattern, SKILLS["professional"], seed, bars=bars)


def joined(*parts: Hits) -> Hits:
    return Hits.sorted(
        np.concatenate([part.time_s for part in parts]),
        np.concatenate([part.voice for part in parts]),
        np.concatenate([part.velocity for part in parts]),
    )


@pytest.mark.parametrize("about", GROOVES)
def test_a_groove_of_four_bars_comes_back(about: str) -> None:
    pattern = groove(GROOVES[about])

    found = understand(
        steady(pattern, bars=4), name="played", title="Played", meters=[pattern.meter]
    )

    assert unlike(pattern, found.pattern) == set()
    assert found.pattern.tempo == pytest.approx(pattern.tempo, rel=0.01)
    assert abs(float(found.pattern.swing.percent - pattern.swing.percent)) <= 3


def test_tempo_and_meter_need_not_be_told() -> None:
    pattern = groove(GROOVE)

    found = understand(steady(pattern, bars=4), name="played", title="Played")

    assert sounds_unlike(pattern, found.pattern, 1.0) == (0, True)
    assert found.pattern.meter.written == "4/4"


def test_without_a_click_the_tempo_may_drift() -> None:
    pattern = groove(GROOVE)
    hits = steady(pattern, bars=8)
    slower = Hits(hits.time_s * (1.0 + 0.002 * hits.time_s), hits.voice, hits.velocity)

    found = understand(slower, name="played", title="Played", meters=[pattern.meter])

    assert unlike(pattern, found.pattern) == set()


def test_a_count_in_is_no_part_of_the_groove() -> None:
    pattern = groove(GROOVE)
    hits = steady(pattern, bars=4)
    beat_s, first_s = 60.0 / pattern.tempo, 1.7
    count = Hits.of(Hit(first_s - back * beat_s, "cross-stick", 70) for back in (4, 3, 2, 1))

    found = understand(joined(count, hits), name="played", title="Played", meters=[pattern.meter])

    assert unlike(pattern, found.pattern) == set()
    assert {stray.bar for stray in found.strays} == {0}
    assert len(found.strays) == 4


def test_a_stroke_that_came_once_is_a_stray() -> None:
    pattern = groove(GROOVE)
    hits = steady(pattern, bars=8)
    beat_s = 60.0 / pattern.tempo
    once = Hits.of([Hit(1.7 + 9.5 * beat_s, "floor-tom", 90)])

    found = understand(joined(hits, once), name="played", title="Played", meters=[pattern.meter])

    assert unlike(pattern, found.pattern) == set()
    (stray,) = found.strays
    assert (stray.bar, stray.at, stray.voice) == (3, Fraction(3, 8), "floor-tom")


@pytest.mark.parametrize("missed", [(0, 4), (1, 5), (2, 6)])
def test_a_stroke_that_was_missed_twice_is_of_the_groove(missed: tuple[int, int]) -> None:
    pattern = groove(GROOVE)
    hits = steady(pattern, bars=8)
    beat_s = 60.0 / pattern.tempo
    is_snare = hits.voice == STAFF_ORDER["snare"]
    on_4 = np.zeros(len(hits), np.bool_)
    for bar in missed:
        on_4 |= is_snare & (np.abs(hits.time_s - START_S - (4 * bar + 3) * beat_s) < 0.1)
    assert on_4.sum() == 2

    heard = Hits.sorted(*(part[~on_4] for part in (hits.time_s, hits.voice, hits.velocity)))

    click = ClickHeard(tempo_bpm=pattern.tempo, start_s=START_S)

    found = understand(heard, name="played", title="Played", meters=[pattern.meter], click=click)

    assert unlike(pattern, found.pattern) == set()


def test_a_stroke_of_every_other_round_is_optional() -> None:
    pattern = groove(GROOVE)
    beat_s = 60.0 / pattern.tempo
    now_and_then = Hits.of(Hit(1.7 + (4 * bar + 3.5) * beat_s, "kick", 60) for bar in (0, 1, 4, 7))

    found = understand(
        joined(steady(pattern, bars=8), now_and_then),
        name="played",
        title="Played",
        meters=[pattern.meter],
        bars=1,
    )

    optional = [one.stroke for one in found.strokes if one.stroke.optional]
    assert [(one.at, one.voice) for one in optional] == [(Fraction(7, 8), "kick")]


def test_a_fill_in_the_last_of_eight_bars_is_a_variation() -> None:
    pattern = groove(GROOVE)
    beat_s = 60.0 / pattern.tempo
    hits = steady(pattern, bars=8)
    last_s = 1.7 + 30 * beat_s - 0.1
    kept = hits.time_s < last_s
    before = Hits(hits.time_s[kept], hits.voice[kept], hits.velocity[kept])
    toms = ("high-tom", "high-tom", "mid-tom", "mid-tom", "floor-tom", "floor-tom")
    fill = Hits.of(
        Hit(1.7 + (30 + place / 4) * beat_s, voice, 90) for place, voice in enumerate(toms)
    )

    found = understand(joined(before, fill), name="played", title="Played", meters=[pattern.meter])

    assert unlike(pattern, found.pattern) == set()
    (variation,) = found.pattern.variations.values()
    added = {(stroke.at, stroke.voice) for stroke in variation.changes[0].added}
    assert {
        (Fraction(2, 4) + Fraction(place, 16), voice) for place, voice in enumerate(toms)
    } <= added
    assert "bar 8" in variation.about


def test_half_and_double_are_offered() -> None:
    pattern = groove(GROOVE)

    found = understand(steady(pattern, bars=8), name="played", title="Played")

    ratios = {round(one.tempo_bpm / found.reading.tempo_bpm, 1) for one in found.choices[1:]}
    assert ratios & {0.5, 2.0}


def test_too_little_is_told() -> None:
    few = Hits.of(Hit(0.5 * beat, "snare", 90) for beat in range(4))

    with pytest.raises(UserError, match="two bars at least"):
        understand(few, name="played", title="Played")


def test_bars_that_are_written_alike_stand_once() -> None:
    pattern = load_pattern("late-bus-home")
    hits = played(pattern, SKILLS["intermediate"], 3, bars=8)  # a ghost note is now and then loud

    found = understand(hits, name="played", title="Played")

    assert len(found.pattern.bars) == 1


@given(
    times=st.lists(st.floats(0.0, 40.0), min_size=0, max_size=120),
    grid=st.sampled_from([0.0, 0.05, 0.25, 3.0]),
    seed=st.integers(0, 1_000),
)
@settings(max_examples=40, deadline=None)
def test_whatever_is_struck_is_a_pattern_or_a_plain_message(
    times: list[float], grid: float, seed: int
) -> None:
    chance = np.random.default_rng(seed)
    voices = ("kick", "snare", "hi-hat", "hi-hat-open", "floor-tom", "hi-hat-pedal", "rim-shot")
    at = [round(one / grid) * grid if grid else one for one in times]
    hits = Hits.of(
        Hit(one, voices[int(chance.integers(len(voices)))], float(chance.integers(1, 128)))
        for one in at
    )

    try:
        found = understand(hits, name="played", title="Played")
    except UserError:
        return
    assert read(write(found.pattern), "played") == found.pattern


def test_a_rest_of_hours_takes_no_time() -> None:
    pattern = groove(GROOVE)
    hits = steady(pattern, bars=4)
    late = Hits.of([Hit(200_000.0, "snare", 90), Hit(400_000.0, "kick", 90)])

    found = understand(joined(hits, late), name="played", title="Played", meters=[pattern.meter])

    assert unlike(pattern, found.pattern) == set()


def test_nothing_that_comes_again_is_told() -> None:
    times = (0.0, 0.001, 0.002, 0.003, 0.004, 6.0, 0.005, 14.0, 13.0, 7.3)
    voices = ("kick", "snare", "hi-hat", "ride", "crash")
    once = Hits.of(Hit(at, voices[n % 5], 90) for n, at in enumerate(times))

    with pytest.raises(UserError):
        understand(once, name="played", title="Played")


def test_to_a_click_tempo_and_bar_1_are_known() -> None:
    pattern = groove(GROOVE)
    hits = steady(pattern, bars=4)

    found = understand(
        hits,
        name="played",
        title="Played",
        meters=[pattern.meter],
        click=ClickHeard(tempo_bpm=pattern.tempo, start_s=START_S),
    )

    assert unlike(pattern, found.pattern) == set()
    assert found.pattern.tempo == pattern.tempo
    assert len(found.choices) == 1


def test_a_click_makes_plain_what_could_be_twice_as_fast() -> None:
    text = (
        'title = "Sixteenths"\nmeter = "4/4"\ntempo = 60\n\n[[bar]]\nsnare = "xxxx xxxx xxxx x---"'
    )
    pattern = groove(text)

    found = understand(
        steady(pattern, bars=4),
        name="played",
        title="Played",
        meters=[pattern.meter],
        click=ClickHeard(tempo_bpm=60.0, start_s=START_S),
    )

    assert unlike(pattern, found.pattern) == set()
    assert found.pattern.tempo == 60.0


def test_a_tempo_that_was_played_for_few_bars_is_the_usual_one_that_may_be_meant() -> None:
    text = 'title = "Short"\nmeter = "2/4"\ntempo = 88\n\n[[bar]]\nsnare = "xx xx"\nkick = "x -"'
    pattern = read(text, "short")

    tempi = []
    for seed in range(16):
        hits = played(pattern, SKILLS["professional"], seed, bars=4)
        found = understand(hits, name="short", title="Short", meters=[pattern.meter], tempo_bpm=88)
        tempi.append(found.pattern.tempo)

    assert sum(tempo == 88.0 for tempo in tempi) >= 13, tempi
    assert all(tempo == round(tempo) for tempo in tempi), tempi


def test_accents_on_the_beats_are_told_from_a_hand_that_leans_on_them() -> None:
    head = 'title = "Beats"\nmeter = "4/4"\ntempo = 76\n\n[[bar]]\nsnare = "---- x--- ---- x---"\n'
    right = dict.fromkeys(("Xxxx Xxxx Xxxx Xxxx", "xxxx xxxx xxxx xxxx"), 0)

    for line in right:
        pattern = read(f'{head}hi-hat = "{line}"\n', "beats")
        for seed in range(8):
            found = understand(
                played(pattern, SKILLS["professional"], seed, bars=8),
                name="beats",
                title="Beats",
                meters=[pattern.meter],
                click=ClickHeard(tempo_bpm=pattern.tempo, start_s=START_S),
            )
            right[line] += not unlike(pattern, found.pattern)

    assert min(right.values()) > 4, right  # most of eight: before, none had accents


#: Bars of which the meter is to be found.
OF_THREES = {
    "6/8": ("xxx xxx", "--- x--", "x-- --x"),
    "12/8": ("xxx xxx xxx xxx", "--- x-- --- x--", "x-- --x -x- ---"),
    "4/4": ("x-x x-x x-x x-x", "--- x-- --- x--", "x-- --x --x ---"),
}


@pytest.mark.parametrize("meter", OF_THREES)
def test_meters_of_threes_are_found_where_the_middle_ones_are_struck(meter: str) -> None:
    hi_hat, snare, kick = OF_THREES[meter]
    bar = f'hi-hat = "{hi_hat}"\nsnare = "{snare}"\nkick = "{kick}"\n'
    pattern = read(f'title = "Threes"\nmeter = "{meter}"\ntempo = 66\n\n[[bar]]\n{bar}', "threes")

    for seed in range(3):
        hits = played(pattern, SKILLS["professional"], seed, bars=8)
        found = understand(hits, name="played", title="Played")
        assert found.pattern.meter.written == meter
        assert found.pattern.tempo == pytest.approx(66.0, rel=0.01)


RIDE = """
ride         = "x- xx x- xx"
hi-hat-pedal = "-- x- -- x-"
"""
BEAT = """
hi-hat = "xx xx xx xx"
kick   = "x- -- x- --"
"""

#: Grooves that were taken for something else, with what each is about, who plays them, and how many
#: bars.
HARD = {
    "no kick before the third bar": (
        "professional",
        4,
        f"""
title = "Late"
meter = "4/4"
tempo = 112
[[bar]]{RIDE}
[[bar]]{RIDE}
snare = "-- -- -- -x"
[[bar]]{RIDE}
kick = "x- -- -x --"
[[bar]]{RIDE}
kick = "-- -x -- --"
""",
    ),
    "the last of four bars turns round": (
        "professional",
        4,
        'title = "Turn"\nmeter = "4/4"\ntempo = 96\n'
        + 3 * f'[[bar]]{BEAT}snare = "-- x- -- x-"\n'
        + f'[[bar]]{BEAT}snare = "-- x- -- xx"\n',
    ),
    "four bars from the first stroke on, and nothing on 1 but a bell": (
        "professional",
        4,
        """
title = "Bell"
meter = "4/4"
tempo = 126
[[bar]]
cowbell     = "x- x- x- x-"
floor-tom   = "-- -- -- xx"
cross-stick = "-- x- -- --"
kick        = "-- -x -- x-"
""",
    ),
    "a bar of seven is no half of a bar": (
        "intermediate",
        8,
        """
title = "Seven"
meter = "2+2+3/8"
tempo = 116
[[bar]]
hi-hat = "xx xx xxx"
snare  = "-- x- x--"
kick   = "x- -x --x"
""",
    ),
    "a bar of three is no half of a bar": (
        "intermediate",
        8,
        """
title = "Three"
meter = "3/4"
tempo = 144
[[bar]]
ride         = "x- xx x-"
snare        = "-- -- x-"
kick         = "x- -- --"
hi-hat-pedal = "-- x- x-"
""",
    ),
}


@pytest.mark.parametrize("about", HARD)
def test_grooves_that_could_be_counted_otherwise_come_back(about: str) -> None:
    player, bars, text = HARD[about]
    pattern, skill = groove(text), SKILLS[player].without_habits()
    lost = []
    for seed in range(1, 5):
        found = understand(
            played(pattern, skill, seed, bars=bars),
            name="played",
            title="Played",
            meters=[pattern.meter],
        )
        if unlike(pattern, found.pattern, bars_played=bars):
            lost.append((seed, found.pattern.tempo, len(found.pattern.bars)))

    assert len(lost) <= 1, lost


ROW = """
title = "Down the Row"
meter = "4/4"
tempo = 88

[[bar]]
hi-hat = "x-x- x-x- x-x- x-x-"
snare  = "---- X--- ---- X---"
kick   = "x--- ---- x-x- ----"

[[bar]]
snare     = "Xxxx ---- ---- ----"
high-tom  = "---- Xxxx ---- ----"
mid-tom   = "---- ---- Xxxx ----"
floor-tom = "---- ---- ---- Xxxx"
kick      = "x--- x--- x--- x---"
"""


EVERY_OTHER_BAR = """
title = "Two Rulers"
meter = "4/4"
tempo = 64

[[bar]]
hi-hat = "x---x--- x---x--- x---x-x- x---xxx-"
snare  = "-------- X------- -------- X-------"
kick   = "x------- ----x--- x------- --------"

[[bar]]
hi-hat = "x--x-- x--x-- x--x-- xx-xx-"
snare  = "------ X----- ------ X-----"
kick   = "x----- ---x-- x----- ------"
"""


def lost_to_a_click(text: str, *, player: str, bars: int) -> list[int]:
    """The seeds, of eight, with which a groove does not come back."""
    pattern, skill = groove(text), SKILLS[player].without_habits()
    click = ClickHeard(tempo_bpm=pattern.tempo, start_s=START_S)
    lost = []
    for seed in range(8):
        found = understand(
            played(pattern, skill, seed, bars=bars),
            name="played",
            title="Played",
            meters=[pattern.meter],
            click=click,
        )
        lost += [seed] if unlike(pattern, found.pattern, bars_played=bars) else []
    return lost


@pytest.mark.parametrize(("player", "bars"), [("professional", 4), ("intermediate", 8)])
def test_accents_of_a_fill_over_the_toms_come_back(player: str, bars: int) -> None:
    assert len(lost_to_a_click(ROW, player=player, bars=bars)) <= 2


@pytest.mark.parametrize("player", ["professional", "intermediate"])
def test_every_other_bar_may_have_a_grid_of_its_own(player: str) -> None:
    assert len(lost_to_a_click(EVERY_OTHER_BAR, player=player, bars=8)) <= 2


NINES = """
title = "Three of Three of Three"
meter = "6/8"
tempo = 44

[[bar]]
hi-hat = "x--xxxx-- x--x--xxx"
snare  = "--------- x--------"
kick   = "x-------- ------x--"
"""


def test_eighths_of_compound_meters_may_be_cut_in_three() -> None:
    assert len(lost_to_a_click(NINES, player="professional", bars=4)) <= 2


#: On one drum alone: nothing says where bar 1 is but where it begins and what is loud.
ON_ONE_DRUM = {
    "pairs under accents": """
title = "Pairs"
meter = "4/4"
tempo = 66

[[bar]]
snare = "Xxxx Xxxx Xxxx xXxx"
""",
    "sixes": """
title = "Sixes"
meter = "4/4"
tempo = 54

[[bar]]
snare = "Xxxxxx X-x-x- Xxxxxx x-----"
""",
    "short rolls that begin on a beat and end between two": """
title = "Half a Step"
meter = "4/4"
tempo = 62

[[bar]]
snare = "xxxxX--- X------- xxxxX--- xxxxX---"
""",
    "a roll that begins between two beats and ends on one": """
title = "Up to Four"
meter = "4/4"
tempo = 60

[[bar]]
snare = "-----xxx xxxxxxxx X------- X-------"
""",
}


@pytest.mark.parametrize("about", ON_ONE_DRUM)
def test_the_beat_is_found_on_one_drum_alone(about: str) -> None:
    pattern, skill = groove(ON_ONE_DRUM[about]), SKILLS["professional"]
    lost = []
    for seed in range(6):
        hits = played(pattern, skill, seed, bars=4)
        found = understand(hits, name="played", title="Played", meters=[pattern.meter]).pattern
        near = abs(found.tempo / pattern.tempo - 1.0) <= 0.02
        lost += [] if near and not unlike(pattern, found, bars_played=4) else [seed]
    assert len(lost) <= 1


def test_a_cymbal_alone_keeps_time_as_it_does_over_drums() -> None:
    """Eighths on a hi-hat that leans on the beats: no exercise at half the tempo."""
    pattern = groove('title = "Hat"\nmeter = "4/4"\ntempo = 112\n[[bar]]\nhi-hat = "Xx Xx Xx Xx"\n')
    for seed in range(4):
        hits = played(pattern, SKILLS["professional"], seed, bars=8)
        found = understand(hits, name="played", title="Played", meters=[pattern.meter])
        assert found.pattern.tempo == pytest.approx(112.0, rel=0.02)


@pytest.mark.parametrize("tempo", [92, 106, 118])
def test_sixteenths_on_one_drum_are_no_32nds_at_half_the_tempo(tempo: int) -> None:
    pattern = groove(
        f'title = "Hands"\nmeter = "4/4"\ntempo = {tempo}\n[[bar]]\nsnare = "Xxxx Xxxx xXxx Xxxx"\n'
    )
    for seed in range(3):
        hits = played(pattern, SKILLS["intermediate"].without_habits(), seed, bars=8)
        found = understand(hits, name="played", title="Played", meters=[pattern.meter])
        assert found.pattern.tempo == pytest.approx(tempo, rel=0.02)
