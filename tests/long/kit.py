"""Measuring a kit with human strokes: latency, loudness, double triggers.

Players are fitted to drummers (``playalong.simulation``). Latency: of those with a spread of 15 to
25 ms, 95 % are given a figure after two rounds at the most, and its interval holds the player's own
middle in 94 %. Loudness: eight strokes of each kind, 3 to 6 dB apart among themselves, give bands
in 90 %. Double triggers: a pad that doubles one stroke in ten is found in 90 %, and drags and flams
that are played on it, in a run or in place of single strokes, are blamed in none; nothing is called
fine on too few strokes.
"""

from collections.abc import Iterator

import numpy as np

from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.midi.mapping import hits_of
from playalong.pattern.model import Dynamic
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import Limb
from playalong.profile.latency import measured
from playalong.profile.loudness_calibration import touch_of
from playalong.profile.triggers import STROKES, Strokes, find
from playalong.simulation.human_timing import shared
from playalong.simulation.human_touch import velocities
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from tests.long.frame import Options, Table, generator

FULL_COUNT, SAMPLE_COUNT = 2000, 100

CLICKS, ROUNDS, BPM = 24, 2, 80.0
PROFESSIONAL = SKILLS["professional"]


def latency(item: tuple[int, int]) -> tuple[int, bool] | None:
    """After how many rounds a player is given a figure, and whether it holds the middle."""
    chance = generator(*item)
    own_ms = PROFESSIONAL.error_ms[Limb.SNARE_HAND][1]
    factor = chance.uniform(15.0, 25.0) / np.hypot(PROFESSIONAL.shared_ms, own_ms)
    middle_ms = chance.uniform(-10.0, 120.0)
    clicks, hits = np.zeros(0), np.zeros(0)
    for number in range(1, ROUNDS + 1):
        click_s = 40.0 * number + np.arange(CLICKS) * 60.0 / BPM
        wave = PROFESSIONAL.shared_ms * shared(np.arange(CLICKS, dtype=np.float64), chance)
        error_ms = factor * (wave + own_ms * chance.standard_normal(CLICKS))
        clicks = np.append(clicks, click_s)
        hits = np.append(hits, click_s + (middle_ms + error_ms) / 1000.0)
        found = measured(clicks, np.sort(hits)).latency
        if found is not None and found.plus_minus_ms is not None:
            return number, abs(found.ms - middle_ms) <= found.plus_minus_ms
    return None


def loudness(item: tuple[int, int]) -> bool:
    """Whether the strokes of a player on a pad give bands."""
    chance = generator(*item)
    limb = (Limb.SNARE_HAND, Limb.HAT_HAND, Limb.KICK_FOOT)[int(chance.integers(3))]
    touch, sd_db = PROFESSIONAL.touch[limb], chance.uniform(3.0, 6.0)
    strokes = {
        dynamic: velocities(
            touch.of(dynamic, has_accents=True)[0] + sd_db * chance.standard_normal(8)
        ).tolist()
        for dynamic in Dynamic
    }
    return touch_of("snare", strokes).cause is None


def struck(chance: np.random.Generator, doubles: float) -> list[Hit]:
    """Strokes on a snare as the page asks for them, until it asks for no more."""
    hits: list[Hit] = []
    now_s = 0.0
    while Strokes.calibrating(Hits.of(hits), "snare").left("snare"):
        now_s += 0.45 * float(np.exp(0.1 * chance.standard_normal()))
        level = np.array([chance.uniform(-26.0, -1.0)])
        velocity = float(velocities(level)[0])
        hits.append(Hit(now_s, "snare", velocity))
        if chance.random() < doubles:
            second = max(1.0, round(velocity * chance.uniform(0.3, 0.6)))
            hits.append(Hit(now_s + chance.uniform(0.012, 0.045), "snare", second))
    return hits


def doubled(item: tuple[int, int]) -> bool:
    """Whether a pad that doubles one stroke in ten is found."""
    hits = struck(generator(*item), 0.1)
    return bool(find([Strokes.calibrating(Hits.of(hits), "snare")]).doubles)


def single(item: tuple[int, int]) -> bool:
    """Whether a faultless pad is blamed."""
    hits = struck(generator(*item), 0.0)
    return bool(find([Strokes.calibrating(Hits.of(hits), "snare")]).doubles)


ORNAMENTS = read(
    'title = "T"\nmeter = "4/4"\ntempo = 84\n[[bar]]\nhi-hat = "xx xx xx xx"\n'
    'snare = "-- f- -d Fg?"\nkick = "x- -x? x- --"\n[[bar]]\nhi-hat = "xx xx xx xx"\n'
    'snare = "d- f- xd x-"\nkick = "x- -- x- --"\n',
    "t",
)


def ornaments_in_a_run(item: tuple[int, int]) -> bool:
    """Whether flams and drags of a run are blamed on the pad."""
    skill = list(SKILLS.values())[item[1] % len(SKILLS)]
    targets = lay_out(ORNAMENTS, ORNAMENTS.tempo, 8)
    hits, _ = hits_of(perform(targets, skill, item[0] * 100_000 + item[1]).messages)
    return bool(find([Strokes.of_run(targets, hits, Rules())]).doubles)


def ornaments_for_singles(item: tuple[int, int]) -> bool:
    """Whether flams and drags that are played where single strokes are asked for are blamed."""
    chance = generator(*item)
    skill = list(SKILLS.values())[item[1] % len(SKILLS)]
    hits = []
    for row in range(STROKES):
        level = chance.uniform(-12.0, -1.0)
        at_s = 0.6 * row + 0.2
        gap_s = 0.0
        for _ in range(int(chance.choice((0, 1, 2)))):
            middle_ms, width_ms = skill.grace_ms
            gap_s += max(0.012, (middle_ms + width_ms * chance.standard_normal()) / 1000.0)
            softer_db = max(0.0, skill.grace_db[0] + skill.grace_db[1] * chance.standard_normal())
            velocity = float(velocities(np.array([level - softer_db]))[0])
            hits.append(Hit(at_s - gap_s, "snare", velocity))
        hits.append(Hit(at_s, "snare", float(velocities(np.array([level]))[0])))
    return bool(find([Strokes.calibrating(Hits.of(hits), "snare")]).doubles)


def few(item: tuple[int, int]) -> bool:
    """Whether fewer strokes than it takes would be called fine: nothing is left to be asked."""
    chance = generator(*item)
    hits = struck(chance, 0.0)[: int(chance.integers(0, STROKES))]
    return Strokes.calibrating(Hits.of(hits), "snare").left("snare") == 0


def tables(options: Options) -> Iterator[Table]:
    """One table of shares."""
    cases = [(options.seed, case) for case in range(options.count)]
    table = Table("measuring a kit with human strokes", ("what", "must", "is"))

    def share(what: str, must: float, is_: float, *, at_least: bool = True) -> None:
        holds = is_ >= must if at_least else is_ <= must
        table.row(what, f"{'>=' if at_least else '<='} {must:g}", is_, holds=holds)

    given = list(options.map(latency, cases))
    figures = [one for one in given if one is not None]
    share("latency is given after one or two rounds, %", 95.0, 100.0 * len(figures) / len(given))
    first = [one for one in figures if one[0] == 1]
    table.row("  after the first round, %", "", 100.0 * len(first) / len(given))
    share("its interval holds the player's own middle, %", 94.0, _percent(ok for _, ok in figures))
    share("loudness strokes give bands, %", 90.0, _percent(options.map(loudness, cases)))
    share("a pad that doubles one in ten is found, %", 90.0, _percent(options.map(doubled, cases)))
    for what, blamed in (
        ("a faultless pad is blamed, %", single),
        ("flams and drags of a run are blamed, %", ornaments_in_a_run),
        ("flams and drags in place of singles are blamed, %", ornaments_for_singles),
        ("too few strokes are called fine, %", few),
    ):
        share(what, 0.0, _percent(options.map(blamed, cases)), at_least=False)
    yield table


def _percent(found: "Iterator[bool]") -> float:
    return 100.0 * float(np.mean(list(found)))
