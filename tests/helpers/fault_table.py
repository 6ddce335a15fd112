"""Which faults at which sizes, fixed before anything was tuned to them.

Small: mending it wins two to four points of a hundred, or it is about twice what can be heard
(6 ms under 240 ms from stroke to stroke, 2.5 % above; Friberg and Sundberg, JASA 98, 1995).
Clear: beyond that. What can be heard of loudness has no such figure here: three quarters of the
way between two dynamics is small, the whole way clear.
"""

from dataclasses import KW_ONLY, dataclass

from tests.helpers import faults
from tests.helpers.faults import Injection


@dataclass(frozen=True)
class Row:
    """A fault and its sizes; ``real``: it is put into takes by drummers as well."""

    name: str
    inject: Injection
    small: tuple[float, ...]
    _: KW_ONLY
    clear: tuple[float, ...]
    real: bool = True


ROWS = (
    Row("everything late", faults.everything_off, (25.0,), clear=(40.0, 110.0)),
    Row("everything early", faults.everything_off, (-25.0,), clear=(-40.0, -110.0)),
    Row("faster", faults.another_tempo, (0.4,), clear=(1.0, 4.0)),
    Row("slower", faults.another_tempo, (-0.4,), clear=(-1.0, -4.0)),
    Row("creeping faster", faults.creeping_tempo, (2.0,), clear=(4.0,)),
    Row("creeping slower", faults.creeping_tempo, (-2.0,), clear=(-4.0,)),
    Row("wandering", faults.wandering_tempo, (30.0,), clear=(50.0,), real=False),
    Row("stopped", faults.stopped_after, (-1.0,), clear=(4.0,)),
    Row("a stop, and on", faults.hesitated, (0.25,), clear=(0.4,)),
    Row("lost an eighth", faults.lost_an_eighth, (14.0,), clear=(3.0,)),
    Row("half tempo", faults.half_tempo, (), clear=(1.0,)),
    Row("double tempo", faults.double_tempo, (), clear=(1.0,)),
    Row("a limb late", faults.limb_off, (15.0,), clear=(25.0, 45.0)),
    Row("a limb early", faults.limb_off, (-15.0,), clear=(-25.0, -45.0)),
    Row("a place late", faults.stroke_off, (24.0,), clear=(40.0,)),
    Row("a place early", faults.stroke_off, (-24.0,), clear=(-40.0,)),
    Row("uneven time", faults.uneven_time, (28.0,), clear=(40.0,)),
    Row("hand and foot apart", faults.unison_apart, (25.0,), clear=(40.0,)),
    Row("swing played straight", faults.played_straight, (0.5,), clear=(1.0,), real=False),
    Row("straight played swung", faults.played_swung, (0.4,), clear=(1.0,), real=False),
    Row("a place missed", faults.missed_stroke, (0.4,), clear=(1.0,), real=False),
    Row("a voice missing", faults.missed_voice, (), clear=(1.0,)),
    Row("extra strokes", faults.extra_strokes, (0.4,), clear=(1.0,)),
    Row("double triggers", faults.double_triggers, (0.08,), clear=(0.15,)),
    Row("a wrong drum", faults.wrong_drum, (0.4,), clear=(1.0,), real=False),
    Row("hi-hat closed for open", faults.hats_closed, (0.5,), clear=(1.0,)),
    Row("hi-hat open for closed", faults.hats_open, (), clear=(1.0,)),
    Row("one ghost note loud", faults.one_ghost_loud, (0.75,), clear=(1.0,)),
    Row("all ghost notes loud", faults.all_ghosts_loud, (0.75,), clear=(1.0,)),
    Row("ghosts loud over the kick", faults.ghosts_loud_over_kick, (0.75,), clear=(1.0,)),
    Row("kick soft under ghosts", faults.kick_soft_under_ghosts, (8.0,), clear=(12.0,)),
    Row("ghost notes gone", faults.ghosts_gone, (0.3,), clear=(0.5,), real=False),
    Row("accents flat", faults.accents_flat, (0.25,), clear=(0.0, -0.4), real=False),
    Row("a plain place loud", faults.stroke_loud, (0.75,), clear=(1.0,), real=False),
    Row("a plain place soft", faults.stroke_soft, (0.75,), clear=(1.0,)),
    Row("uneven loudness", faults.uneven_loudness, (7.0,), clear=(11.0,), real=False),
    Row("flams flat", faults.flam_at, (12.0,), clear=(5.0,)),
    Row("flams wide", faults.flam_at, (75.0,), clear=(90.0,)),
    Row("graces loud", faults.grace_loud, (0.0,), clear=(3.0,)),
    Row("graces missing", faults.grace_missing, (0.4,), clear=(1.0,)),
    Row("drags open", faults.drag_open, (), clear=(1.0,)),
    Row("drags missing", faults.drag_missing, (0.4,), clear=(1.0,)),
    Row("another pattern", faults.another_pattern, (), clear=(1.0,), real=False),
    Row("nothing at all", faults.nothing_played, (), clear=(1.0,), real=False),
)
