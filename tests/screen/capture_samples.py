"""The pages on which a groove is played in, with much on them."""

from functools import cache

from playalong.app.capture.session import TO_CLICK
from playalong.capture.understanding import Captured, understand
from playalong.midi.hits import Hit, Hits
from playalong.records.pattern_files import library
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Level
from playalong.screen.capture_pages.listening import ListeningPage, offered
from playalong.screen.capture_pages.understood import UnderstoodPage
from playalong.simulation.skills import SKILLS
from playalong.support.cautions import CAUTION
from tests.helpers.captured import played
from tests.helpers.stage import context_on, unseen_window

BARS = 8


@cache
def hits() -> Hits:
    """Eight bars by the intermediate player, habits and all, and strokes that stray."""
    own = played(library().get("late-bus-home"), SKILLS["intermediate"], 3, bars=BARS)
    strays = ((6.3, "floor-tom", 90.0), (9.9, "crash", 80.0), (12.1, "ride", 50.0))
    return Hits.of([*(own[row] for row in range(len(own))), *(Hit(*one) for one in strays)])


@cache
def captured() -> Captured:
    """What is understood of them."""
    return understand(hits(), name="groove", title="Groove")


def playing_in(theme: Theme) -> ListeningPage:
    """Nine seconds of it."""
    found = hits()
    return ListeningPage(
        theme=theme,
        words=TO_CLICK,
        hits=[found[row] for row in range(len(found)) if found.time_s[row] < 9.0],
        notice="Too little was played: play the groove for two bars at least.",
        caution=CAUTION,
        tempo="100 bpm",
        buttons=offered(True, False),
    )


def played_in(theme: Theme) -> UnderstoodPage:
    """What came of it, the second row chosen."""
    from playalong.app.capture.session import Looked

    with unseen_window() as window:
        looked = Looked(captured())
        looked.chosen = 1
        page = looked.page(context_on(window))
    page.theme, page.level = theme, Level(-18.0)
    return page
