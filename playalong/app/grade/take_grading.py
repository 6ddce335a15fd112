"""A take held against a pattern: what `grade` does, and what every run ends with.

A take that was played with this program carries how it was played, so grading it again needs no
option and gives the same figures. An option that is given goes before what the take says.
"""

from collections import Counter
from dataclasses import dataclass, replace
from math import inf
from typing import Any

import numpy as np

from playalong.app.grade.checks import (
    DEFAULT,
    MOST_BARS,
    check_amount,
    check_hits,
    checked_bars,
    checked_latency,
    checked_rules,
    checked_tempo,
)
from playalong.app.grade.expected import Expected, expected_of
from playalong.grading.grade import Grade
from playalong.grading.grade_run import grade, judged_hits
from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.grading.loudness import Bands
from playalong.grading.matching.bars_played import bars_played
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.matching.pauses import Pauses
from playalong.grading.matching.tempo_following import FASTEST, StartAndTempo, find, follow
from playalong.grading.text import as_json
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.midi.pads import Pads
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.meter import Tempo
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out, lay_out_on
from playalong.practice.free_playing import Mixed, as_played
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Take
from playalong.support.errors import UserError
from playalong.support.version import program_version

AUTO = "auto"

#: The number of the schema of what a grade says as JSON: it rises where a key goes, or changes its
#: meaning.
SCHEMA = 1

#: That following would answer more is told where the click's places answer less than this share
#: of the targets, and following answers this many times as many.
POOR, BETTER = 0.8, 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a take is to be graded; None leaves it to the take, the pattern, or the default.

    ``tempo_bpm`` and ``start_s`` may be ``AUTO``: they are then found in the take, and the
    grader follows the player. ``pads`` say what the notes of the kit mean; ``latency_ms`` is
    taken off every hit of a take from which it has not been. A ``level`` brings its own
    tolerance, before that of the take.
    """

    tempo_bpm: float | str | None = None
    start_s: float | str | None = None
    bars: int | None = None
    variations: tuple[str, ...] | None = None
    capture_ms: float | None = None
    tolerance_ms: float | None = None
    bands: Bands | None = None
    pads: Pads | None = None
    latency_ms: float | None = None
    current: bool = False
    level: Level | None = None
    left_handed: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Graded:
    """A grade, the matched run behind it, and what should be said of how it was made.

    ``followed``: the targets went along with the player; ``start_s`` is where bar 1 began in
    the take; ``latency_ms`` is what was taken off every hit. ``expected`` is what it was held
    against, ``mixed`` what was found in free playing, None in all other.
    """

    grade: Grade
    run: MatchedRun
    followed: bool
    start_s: float
    notices: tuple[str, ...]
    expected: Expected
    mixed: Mixed | None = None
    latency_ms: float = 0.0

    def as_json(self, with_hits: bool = False) -> dict[str, Any]:
        """Everything as plain objects for JSON, every hit too where asked.

        ``commands/grade.schema.json`` describes it; ``SCHEMA`` is its number.
        """
        plain = as_json(self.grade, judged_hits(self.run) if with_hits else None)
        return (
            {"schema": SCHEMA, "program": program_version()}
            | plain
            | {
                "pattern_id": pattern_id(self.expected.whole),
                "excerpt": self.expected.said.excerpt,
                "followed": self.followed,
                "start_s": round(self.start_s, 6),
                "latency_ms": self.latency_ms,
                "remarks": list(self.notices),
            }
        )


def grade_take(pattern: Pattern, take: Take, options: Options) -> Graded:
    """Grade ``take`` against ``pattern``; UserError says what is wrong with either."""
    expected = expected_of(
        pattern, TakeInfo.from_plain(take.info), options.variations, current=options.current
    )
    said, pattern = expected.said, expected.pattern
    ours = bool(said.pattern)

    def number(option: float | str | None, of_take: float | None, default: float) -> float:
        if isinstance(option, int | float):
            return option
        return default if of_take is None else of_take

    level, tolerance_ms = options.level or _level(said.level), options.tolerance_ms
    if tolerance_ms is None and options.level is None:
        tolerance_ms = said.tolerance_ms
    rules = checked_rules(
        level=level,
        capture_ms=number(options.capture_ms, said.capture_ms, DEFAULT.capture_ms),
        tolerance_ms=tolerance_ms,
        left_handed=said.left_handed if options.left_handed is None else options.left_handed,
    )
    variations = said.variations if options.variations is None else options.variations
    if pattern is not expected.whole:
        variations = ()  # they are in the excerpt
    bar_count = said.bars if options.bars is None else options.bars
    bars = None if bar_count is None else checked_bars(bar_count)
    tempo_bpm = checked_tempo(number(options.tempo_bpm, said.tempo_bpm, pattern.tempo))
    start_s = number(options.start_s, take.start_s, 0.0)
    late_ms = said.latency_ms if options.latency_ms is None else checked_latency(options.latency_ms)
    pads = options.pads
    if pads is not None:  # from one round to the next as well
        pads = pads.for_targets(
            lay_out(pattern, tempo_bpm, 2 * len(pattern.bars), variations=variations)
        )
    hits, unknown = _hits(take, pads or said.pads, start_s + (late_ms - said.latency_ms) / 1000.0)
    hits = said.pauses.hits(hits)
    if not ours:  # a run in which nothing was played is still a run
        check_hits(pattern, hits, len(take.note))

    if options.bands is not None:
        rules = replace(rules, bands=options.bands)
    elif said.bands is not None:
        rules = replace(rules, bands=rules.bands.from_plain(said.bands))
    beats = None if options.tempo_bpm is not None else said.beats
    mixed = None
    if said.free and options.variations is None:
        bars = bars or _bars_reached(pattern, tempo_bpm, _last_s(hits, rules))
        check_amount(pattern, bars, len(hits))
        each = [hits[number] for number in range(len(hits))]
        mixed = as_played(pattern, each, bars=bars, tempo_bpm=tempo_bpm, rules=rules)
        pattern, variations = mixed.pattern, ()
    expected = replace(expected, pattern=pattern, variations=variations)
    held = _Held(
        expected=expected, hits=hits, rules=rules, bars=bars, pauses=said.pauses, beats=beats
    )
    notices = [*expected.notices, *take.notices]
    if AUTO in (options.tempo_bpm, options.start_s):
        if not len(hits):
            raise UserError("The take holds no stroke that could be followed: leave out auto.")
        seek_tempo, seek_start = options.tempo_bpm == AUTO, options.start_s == AUTO
        graded = held.to_the_player(tempo_bpm, seek_tempo, seek_start)
    else:
        until_s = said.until_s if options.bars is None else inf
        graded = held.to_the_click(tempo_bpm, until_s)
        if not ours:
            notices += held.would_follow(tempo_bpm, graded.grade)
    graded = replace(graded, start_s=graded.start_s + start_s, mixed=mixed, latency_ms=late_ms)
    if mixed is not None:
        notices.append("It was played freely: each bar is graded as the variations found in it.")
    if graded.followed:
        notices.append(
            f"The grader followed the player: bar 1 starts at {graded.start_s:.2f} s, "
            f"the tempo kept is {graded.grade.steadiness.tempo_bpm or tempo_bpm:.1f} bpm."
        )
    if graded.grade.dynamics.bands != DEFAULT.bands.source:
        notices.append(
            f"The loudness of this kit was measured: {graded.grade.dynamics.bands} say what fits."
        )
    if unknown:
        numbers = ", ".join(map(str, sorted(unknown)))
        notices.append(f"{unknown.total()} notes of no known pad were left out: {numbers}.")
    return replace(graded, notices=tuple(notices))


def _hits(take: Take, pads: Pads | None, start_s: float) -> tuple[Hits, Counter[int]]:
    """The hits of a take from ``start_s`` on, by ``pads``; its notes of no known pad."""
    if pads is not None:  # what came before a message decides what it means
        return hits_of(take.messages, pads, start_s)
    hits, unknown = Hits.of_notes(take.time_s - start_s, take.note, take.velocity)
    return hits, Counter(unknown.tolist())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    """Hits held against a pattern, on the click or following the player."""

    expected: Expected
    hits: Hits
    rules: Rules
    bars: int | None
    pauses: Pauses
    beats: BeatMap | None

    @property
    def pattern(self) -> Pattern:
        """The pattern that is graded."""
        return self.expected.pattern

    @property
    def variations(self) -> tuple[str, ...]:
        """The variations in place."""
        return self.expected.variations

    def to_the_click(self, tempo_bpm: float, until_s: float) -> Graded:
        """Grade on the click's places; a run that was broken off, up to ``until_s``."""
        bars = self.bars or _bars_reached(self.pattern, tempo_bpm, self._last_s())
        check_amount(self.pattern, bars, len(self.hits))
        if self.beats is None:
            targets = lay_out(self.pattern, tempo_bpm, bars, variations=self.variations)
        else:
            targets = lay_out_on(self.pattern, self.beats, 0, bars=bars, variations=self.variations)
        if self.bars is None:
            targets = self._played(targets)
        if until_s < targets.end_s:
            targets = targets.until(until_s)
        targets = self.pauses.expected(targets, self.hits, self.rules.capture_ms / 1000.0)
        result, run = grade(
            self.pattern, tempo_bpm, targets=targets, hits=self.hits, rules=self.rules
        )
        return Graded(
            grade=result, run=run, followed=False, start_s=0.0, notices=(), expected=self.expected
        )

    def would_follow(self, tempo_bpm: float, on_the_click: Grade) -> list[str]:
        """What following the player would change, where it would answer far more."""
        matched = on_the_click.counts.matched
        if matched >= POOR * on_the_click.counts.targets:
            return []
        try:
            other = self.to_the_player(tempo_bpm, False, False).grade.counts.matched
        except UserError:  # in as many bars as a fast player could have played it is too long
            return []
        if other <= BETTER * matched:
            return []
        return [
            f"Held against the click at {tempo_bpm:g} bpm, {matched} strokes are answered; along "
            f"your own time it would be {other}: --start auto and --tempo auto follow you."
        ]

    def to_the_player(self, tempo_bpm: float, seek_tempo: bool, seek_start: bool) -> Graded:
        """Grade along the player's own course, whose start and tempo may have to be found."""
        targets = self._roomy(tempo_bpm)
        found = find(
            targets,
            self.hits,
            start_s=None if seek_start else 0.0,
            ratio=None if seek_tempo else 1.0,
            open_end=self.bars is None,
        )
        if seek_tempo:
            # The search is coarse: the straight fit along the first course is exact.
            exact_bpm = self._along(tempo_bpm, targets, found)[0].steadiness.tempo_bpm
            tempo_bpm = checked_tempo(exact_bpm or tempo_bpm * found.ratio)
            targets, found = self._roomy(tempo_bpm), replace(found, ratio=1.0)
        result, run = self._along(tempo_bpm, targets, found)
        return Graded(
            grade=result,
            run=run,
            followed=True,
            start_s=run.targets.start_s,
            notices=(),
            expected=self.expected,
        )

    def _last_s(self) -> float:
        """When the last bar has begun, if the last hit is an early one of it."""
        return _last_s(self.hits, self.rules)

    def _played(self, targets: Targets) -> Targets:
        """The targets of the bars that were played."""
        bars = bars_played(targets, self.hits, self.rules.capture_ms / 1000.0)
        if bars == targets.bars:
            return targets
        return targets.until(float(targets.bar_starts_s[bars]))

    def _roomy(self, tempo_bpm: float) -> Targets:
        """Targets for as many bars as a fast player could have played."""
        bars = self.bars
        if bars is None:
            span_s = float(self.hits.time_s[-1]) - min(0.0, float(self.hits.time_s[0]))
            bars = _bars_reached(self.pattern, tempo_bpm, FASTEST * span_s) + 1
        check_amount(self.pattern, bars, len(self.hits))
        return lay_out(self.pattern, tempo_bpm, bars, variations=self.variations)

    def _along(
        self, tempo_bpm: float, targets: Targets, found: StartAndTempo
    ) -> tuple[Grade, MatchedRun]:
        followed = follow(targets, self.hits, found)
        if self.bars is None:
            bars = max(1, int(np.searchsorted(followed.bar_starts_s, self._last_s())))
            if bars < followed.bars:
                followed = followed.until(float(followed.bar_starts_s[bars]))
            followed = self._played(followed)
        return grade(self.pattern, tempo_bpm, targets=followed, hits=self.hits, rules=self.rules)


def _last_s(hits: Hits, rules: Rules) -> float:
    return float(hits.time_s[-1]) + rules.capture_ms / 1000.0 if len(hits) else 0.0


def _level(written: str) -> Level:
    """The level of a take, the default one where it says none."""
    try:
        return Level(written)
    except ValueError:
        return DEFAULT_LEVEL


def _bars_reached(pattern: Pattern, tempo_bpm: float, last_s: float) -> int:
    """The bars that are begun before ``last_s``, at least one."""
    lengths = [bar.meter.length for bar in pattern.bars]
    scale = Tempo(tempo_bpm, pattern.meter.unit).seconds_per_whole
    round_s = float(sum(lengths)) * scale
    if not last_s < MOST_BARS * round_s:
        raise UserError(
            f"The take is longer than {MOST_BARS} bars: give the number of bars with --bars."
        )
    rounds = max(0, int(last_s // round_s))
    bars, left_s = rounds * len(lengths), last_s - rounds * round_s
    for length in lengths:
        if left_s <= 0:
            break
        bars, left_s = bars + 1, left_s - float(length) * scale
    return max(bars, 1)
