"""The rest between exercises: pages that stand still, what they say and what they offer."""

from collections.abc import Sequence

from playalong.app.lesson.still_sheet import StillSheet
from playalong.app.listen_back import listen_back
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.practice.phrases import texture_lines, texture_next
from playalong.practice.variations.texture import Texture
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import Button, Buttons
from playalong.screen.pages.texture import TexturePage
from playalong.sound.listening import Which

#: How long words stay at least before something else is played, and how fast they are read from two
#: metres, in no hurry (common practice: three to four words a second are read in silence).
READ_S, WORDS_A_SECOND = 4.0, 3.0

#: How long the texture of freely played variations is shown, unless a key goes on before.
TEXTURE_S = 15.0


def reading_s(words: Sequence[str]) -> float:
    """How long it takes to read ``words``."""
    return max(READ_S, len(" ".join(words).split()) / WORDS_A_SECOND)


def stand_still(
    context: RunContext, sheet: StillSheet, offered: Sequence[Button], *, until_s: float
) -> Outcome | None:
    """The sheet until its time is over or something is asked for; None goes on.

    What was played, and what was written, can be heard as often as wanted; then nobody is hurried
    on.
    """
    page = sheet.page
    page.buttons = Buttons(offered)
    outcome = hold(context, page, sheet.at_s, until_s=until_s)
    while outcome is Outcome.LISTEN and sheet.playback is not None:
        listen_back(context, page, sheet.playback, which=Which.YOURS, then=Which.PATTERN)
        outcome = hold(context, page, sheet.at_s)
    context.output.clear()
    return None if outcome is Outcome.AGAIN else outcome


def show_texture(context: RunContext, title: str, texture: Texture) -> Outcome | None:
    """After free playing: which variation was played in which bar."""
    rows = [*texture.used.items(), ("as written", texture.plain)]
    bars = 1 + max((bar for _, played in rows for bar in played), default=0)
    page = TexturePage(
        context.theme,
        title,
        rows,
        bars=bars,
        words=texture_lines(texture),
        next=texture_next(texture),
    )
    outcome = hold(context, page, 0.0, until_s=context.clock.now() + TEXTURE_S)
    return None if outcome is Outcome.AGAIN else outcome
