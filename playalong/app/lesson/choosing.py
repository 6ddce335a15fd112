"""Where a lesson goes on: on its plan, and among what is offered when it is over."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from playalong.app.lesson.lesson_keeper import LessonKeeper, begun, is_finished
from playalong.app.lesson.plan_lines import plan_lines
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice.afterwards import after, offers, rated, ways
from playalong.practice.lesson import Lesson
from playalong.practice.phrases import text
from playalong.records.pattern_files import library
from playalong.screen.base.page import Outcome
from playalong.screen.pages.afterwards import AfterwardsPage
from playalong.screen.pages.plan import PlanPage

#: So many patterns are offered at the end of a lesson, at most.
_FOLLOWING = 2

#: How long offers are shown where nobody sees them.
_UNSEEN_S = 15.0


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """What was chosen: another ``pattern``, a page that was asked for, or to go on here."""

    outcome: Outcome | None = None
    pattern: Pattern | None = None


def on_the_plan(
    context: RunContext, lesson: Lesson, *, notices: Sequence[str] = (), stay_s: float | None = None
) -> Outcome | None:
    """The plan, for so long unless it is worked; a step that is chosen comes next.

    LEAVE where the player leaves, else None.
    """
    if context.window.offscreen and stay_s is None:
        return None
    page = PlanPage(context.theme, lesson.pattern.title, plan_lines(lesson), notices=notices)
    until_s = None if stay_s is None else context.clock.now() + stay_s
    outcome = hold(context, page, 0.0, until_s=until_s)
    if outcome is Outcome.AGAIN and page.chosen != page.now:
        lesson.choose(page.chosen)
    return Outcome.LEAVE if outcome is Outcome.LEAVE else None


def afterwards(
    context: RunContext, lesson: Lesson, rules: Rules, *, keeper: LessonKeeper
) -> Chosen:
    """All is done for today: what can be played next."""
    pattern = lesson.pattern
    shipped = library()
    others = [shipped.get(name) for name in shipped.names() if name != pattern.name]
    following = _following(pattern, others, rules, keeper=keeper)
    found = offers(lesson.overview(), following, own=pattern)
    words = [text(offer.about) for offer in found]
    page = AfterwardsPage(context.theme, pattern.title, lesson.ending, offers=words)
    until_s = context.clock.now() + _UNSEEN_S if context.window.offscreen else None
    outcome = hold(context, page, 0.0, until_s=until_s)
    if outcome is not Outcome.AGAIN:
        return Chosen(outcome=outcome or Outcome.LEAVE)
    offer = found[page.chosen]
    if offer.step is not None:
        lesson.once_more(offer.step)
    return Chosen(pattern=offer.pattern)


def _following(
    pattern: Pattern, others: Sequence[Pattern], rules: Rules, *, keeper: LessonKeeper
) -> list[Pattern]:
    """What comes next, and another way on that leaves it: of each, the first whose lesson is not
    finished.
    """

    def is_open(one: Pattern) -> bool:
        return not is_finished(begun(one, rules, keeper.store, player=keeper.player)[0])

    library = rated(others)
    found = list(islice(filter(is_open, after(pattern, library)), 1))
    for way in ways(pattern, library):
        if not any(way.thing in one.trains for one in found):
            found += islice(filter(is_open, way.after), 1)
    return found[:_FOLLOWING]
