"""The grade of a take as one row of a table, for a spreadsheet: the figures of its JSON, flat."""

import csv
from collections.abc import Mapping, Sequence
from io import StringIO
from typing import Any

#: The columns that stand first: of the take, and of the grade as a whole.
FIRST = ("take", "pattern", "pattern_id", "tempo_bpm", "bars")

#: Whose figures have columns of their own, as ``counts.missed``.
GROUPS = ("score", "counts", "timing", "steadiness", "unison")

#: The columns that stand last.
LAST = ("advice",)

#: With these a cell would be a formula; a spreadsheet takes what begins with ' for text.
_FORMULA = tuple("=+-@")


def columns(grade: Mapping[str, Any]) -> list[str]:
    """The names of the columns, by the grade of any take."""
    figures = [
        f"{group}.{name}"
        for group in GROUPS
        for name, value in grade[group].items()
        if not isinstance(value, dict | list)
    ]
    return [*FIRST, *figures, *LAST]


def line_of(cells: Sequence[Any]) -> str:
    """Cells as one line of comma-separated values."""
    text = StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue()


def row(grade: Mapping[str, Any], names: Sequence[str]) -> str:
    """The line of one take under the columns ``names``; an empty cell for what cannot be had."""
    return line_of([_cell(grade, name) for name in names])


def cell(value: Any) -> Any:
    """A value as a spreadsheet takes it for what it is: no words are a formula."""
    if isinstance(value, str) and value.startswith(_FORMULA):
        return f"'{value}"
    return value


def _cell(grade: Mapping[str, Any], column: str) -> Any:
    group, _, name = column.rpartition(".")
    return cell((grade[group] if group else grade).get(name))
