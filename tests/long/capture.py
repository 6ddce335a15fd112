"""Grooves played in: the library by simulated players, and takes by drummers without their tempo.

The library comes back exactly where each bar has the same strokes as far as they can be heard
(``tests.helpers.captured``), the tempo within half a per cent; of a pattern that is longer than
what was played, what was played of it. Beside that is counted what comes back so once the plain
half or double of the tempo, which is offered, is taken. What readings are worth was fitted to one
half of the patterns and of the takes (``half_of``), so each half is told by itself; later figures
(whole bars, the last bar of four) were chosen over both. Of takes the tempo is right within one per
cent, or its plain half or double that is offered as a choice; bar 1 is looked for in the reading of
the take's own tempo, the first that is offered, and is right if the bar line nearest to the middle
of the take is within a quarter of a beat. Belonging are hits of the bars that it says it
understood, as the pattern was written by the first reading.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

import numpy as np

from playalong.capture.bars import ClickHeard, Reading, pulse_of
from playalong.capture.understanding import Captured, again, understand
from playalong.midi.mapping import hits_of
from playalong.pattern.meter import Meter
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read as read_pattern
from playalong.records.takes import read
from playalong.simulation.skills import SKILLS
from playalong.support.errors import UserError
from tests.helpers.captured import START_S, played, sounds_unlike, unlike
from tests.helpers.drummers import DrummerTake, drummer_takes, takes_folder
from tests.long.frame import Options, Table

#: Seeds of each pattern, of each player.
FULL_COUNT, SAMPLE_COUNT = 10, 1

PATTERNS = Path(__file__).parents[2] / "patterns"
#: Folders of other things than patterns to be played in; and of those that are not grooves: most
#: are on one drum, which says nothing of where a bar begins, so they are counted by themselves.
OTHER_THINGS, ON_ONE_DRUM = ("assessments", "warm-up"), "rudiments"

#: Who plays how many bars, and how many of 100 must come back.
PLAYERS = (("professional", 4, 95.0), ("intermediate", 8, 90.0))

#: What is told beforehand.
NOTHING, METER, BOTH, CLICK = "nothing", "the meter", "meter and tempo", "the click"

#: The half that was fitted to, and the half that was kept apart.
FITTED, APART = "fitted", "apart"

TEMPO_PERCENT = 0.5
TAKE_TEMPO_PERCENT, TAKE_TEMPO, TAKE_BAR_1, TAKE_BELONG = 1.0, 95.0, 90.0, 80.0


def half_of(name: str) -> str:
    """Which half a pattern or a take is in, by its name without folder and ending."""
    return APART if crc32(Path(name).stem.encode()) % 2 else FITTED


@dataclass(frozen=True, kw_only=True)
class Case:
    """One pattern by one player, and what came of it."""

    name: str
    player: str
    as_they_are: bool
    told: str
    exact: bool
    tempo: bool
    what: str
    by_choice: bool = False


def one_played(asked: tuple[str, str, int, int, bool, str]) -> Case:
    """A pattern, played and understood: its name, the player, bars, seed, habits, what is told."""
    name, player, bars, seed, habits, told = asked
    pattern = read_pattern((PATTERNS / name).read_text(encoding="utf-8"), Path(name).stem)
    skill = SKILLS[player] if habits else SKILLS[player].without_habits()
    hits = played(pattern, skill, crc32(name.encode()) % 100_000 + seed, bars=bars)
    meters = [] if told == NOTHING else [pattern.meter]
    tempo_bpm = pattern.tempo if told == BOTH else None
    try:
        found = understand(
            hits,
            name=name,
            title=pattern.title,
            meters=meters,
            tempo_bpm=tempo_bpm,
            click=ClickHeard(tempo_bpm=pattern.tempo, start_s=START_S) if told == CLICK else None,
        )
    except UserError as error:
        found, what = None, str(error)
    if found is None:
        return Case(
            name=name,
            player=player,
            as_they_are=habits,
            told=told,
            exact=False,
            tempo=False,
            what=what,
        )
    if told != NOTHING:
        near = abs(found.pattern.tempo / pattern.tempo - 1.0) * 100.0 <= TEMPO_PERCENT
        others = len(unlike(pattern, found.pattern, bars_played=bars))
    else:
        others, near = sounds_unlike(pattern, found.pattern, TEMPO_PERCENT)
    by_choice = (
        told == METER
        and not (near and not others)
        and any(_comes_back(pattern, found, one, bars=bars) for one in found.choices[1:])
    )
    return Case(
        name=name,
        player=player,
        as_they_are=habits,
        told=told,
        exact=not others,
        tempo=near,
        by_choice=by_choice,
        what=f"{others} strokes unlike, {found.pattern.tempo:g} bpm for {pattern.tempo:g}",
    )


def _comes_back(pattern: Pattern, found: Captured, choice: Reading, *, bars: int) -> bool:
    """Whether a choice is the plain half or double, and with it the pattern comes back."""
    ratio = choice.tempo_bpm / found.reading.tempo_bpm
    if choice.meter != found.reading.meter or min(abs(ratio - 2.0), abs(2.0 * ratio - 1.0)) > 0.04:
        return False
    try:
        other = again(found, choice).pattern
    except UserError:
        return False
    near = abs(other.tempo / pattern.tempo - 1.0) * 100.0 <= TEMPO_PERCENT
    return near and not unlike(pattern, other, bars_played=bars)


def _library(options: Options) -> Iterator[Table]:
    names = sorted(
        str(path.relative_to(PATTERNS))
        for path in PATTERNS.rglob("*.toml")
        if path.parent.name not in OTHER_THINGS
    )
    asked = [
        (name, player, bars, options.seed + number, habits, told)
        for player, bars, _ in PLAYERS
        for habits, told in (
            (False, METER),
            (False, CLICK),
            (False, BOTH),
            (False, NOTHING),
            (True, METER),
            (True, CLICK),
        )
        if not habits or SKILLS[player].habits
        for name in names
        for number in range(options.count)
    ]
    found: dict[tuple[str, str, bool, str, str], list[Case]] = defaultdict(list)
    for case in options.map(one_played, asked):
        of = "rudiments" if Path(case.name).parent.name == ON_ONE_DRUM else "grooves"
        found[of, case.player, case.as_they_are, case.told, half_of(case.name)].append(case)
    table = Table(
        "the library played in, of 100",
        ("what", "player", "habits", "told", "half", "cases", "strokes", "tempo", "both"),
    )
    lost = Table(
        "what did not come back, with the meter named", ("pattern", "player", "of", "lost", "last")
    )
    least = {player: share for player, _, share in PLAYERS}
    for (of, player, habits, told, half), cases in found.items():
        exact = 100.0 * float(np.mean([case.exact for case in cases]))
        tempo = 100.0 * float(np.mean([case.tempo for case in cases]))
        both = 100.0 * float(np.mean([case.exact and case.tempo for case in cases]))
        must = told in (METER, CLICK) and not habits and of == "grooves"
        table.row(
            of,
            player,
            "with" if habits else "without",
            told,
            half,
            len(cases),
            exact,
            tempo,
            both,
            holds=both >= least[player] if must else None,
        )
        if told == METER:
            chosen = [(case.exact and case.tempo) or case.by_choice for case in cases]
            table.row(
                f"{of}, exact, or exact after the offered half/double is taken",
                player,
                "with" if habits else "without",
                told,
                half,
                len(cases),
                "",
                "",
                100.0 * float(np.mean(chosen)),
            )
        if must and told == METER:
            for name in names:
                own = [case for case in cases if case.name == name]
                missed = [case for case in own if not (case.exact and case.tempo)]
                if missed:
                    lost.row(name, player, len(own), len(missed), missed[-1].what)
    yield table
    yield lost


@dataclass(frozen=True, kw_only=True)
class TakeCase:
    """What came of a take."""

    name: str
    ratio: float
    offered: bool
    bar_1: bool
    belong: float
    understood: int
    bars: int


def one_take(take: DrummerTake) -> TakeCase:
    """A take, understood without its tempo and meter."""
    hits, _ = hits_of(read(take.path).messages)
    found = understand(hits, name="take", title="Take")
    own = next((one for one in found.choices if _tempo_of(one, take) == 1.0), None)
    return TakeCase(
        name=take.path.stem,
        ratio=_ratio(found.reading, take),
        offered=own is not None,
        bar_1=own is not None and abs(_bar_1_off(own, found, take)) <= 0.25,
        belong=_belong(found),
        understood=len(found.understood),
        bars=found.bars_played,
    )


def _ratio(reading: Reading, take: DrummerTake) -> float:
    unit = pulse_of(reading.meter)
    quarter_s = reading.pulse_s * float(Meter.parse("4/4").unit / unit)
    return take.tempo_bpm * quarter_s / 60.0


def _tempo_of(reading: Reading, take: DrummerTake) -> float:
    """1.0, 0.5 or 2.0 where the tempo is that of the take, its half or double; else 0.0."""
    ratio = _ratio(reading, take)
    near = (
        wanted
        for wanted in (1.0, 0.5, 2.0)
        if abs(ratio / wanted - 1.0) * 100.0 <= TAKE_TEMPO_PERCENT
    )
    return next(near, 0.0)


def _bar_1_off(reading: Reading, found: Captured, take: DrummerTake) -> float:
    """How many beats the bar line in the middle of the take is from one of the take's own."""
    many = int(reading.meter.length / pulse_of(reading.meter))
    beats = int(take.meter.split("/")[0])
    middle = reading.at[len(reading.at) // 2]
    line_s = float(np.interp(many * round(middle / many), reading.at, found.heard.time_s))
    off = line_s * take.tempo_bpm / 60.0
    return (off + beats / 2.0) % beats - beats / 2.0


def _belong(found: Captured) -> float:
    """The share, in per cent, of the hits of the bars understood that are of the pattern."""
    own = [
        belongs
        for hit, belongs in found.belongs.items()
        if found.bar_of_hit[hit] in set(found.understood)
    ]
    return 100.0 * float(np.mean(own)) if own else 0.0


def _takes(options: Options) -> Iterator[Table]:
    folder = takes_folder()
    if folder is None:
        return
    takes = drummer_takes(folder)
    if options.count < FULL_COUNT:
        takes = takes[:: max(1, len(takes) // (8 * options.count))]
    cases = list(options.map(one_take, takes))
    share = 100.0 / len(cases)
    table = Table("takes by drummers, without being told the tempo", ("figure", "of", "value"))
    right = sum(abs(case.ratio - 1.0) * 100.0 <= TAKE_TEMPO_PERCENT for case in cases)
    either = sum(
        any(abs(case.ratio / by - 1.0) * 100.0 <= TAKE_TEMPO_PERCENT for by in (1.0, 0.5, 2.0))
        and case.offered
        for case in cases
    )
    bar_1 = sum(case.bar_1 for case in cases)
    belong = float(np.median([case.belong for case in cases]))
    bars = float(np.median([100.0 * case.understood / case.bars for case in cases]))
    table.row("tempo within 1 %, %", len(cases), right * share)
    table.row(
        "or its half or double, the right one offered, %",
        len(cases),
        either * share,
        holds=either * share >= TAKE_TEMPO,
    )
    table.row("bar 1, %", len(cases), bar_1 * share, holds=bar_1 * share >= TAKE_BAR_1)
    for half in (FITTED, APART):
        own = [case for case in cases if half_of(case.name) == half]
        right_1 = 100.0 * sum(case.bar_1 for case in own) / max(1, len(own))
        table.row(f"bar 1, half {half}, %", len(own), right_1)
    table.row(
        "hits of bars understood that are of the pattern, median %",
        len(cases),
        belong,
        holds=belong >= TAKE_BELONG,
    )
    table.row("bars understood, median %", len(cases), bars)
    yield table
    lost = Table(
        "takes read otherwise",
        ("take", "tempo by the take's", "bar 1", "belong, %", "understood", "of bars"),
    )
    for case in cases:
        if not case.bar_1 or not case.offered or case.belong < TAKE_BELONG:
            lost.row(
                case.name,
                case.ratio,
                "right" if case.bar_1 else "other",
                case.belong,
                case.understood,
                case.bars,
            )
    yield lost


def tables(options: Options) -> Iterator[Table]:
    """The library, and the takes where there are some."""
    yield from _library(options)
    yield from _takes(options)
