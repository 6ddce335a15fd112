"""Patterns made at random, each as the text of a file and as the model that it must mean.

Both are built here from the same steps and by nothing of the project but its records, so that
reading and writing can each be held against them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import cache
from itertools import cycle
from math import lcm
from typing import Any

from hypothesis import strategies as st

from playalong.pattern.meter import NOTES, STRAIGHT, Meter, WrittenSwing
from playalong.pattern.model import (
    Bar,
    Change,
    Chunk,
    Dynamic,
    Hand,
    Pattern,
    PatternKind,
    Practice,
    Roll,
    Stroke,
    Variation,
)
from tests.helpers import letters

#: What is written, and the length of each beat in whole notes (common practice).
METERS = {
    "4/4": (Fraction(1, 4),) * 4,
    "3/4": (Fraction(1, 4),) * 3,
    "5/4": (Fraction(1, 4),) * 5,
    "7/8": (Fraction(1, 8),) * 7,
    "2+2+3/8": (Fraction(1, 4), Fraction(1, 4), Fraction(3, 8)),
    "12/8": (Fraction(3, 8),) * 4,
}
QUARTERS = ("4/4", "3/4", "5/4")

#: Voices from above to below, and whether hands play them (common practice).
BY_HAND = {"crash": True, "hi-hat": True, "ride": True, "snare": True, "kick": False}

#: dynamic, grace strokes, open where it stands on the hi-hat line: as the file format says.
MARKS = {
    "x": (Dynamic.NORMAL, 0, False),
    "X": (Dynamic.ACCENT, 0, False),
    "o": (Dynamic.NORMAL, 0, True),
    "O": (Dynamic.ACCENT, 0, True),
    "g": (Dynamic.GHOST, 0, False),
    "f": (Dynamic.NORMAL, 1, False),
    "F": (Dynamic.ACCENT, 1, False),
    "d": (Dynamic.NORMAL, 2, False),
    "D": (Dynamic.ACCENT, 2, False),
}
#: Rolls: how loud, and how many strokes to a step, 0 for a buzz.
ROLLS = {
    "z": (Dynamic.NORMAL, 0),
    "Z": (Dynamic.ACCENT, 0),
    "r": (Dynamic.NORMAL, 2),
    "R": (Dynamic.ACCENT, 2),
}
STEPS = (*["-"] * 8, *MARKS, "(x)", *(f"{mark}?" for mark in MARKS), *ROLLS, "z?")
#: Of a variation: also strokes that are taken away.
LESS_STEPS = (*["."] * len(STEPS), *STEPS)

#: Parts of a beat that may stand below each other.
FAMILIES = ((1, 2, 4, 8, 16), (1, 2, 3, 4, 6, 12), (1, 5, 10), (1, 7))

#: A line: the steps of each beat.
Line = list[list[str]]

NAMES = st.text(letters.ANY, min_size=1, max_size=6)
WORDS = st.text(letters.ANY, max_size=12).filter(str.strip)
TEMPI = st.one_of(st.integers(20, 400).map(float), st.floats(20.0, 400.0))


@dataclass(frozen=True)
class Made:
    """A pattern, and the text of a file that means it."""

    pattern: Pattern
    text: str


def quoted(text: str) -> str:
    return '"' + "".join(f"\\U{ord(char):08x}" for char in text) + '"'


def starts(written: str) -> list[Fraction]:
    beats = METERS[written]
    return [sum(beats[:index], Fraction(0)) for index in range(len(beats))]


def places(line: Line, written: str) -> dict[Fraction, str]:
    """The steps of a line that are no rests, by position."""
    return {
        start + beat * index / len(steps): step
        for start, beat, steps in zip(starts(written), METERS[written], line, strict=True)
        for index, step in enumerate(steps)
        if step not in "-~"
    }


def rolls(line: Line, written: str) -> dict[Fraction, Roll]:
    """The rolls that a line begins: they are held within a beat."""
    found = {}
    for start, beat, steps in zip(starts(written), METERS[written], line, strict=True):
        for index, step in enumerate(steps):
            if step.rstrip("?") in ROLLS:
                after = "".join(steps[index + 1 :])
                held = 1 + len(after) - len(after.lstrip("~"))
                per_step = ROLLS[step.rstrip("?")][1]
                found[start + beat * index / len(steps)] = Roll(
                    beat * held / len(steps), per_step * held
                )
    return found


def held(voice: str, line: Line) -> Line:
    """The line with rests right behind a roll, every other time, as parts of it; feet play none."""
    for beat, steps in enumerate(line):
        for index, step in enumerate(steps):
            before = steps[index - 1].rstrip("?") if index else ""
            if step.rstrip("?") in ROLLS and not BY_HAND[voice]:
                steps[index] = "x"
            elif step == "-" and (before in ROLLS or before == "~") and (beat + index) % 3:
                steps[index] = "~"
    return line


def stroke(at: Fraction, voice: str, step: str, *, roll: Roll | None = None) -> Stroke:
    mark = "g" if step == "(x)" else step.rstrip("?")
    dynamic, graces, is_open = (ROLLS[mark][0], 0, False) if mark in ROLLS else MARKS[mark]
    return Stroke(
        at=at,
        voice=voice,
        dynamic=dynamic,
        optional=step.endswith("?"),
        graces=graces,
        is_open=is_open and voice == "hi-hat",
        roll=roll,
    )


def unrolled(pattern: Pattern) -> Pattern:
    """The same, every roll being one stroke."""

    def plain(strokes: Iterable[Stroke]) -> tuple[Stroke, ...]:
        return tuple(replace(one, roll=None) for one in strokes)

    return replace(
        pattern,
        bars=tuple(replace(bar, strokes=plain(bar.strokes)) for bar in pattern.bars),
        variations={
            name: replace(
                told,
                changes=tuple(replace(one, added=plain(one.added)) for one in told.changes),
            )
            for name, told in pattern.variations.items()
        },
    )


def row(key: str, line: Line) -> str:
    return f'{key} = "{" ".join("".join(steps) for steps in line)}"\n'


def in_order(strokes: list[Stroke]) -> list[Stroke]:
    return sorted(strokes, key=lambda item: (item.at, list(BY_HAND).index(item.voice)))


# Strategies are made once: making and checking one costs more than drawing from it.
@cache
def among(few: tuple[Any, ...], count: int | None = None) -> st.SearchStrategy[Any]:
    """One of ``few``, or a list of so many of them."""
    one = st.sampled_from(few)
    return one if count is None else st.lists(one, min_size=count, max_size=count)


@cache
def some(few: tuple[Any, ...]) -> st.SearchStrategy[list[Any]]:
    """Up to four of ``few``, each once."""
    return st.lists(among(few), min_size=1, max_size=4, unique=True)


@st.composite
def lines(
    draw: st.DrawFn, written: str, steps: tuple[str, ...], *, voices: tuple[str, ...]
) -> dict[str, Line]:
    """Lines of one bar for some of ``voices``."""
    families = draw(among(FAMILIES, len(METERS[written])))
    found = {}
    for voice in draw(some(voices)):
        drawn = [list(draw(among(steps, draw(among(family))))) for family in families]
        found[voice] = held(voice, drawn)
    return found


@st.composite
def bars(draw: st.DrawFn, written: str, own: bool) -> tuple[Bar, str, str]:
    """A bar, its text, and its meter as written."""
    found = draw(lines(written, STEPS, voices=tuple(BY_HAND)))
    strokes = [
        stroke(at, voice, step, roll=rolls(line, written).get(at))
        for voice, line in found.items()
        for at, step in places(line, written).items()
    ]
    divisions = tuple(
        lcm(*(len(line[beat]) for line in found.values() if set(line[beat]) != {"-"}))
        for beat in range(len(METERS[written]))
    )
    text = "[[bar]]\n" + (f'meter = "{written}"\n' if own else "")
    text += "".join(row(voice, line) for voice, line in found.items())
    if draw(st.booleans()):
        sticking: Line = [["-"] * parts for parts in divisions]
        grid = [
            (beat, index, start + length * index / parts)
            for beat, (start, length, parts) in enumerate(
                zip(starts(written), METERS[written], divisions, strict=True)
            )
            for index in range(parts)
        ]
        for beat, index, at in grid:
            there = [item for item in in_order(strokes) if item.at == at and BY_HAND[item.voice]]
            hand = draw(among(("R", "L", "-"))) if there else "-"
            sticking[beat][index] = hand
            # Of two at once the upper voice has the hand that is written.
            for item, side in zip(
                there, cycle({"R": "RL", "L": "LR", "-": "-"}[hand]), strict=False
            ):
                strokes.remove(item)
                given = None if side == "-" else Hand(side)
                strokes.append(
                    Stroke(
                        at=at,
                        voice=item.voice,
                        dynamic=item.dynamic,
                        optional=item.optional,
                        graces=item.graces,
                        is_open=item.is_open,
                        roll=item.roll,
                        hand=given,
                    )
                )
        text += row("sticking", sticking)
    return Bar(Meter.parse(written), tuple(in_order(strokes)), divisions), text, written


@st.composite
def parts_of_variations(
    draw: st.DrawFn, made: list[tuple[Bar, str, str]], open_bars: list[int]
) -> tuple[list[Change], str]:
    """What some bars of one meter get, and its lines."""
    written = draw(st.sampled_from([made[index][2] for index in open_bars]))
    fitting = [index for index in open_bars if made[index][2] == written]
    chosen = sorted(draw(st.sets(st.sampled_from(fitting), min_size=1)))
    there = set.intersection(
        *({(item.at, item.voice) for item in made[index][0].strokes} for index in chosen)
    )
    # Mostly voices of which something can be taken away.
    voices = sorted({voice for _, voice in there}) if draw(st.integers(0, 3)) else []
    found = draw(lines(written, LESS_STEPS, voices=tuple(voices or BY_HAND)))
    added: list[Stroke] = []
    taken: list[tuple[Fraction, str]] = []
    for voice, line in found.items():
        begun = rolls(line, written)
        for start, length, steps in zip(starts(written), METERS[written], line, strict=True):
            for index, step in enumerate(steps):
                at = start + length * index / len(steps)
                if step == "." and (at, voice) not in there:
                    steps[index] = "-"
                elif step == ".":
                    taken.append((at, voice))
                elif step not in "-~":
                    added.append(stroke(at, voice, step, roll=begun.get(at)))
    if not added and not taken:
        voice, line = next(iter(found.items()))
        line[0][0] = "g"
        added.append(stroke(Fraction(0), voice, "g"))
    text = ""
    if chosen != list(range(len(made))):
        text += f"bars = {[index + 1 for index in chosen]}\n"
    text += "".join(row(voice, line) for voice, line in found.items())
    more = tuple(in_order(added))
    changes = []
    for index in chosen:
        bar = made[index][0].strokes
        under = {(one.at, one.voice) for one in bar if is_under(one, more)}
        changes.append(Change(index, more, tuple(sorted({*taken, *under}))))
    return changes, text


def is_under(one: Stroke, added: Sequence[Stroke]) -> bool:
    """Whether a stroke lies within a roll of its voice."""
    return any(
        roll.voice == one.voice and roll.roll and roll.at < one.at < roll.at + roll.roll.length
        for roll in added
    )


@st.composite
def variations(
    draw: st.DrawFn, name: str, made: list[tuple[Bar, str, str]]
) -> tuple[Variation, str]:
    """A variation of some bars, alike or each differently, and its text."""
    changes, text = draw(parts_of_variations(made, list(range(len(made)))))
    about = draw(st.one_of(st.just(""), WORDS))
    head = f"[variation.{quoted(name)}]\n" + (f"about = {quoted(about)}\n" if about else "")
    left = [index for index in range(len(made)) if index not in {one.bar for one in changes}]
    if left and draw(st.booleans()):
        more, further = draw(parts_of_variations(made, left))
        part = f"[[variation.{quoted(name)}.bar]]\n"
        text, changes = f"{part}{text}{part}{further}", [*changes, *more]
    return Variation(name, about, tuple(sorted(changes, key=lambda one: one.bar))), head + text


@st.composite
def chunks(draw: st.DrawFn, made: list[tuple[Bar, str, str]]) -> tuple[Chunk, str]:
    """A chunk of one bar, and its text."""
    bar = draw(st.integers(0, len(made) - 1))
    written = made[bar][2]
    first, last = sorted(draw(st.tuples(*[st.integers(1, len(METERS[written]))] * 2)))
    name = draw(WORDS)
    begin = starts(written)[first - 1]
    end = starts(written)[last - 1] + METERS[written][last - 1]
    text = f"[[chunk]]\nname = {quoted(name)}\nbar = {bar + 1}\nfrom = {first}\nto = {last}\n"
    return Chunk(name=name, bar=bar, start=begin, end=end), text


@st.composite
def patterns(draw: st.DrawFn, meters: tuple[str, ...] = tuple(METERS)) -> Made:
    """A whole pattern, and its text."""
    title, about, tempo = draw(WORDS), draw(st.one_of(st.just(""), WORDS)), draw(TEMPI)
    if draw(st.booleans()):  # only then may it swing
        meters = QUARTERS
    default = draw(st.sampled_from(meters))
    made = []
    for _ in range(draw(st.integers(1, 3))):
        own = draw(st.booleans())
        written = draw(st.sampled_from(meters)) if own else default
        made.append(draw(bars(written, own)))
    if not any(bar.strokes for bar, _, _ in made):
        beats = len(METERS[default])
        line = [["x"], *[["-"]] * (beats - 1)]
        only = Bar(Meter.parse(default), (Stroke(at=Fraction(0), voice="kick"),), (1,) * beats)
        made = [(only, "[[bar]]\n" + row("kick", line), default)]
    swing = Decimal(50)
    if all(written in QUARTERS for _, _, written in made):
        swing = draw(st.one_of(st.just(swing), st.decimals(50, 80, places=2)))
    names = draw(st.one_of(st.just([]), st.lists(NAMES, min_size=1, max_size=2, unique=True)))
    varied = [draw(variations(name, made)) for name in names]
    parts = [draw(chunks(made)) for _ in range(draw(st.integers(0, 2)))]

    text = f"title = {quoted(title)}\nmeter = {quoted(default)}\ntempo = {tempo!r}\n"
    text += f"swing = {swing}\n" if swing != 50 or draw(st.booleans()) else ""
    notes = draw(st.sampled_from(list(NOTES))) if swing != 50 else STRAIGHT.note
    text += f'swung = "{NOTES[notes]}"\n' if notes != STRAIGHT.note or draw(st.booleans()) else ""
    text += f"about = {quoted(about)}\n" if about else ""
    kind = draw(among(tuple(PatternKind)))
    text += f'kind = "{kind}"\n' if kind is not PatternKind.GROOVE or draw(st.booleans()) else ""
    trains = draw(st.one_of(st.just([]), st.lists(WORDS, max_size=3, unique=True)))
    text += f"trains = [{', '.join(map(quoted, trains))}]\n" if trains else ""
    text += "".join(item[1] for item in [*made, *varied, *parts])
    practice: Practice | None = None
    if draw(st.booleans()):
        start, goal = sorted(draw(st.tuples(TEMPI, TEMPI)))
        tolerance_ms = draw(st.none() | st.sampled_from([5.0, 22.5, 30.0, 100.0]))
        practice = Practice(
            start_tempo=start,
            goal_tempo=goal,
            clean=draw(st.integers(1, 99)),
            tolerance_ms=tolerance_ms,
            success=draw(st.sampled_from([0.5, 0.85, 0.9])),
            repeats=draw(st.integers(0, 9)),
            next=tuple(draw(st.lists(NAMES, max_size=2))),
        )
        text += f"[practice]\nstart = {start!r}\ngoal = {goal!r}\nclean = {practice.clean}\n"
        text += f"success = {round(100 * practice.success)}\nrepeats = {practice.repeats}\n"
        text += f"next = [{', '.join(map(quoted, practice.next))}]\n"
        if tolerance_ms is not None:
            text += f"tolerance = {tolerance_ms!r}\n"
    fields: dict[str, Any] = {
        "swing": WrittenSwing(Fraction(swing), notes),
        "about": about,
        "kind": kind,
        "trains": tuple(trains),
        "variations": {variation.name: variation for variation, _ in varied},
        "chunks": tuple(chunk for chunk, _ in parts),
        "practice": practice,
    }
    own_meter = Meter.parse(default)
    return Made(
        Pattern(
            name="made",
            title=title,
            meter=own_meter,
            tempo=tempo,
            bars=tuple(bar for bar, _, _ in made),
            **fields,
        ),
        text,
    )
