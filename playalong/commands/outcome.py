"""What a run left, in words."""

from typing import TYPE_CHECKING

from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.play.play_session import SavedRun


def print_run(saved: "SavedRun") -> None:
    """Print the grade, what to work on next and then, how the strokes were, where the take is."""
    from playalong.grading.text import in_short

    grade = saved.graded.grade
    if saved.is_broken_off:
        print_lines("The run was broken off: what was played until then is kept and graded.")
    print_lines(f"{grade.score.total:.0f} of 100. {grade.advice}")
    print_lines(*(f"Then: {finding.text}" for finding in grade.findings[1:]))
    print_lines(in_short(grade))
    print_lines(f"The take is saved: {saved.path}")
