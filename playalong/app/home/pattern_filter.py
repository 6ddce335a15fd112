"""Which patterns are listed: rows of what is wanted, changed by pads, keys or mouse."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from playalong.app.home.pattern_list import PatternList
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.pattern.library.search import Search, Span, things, usual_meters
from playalong.pattern.model import PatternKind
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import CHANGING, Choice, Rows
from playalong.screen.base.widgets import BACK_OUT, Button, Buttons
from playalong.screen.home_pages.settings import SettingsPage

SHOW = Button((Key.ENTER,), "Enter", "show them", outcome=Outcome.START)

#: What can be wanted: the field of a search, what it is called, and a word about it.
_ROWS = (
    ("kind", "kind", "Grooves, fills, exercises and rudiments."),
    ("trains", "trains", "What they train; only what some of those left do."),
    ("difficulty", "difficulty", "How hard: 0 is nothing, 100 more than anybody plays."),
    ("tempo_bpm", "tempo", "The tempo that a pattern is written for, in beats per minute."),
    ("meter", "meter", "The meter of one of its bars."),
)

#: Difficulties and tempi in steps: where each begins and ends, and in words.
_DIFFICULTIES: Sequence[tuple[Span, str]] = (
    ((0.0, 25.0), "up to 25"),
    ((25.0, 35.0), "25 to 35"),
    ((35.0, 45.0), "35 to 45"),
    ((45.0, 55.0), "45 to 55"),
    ((55.0, 100.0), "over 55"),
)
_TEMPI: Sequence[tuple[Span, str]] = (
    ((0.0, 60.0), "up to 60"),
    ((60.0, 80.0), "60 to 80"),
    ((80.0, 100.0), "80 to 100"),
    ((100.0, 130.0), "100 to 130"),
    ((130.0, 400.0), "over 130"),
)
_SPANS = dict((*_DIFFICULTIES, *_TEMPI))

_ANY = "any"


def chosen(context: RunContext, listed: PatternList, search: Search) -> Search:
    """Let the player say which patterns are wanted, beginning with ``search``."""
    at = 0
    while True:
        count = len(listed.found(search).patterns)
        page = SettingsPage(
            theme=context.theme,
            title="Which patterns?",
            subtitle=f"{count} of {len(listed.patterns)}",
            rows=Rows([_choice(search, row) for row in _ROWS], at),
            buttons=Buttons((SHOW, *CHANGING, BACK_OUT)),
            level=context.level(),
        )
        outcome = hold(context, page, 0.0)
        at = page.rows.chosen
        if outcome not in (Outcome.LESS, Outcome.MORE):
            return search
        search = stepped(listed, search, _ROWS[at][0], by=1 if outcome is Outcome.MORE else -1)


def stepped(listed: PatternList, search: Search, field: str, *, by: int) -> Search:
    """The search with the next value of ``field`` that leaves some pattern, or the one before."""
    every = listed.patterns.values()
    values: dict[str, Sequence[Any]] = {
        "kind": list(PatternKind),
        "trains": [(thing,) for thing in things(every)],
        "difficulty": [span for span, _ in _DIFFICULTIES],
        "tempo_bpm": [span for span, _ in _TEMPI],
        "meter": usual_meters(every),
    }
    unsaid = getattr(Search(), field)
    left = [
        value
        for value in (unsaid, *values[field])
        if listed.found(replace(search, **{field: value})).patterns
    ]
    now = getattr(search, field)
    place = left.index(now) if now in left else 0
    return replace(search, **{field: left[(place + by) % len(left)]})


def wanted(search: Search) -> str:
    """What is wanted, in a few words; "" where all are."""
    parts = [
        f"{search.kind}s" if search.kind else "",
        *search.trains,
        f"difficulty {_SPANS[search.difficulty]}" if search.difficulty else "",
        f"{_SPANS[search.tempo_bpm]} bpm" if search.tempo_bpm else "",
        search.meter or "",
    ]
    return ", ".join(filter(None, parts))


def _choice(search: Search, row: tuple[str, str, str]) -> Choice:
    field, name, about = row
    value = getattr(search, field)
    if not value:
        shown = _ANY
    elif field == "trains":
        shown = ", ".join(value)
    else:
        shown = _SPANS[value] if field in ("difficulty", "tempo_bpm") else str(value)
    return Choice(name=name, value=shown, about=about)
