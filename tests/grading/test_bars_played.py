"""The bars of a take that does not say how many: up to the last that was played, whatever follows.

Takes by simulated players and by drummers, cut where nobody looked for a place, and after their end
a pad that is touched, a far one, two of them, the 1 on which a groove ends.
"""

from collections.abc import Iterator

import numpy as np
import pytest

from playalong.grading.matching.bars_played import bars_played
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import STAFF_ORDER
from playalong.records.takes import read as read_take
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from tests.helpers.drummers import VARIABLE, drummer_takes, takes_folder
from tests.helpers.shipped import CHOSEN, SHIPPED
from tests.helpers.transcription import Transcription

CAPTURE_S = 0.1
#: Bars that are laid out beyond the end, and looked at.
MORE = 44

Added = list[tuple[float, str]]


def bars_of(pattern: Pattern, hits: Hits, tempo_bpm: float, *, bars: int) -> int:
    return bars_played(lay_out(pattern, tempo_bpm, bars + MORE), hits, CAPTURE_S)


def with_added(hits: Hits, added: Added) -> Hits:
    return Hits.sorted(
        np.concatenate([hits.time_s, [time_s for time_s, _ in added]]),
        np.concatenate([hits.voice, [STAFF_ORDER[voice] for _, voice in added]]).astype(np.int16),
        np.concatenate([hits.velocity, [70.0] * len(added)]),
    )


def until(hits: Hits, end_s: float) -> Hits:
    rows = hits.time_s < end_s
    return Hits.sorted(hits.time_s[rows], hits.voice[rows], hits.velocity[rows])


def after_the_end(
    pattern: Pattern, end_s: float, bar_s: float, *, chance: np.random.Generator
) -> Iterator[Added]:
    """What may follow a take that ends at ``end_s``, and belongs to no bar."""

    def touched(first: float, last: float) -> tuple[float, str]:
        return end_s + chance.uniform(first, last) * bar_s, str(chance.choice(pattern.voices))

    def ending(*voices: str) -> Added:
        return [(end_s + chance.normal(0.0, 0.02), voice) for voice in voices]

    yield []
    yield [touched(0.05, 3.0)]
    yield [touched(3.0, MORE - 1)]
    yield [touched(0.05, 3.0), touched(0.05, 3.0)]
    yield ending("kick", "crash")
    yield ending("kick", "snare", "crash")


@pytest.mark.parametrize("skill", ["beginner", "intermediate", "professional"])
@pytest.mark.parametrize("name", CHOSEN)
def test_shipped_patterns(name: str, skill: str) -> None:
    pattern, chance = SHIPPED[name], np.random.default_rng(1)
    bars = 3 * len(pattern.bars) if len(pattern.bars) > 1 else 7
    targets = lay_out(pattern, pattern.tempo, bars)
    hits, _ = hits_of(perform(targets, SKILLS[skill], 2).messages)
    for added in after_the_end(pattern, targets.end_s, targets.end_s / bars, chance=chance):
        assert bars_of(pattern, with_added(hits, added), pattern.tempo, bars=bars) == bars, added


def test_takes_of_drummers_cut_at_any_bar_line() -> None:
    """At least 98 in a hundred: drummers leave bars out, and begin the next one early."""
    folder = takes_folder()
    if folder is None:
        pytest.skip(f"{VARIABLE} names no folder with takes by drummers")
    chance, right, all_of_them = np.random.default_rng(2), 0, 0
    takes = [take for take in drummer_takes(folder) if take.meter == "4/4"]
    for take in takes[::6]:
        pattern, most = Transcription(take.path, take.tempo_bpm).pattern(16)
        file, bar_s = read_take(take.path), 240.0 / take.tempo_bpm
        hits, _ = Hits.of_notes(file.time_s, file.note, file.velocity)
        bars = int(chance.integers(2, most, endpoint=True))
        part = until(hits, bars * bar_s - 0.05)
        if not len(part) or part.time_s[-1] < (bars - 1) * bar_s:
            continue  # nobody plays in that bar
        for added in after_the_end(pattern, bars * bar_s, bar_s, chance=chance):
            found = bars_of(pattern, with_added(part, added), take.tempo_bpm, bars=bars)
            right, all_of_them = right + (found == bars), all_of_them + 1
    assert all_of_them > 100
    assert right >= 0.98 * all_of_them


def pattern_of(*lines: str) -> Pattern:
    text = 'title = "A Test"\nmeter = "4/4"\ntempo = 120\n[[bar]]\n'
    return read_pattern(text + "\n".join(lines) + "\n", "a-test")


#: Eight strokes on the hi-hat and two each on snare and kick; a bar lasts two seconds.
GROOVE = pattern_of('hi-hat = "xx xx xx xx"', 'snare = "- x - x"', 'kick = "x - x -"')


def played(pattern: Pattern, bars: int, stretch: float = 1.0) -> Hits:
    targets = lay_out(pattern, 120.0, bars)
    return Hits.sorted(targets.time_s * stretch, targets.voice, np.full(len(targets), 80.0))


@pytest.mark.parametrize(
    ("beats", "bars"), [(0.1, 3), (1.0, 3), (2.0, 3), (2.6, 4), (3.0, 4), (3.9, 4)]
)
def test_a_bar_that_was_broken_off_counts_from_its_half_on(beats: float, bars: int) -> None:
    hits = until(played(GROOVE, 8), 6.0 + beats * 0.5 - 0.01)
    assert bars_of(GROOVE, hits, 120.0, bars=8) == bars


@pytest.mark.parametrize("percent", [-8.0, -4.0, -1.0, 1.0, 4.0, 8.0])
def test_who_leaves_the_click_has_the_bars_of_the_click(percent: float) -> None:
    """A player so much faster: the time of 32 bars has as many bars of the click as fit in it."""
    stretch = 1.0 / (1.0 + percent / 100.0)
    found = bars_of(GROOVE, played(GROOVE, 32, stretch), 120.0, bars=40)
    assert found == pytest.approx(32 * stretch, abs=0.5)


@pytest.mark.parametrize(
    "lines",
    [
        ('kick = "x - - -"',),
        ('kick = "x - x -"',),
        ('kick = "x - - -"', 'snare = "- - x -"'),
        ('crash = "x - - -"', 'kick = "x - - -"', 'snare = "- - x -"'),
        ('ride = "x x x x"',),
    ],
)
@pytest.mark.parametrize("bars", [1, 2, 9])
def test_few_strokes_to_a_bar(lines: tuple[str, ...], bars: int) -> None:
    """Nothing is added by a stray hit, unless one hit alone is all that a bar has."""
    pattern = pattern_of(*lines)
    hits = played(pattern, bars)
    assert bars_of(pattern, hits, 120.0, bars=bars) == bars
    if len(pattern.bars[0].strokes) > 1:
        for after_s in (0.0, 0.02, 1.0, 1.7, 5.2):
            stray = with_added(hits, [(2.0 * bars + after_s, pattern.voices[-1])])
            assert bars_of(pattern, stray, 120.0, bars=bars) == bars


def test_the_1_on_which_a_groove_ends_begins_no_bar() -> None:
    """Even where most of a bar is written there."""
    pattern = pattern_of('crash = "x - - -"', 'kick = "x - - -"', 'snare = "- - x -"')
    ends_s = 2.0 * 5
    ending = with_added(played(pattern, 5), [(ends_s, "crash"), (ends_s + 0.01, "kick")])
    assert bars_of(pattern, ending, 120.0, bars=5) == 5
    assert bars_of(pattern, with_added(ending, [(ends_s + 1.0, "snare")]), 120.0, bars=5) == 6


def test_a_gap_is_part_of_the_take() -> None:
    """Three bars, a rest of four, and two more."""
    hits = played(GROOVE, 9)
    rows = (hits.time_s < 6.0 - 0.01) | (hits.time_s > 14.0 - 0.01)
    rest = Hits.sorted(hits.time_s[rows], hits.voice[rows], hits.velocity[rows])
    assert bars_of(GROOVE, rest, 120.0, bars=9) == 9


def test_one_limb_alone_is_a_take_as_well() -> None:
    hits = played(GROOVE, 6)
    rows = hits.voice == STAFF_ORDER["kick"]
    kick = Hits.sorted(hits.time_s[rows], hits.voice[rows], hits.velocity[rows])
    assert bars_of(GROOVE, kick, 120.0, bars=6) == 6


def test_where_nothing_belongs_to_the_pattern_all_bars_are_left() -> None:
    ride = Hits.sorted(np.array([0.5]), np.array([STAFF_ORDER["ride"]], np.int16), np.array([80.0]))
    assert bars_played(lay_out(GROOVE, 120.0, 3), ride, CAPTURE_S) == 3


def test_bars_of_a_pattern_that_ends_with_a_rest() -> None:
    text = 'title = "A Test"\nmeter = "4/4"\ntempo = 120\n[[bar]]\nsnare = "x x x x"\n[[bar]]\n'
    pattern = read_pattern(text, "a-test")
    assert bars_of(pattern, played(pattern, 8), 120.0, bars=8) == 7
