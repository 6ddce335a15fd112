"""Tasks as they are asked for: what is left open is filled in, what cannot be is told."""

from collections.abc import Sequence
from dataclasses import replace

from playalong.app.grade.checks import check_amount, check_variations, checked_bars, checked_tempo
from playalong.app.run.task import Task
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice.excerpts import cut, excerpt
from playalong.sound.synth.click import PLAIN, Clicking
from playalong.support.errors import UserError
from playalong.support.text import quoted

#: A run has so many bars at least, where nobody says how many; and one that is shown to somebody,
#: long enough for a habit to come back often enough to be told.
USUAL_BARS, SHOWN_BARS = 4, 8


def task_of(
    pattern: Pattern,
    rules: Rules,
    *,
    tempo_bpm: float | None = None,
    bars: int | None = None,
    variations: Sequence[str] = (),
    count_in: int = 1,
    clicking: Clicking = PLAIN,
    at_least: int = USUAL_BARS,
) -> Task:
    """``pattern`` at its own tempo, and in whole rounds of ``at_least`` bars, unless it is said.

    UserError for a tempo, a number of bars or a variation that cannot be.
    """
    check_variations(pattern, variations)
    bars = checked_bars(_whole_rounds(len(pattern.bars), at_least) if bars is None else bars)
    check_amount(pattern, bars)
    return Task(
        pattern=pattern,
        tempo_bpm=checked_tempo(pattern.tempo if tempo_bpm is None else tempo_bpm),
        bars=bars,
        variations=tuple(variations),
        rules=rules,
        count_in=count_in,
        clicking=clicking,
    )


def only_chunk(task: Task, name: str, bars: int | None) -> Task:
    """``task`` with one chunk of its pattern alone, once through unless it is said."""
    pattern = task.pattern
    parts = {part.name: part for part in cut(pattern)}
    if name not in parts:
        listed = ", ".join(map(quoted, parts))
        raise UserError(f"{quoted(pattern.title)} has no chunk {quoted(name)}; it has {listed}.")
    alone = excerpt(pattern, [parts[name]], [task.variations])
    return replace(task, pattern=alone, variations=(), bars=bars or 1, about=name)


def _whole_rounds(bars: int, at_least: int) -> int:
    """``at_least`` bars or more, as whole rounds through a pattern of ``bars``."""
    return -(-at_least // bars) * bars
