"""Patterns, players and pages for the tests of the screen."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import pygame

from playalong.grading.gauges import GhostGauge, SteadinessGauge, TimingGauge
from playalong.grading.grade import PlaceGrade
from playalong.grading.loudness import level_db
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit
from playalong.pattern.meter import STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke, divisions
from playalong.pattern.targets import Targets, lay_out
from playalong.screen.base.theme import Theme
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import CountIn, RunPage
from playalong.screen.sheet.sheet import Sheet

RULES = Rules()
TEMPO_BPM = 84.0

#: A velocity in the middle of each default band.
FITTING = {Dynamic.GHOST: 25.0, Dynamic.NORMAL: 85.0, Dynamic.ACCENT: 112.0}


@dataclass(frozen=True, kw_only=True)
class Written:
    """A text on a surface: the room of its line, and ``ink``, the pixels that are drawn."""

    words: str
    rect: pygame.Rect
    ink: pygame.Rect
    colour: tuple[int, int, int]
    bold: bool
    surface: pygame.Surface
    size: float


def a_bar(strokes: Iterable[Stroke], meter: str = "4/4") -> Bar:
    ordered = tuple(sorted(strokes, key=lambda stroke: stroke.place))
    return Bar(Meter.parse(meter), ordered, divisions(Meter.parse(meter), ordered))


def groove_bar() -> Bar:
    """Two and four on the snare, a ghost note, eighths on the hi-hat, some bass drum."""
    strokes = [Stroke(at=Fraction(step, 8), voice="hi-hat", is_open=step == 7) for step in range(8)]
    strokes += [
        Stroke(at=Fraction(step, 4), voice="snare", dynamic=Dynamic.ACCENT) for step in (1, 3)
    ]
    strokes += [
        Stroke(at=Fraction(7, 16), voice="snare", dynamic=Dynamic.GHOST),
        Stroke(at=Fraction(5, 8), voice="snare", graces=1),
        Stroke(at=Fraction(15, 16), voice="snare", optional=True),
    ]
    strokes += [Stroke(at=Fraction(step, 16), voice="kick") for step in (0, 3, 8)]
    return a_bar(strokes)


def crowded_bar() -> Bar:
    """A bar with many voices in sixteenths."""
    voices = ("crash", "hi-hat", "ride", "high-tom", "mid-tom", "snare", "floor-tom", "kick")
    return a_bar(Stroke(at=Fraction(step, 16), voice=voices[step % 8]) for step in range(16))


def a_pattern(bars: Sequence[Bar] = (), swing: WrittenSwing = STRAIGHT) -> Pattern:
    bars = tuple(bars) or (groove_bar(),)
    return Pattern(
        name="a-test", title="A Test", meter=bars[0].meter, tempo=TEMPO_BPM, bars=bars, swing=swing
    )


def a_run(bars: int = 4, pattern: Pattern | None = None) -> tuple[Targets, tuple[Bar, ...]]:
    pattern = pattern or a_pattern()
    return lay_out(pattern, TEMPO_BPM, bars), pattern.bars


def answering(targets: Targets, target: int, late_ms: float = 0.0, *, velocity: float = 0.0) -> Hit:
    """The hit that answers a target, of the right loudness unless one is given."""
    dynamic = targets.places[targets.place[target]].stroke.dynamic
    time_s = float(targets.time_s[target]) + late_ms / 1000.0
    return Hit(time_s, targets.names[target], velocity or FITTING[dynamic])


def numbered(targets: Targets, voice: str, dynamic: Dynamic = Dynamic.NORMAL) -> int:
    """The number of the first target of a voice and dynamic."""
    return next(
        number
        for number, place in enumerate(targets.place.tolist())
        if targets.places[place].stroke.voice == voice
        and targets.places[place].stroke.dynamic is dynamic
    )


def run_page(
    theme: Theme,
    sheet: Sheet | None = None,
    title: str = "A Test",
    *,
    subtitle: str = "beats 1 to 3 joined",
    notices: Sequence[str] = (),
) -> RunPage:
    sheet = sheet or a_sheet()
    return RunPage(
        theme=theme,
        title=title,
        subtitle=subtitle,
        tempo_bpm=TEMPO_BPM,
        sheet=sheet,
        timing=TimingGauge(),
        ghosts=GhostGauge(soft_db=level_db(50.0)),
        steadiness=SteadinessGauge(written_bpm=TEMPO_BPM),
        clean=(2, 4),
        notices=list(notices),
        count_in=CountIn((-2.8, -2.1, -1.4, -0.7), ("1", "2", "3", "4")),
    )


def a_sheet(bars: int = 4, pattern: Pattern | None = None) -> Sheet:
    return Sheet(*a_run(bars, pattern), RULES)


def place_grade(bar: int, stroke: Stroke, meter: Meter, **faults: int) -> PlaceGrade:
    kinds = ("missed", "wrong_drum", "early", "late", "too_soft", "too_loud")
    counts = dict.fromkeys((*kinds, "wrong_hi_hat", "wrong_ornament"), 0)
    counts |= faults
    return PlaceGrade(
        bar=bar,
        count=meter.count(stroke.at),
        voice=stroke.voice,
        dynamic=stroke.dynamic,
        targets=16,
        clean=16 - sum(counts.values()),
        mean_ms=None if counts["missed"] == 16 else 4.0,
        mean_db=None if counts["missed"] == 16 else level_db(FITTING[stroke.dynamic]),
        **counts,
    )


def result_page(
    theme: Theme, bars: Sequence[Bar], places: Sequence[PlaceGrade] = (), **told: object
) -> ResultPage:
    graded = list(places) or [
        place_grade(number, stroke, bar.meter)
        for number, bar in enumerate(bars)
        for stroke in bar.strokes
    ]
    texts = {
        "title": "A Test",
        "subtitle": "16 bars at 84 bpm",
        "total": 81.0,
        "advice": "The snare drags, 41 ms late 12 times: lead with it.",
        "figures": [("on time", "112 of 128"), ("timing", "6 ms behind on average, 11 ms spread")],
        "voices": a_pattern(bars).voices,
        "notices": ["The take is kept: takes/a-test.mid"],
        "caution": "Rest between runs.",
    } | told
    return ResultPage(theme, places=graded, bars=bars, **texts)
