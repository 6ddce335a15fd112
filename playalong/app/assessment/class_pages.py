"""A class as tables: in the terminal, and as one page of HTML."""

from collections.abc import Sequence

from playalong.app.assessment.classes import ClassResult, CommonFault, Group, missing
from playalong.app.assessment.reporting import when
from playalong.report.html import ClassPage, Table
from playalong.support.text import counted

#: So many common faults, and so many of those who moved, are told.
COMMON, MOVED = 3, 5

#: A name in the terminal is cut to so many characters.
_WIDE = 24


def common_line(one: CommonFault, items: Sequence[str]) -> str:
    """A common fault in words: how many have it, in which item, where, and what one of them did."""
    fault = one.fault
    title = items[fault.item] if fault.item < len(items) else ""
    where = f"item {fault.item + 1}, {title}"
    return f"{one.players} of {one.of} in {where}{_place(one)}. For instance: {fault.text}"


def _place(one: CommonFault) -> str:
    """Where in the bar, empty where the words say it or where it is everywhere."""
    spots = [f"{count}" if bar == 1 else f"{count} of bar {bar}" for bar, count in one.fault.places]
    if not spots or all(count in one.fault.text for _, count in one.fault.places):
        return ""
    return f", on {', '.join(spots[:3])}"


def terminal_lines(group: Group, names: Sequence[str]) -> list[str]:
    """The group as a table of text."""
    titles = [item.title for item in group.latest[0].items]
    lines = [f"{group.title}: {counted(len(group.latest), 'player')}"]
    heads = "  ".join(f"{f'item {number}':>14}" for number in range(1, len(titles) + 1))
    lines.append(f"  {'player':<{_WIDE}}  {heads}  {'score':>5}  reached")
    for one in group.latest:
        cells = "  ".join(f"{_cell(one, number):>14}" for number in range(len(titles)))
        flag = "" if not one.wrong else "  does not fit"
        player = one.player if len(one.player) <= _WIDE else f"{one.player[: _WIDE - 3]}..."
        lines.append(
            f"  {player:<{_WIDE}}  {cells}  {one.score:5.1f}  {one.reached} of {len(titles)}{flag}"
        )
    common = group.common()[:COMMON]
    if common:
        lines.append("What most can work on:")
        lines += [f"  {common_line(one, titles)}" for one in common]
    moved = group.moved()[:MOVED]
    if moved:
        lines.append("Who moved most since the last time:")
        lines += [f"  {who}: {then:.1f} then, {now:.1f} now" for who, then, now in moved]
    if names:
        gone = missing(names, group)
        lines.append(f"Missing: {', '.join(gone) if gone else 'nobody'}")
    return lines


def _cell(one: ClassResult, number: int) -> str:
    item = one.items[number]
    score = "-" if item.score is None else f"{item.score:.0f}"
    mark = item.told_mark
    shown = mark if len(mark) <= 9 else f"{mark[:8]}…"
    return f"{score} {shown}".strip()


def class_pages(
    found: Sequence[Group], names: Sequence[str], warnings: Sequence[str], *, shows_names: bool
) -> ClassPage:
    """The page of a class: a table for each assessment."""
    tables: list[Table] = []
    common: list[str] = []
    facts: list[tuple[str, str]] = []
    for group in found:
        titles = [item.title for item in group.latest[0].items]
        facts.append((group.title, counted(len(group.latest), "player")))
        lines = [common_line(one, titles) for one in group.common()[:COMMON]]
        common += lines if len(found) == 1 else [f"{group.title}: {line}" for line in lines]
        tables += _tables(group, titles)
        if names and shows_names:
            gone = missing(names, group)
            facts.append(("missing", ", ".join(gone) if gone else "nobody"))
        elif names:
            facts.append(("missing", f"{len(missing(names, group))} of {len(names)}"))
    return ClassPage(
        title=found[0].title if len(found) == 1 else "Class",
        facts=facts,
        common=common,
        tables=tables,
        warnings=warnings,
    )


def _tables(group: Group, titles: Sequence[str]) -> list[Table]:
    rows, off = [], set()
    for at, one in enumerate(group.latest):
        cells = [one.player]
        for number, item in enumerate(one.items):
            score = "-" if item.score is None else f"{item.score:.0f}"
            own = " (teacher)" if item.own_mark else ""
            cells.append(f"{score} {item.told_mark}{own}".strip())
            if not item.is_reached:
                off.add((at, number + 1))
        cells += [f"{one.score:.1f}", f"{one.reached} of {len(titles)}", when(one.ended)]
        cells.append("fits" if not one.wrong else "does not fit")
        if one.wrong:
            off.add((at, len(cells) - 1))
        rows.append(cells)
    heads = ["player", *(f"{number}. {title}" for number, title in enumerate(titles, 1))]
    heads += ["score", "reached", "ended", "verified"]
    tables = [Table(title=group.title, heads=heads, rows=rows, off=frozenset(off))]
    moved = group.moved()[:MOVED]
    if moved:
        tables.append(
            Table(
                title="Who moved most since the last time",
                heads=("player", "then", "now"),
                rows=[(who, f"{then:.1f}", f"{now:.1f}") for who, then, now in moved],
            )
        )
    return tables
