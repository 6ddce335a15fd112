"""Takes as a run leaves them, by simulated players, without playing the run."""

from typing import Any

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.play.tasks import task_of
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.profile.profile import Profile
from playalong.records.takes import Recording
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS, Skill

_LEAD_S = 4.0


def recorded(pattern: Pattern, skill: Skill | str, seed: int, *, bars: int = 8) -> Recording:
    """What ``skill`` plays of ``pattern`` at its own tempo, as a take."""
    task = task_of(pattern, Rules(), bars=bars)
    targets = task.targets()
    recording = task.recording(_LEAD_S, Profile(kit="a kit", player="somebody"), targets)
    known = SKILLS[skill] if isinstance(skill, str) else skill
    for time_s, data in perform(targets, known, seed).messages:
        recording.keep(time_s, data)
    return recording


def take_grade(pattern: Pattern, skill: Skill | str, seed: int) -> Any:
    """The JSON of its grade."""
    return grade_take(pattern, recorded(pattern, skill, seed).take(), Options()).as_json()
