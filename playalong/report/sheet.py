"""The sheet of a run on paper: what was written as boxes, what was played as marks.

As on the screen: a box is as wide as the tolerance; a hit inside it is solid, outside it an open
ring with a line to the box; what was missed is hatched, what was too much is a cross.
"""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Verdict
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS
from playalong.pattern.voices import BY_NAME, VOICES, folded
from playalong.report.drawing import BAND, INK, OFF, RULE, drawing, svg

#: So many bars stand in one line, and so many lines are shown.
BARS_A_LINE, MOST_LINES = 2, 8

#: The height of a box, in parts of a row.
_HIGH = {Dynamic.GHOST: 0.3, Dynamic.NORMAL: 0.55, Dynamic.ACCENT: 0.8}


def sheet(run: MatchedRun, name: str) -> list[str]:
    """The sheet, line by line, each an ``svg`` element."""
    targets = run.targets
    lines = min(MOST_LINES, -(-targets.bars // BARS_A_LINE))
    return [_line(run, first * BARS_A_LINE, f"{name}-{first}") for first in range(lines)]


def _line(run: MatchedRun, first: int, name: str) -> str:
    targets = run.targets
    last = min(first + BARS_A_LINE, targets.bars)
    begin_s = float(targets.bar_starts_s[first])
    end_s = float(targets.bar_starts_s[last]) if last < targets.bars else targets.end_s
    rows = {voice: at for at, voice in enumerate(reversed(targets.voices))}
    margin_s = run.rules.capture_ms / 1000.0
    with drawing(name, high=0.45 + 0.3 * len(rows)) as (figure, (axes,)):
        for bar in range(first, last):
            axes.axvline(float(targets.bar_starts_s[bar]), color=RULE, lw=1.0)
        axes.axvline(end_s, color=RULE, lw=1.0)
        for at in rows.values():
            axes.axhline(at, color=BAND, lw=0.8, zorder=0)
        missed = {int(target) for target in run.verdicts.target[run.by_verdict[Verdict.MISSED]]}
        missed |= {
            int(target) for target in run.verdicts.target[run.by_verdict[Verdict.WRONG_DRUM]]
        }
        tolerance_s = run.tolerance / 2e9
        for number in np.flatnonzero((targets.bar >= first) & (targets.bar < last)).tolist():
            dynamic = DYNAMICS[targets.dynamic[number]]
            width, high = 2.0 * float(tolerance_s[number]), _HIGH[dynamic]
            at_s, at = float(targets.time_s[number]), rows[targets.names[number]]
            box = Rectangle((at_s - width / 2, at - high / 2), width, high)
            box.set(facecolor=BAND, edgecolor=RULE, lw=0.7)
            if number in missed:
                box.set(facecolor="none", edgecolor=OFF, hatch="////")
            axes.add_patch(box)
        _hits(run, rows, axes, begin_s=begin_s, end_s=end_s)
        axes.set_xlim(begin_s - margin_s, end_s + margin_s)
        axes.set_ylim(-0.7, len(rows) - 0.3)
        axes.set_yticks(list(rows.values()), [BY_NAME[voice].label for voice in rows])
        starts = [float(targets.bar_starts_s[bar]) for bar in range(first, last)]
        axes.set_xticks(starts, [f"bar {bar + 1}" for bar in range(first, last)], ha="left")
        axes.tick_params(length=0)
        for side in axes.spines.values():
            side.set_visible(False)
        return svg(figure, f"The sheet of bars {first + 1} to {last}.")


def _hits(
    run: MatchedRun, rows: dict[str, int], axes: Axes, *, begin_s: float, end_s: float
) -> None:
    targets = run.targets
    early_s = run.rules.capture_ms / 1000.0
    for row, hit in zip(run.answered.tolist(), run.hit.tolist(), strict=True):
        target = int(run.verdicts.target[row])
        written_s, at_s = float(targets.time_s[target]), float(run.hits.time_s[hit])
        if not begin_s <= written_s < end_s:
            continue
        at = rows[targets.names[target]]
        if abs(at_s - written_s) <= float(run.tolerance[target]) / 2e9:
            axes.plot([at_s], [at], "o", color=INK, ms=3.4)
        else:
            axes.plot([at_s, written_s], [at, at], color=OFF, lw=1.0)
            axes.plot([at_s], [at], "o", mfc="white", mec=OFF, ms=4.4, mew=1.2)
    extras = run.verdicts.hit[run.by_verdict[Verdict.EXTRA]].tolist()
    for hit in extras:
        at_s = float(run.hits.time_s[hit])
        voice = folded(VOICES[run.hits.voice[hit]].name, targets.voices)
        if begin_s - early_s <= at_s < end_s and voice in rows:
            axes.plot([at_s], [rows[voice]], "x", color=OFF, ms=4.4, mew=1.3)
