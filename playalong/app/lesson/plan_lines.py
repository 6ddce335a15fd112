"""The plan of a lesson, as lines for a page or a list."""

from playalong.practice.feedback import KNOWN, Record, State
from playalong.practice.lesson import Lesson
from playalong.practice.phrases import STANDS, capital, subject
from playalong.screen.pages.plan import PlanLine


def plan_lines(lesson: Lesson) -> list[PlanLine]:
    """A line for each step."""
    return [
        PlanLine(
            words=capital(subject(line.step)),
            done=line.record.state in KNOWN,
            left_out=line.record.state is State.SKIPPED,
            now=line.now,
            took=_took(line.record.repetitions, line.record.seconds),
            sure=_sure(line.record),
            stands="next" if line.now else STANDS[line.record.state],
        )
        for line in lesson.overview()
    ]


def _sure(record: Record) -> str:
    """How many of the last repetitions were right."""
    if not record.lately:
        return ""
    return f"{record.lately.count('1')} of {len(record.lately)}"


def _took(repetitions: int, seconds: float) -> str:
    if not repetitions:
        return ""
    times = "once" if repetitions == 1 else f"{repetitions} times"
    return f"{times}, {seconds / 60:.0f} min" if seconds >= 60 else f"{times}, {seconds:.0f} s"
