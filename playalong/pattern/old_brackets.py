"""Files of the old kind, in which brackets made a stroke optional: rewritten as it is written now.

A stroke in brackets is a ghost note today, and a question mark makes one optional. Whether a file
is of the old kind shows in itself: it has other strokes than "(x)" in brackets, or writes its ghost
notes as "g" and so did not mean another by its brackets. Of "(x)" alone nobody can say.
"""

import re

from playalong.pattern.model import Pattern
from playalong.pattern.notation import OPTIONAL, SYMBOLS
from playalong.pattern.reader import read
from playalong.pattern.voices import BY_NAME

#: A line of a voice: what stands before its symbols, and the symbols.
_LINE = re.compile(
    rf"""^([ \t]*["']?(?:{"|".join(map(re.escape, BY_NAME))})["']?[ \t]*=[ \t]*["'])([^"'\n]*)""",
    re.MULTILINE,
)
_BRACKETS = re.compile(rf"\(([{''.join(SYMBOLS)}])\)")


def is_old(text: str) -> bool:
    """Whether the brackets in the text of a pattern file are of the old kind, for certain."""
    lines = [found[2] for found in _LINE.finditer(text)]
    held = {mark for line in lines for mark in _BRACKETS.findall(line)}
    return bool(held - {"x"}) or bool(held and any("g" in line for line in lines))


def lines_with_brackets(text: str) -> list[int]:
    """The numbers of the lines of voices that have strokes in brackets; 1 is the first."""
    return [
        text.count("\n", 0, found.start()) + 1
        for found in _LINE.finditer(text)
        if _BRACKETS.search(found[2])
    ]


def rewritten(text: str) -> str:
    """The text with every stroke in brackets written as an optional one; all else as it was.

    What stood below each other still does, up to the end of a line.
    """
    return _LINE.sub(lambda found: found[1] + _line(found[2]), text)


def read_stored(text: str, name: str) -> Pattern:
    """The pattern in a text that this program wrote: it has never written a ghost note in brackets,
    so any are of the old kind. PatternError as of ``reader.read``.
    """
    return read(rewritten(text), name)


def _line(symbols: str) -> str:
    groups = re.split(r"( +)", symbols)
    new = [_BRACKETS.sub(rf"\1{OPTIONAL}", group) for group in groups]
    wide = [after.ljust(len(before)) for before, after in zip(groups, new, strict=True)]
    return "".join(wide).rstrip()
