"""What the pages of a lesson offer: by keys, by mouse, and from the pads.

Strokes work a page only while nothing is played. So whoever wants something while a run goes on
leaves off: what stands still then shows the pads.
"""

from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import HEAR, LEAVE, SKIP, Button

GO_ON = Button((Key.ENTER,), "Enter", "go on", outcome=Outcome.AGAIN)
PLAY_NOW = Button((Key.ENTER,), "Enter", "play it now", outcome=Outcome.AGAIN)
SHOW_PLAN = Button(("p", "P"), "P", "the plan", outcome=Outcome.PLAN)
EASIER = Button(("e", "E"), "E", "easier", outcome=Outcome.EASIER)
LATER = Button(("t", "T"), "T", "leave it for today", outcome=Outcome.LATER)

#: As played, and then as written: one call from the pads is enough for both.
HEAR_BOTH = Button(("h", "H", "l", "L"), "H", "hear both", outcome=Outcome.LISTEN)

#: While the program plays it first.
WHILE_HEARD = (PLAY_NOW, SHOW_PLAN, EASIER, SKIP, LEAVE)

#: While the sheet stands still after a repetition; where that was broken off there is none to hear.
AT_REST = (GO_ON, HEAR_BOTH, SHOW_PLAN, EASIER, SKIP, LEAVE)
BROKEN_OFF = (GO_ON, HEAR, SHOW_PLAN, EASIER, SKIP, LEAVE)

#: The same where a step has taken long: it may be left for today.
TAKES_LONG = (GO_ON, HEAR_BOTH, SHOW_PLAN, EASIER, LATER, LEAVE)

#: Where no stroke arrived: the next one begins anew.
NO_STROKE = (HEAR, SHOW_PLAN, EASIER, SKIP, LEAVE)

#: While the kit is away.
KIT_GONE = (LEAVE,)
