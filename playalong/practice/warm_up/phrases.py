"""What the warm-up says: figures and plain words, every sentence in one place."""

from collections.abc import Mapping

from playalong.practice.warm_up.diary import Better
from playalong.practice.warm_up.exercises import BY_NAME, Exercise, Measure
from playalong.practice.warm_up.machine import Bout, BoutReport, Summary
from playalong.support.text import counted

#: What each measure is called, and its figure in words; ``rest`` is what is left of 100 %.
_CALLED: Mapping[Measure, tuple[str, str]] = {
    Measure.SPREAD: ("spread", "{figure} ms of spread"),
    Measure.STEP: ("the step from stroke to stroke", "{figure} ms uneven"),
    Measure.EVENNESS: ("evenness", "wavers by {figure} % of the way to your accents"),
    Measure.STAIRS: ("loudness in order", "{rest} % in order"),
    Measure.SOFTNESS: ("softness", "{rest} % soft"),
    Measure.SOFT_OVER_KICK: ("softness over the kick", "{rest} % soft"),
    Measure.TOGETHER: ("strokes together", "{figure} ms apart"),
    Measure.FLAM_WIDTH: ("flams of one width", "{figure} ms from flam to flam"),
    Measure.CARRIED: ("the tempo carried", "{figure} ms astray"),
    Measure.ENTRIES: ("entries", "{figure} ms off"),
    Measure.CHANGES: ("the beat at each change", "{figure} ms off"),
    Measure.RECALLED: ("what you play back", "{rest} % played back"),
}

#: From this share of the way on, accents did not stand out at all.
_NO_ACCENTS = 1000.0

LOOSEN_UP = (
    "Loosen shoulders, elbows and wrists before the first stroke, and breathe.",
    "Start soft: volume down, grip loose. Nothing is won by speed in the first two minutes.",
    "Stop on pain, numbness or ringing in the ears; if it stays, ask a physician or audiologist.",
)
PAIN = "Does anything hurt? If so, stop here for today: it is not part of any figure."
REST = "Rest: put the sticks down, let the arms hang."
STICKING = "The sticking is shown; pads cannot hear which hand it was, so it is not judged."
LONG = "That was long. Ten minutes of rest do more than ten more of playing."

#: After so many seconds of playing in one day a break is proposed.
BREAK_S = 25 * 60.0


def warms(exercise: Exercise) -> str:
    """What the exercise is warmed by."""
    return _CALLED[exercise.measure][0]


def said_figure(exercise: Exercise, value: float | None) -> str:
    """A figure with its unit, words where there is none."""
    if value is None:
        return "too little was played for a figure"
    if exercise.measure is Measure.EVENNESS and value >= _NO_ACCENTS:
        return "no accent stood out"
    rest = 100.0 - value
    return _CALLED[exercise.measure][1].format(figure=_rounded(value), rest=_rounded(rest))


def _rounded(value: float) -> str:
    return f"{value:.1f}" if 0.0 < value < 10.0 or 99.0 < value < 100.0 else f"{value:.0f}"


def said_mark(bout: Bout, best: float | None) -> str:
    """The mark to stay within, and the best figure so far, where there is one."""
    words = f"your mark: {said_figure(bout.exercise, bout.mark)}"
    return words if best is None else f"{words}; best: {said_figure(bout.exercise, best)}"


def before_bout(bout: Bout, best: float | None) -> str:
    """What stands beside an exercise: what it trains, the tempo, the mark to stay within."""
    return f"{bout.exercise.trains}, at {bout.tempo_bpm:g} bpm; {said_mark(bout, best)}"


def after_bout(report: BoutReport, advice: str) -> str:
    """The one sentence after a bout; ``advice`` is that of its grade, which knows why strokes are
    missing: a kit that is late, another tempo, another pattern.
    """
    if not report.is_there:
        return advice
    whole = report.whole
    if whole.forced > 0.25:
        return "Many strokes had all their force: softer. Loudness beyond the exercise cools."
    figure = _capital(said_figure(report.exercise, whole.figure))
    if report.is_within:
        return f"{figure}: within your mark."
    return f"{figure}; your mark: {said_figure(report.exercise, report.mark)}."


def at_the_end(summary: Summary) -> tuple[str, str]:
    """The one sentence at the end, and the one thing to work on; empty where nothing was played."""
    minutes = summary.seconds / 60.0
    if summary.best is None:
        return "Nothing was played that could be measured.", ""
    best = summary.best
    first = (
        f"{counted(round(minutes), 'minute')}, {summary.temperature:.0f} degrees. "
        f"Best: {best.exercise.title}, {said_figure(best.exercise, best.whole.figure)}."
    )
    weak = summary.work_on
    if weak is None or weak is best:
        return first, ""
    figure = said_figure(weak.exercise, weak.whole.figure)
    return first, f"Work on {weak.exercise.title}: {weak.exercise.trains}; now {figure}."


def got_better(better: Better) -> str:
    """What got better this month, with its figure."""
    exercise = BY_NAME[better.exercise]
    then, now = said_figure(exercise, better.then), said_figure(exercise, better.now)
    return f"This month {exercise.title} went from {then} to {now}."


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
