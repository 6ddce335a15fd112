"""The pages on which patterns are written, filled as when much is to be told."""

from dataclasses import replace
from fractions import Fraction

from playalong.pattern.editing.changes import new_pattern
from playalong.pattern.editing.editor import Editor
from playalong.pattern.reader import read
from playalong.records.pattern_files import library
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Buttons
from playalong.screen.edit_pages.edit import EditPage
from playalong.screen.edit_pages.opened import GRADE, OPENED, OpenedPage
from playalong.screen.edit_pages.write import WritePage

#: All that can stand in a grid: ten rows, hands, graces, open, what may be left out.
FULL = """\
title = "Everything at Once"
about = "All that can be written."
meter = "4/4"
tempo = 84
[[bar]]
crash        = "X--- ---- ---- ----"
hi-hat       = "-xox (x)-x- xxx xxO"
ride         = "---- ---- ---- --x"
high-tom     = "---x ---- ---- ---"
mid-tom      = "---- ---x ---- ---"
snare        = "--g- X-d- f-- gFg?"
floor-tom    = "---- ---- --x ---"
kick         = "x--x ---x x-x ---"
hi-hat-pedal = "---- x--- --- x--"
sticking     = "RRLR R-LR RLR LRL"
[[bar]]
hi-hat = "x x x x"
"""


def edit_new(theme: Theme) -> EditPage:
    return EditPage(theme=theme, editor=Editor(new_pattern(), is_saved=False))


def edit_full(theme: Theme) -> EditPage:
    editor = Editor(read(FULL, "full"))
    editor.go(0, 3, 3)
    return EditPage(
        theme=theme,
        editor=editor,
        now=(0, Fraction(5, 16)),
        is_heard=True,
        can_use_sticks=True,
        notices=("It is saved: everything-at-once.toml",),
    )


def edit_varied(theme: Theme) -> EditPage:
    editor = Editor(library().get("rope-over-the-pulley"))
    editor.next_variation()
    editor.go(0, 0, 0)
    return EditPage(theme=theme, editor=editor, can_use_sticks=True)


def edit_told(theme: Theme) -> EditPage:
    editor = Editor(library().get("odd-socks-drawer"))
    editor.open()
    return EditPage(theme=theme, editor=editor, can_use_sticks=True, by_sticks=True)


def opened(theme: Theme) -> OpenedPage:
    pattern = library().get("late-bus-home")
    return OpenedPage(
        theme=theme,
        title="A Groove from Another Program",
        subtitle="4/4  ·  8 bars",
        pattern=replace(pattern, bars=pattern.bars * 8),
        said=(
            "evening-takes-of-a-long-name-2026.mid: a take of late-bus-home, read as a pattern",
            "1 bar, 8 times the same: written once.",
            "Rolls become one stroke: bars 3, 7.",
            "What the program does not know is left out: 14 notes of a triangle.",
        ),
        notices=("It is kept among your own: a-groove-from-another-program.toml",),
        buttons=Buttons([OPENED[0], GRADE, *OPENED[1:]]),
    )


def opened_full(theme: Theme) -> OpenedPage:
    pattern = read(FULL, "full")
    return OpenedPage(
        theme=theme,
        title=pattern.title,
        subtitle="4/4  ·  2 bars",
        pattern=pattern,
        said=("x.mxl",),
    )


def write(theme: Theme) -> WritePage:
    rows = Rows(
        [
            Choice(name="a new pattern", value="", fixed=True, about="An empty bar of 4/4."),
            Choice(name="open a file", value="", fixed=True, about="Or drop it on the window."),
            Choice(name="Porch Step", value="a draft", fixed=True, about="Not saved."),
            Choice(name="Late Bus Home, my own", value="84 bpm, 4/4", fixed=True),
        ],
        2,
    )
    return WritePage(
        theme=theme,
        title="Write",
        subtitle="a pattern of your own",
        rows=rows,
        notices=('"evening.docx" is of no kind that is opened here: a pattern ends in .toml.',),
    )


PAGES_OF_WRITING = {
    "write": write,
    "edit-new": edit_new,
    "edit-full": edit_full,
    "edit-told": edit_told,
    "edit-varied": edit_varied,
    "opened": opened,
    "opened-full": opened_full,
}
