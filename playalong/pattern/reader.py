"""The pattern file: TOML in, a pattern out; whatever is wrong is told with line and column.

    title = "Late Bus Home"        # asked for, as is meter, tempo and at least one bar
    about = "one sentence on what it trains"
    kind  = "groove"               # or "fill", "exercise", "rudiment"; a groove unless it says
    trains = ["ghost notes"]       # in words that other patterns say it with, the chief thing first
    meter = "4/4"                  # or "12/8", "12/8 in 12" to count all, or "2+2+3/8" for
                                   # beats of unequal length
    tempo = 84                     # beats in a minute; the shortest beat where they differ
    swing = 50                     # per cent of a pair of notes for its first; 50 is straight
    swung = "eighths"              # what comes in such pairs: "eighths", or "sixteenths"

    [[bar]]                        # one for each bar; may have a meter of its own
    hi-hat   = "xx xx xx xx"       # a line for each voice, a group for each beat
    snare    = "--g- X--g -g?-- X---"
    kick     = "x--x ---x --x- ----"
    sticking = "-- -- -- --"       # R and L for the hands; of two at once, the upper voice

    [variation.push]
    about = "one more kick, just before the bar line"
    bars  = [1]                    # which bars it changes; all unless it says
    kick  = "---- ---- ---- ---x"  # added, or changed; a dot takes a stroke away
    sticking = "---- ---- ---- --RL"  # other hands

    [variation.answer]             # or, where it changes its bars differently:
    [[variation.answer.bar]]
    bars  = [1]
    snare = "---- ---- ---- --xx"

    [[chunk]]                      # a part learned on its own; a beat unless it says
    name = "the turn"
    bar  = 1
    from = 3                       # first and last beat
    to   = 4

    [practice]
    start = 60                     # tempi
    goal  = 84
    clean = 4                      # so many of the last repetitions are judged together
    tolerance = 25                 # milliseconds that are on time; the player's own unless it says
    trial = true                   # the whole may be tried before its parts
    patience = 8                   # so many repetitions of one exercise, and something changes
    leave = 4                      # minutes without progress: leave the step for today?
    bars = 8                       # of free playing, at least
    success = 85                   # per cent of repetitions that should go right
    repeats = 3                    # shaky steps that are repeated another day, at most
    next = ["late-bus-home"]       # offered after it; the program chooses unless it says

Symbols: see ``notation.SYMBOLS``; ``-`` is a rest, ``(x)`` a ghost note like ``g``, a question mark
behind a stroke makes it optional, and a roll goes on as long as ``~`` follows: ``z~~~``, ``r~~~``.
In a variation it takes the strokes of its voice away as long as it lasts.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from math import lcm
from typing import Any

from playalong.pattern.meter import NOTES, STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import (
    Bar,
    Change,
    Chunk,
    Hand,
    Pattern,
    PatternKind,
    Practice,
    Stroke,
    Variation,
    under_rolls,
)
from playalong.pattern.notation import (
    HELD,
    MOST_STEPS,
    REST,
    SYMBOLS,
    TAKEN,
    GridError,
    Step,
    read_line,
)
from playalong.pattern.voices import BY_NAME, Limb
from playalong.support.toml.places import Path, TomlText
from playalong.support.toml.reader import (
    TEXT,
    Kind,
    ProblemsError,
    Table,
    TableReader,
    between,
    number,
    written,
)

SLOWEST_BPM, FASTEST_BPM = 20, 400

#: More than this nobody writes: bars, strokes in them, and bars that the variations change in all.
MOST_BARS, MOST_STROKES, MOST_CHANGED = 10_000, 25_000, 20_000

#: A pattern that trained more would train nothing.
MOST_TRAINED = 8

_STROKES = REST + "".join(SYMBOLS) + HELD
_HANDS = REST + "".join(Hand)
_FEET = (Limb.KICK_FOOT, Limb.HAT_FOOT)


class PatternError(ProblemsError):
    """A pattern file that cannot be read: every problem with its place, a line each."""


def read(text: str, name: str) -> Pattern:
    """The pattern written in ``text``; PatternError tells all that is wrong."""
    tables = written(text, name, PatternError)
    reader = _Reader(tables)
    try:
        pattern = reader.pattern(tables.tables, name)
    except _TooManyError:
        pattern = None
    if reader.problems or pattern is None:
        raise PatternError(name, reader.problems)
    return pattern


class _TooManyError(Exception):
    """There is more in the file than is read; the reader has been told."""


class _Reader(TableReader):
    """Reads the tables of a pattern."""

    def __init__(self, written: TomlText) -> None:
        super().__init__(written)
        #: False where strokes of the bars are not known, so that their lack says nothing.
        self._bars_are_whole = True
        self._strokes = self._changed = 0

    def _count(self, path: Path, found: int, most: int, *, what: str) -> None:
        """Stop where there is more than ``most``."""
        if found > most:
            self.wrong_key(path, f"this file is too large: it has more than {most} {what}")
            raise _TooManyError

    def pattern(self, tables: Table, name: str) -> Pattern | None:
        self.known(tables, (), _TOP)
        title = self.get(tables, (), "title", kind=TEXT)
        about = self.get(tables, (), "about", kind=TEXT, default="")
        kind = self.get(tables, (), "kind", kind=_KIND, default=PatternKind.GROOVE.value)
        trains = self.get(tables, (), "trains", kind=_TRAINS, default=[])
        tempo = self.get(tables, (), "tempo", kind=TEMPO)
        percent = self.get(tables, (), "swing", kind=_SWING, default=Decimal(50))
        notes = self.get(tables, (), "swung", kind=_SWUNG, default=STRAIGHT.notes)
        swing = WrittenSwing(Fraction(percent), _BY_NOTES[notes])
        meter = self._meter(tables, (), None)
        written = self.tables(tables, (), "bar")
        if tables.get("bar", []) == []:
            self.wrong_key((), "there is no bar: write [[bar]] and a line for each voice")
        if meter is None:
            return None
        self._count(("bar",), len(written), MOST_BARS, what="bars")
        before = len(self.problems)
        bars = [self._bar(table, ("bar", index), meter) for index, table in enumerate(written)]
        self._bars_are_whole = len(self.problems) == before
        if bars and self._bars_are_whole and not any(bar.strokes for bar in bars):
            self.wrong_key(("bar", 0), "no bar has a stroke: write a line for each voice")
        if not swing.is_straight and any(
            beat % Fraction(1, 4) for bar in bars for beat in bar.meter.beats
        ):
            self.wrong(("swing",), "swing is for beats of a quarter note; leave it out here")
        variations = {
            str(key): self._variation(str(key), table, bars)
            for key, table in self._table(tables, "variation").items()
        }
        chunks = [
            self._chunk(table, ("chunk", index), bars)
            for index, table in enumerate(self.tables(tables, (), "chunk"))
        ]
        practice = self._practice(tables) if "practice" in tables else None
        if self.problems:
            return None
        return Pattern(
            name=name,
            title=title,
            meter=meter,
            tempo=float(tempo),
            bars=tuple(bars),
            swing=swing,
            about=about,
            kind=PatternKind(kind),
            trains=tuple(trains),
            variations=variations,
            chunks=tuple(chunk for chunk in chunks if chunk),
            practice=practice,
        )

    def _table(self, tables: Table, key: str) -> Table:
        found = tables.get(key, {})
        if not isinstance(found, dict):
            self.wrong_key((key,), f"write [{key}.NAME] and its lines below")
            return {}
        return found

    def _meter(self, table: Table, path: Path, default: Meter | None) -> Meter | None:
        if default is not None and "meter" not in table:
            return default
        text = self.get(table, path, "meter", kind=_METER)
        if text is None:
            return default
        try:
            return Meter.parse(text)
        except ValueError as error:
            self.wrong((*path, "meter"), str(error))
            return default

    def _line(
        self, table: Table, path: Path, key: str, *, meter: Meter, allowed: str, optional: bool
    ) -> tuple[list[Step], tuple[int, ...]] | None:
        text = self.get(table, path, key, kind=_LINE)
        if text is None:
            return None
        try:
            found = read_line(text, meter, allowed=allowed, optional=optional)
        except GridError as error:
            self.wrong((*path, key), str(error), error.at)
            return None
        by_foot = key in BY_NAME and BY_NAME[key].limb in _FEET
        for step in found[0] if by_foot else ():
            if step.roll:
                self.wrong((*path, key), "a foot plays no roll: write its strokes", step.at)
        return found

    def _bar(self, table: Table, path: Path, default: Meter) -> Bar:
        before = len(self.problems)
        self.known(table, path, ("meter", "sticking", *BY_NAME))
        meter = self._meter(table, path, default) or default
        strokes: list[Stroke] = []
        parts = [1] * len(meter.beats)
        for voice in filter(BY_NAME.__contains__, table):
            line = self._line(table, path, voice, meter=meter, allowed=_STROKES, optional=True)
            if line is None:
                continue
            steps, sizes = line
            self._strokes += len(steps)
            self._count((*path, voice), self._strokes, MOST_STROKES, what="strokes")
            strokes += [_stroke(step, voice) for step in steps]
            for beat in {beat for step in steps for beat in _beats_of(step, meter)}:
                parts[beat] = lcm(parts[beat], sizes[beat])
                if parts[beat] > MOST_STEPS:
                    self.wrong(
                        (*path, voice),
                        f"beat {beat + 1} of this line does not go with the lines above: together "
                        f"they cut it into more than {MOST_STEPS} parts",
                    )
                    parts[beat] = sizes[beat]
        strokes.sort(key=lambda stroke: stroke.place)
        if "sticking" in table and len(self.problems) == before:
            strokes = self._stuck(table, path, meter, strokes=strokes)
        return Bar(meter, tuple(strokes), tuple(parts))

    def _stuck(
        self, table: Table, path: Path, meter: Meter, *, strokes: list[Stroke], free: bool = True
    ) -> list[Stroke]:
        """The strokes with the hands that the line of stickings gives them; ``free`` says whether
        those of which it says nothing have none, or keep theirs.
        """
        line = self._line(table, path, "sticking", meter=meter, allowed=_HANDS, optional=False)
        hands = dict.fromkeys(stroke.at for stroke in strokes if _by_hand(stroke))
        for step in line[0] if line else []:
            if step.position in hands:
                hands[step.position] = Hand(step.symbol)
            else:
                self.wrong((*path, "sticking"), "no hand plays here: write -", step.at)
        found = []
        for stroke in strokes:
            hand = hands.get(stroke.at) if _by_hand(stroke) else None
            found.append(stroke if hand is None and not free else replace(stroke, hand=hand))
            if hand:
                hands[stroke.at] = Hand.LEFT if hand is Hand.RIGHT else Hand.RIGHT
        return found

    def _variation(self, name: str, table: Any, bars: Sequence[Bar]) -> Variation:
        path: Path = ("variation", name)
        if not isinstance(table, dict):
            self.wrong_key(path, f"write [variation.{name}] and its lines below")
            return Variation(name)
        before = len(self.problems)
        about = self.get(table, path, "about", kind=TEXT, default="")
        changes: dict[int, Change] = {}
        if "bar" in table:
            self.known(table, path, ("about", "bar"))
            for number, one in enumerate(self.tables(table, path, "bar")):
                self._part(one, (*path, "bar", number), ("bars",), bars=bars, changes=changes)
        else:
            self._part(table, path, ("about", "bars"), bars=bars, changes=changes)
        known = self._bars_are_whole and len(self.problems) == before
        if changes and known and not any(one.added or one.taken for one in changes.values()):
            self.wrong_key(path, f'"{name}" changes nothing: add a line for a voice')
        return Variation(name, about, tuple(changes[bar] for bar in sorted(changes)))

    def _part(
        self,
        table: Table,
        path: Path,
        beside: Sequence[str],
        *,
        bars: Sequence[Bar],
        changes: dict[int, Change],
    ) -> None:
        """Read what the lines of ``table`` change in its bars into ``changes``."""
        self.known(table, path, (*beside, "sticking", *BY_NAME))
        default = list(range(1, len(bars) + 1))
        chosen = self.get(table, path, "bars", kind=_bar_numbers(len(bars)), default=default)
        self._changed += len(chosen)
        self._count(path, self._changed, MOST_CHANGED, what="bars that variations change")
        for index in chosen:
            if index - 1 in changes:
                self.wrong_key(path, f"bar {index} is changed above: write all of it in one place")
            else:
                changes[index - 1] = self._change(table, path, index, bar=bars[index - 1])

    def _change(self, table: Table, path: Path, index: int, *, bar: Bar) -> Change:
        added: list[Stroke] = []
        taken: list[tuple[Fraction, str]] = []
        there = {(stroke.at, stroke.voice) for stroke in bar.strokes}
        before = len(self.problems)
        for voice in filter(BY_NAME.__contains__, table):
            line = self._line(
                table, path, voice, meter=bar.meter, allowed=_STROKES + TAKEN, optional=True
            )
            self._strokes += len(line[0]) if line else 0
            self._count((*path, voice), self._strokes, MOST_STROKES, what="strokes")
            for step in line[0] if line else []:
                if step.symbol != TAKEN:
                    added.append(_stroke(step, voice))
                elif (step.position, voice) in there:
                    taken.append((step.position, voice))
                elif self._bars_are_whole:
                    self.wrong(
                        (*path, voice),
                        f"bar {index} has no {voice} stroke here to take away",
                        step.at,
                    )
        taken += [place for place in under_rolls(added, bar.strokes) if place not in taken]
        change = Change(index - 1, tuple(added), tuple(sorted(taken)))
        if "sticking" in table and self._bars_are_whole and len(self.problems) == before:
            # Strokes that stay, and get another hand, are changed as well.
            was = list(bar.changed(change).strokes)
            stuck = self._stuck(table, path, bar.meter, strokes=was, free=False)
            found = {(one.at, one.voice): one for one in added}
            found |= {
                (one.at, one.voice): one for old, one in zip(was, stuck, strict=True) if one != old
            }
            added = list(found.values())
        added.sort(key=lambda stroke: stroke.place)
        return Change(index - 1, tuple(added), tuple(sorted(taken)))

    def _chunk(self, table: Table, path: Path, bars: Sequence[Bar]) -> Chunk | None:
        self.known(table, path, ("name", "bar", "from", "to"))
        name = self.get(table, path, "name", kind=TEXT)
        number = self.get(table, path, "bar", kind=between(1, max(len(bars), 1)), default=1)
        if not bars:
            return None
        meter = bars[number - 1].meter
        beats = len(meter.beats)
        first = self.get(table, path, "from", kind=between(1, beats))
        last = self.get(table, path, "to", kind=between(1, beats))
        if name is None or first is None or last is None:
            return None
        if last < first:
            self.wrong((*path, "to"), f'"to" must be {first} or more: a chunk runs forward')
            return None
        ends = [*meter.beat_starts[1:], meter.length]
        return Chunk(
            name=name, bar=number - 1, start=meter.beat_starts[first - 1], end=ends[last - 1]
        )

    def _practice(self, tables: Table) -> Practice | None:
        table, path = tables["practice"], ("practice",)
        if not isinstance(table, dict):
            self.wrong_key(path, "write [practice] and its lines below")
            return None
        self.known(table, path, _PRACTICE)
        start = self.get(table, path, "start", kind=TEMPO)
        goal = self.get(table, path, "goal", kind=TEMPO)
        clean = self.get(table, path, "clean", kind=between(1, 99), default=4)
        patience = None
        if "patience" in table:
            patience = self.get(table, path, "patience", kind=between(4, 12))
        leave = self.get(table, path, "leave", kind=_MINUTES, default=Decimal(4))
        bars = self.get(table, path, "bars", kind=between(4, 64), default=8)
        success = self.get(table, path, "success", kind=_SUCCESS, default=Decimal(85))
        repeats = self.get(table, path, "repeats", kind=between(0, 9), default=3)
        following = self.get(table, path, "next", kind=_NAMES, default=[])
        trial = table.get("trial", True)
        if not isinstance(trial, bool):
            self.wrong((*path, "trial"), '"trial" must be true or false')
        if start is None or goal is None:
            return None
        if goal < start:
            self.wrong((*path, "goal"), f'"goal" must be {start} or more: practice climbs')
        tolerance = table.get("tolerance")
        if tolerance is not None:
            tolerance = self.get(table, path, "tolerance", kind=_TOLERANCE, default=Decimal(0))
        tolerance_ms = None if tolerance is None else float(tolerance)
        return Practice(
            start_tempo=float(start),
            goal_tempo=float(goal),
            clean=clean,
            tolerance_ms=tolerance_ms,
            trial=bool(trial),
            patience=patience,
            leave_minutes=float(leave),
            free_bars=bars,
            success=float(success) / 100.0,
            repeats=repeats,
            next=tuple(following),
        )


#: All that a pattern says.
_TOP = (
    *("title", "about", "kind", "trains", "meter", "tempo", "swing", "swung"),
    *("bar", "variation", "chunk", "practice"),
)

#: All that a pattern may say of how it is to be learned.
_PRACTICE = (
    "start", "goal", "clean", "tolerance", "trial", "patience", "leave", "bars", "success",
    "repeats", "next",
)  # fmt: skip

_SUCCESS = number(50, 95, "a percentage from 50 to 95", example="{key} = 85")
_KIND = Kind(
    types=(str,),
    about=f"one of {', '.join(PatternKind)}",
    example='{key} = "groove"',
    fits=lambda value: value in list(PatternKind),
)
_TRAINS = Kind(
    types=(list,),
    about=f"a list of up to {MOST_TRAINED} things in a few words each, none twice",
    example='{key} = ["ghost notes"]',
    fits=lambda value: (
        len(value) <= MOST_TRAINED
        and all(isinstance(one, str) and one.strip() and len(one) <= 40 for one in value)
        and len(set(value)) == len(value)
    ),
)
_NAMES = Kind(
    types=(list,),
    about="a list of names of patterns",
    example='{key} = ["late-bus-home"]',
    fits=lambda value: all(isinstance(one, str) and one for one in value),
)

_MINUTES = Kind(
    types=(int, Decimal),
    about="minutes from 1 to 30",
    example="{key} = 4",
    fits=lambda value: 1 <= value <= 30,
)


def _bar_numbers(bars: int) -> Kind:
    return Kind(
        types=(list,),
        about=f"a list of bars from 1 to {bars}, as in [1]",
        example="{key} = [1]",
        fits=lambda value: (
            len(value) > 0
            and all(type(bar) is int and 1 <= bar <= bars for bar in value)
            and sorted(set(value)) == value
        ),
    )


_METER = Kind(types=(str,), about="a meter in quotes", example='{key} = "4/4"')
_LINE = Kind(
    types=(str,), about="a line of symbols in quotes", example='{key} = "x--- x--- x--- x---"'
)
TEMPO = number(
    SLOWEST_BPM, FASTEST_BPM, f"a number from {SLOWEST_BPM} to {FASTEST_BPM}", example="{key} = 84"
)
_TOLERANCE = number(5, 100, "milliseconds from 5 to 100", example="{key} = 25")
_BY_NOTES = {notes: note for note, notes in NOTES.items()}
_SWUNG = Kind(
    types=(str,),
    about=f"one of {', '.join(_BY_NOTES)}",
    example='{key} = "sixteenths"',
    fits=_BY_NOTES.__contains__,
)
_SWING = number(50, 80, "a percentage from 50 (straight) to 80", example="{key} = 50")


def _stroke(step: Step, voice: str) -> Stroke:
    symbol = SYMBOLS[step.symbol]
    is_open = symbol.is_open and voice == "hi-hat"
    return Stroke(
        at=step.position,
        voice=voice,
        dynamic=symbol.dynamic,
        optional=step.optional,
        graces=symbol.graces,
        is_open=is_open,
        roll=step.roll,
    )


def _beats_of(step: Step, meter: Meter) -> range:
    """The beats that a step lies in: that where it begins, and those through which it rolls."""
    first = meter.beat_of(step.position)
    end = step.position + step.roll.length if step.roll else step.position
    inside = sum(first_at < end for first_at in meter.beat_starts)
    return range(first, max(first + 1, inside))


def _by_hand(stroke: Stroke) -> bool:
    return BY_NAME[stroke.voice].limb not in _FEET
