"""A class as tables: in the terminal, and as one page of HTML."""

from collections.abc import Sequence

from playalong.app.assessment.classes import ClassResult, CommonFault, Fault, Group, missing
from playalong.app.assessment.reporting import when
from playalong.pattern.voices import BY_NAME
from playalong.practice.assessment.phrases import finding
from playalong.report.html import ClassPage, Table
from playalong.support.text import counted

#: The length of a day as it is written.
_DAY = len("2026-11-27")

#: So many common faults, and so many of those who moved, are told.
COMMON, MOVED = 3, 5

#: So many places of a fault are told.
_PLACES = 3

#: A name in the terminal is cut to so many characters.
_WIDE = 24


def common_fault(one: CommonFault, items: Sequence[str]) -> tuple[str, str]:
    """A common fault in words: how many have it, in which item, what and where; what one was told.

    "5 of 7 in item 1, The groove: a stroke that comes late, kick, on the a of 1."
    """
    fault = one.fault
    title = items[fault.item] if fault.item < len(items) else ""
    what = ", ".join(filter(None, [finding(fault.code), _by(fault), _place(fault)]))
    where = f"{one.players} of {one.of} in item {fault.item + 1}, {title}"
    return f"{where}: {what}.", f"One was told: {fault.text}"


def _by(fault: Fault) -> str:
    """On which drum, or with which limb; empty where it is all of them."""
    return BY_NAME[fault.voice].label if fault.voice in BY_NAME else fault.limb


def _place(fault: Fault) -> str:
    """Where in the bar."""
    longest = max((bar for bar, _ in fault.places), default=1)
    spots = [count if longest == 1 else f"{count} of bar {bar}" for bar, count in fault.places]
    return f"on the {', '.join(spots[:_PLACES])}" if spots else "all over the bar"


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
        lines.append("What comes most often:")
        for fault in common:
            what, description = common_fault(fault, titles)
            lines += [f"  {what}", f"    {description}"]
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
    mark = item.final_mark
    shown = mark if len(mark) <= 9 else f"{mark[:8]}…"
    return f"{score} {shown}".strip()


def class_pages(
    found: Sequence[Group], names: Sequence[str], warnings: Sequence[str], *, shows_names: bool
) -> ClassPage:
    """The page of a class: a table for each assessment."""
    tables: list[Table] = []
    common: list[tuple[str, str]] = []
    facts: list[tuple[str, str]] = []
    for group in found:
        titles = [item.title for item in group.latest[0].items]
        many = str(len(group.latest))
        facts.append(("players", many) if len(found) == 1 else (group.title, f"{many} players"))
        faults = [common_fault(one, titles) for one in group.common()[:COMMON]]
        head = "" if len(found) == 1 else f"{group.title}: "
        common += [(f"{head}{what}", description) for what, description in faults]
        tables += _tables(group, titles, "" if len(found) == 1 else group.title)
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


def _tables(group: Group, titles: Sequence[str], title: str) -> list[Table]:
    rows, off = [], set()
    for at, one in enumerate(group.latest):
        cells = [one.player]
        for number, item in enumerate(one.items):
            score = "-" if item.score is None else f"{item.score:.0f}"
            own = " (teacher)" if item.own_mark else ""
            cells.append(f"{score}\n{item.final_mark}{own}".strip())
            if not item.is_reached:
                off.add((at, number + 1))
        cells += [f"{one.score:.1f}", f"{one.reached} of {len(titles)}", when(one.ended)[:_DAY]]
        cells.append("fits" if not one.wrong else "does not fit")
        if one.wrong:
            off.add((at, len(cells) - 1))
        rows.append(cells)
    heads = ["player", *(f"{number}. {title}" for number, title in enumerate(titles, 1))]
    heads += ["score", "reached", "ended", "verified"]
    tables = [Table(title=title or "Players and marks", heads=heads, rows=rows, off=frozenset(off))]
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
