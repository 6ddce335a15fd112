"""Reports: out of a verified result, a take, or what a player has practised."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from playalong.app.assessment.book import RunState
from playalong.app.assessment.verifying import RunCheck, Verified, peek, verify
from playalong.app.grade.expected import own_pattern
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.memory import Memory
from playalong.grading.text import figures
from playalong.pattern.model import Pattern
from playalong.practice.assessment import phrases
from playalong.practice.assessment.homework import Played, Proposal, as_text, proposals
from playalong.practice.assessment.measures import MEASURES
from playalong.practice.assessment.remarks import ItemRemark, Remark
from playalong.records.assessments.remark_files import read_remark
from playalong.records.pattern_files import library
from playalong.records.store import runs
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Take, from_bytes
from playalong.report.html import MarkRow, Report, Section
from playalong.report.plots import plots_of
from playalong.report.sheet import sheet
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.text import counted

#: How many sentences stand under the first.
ALSO = 2

#: Figures whose change is told, with how large one must be to be told, in their unit.
_CHANGES = {"score": 1.0, "missed": 1.0, "spread": 1.0, "ghost-contrast": 1.0, "unisons": 1.0}


def known_patterns() -> dict[str, Pattern]:
    """The patterns that come with the program."""
    known = library()
    return {name: known.get(name) for name in known.names()}


def result_report(path: Path, with_name: bool = True) -> Report:
    """The report of the result in the file at ``path``, verified."""
    found = verify(path)
    remark, other = read_remark(path, len(found.assessment.items))
    before = previous(found)
    sections = tuple(
        _section(found, number, remark=remark.of(number), before=before)
        for number in range(len(found.assessment.items))
    )
    homework = proposals(played(found), known_patterns())
    return Report(
        title=found.assessment.title,
        player=found.player if with_name else "",
        facts=_facts(found, remark),
        warnings=[*found.wrong, *filter(None, [other])],
        notices=_notices(found, before),
        sections=sections,
        comments=remark.comments,
        eye=_eye(found.assessment.by_eye, remark.by_eye),
        homework=homework_rows(homework),
        homework_file=as_text(homework) if homework else "",
        caution=CAUTION,
    )


def when(written: Any) -> str:
    """A date as it is kept, to be read: "2026-11-27 17:05"; as it is where it is none."""
    try:
        return f"{datetime.fromisoformat(str(written)):%Y-%m-%d %H:%M}"
    except ValueError:
        return str(written)


def _from_to(began: Any, ended: Any) -> str:
    """From when to when: the day once, where it is one."""
    first, last = when(began), when(ended)
    day, _, time = last.partition(" ")
    return f"{first} to {time if first.startswith(day) else last}"


def played(found: Verified) -> list[Played]:
    """What was played in a result, as homework wants it: all attempts that count."""
    return [
        Played(
            pattern=found.assessment.pattern_of(item),
            tempo_bpm=item.tempo_bpm,
            findings=check.now.get("findings", ()),
        )
        for number, item in enumerate(found.assessment.items)
        for check in found.counted(number)
    ]


def homework_rows(found: Sequence[Proposal]) -> list[tuple[str, str]]:
    """Proposals in words."""
    rows = []
    for one in found:
        how = f"{one.title}, {one.tempo_bpm:g} bpm"
        if one.gap is not None:
            how += f", {one.gap[0]} bars with the click and {one.gap[1]} without"
        rows.append((how, one.why))
    return rows


def previous(found: Verified) -> Verified | None:
    """The result before this one, of the same player and assessment, in the same folder."""
    candidates = []
    of_whom, ended = (found.player, found.digest), str(found.plain["ended"])
    for path in sorted(found.path.parent.glob("*.zip")):
        if path == found.path:
            continue
        other = peek(path)
        if other is not None and other[:2] == of_whom and other[2] < ended:
            candidates.append((other[2], path))
    for _, path in sorted(candidates, reverse=True):
        try:
            return verify(path)
        except UserError:
            continue
    return None


def _facts(found: Verified, remark: Remark) -> list[tuple[str, str]]:
    plain = found.plain
    reached = (
        f"{sum(marks.is_reached for marks in found.items)} of {counted(len(found.items), 'item')}"
    )
    if any(one.mark for one in remark.items.values()):
        own = sum(
            remark.of(number).is_reached(marks.is_reached, found.assessment.not_yet)
            for number, marks in enumerate(found.items)
        )
        reached += f", {own} with your teacher's marks"
    latency = found.profile.latency
    late = f"{latency.ms:.0f} ms taken off, {latency.how}" if latency else "not measured"
    simulated = plain["simulated"]
    facts = [
        ("played", _from_to(plain["began"], plain["ended"])),
        ("reached", reached),
        ("kit", f"a simulated player, {simulated['skill']}" if simulated else found.profile.kit),
    ]
    if not simulated:
        facts.append(("latency", late))
    if not found.assessment.is_homework:
        facts.append(("time left", phrases.clock(plain["left_s"])))
    facts.append(("graded by", f"playalong {plain['program']}"))
    return facts


def _notices(found: Verified, before: Verified | None) -> list[str]:
    notices = []
    for one in found.plain["interruptions"]:
        what = "the kit was lost" if one["loss"] == "kit" else "the program ended"
        left = phrases.clock(one["left_s"])
        notices.append(f"Interrupted at item {one['item'] + 1}: {what}, with {left} left.")
    if found.plain["pauses"]:
        notices.append(f"The clock was stopped {found.plain['pauses']} times, as the file allows.")
    if found.version:
        notices.append(
            f"Graded by version {found.version} of the program; where this one hears it "
            "otherwise, its figure stands behind."
        )
    if found.plain["left_out"]:
        more = counted(found.plain["left_out"], "more run")
        notices.append(
            f"{more} that did not count are not in the file, which has room for no more."
        )
    if len({check.run.calibration for check in found.runs}) > 1:
        notices.append("The calibration of the kit became another one in the course of it.")
    if found.fits:
        notices.append("Verified: the figures belong to the hits in the file.")
    if before is not None:
        notices.append(f"Compared with the result of {when(before.plain['ended'])}.")
    return notices


def _section(
    found: Verified, number: int, remark: ItemRemark, *, before: Verified | None
) -> Section:
    item, marks = found.assessment.items[number], found.items[number]
    counted = found.counted(number)
    best = max(counted, key=_score, default=None)
    rows = _mark_rows(found, number)
    attempts = [
        _run_row(check, check in counted) for check in found.runs if check.run.item == number
    ]
    shared: dict[str, Any] = {
        "title": item.title,
        "how": phrases.how(found.assessment, item),
        "mark": marks.mark,
        "is_reached": marks.is_reached,
        "own_mark": remark.mark,
        "because": remark.because,
        "marks": rows,
        "attempts": attempts,
        "eye": _eye(item.by_eye, remark.by_eye),
        "comments": remark.comments,
        "changes": _changes(found, number, before),
    }
    if best is None or best.graded is None:
        return Section(score="not played" if best is None else "-", **shared)
    score = "-" if marks.score is None else f"{marks.score:.0f}"
    return Section(score=score, **shared, **_drawn(best.graded, f"item{number + 1}"))


def _drawn(graded: Graded, name: str) -> dict[str, Any]:
    """What is told and drawn of one run."""
    grade = graded.grade
    return {
        "advice": grade.advice,
        "also": [one.text for one in grade.findings[1 : 1 + ALSO]],
        "figures": figures(grade),
        "plots": plots_of(grade, graded.run, name),
        "sheet": sheet(graded.run, name),
    }


def _score(check: RunCheck) -> float:
    return float(check.reported["score"]["total"])


def _run_row(check: RunCheck, counts: bool) -> tuple[str, str]:
    """One of all runs: which it is, and what it came to."""
    _, _, which = check.name.partition(", ")
    ended = "" if check.run.state is RunState.PLAYED else f", {check.run.state.value}"
    return f"{which}{ended}", _scored(check) + (", counts" if counts else "")


def _scored(check: RunCheck) -> str:
    text = f"{_score(check):.0f}"
    if check.version and check.differences and check.now:
        text += f" (by this version {check.now['score']['total']:.0f})"
    return text


def _mark_rows(found: Verified, number: int) -> list[MarkRow]:
    item = found.assessment.items[number]
    by_measure = {one.measure: one for one in item.requirements}
    rows = []
    for mark, now in zip(found.items[number].marks, found.items_now[number].marks, strict=True):
        if mark.criterion in by_measure:
            measure, what = MEASURES[mark.criterion], phrases.limits(by_measure[mark.criterion])
            figure = measure.written(mark.value)
            if found.version and now.value != mark.value:
                figure += f" (by this version {measure.written(now.value)})"
        else:
            what = f"without: {phrases.finding(mark.criterion)}"
            figure = "not found" if mark.value == 0.0 else "found"
        rows.append(
            MarkRow(requirement=what, figure=figure, mark=mark.mark, is_reached=mark.rank > 0)
        )
    return rows


def _eye(criteria: Sequence[str], said: Mapping[str, str]) -> list[tuple[str, str]]:
    return [(what, said.get(what, "not judged yet")) for what in dict.fromkeys((*criteria, *said))]


def _changes(found: Verified, number: int, before: Verified | None) -> list[str]:
    """What is otherwise than the last time, in words."""
    if before is None or not found.counted(number) or not before.counted(number):
        return []
    now, then = found.counted(number)[-1].reported, before.counted(number)[-1].reported
    lines = []
    for name, least in _CHANGES.items():
        measure = MEASURES[name]
        was, is_now = measure.figure(then), measure.figure(now)
        if was is None or is_now is None or abs(is_now - was) < least:
            continue
        better = measure.reaches(is_now, was)
        side = "better" if better else "not as good"
        lines.append(
            f"{measure.label}: {measure.written(was)} then, {measure.written(is_now)} now, {side}"
        )
    gone = _codes(then) - _codes(now)
    come = _codes(now) - _codes(then)
    lines += [f"no longer: {phrases.finding(code)}" for code in sorted(gone)]
    lines += [f"new: {phrases.finding(code)}" for code in sorted(come)]
    return lines


def _codes(grade: Mapping[str, Any]) -> set[str]:
    return {finding["code"] for finding in grade["findings"]} - {"clean"}


def run_report(memory: Memory, number: int) -> Report:
    """The report of a run by its number in the history; UserError where there is none."""
    database = memory.opened()
    try:
        data = runs.take_of(database, number)
    finally:
        database.close()
    if data is None:
        raise UserError(f"There is no run {number}: playalong history --json tells the numbers.")
    return take_report(from_bytes(data, f"run {number}"), f"Run {number}")


def take_report(take: Take, name: str) -> Report:
    """The report of one take, by what it says of itself; UserError where it says no pattern."""
    said = TakeInfo.from_plain(take.info)
    pattern = own_pattern(said)
    if pattern is None:
        raise UserError(
            f"{name} does not say what was played: grade it with playalong grade and its pattern."
        )
    graded = grade_take(pattern, take, Options())
    grade = graded.grade
    bars = counted(grade.bars, "bar")
    section = Section(
        title=pattern.title,
        how=f"{bars} at {grade.tempo_bpm:g} bpm, level {grade.level.value}",
        score=f"{grade.score.total:.0f}",
        **_drawn(graded, "run"),
    )
    one = Played(
        pattern=pattern,
        tempo_bpm=grade.tempo_bpm,
        findings=graded.as_json()["findings"],
    )
    homework = proposals([one], known_patterns())
    return Report(
        title=pattern.title,
        player=said.player
        or (f"a simulated player, {said.simulated.skill}" if said.simulated else ""),
        facts=[("played", said.date), ("kit", said.kit)],
        notices=graded.notices,
        sections=[section],
        homework=homework_rows(homework),
        homework_file=as_text(homework) if homework else "",
        caution=CAUTION,
    )
