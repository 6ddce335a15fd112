"""The teacher's word in the window: a row for everything that can be said of a result.

Enter on a row asks for the words; what is typed is kept at once, beside the result. A mark in place
of the computed one asks for its reason too.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from playalong.app.assessment.verifying import Verified, peek, verify
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.practice.assessment.remarks import Remark
from playalong.records.assessments.remark_files import read_remark, write_remark
from playalong.records.assessments.results import digest
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import Buttons
from playalong.screen.home_pages.settings import CHOOSING, SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.support.errors import UserError

#: Of names and titles of strangers so many characters are shown.
_SHOWN = 40

#: How a date of a result is told: its day.
_DAY = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """What can be said: how it stands, what is asked, and what becomes of the words."""

    name: str
    value: str
    question: str
    said: Callable[[Remark, str], Remark]
    wants_reason: bool = False


def shortened(name: str) -> str:
    """A name that may be of any length, as it stands on a page."""
    return name if len(name) <= _SHOWN else f"{name[: _SHOWN - 1]}…"


def choose_result(context: RunContext, folder: Path) -> None:
    """Choose one of the results in ``folder``, the latest first, and say something of it."""
    found = []
    for path in folder.glob("*.zip"):
        summary = peek(path)
        if summary is not None:
            player, _, ended, title = summary
            found.append((ended, path, shortened(player), shortened(title)))
    found.sort(reverse=True)
    rows = Rows(
        [
            Choice(name=player, value=f"{title}, {ended[:_DAY]}", fixed=True)
            for ended, _, player, title in found
        ]
    )
    while found:
        page = _page(context, title="Results", subtitle="of which one?", rows=rows)
        if hold(context, page, 0.0) is not Outcome.START:
            return
        remark_in_window(context, found[rows.chosen][1])


def remark_in_window(context: RunContext, path: Path) -> None:
    """Say something of the result at ``path``; UserError where that cannot be read."""
    found = verify(path)
    remark, other = read_remark(path, len(found.assessment.items))
    if other:
        raise UserError(f"{other} Move it away first.")
    chosen = 0
    while True:
        offered = _rows(found, remark)
        choices = [Choice(name=row.name, value=row.value, fixed=True) for row in offered]
        rows = Rows(choices, chosen)
        wrong = [] if found.fits else ["This result does not fit: playalong verify says why."]
        page = _page(
            context,
            title=f"Your word on {shortened(found.player)}",
            subtitle=found.assessment.title,
            rows=rows,
            notices=wrong,
        )
        if hold(context, page, 0.0) is not Outcome.START:
            return
        chosen = rows.chosen
        said = _ask(context, offered[chosen], remark)
        if said is not None and said != remark:
            remark = replace(said, result=digest(path.read_bytes()))
            write_remark(path, remark)


def _page(
    context: RunContext,
    *,
    title: str,
    subtitle: str,
    rows: Rows,
    notices: Sequence[str] = (),
) -> SettingsPage:
    return SettingsPage(
        theme=context.theme,
        title=title,
        subtitle=subtitle,
        rows=rows,
        notices=notices,
        buttons=Buttons(CHOOSING),
    )


def _ask(context: RunContext, row: _Row, remark: Remark) -> Remark | None:
    words = _typed(context, row.name, row.question)
    if not words:
        return None
    if row.wants_reason:
        reason = _typed(context, row.name, "Why? The computed mark stays beside yours.")
        return row.said(remark, f"{words}\0{reason}") if reason else None
    return row.said(remark, words)


def _typed(context: RunContext, title: str, question: str) -> str:
    page = TypedPage(theme=context.theme, title=title, prompt=question, longest=400)
    while hold(context, page, 0.0) is Outcome.ACCEPT:
        words = page.typed.strip()
        if words:
            return words
        page.notice, page.is_off = "Nothing is written yet.", True
    return ""


def _rows(found: Verified, remark: Remark) -> list[_Row]:
    assessment = found.assessment
    rows = _of(assessment.by_eye, remark, item=None, name="on the whole")
    for number, item in enumerate(assessment.items):
        name = f"{number + 1}. {item.title}"
        own, marks = remark.of(number), found.items[number]
        computed = marks.mark or "no mark"
        value = f"{own.mark}, by you; computed: {computed}" if own.mark else computed
        rows.append(
            _Row(
                name=f"{name}: mark",
                value=value,
                question="Which mark do you give?",
                said=partial(_with_mark, number),
                wants_reason=True,
            )
        )
        rows += _of(item.by_eye, remark, item=number, name=name)
    return rows


def _with_mark(item: int, remark: Remark, words: str) -> Remark:
    mark, _, because = words.partition("\0")
    return remark.with_mark(mark, because, item)


def _with_eye(what: str, remark: Remark, words: str, *, item: int | None) -> Remark:
    return remark.with_eye(what, words, item)


def _of(criteria: Sequence[str], remark: Remark, *, item: int | None, name: str) -> list[_Row]:
    """What is judged by eye, and comments: on the whole, or of an item."""
    own = remark if item is None else remark.of(item)
    rows = [
        _Row(
            name=f"{name}: {what}",
            value=own.by_eye.get(what, "not judged yet"),
            question=f"What do you say of {what}?",
            said=partial(_with_eye, what, item=item),
        )
        for what in dict.fromkeys((*criteria, *own.by_eye))
    ]
    comments = own.comments
    latest = comments[-1] if comments else "none yet"
    rows.append(
        _Row(
            name=f"{name}: comment",
            value=latest,
            question="What do you want to say?",
            said=lambda said, words: said.with_comment(words, item),
        )
    )
    return rows
