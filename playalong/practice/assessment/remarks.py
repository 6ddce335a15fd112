"""The teacher's word on a result: marks by eye, comments, and marks in place of the computed ones.

It stands in a file of its own beside the result, and changes nothing in it:

    result = "3f9a..."             # SHA-256 of the result's file
    comments = ["Much calmer than last time."]

    [by-eye]
    posture = "upright"

    [[item]]
    number = 2                     # 1 is the first
    comments = ["Listen to the ghost note on the e of 1."]
    mark = "reached"               # in place of the computed one; only with a reason
    because = "the hi-hat stand slipped in the last bars"

    [item.by-eye]
    sticking = "as written"
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from playalong.support.toml.places import Path
from playalong.support.toml.reader import (
    TEXT,
    Kind,
    ProblemsError,
    Table,
    TableReader,
    between,
    written,
)


class RemarkError(ProblemsError):
    """A file of remarks that cannot be read: every problem with its place, a line each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemRemark:
    """What is said of one item; ``mark`` is in place of the computed one, for a reason."""

    comments: tuple[str, ...] = ()
    by_eye: Mapping[str, str] = field(default_factory=dict)
    mark: str = ""
    because: str = ""

    def is_reached(self, computed: bool, not_yet: str) -> bool:
        """Whether the item is reached: by this mark, or as ``computed`` where none is given."""
        return self.mark != not_yet if self.mark else computed


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """What is said of a result, of which ``result`` is the digest; ``items`` by number, from 0."""

    result: str = ""
    comments: tuple[str, ...] = ()
    by_eye: Mapping[str, str] = field(default_factory=dict)
    items: Mapping[int, ItemRemark] = field(default_factory=dict)

    def of(self, item: int) -> ItemRemark:
        """What is said of an item."""
        return self.items.get(item, ItemRemark())

    def with_comment(self, words: str, item: int | None) -> "Remark":
        """One comment more, on an item or on the whole."""
        if item is None:
            return replace(self, comments=(*self.comments, words))
        own = self.of(item)
        return self._with(item, replace(own, comments=(*own.comments, words)))

    def with_eye(self, what: str, mark: str, item: int | None) -> "Remark":
        """A mark by eye, in place of one before."""
        if item is None:
            return replace(self, by_eye={**self.by_eye, what: mark})
        own = self.of(item)
        return self._with(item, replace(own, by_eye={**own.by_eye, what: mark}))

    def with_mark(self, mark: str, because: str, item: int) -> "Remark":
        """A mark in place of the computed one."""
        return self._with(item, replace(self.of(item), mark=mark, because=because))

    def _with(self, item: int, remark: ItemRemark) -> "Remark":
        return replace(self, items={**self.items, item: remark})

    def as_plain(self) -> dict[str, Any]:
        """As it stands in the file."""
        plain: dict[str, Any] = {"result": self.result}
        if self.comments:
            plain["comments"] = list(self.comments)
        if self.by_eye:
            plain["by-eye"] = dict(self.by_eye)
        items = []
        for number, one in sorted(self.items.items()):
            own: dict[str, Any] = {"number": number + 1}
            if one.comments:
                own["comments"] = list(one.comments)
            if one.mark:
                own |= {"mark": one.mark, "because": one.because}
            if one.by_eye:
                own["by-eye"] = dict(one.by_eye)
            items.append(own)
        if items:
            plain["item"] = items
        return plain


def read(text: str, name: str, items: int) -> Remark:
    """The remark in ``text`` on a result of so many items; RemarkError tells all that is wrong."""
    tables = written(text, name, RemarkError)
    reader = _Reader(tables)
    found = reader.remark(tables.tables, items)
    if reader.problems:
        raise RemarkError(name, reader.problems)
    return found


class _Reader(TableReader):
    """Reads the tables of a remark."""

    def remark(self, tables: Table, items: int) -> Remark:
        self.known(tables, (), ("result", "comments", "by-eye", "item"))
        found = Remark(
            result=self.get(tables, (), "result", kind=TEXT) or "",
            comments=tuple(self.get(tables, (), "comments", kind=_WORDS, default=[])),
            by_eye=self._eye(tables, ()),
        )
        for place, table in enumerate(self.tables(tables, (), "item")):
            path: Path = ("item", place)
            self.known(table, path, ("number", "comments", "by-eye", "mark", "because"))
            number = self.get(table, path, "number", kind=between(1, items))
            mark = self.get(table, path, "mark", kind=TEXT, default="")
            because = self.get(table, path, "because", kind=TEXT, default="")
            if mark and not because:
                self.wrong_key(path, 'a mark in place of the computed one wants a "because"')
            own = ItemRemark(
                comments=tuple(self.get(table, path, "comments", kind=_WORDS, default=[])),
                by_eye=self._eye(table, path),
                mark=mark,
                because=because,
            )
            if number is not None:
                found = replace(found, items={**found.items, number - 1: own})
        return found

    def _eye(self, table: Table, path: Path) -> dict[str, str]:
        own = table.get("by-eye", {})
        if not isinstance(own, dict):
            self.wrong_key(
                (*path, "by-eye"), 'write what, and your mark, as in posture = "upright"'
            )
            return {}
        return {
            str(what): self.get(own, (*path, "by-eye"), what, kind=TEXT, default="") for what in own
        }


_WORDS = Kind(
    types=(list,),
    about='a list of sentences, as in ["..."]',
    example='{key} = ["..."]',
    fits=lambda value: all(isinstance(one, str) and one.strip() for one in value),
)
