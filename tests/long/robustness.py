"""Never a traceback: odd takes through every way to a grade, and through the live run.

Of the count, all are graded on the click and written as text, JSON and lines of hits, and as a
file with start or tempo given or found, as JSON and a line of CSV. One in twenty is played live:
48 bars and more through grader, gauges and sheet, fed in portions with stalls of 0.3 s, drawn as
it goes. Nothing may fail; a plain word on bad input (``UserError``) is no traceback. A warning of
numpy's counts as one: the program would print it between its own words.
"""

import csv
import json
import os
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator

import numpy as np
import pygame

from playalong.app.grade.table import columns, row
from playalong.app.grade.take_grading import AUTO, grade_take
from playalong.app.grade.take_grading import Options as GradeOptions
from playalong.app.mistakes import Mishaps
from playalong.app.run.live_judging import LiveJudging
from playalong.app.run.task import Task
from playalong.grading.grade_run import grade, judged_hits
from playalong.grading.text import as_json, figures, hit_lines
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit
from playalong.screen.base.theme import Theme
from playalong.screen.pages.run import RunPage
from playalong.support.errors import UserError
from playalong.support.resources import folder
from tests.helpers.odd_takes import OddTake, as_take, odd_take
from tests.long.frame import Options, Table, generator

FULL_COUNT, SAMPLE_COUNT = 20_000, 120
#: One in so many is played live as well.
LIVE_EVERY = 20
LIVE_BARS = 48
STALL_S, FRAME_S, DRAW_S = 0.3, 0.04, 5.0


def written(take: OddTake) -> None:
    """Grade a take on the click, and write all that can be said of it."""
    tempo_bpm = take.targets.tempo_bpm(take.pattern.meter)
    told, run = grade(take.pattern, tempo_bpm, targets=take.targets, hits=take.hits, rules=Rules())
    hits = judged_hits(run)
    assert len(hits) == len(take.hits)
    figures(told)
    hit_lines(hits)
    assert told.advice
    assert 0.0 <= told.score.total <= 100.0
    # No figure that JSON cannot say, such as nan.
    json.dumps(as_json(told, hits), allow_nan=False)


def from_file(take: OddTake, chance: np.random.Generator) -> None:
    """Grade a take as the command does, start and tempo given or found."""
    asked = GradeOptions(
        tempo_bpm=(None, AUTO, take.pattern.tempo)[int(chance.integers(3))],
        start_s=(1.0, AUTO, None, 0.0)[int(chance.integers(4))],
        bars=(None, take.targets.bars)[int(chance.integers(2))],
        tolerance_ms=(None, 20.0, 90.0)[int(chance.integers(3))],
    )
    try:
        graded = grade_take(take.pattern, as_take(take.hits), asked)
    except UserError:
        return
    told = {"take": "take.mid", **graded.as_json(with_hits=True)}
    json.dumps(told, allow_nan=False)
    names = columns(told)
    assert len(next(csv.reader([row(told, names)]))) == len(names)
    figures(graded.grade)
    hit_lines(judged_hits(graded.run))


def live(take: OddTake, chance: np.random.Generator) -> None:
    """Play a take live, with stalls, and draw the page as it goes."""
    tempo_bpm = take.targets.tempo_bpm(take.pattern.meter)
    task = Task(
        pattern=take.pattern,
        tempo_bpm=tempo_bpm,
        bars=take.targets.bars,
        variations=(),
        rules=Rules(),
    )
    mishaps = Mishaps()
    judging = LiveJudging(task, take.targets, mishaps)
    surface = pygame.Surface((480, 270))
    gauges = judging.gauges
    page = RunPage(
        theme=_theme(),
        title=take.pattern.title,
        subtitle="",
        tempo_bpm=tempo_bpm,
        sheet=judging.sheet,
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
    )
    now_s, drawn_s, waiting = -1.0, 0.0, [take.hits[row] for row in range(len(take.hits))]
    waiting.reverse()
    while now_s < take.targets.end_s + 1.0:
        now_s += STALL_S if chance.random() < 0.05 else FRAME_S
        while waiting and waiting[-1].time_s <= now_s:
            hit: Hit = waiting.pop()
            judging.hit(hit)
        judging.time_passed(now_s)
        if now_s >= drawn_s:
            drawn_s = now_s + DRAW_S
            page.draw(surface, now_s)
    judging.finish()
    for error in mishaps.found.values():
        raise error


_THEMES: list[Theme] = []


def _theme() -> Theme:
    if not _THEMES:
        os.environ["SDL_VIDEODRIVER"] = "dummy"
        pygame.display.init()
        _THEMES.append(Theme.load(folder("assets") / "fonts"))
    return _THEMES[0]


def tried(item: tuple[int, int]) -> list[tuple[str, str, str]]:
    """What fails with one case: the way, the error, the take."""
    seed, case = item
    chance = generator(seed, case)
    take = odd_take(chance)
    ways = [("text and JSON", lambda: written(take)), ("a file", lambda: from_file(take, chance))]
    if case % LIVE_EVERY == 0:
        long_one = odd_take(chance, LIVE_BARS)
        ways.append(("live", lambda: live(long_one, chance)))
    failed = []
    for way, work in ways:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error", RuntimeWarning)
                work()
        except Exception as error:
            where = _ours(traceback.extract_tb(error.__traceback__))
            words = f"{type(error).__name__}: {error} ({where.name}, line {where.lineno})"
            about = long_one.about if way == "live" else take.about
            failed.append((way, words, f"{case}: {about}"))
    return failed


def _ours(frames: traceback.StackSummary) -> traceback.FrameSummary:
    """The innermost line of the program's own."""
    return next(
        (one for one in reversed(frames) if "site-packages" not in one.filename), frames[-1]
    )


def tables(options: Options) -> Iterator[Table]:
    """What fails, and an example of each."""
    cases = [(options.seed, case) for case in range(options.count)]
    failed = [one for found in options.map(tried, cases) for one in found]
    table = Table("tracebacks", ("way", "takes", "failed"))
    live_count = len(range(0, options.count, LIVE_EVERY))
    for way, count in (
        ("text and JSON", options.count),
        ("a file", options.count),
        ("live", live_count),
    ):
        n = sum(one[0] == way for one in failed)
        table.row(way, count, n, holds=n == 0)
    yield table
    if failed:
        examples = Table("what failed", ("way", "times", "error", "such as"))
        for (way, words), n in Counter((one[0], one[1]) for one in failed).most_common(20):
            about = next(one[2] for one in failed if one[:2] == (way, words))
            examples.row(way, n, words, about)
        yield examples
