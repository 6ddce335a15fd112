"""Pages of HTML: everything that is said in them is escaped, nothing in them asks for a network.

The style stands in the page; there is no script. Plots come as ``Markup``: they are this program's
own. Writing from right to left keeps its direction (``dir="auto"``), and a long name is broken.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from playalong.report.plots import Plot

#: (what, in words).
Rows = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRow:
    """What was asked, the figure, and the mark."""

    requirement: str
    figure: str
    mark: str
    is_reached: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One item, or one run: what it came to, what to work on, plots, and the sheet.

    ``mark`` is what was computed, ``own_mark`` the teacher's beside it, ``because`` of a reason;
    ``attempts`` tell all runs; ``comments`` are the teacher's; ``eye`` (what, mark) by eye.
    """

    title: str
    how: str
    score: str
    mark: str = ""
    is_reached: bool = True
    own_mark: str = ""
    because: str = ""
    advice: str = ""
    also: Sequence[str] = ()
    marks: Sequence[MarkRow] = ()
    attempts: Rows = ()
    figures: Rows = ()
    eye: Rows = ()
    comments: Sequence[str] = ()
    changes: Sequence[str] = ()
    plots: Sequence[Plot] = ()
    sheet: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A report: of a result, of a run, or of a player's own weeks.

    ``facts`` stand under the title, ``warnings`` in a box above all: what does not fit.
    ``homework`` are (pattern and tempo, why), ``homework_file`` the same as a file to be copied.
    """

    title: str
    player: str
    facts: Rows = ()
    warnings: Sequence[str] = ()
    notices: Sequence[str] = ()
    sections: Sequence[Section] = ()
    comments: Sequence[str] = ()
    eye: Rows = ()
    plots: Sequence[Plot] = ()
    tables: Sequence["Table"] = ()
    homework: Rows = ()
    homework_file: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table: heads, rows of cells; ``off`` are the (row, column) of cells that stand out."""

    title: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    off: frozenset[tuple[int, int]] = field(default_factory=frozenset)
    about: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassPage:
    """A class: its tables, what most get wrong (what, an example), what single results told."""

    title: str
    facts: Rows = ()
    common: Rows = ()
    tables: Sequence[Table] = ()
    plots: Sequence[Plot] = ()
    warnings: Sequence[str] = ()
    caution: str = ""


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("playalong.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["drawn"] = Markup
    return environment


def report_page(report: Report) -> str:
    """The report as one file of HTML."""
    return _environment().get_template("report.html").render(report=report)


def class_page(page: ClassPage) -> str:
    """The class as one file of HTML."""
    return _environment().get_template("class.html").render(page=page)
