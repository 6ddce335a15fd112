"""Reports of results and runs: the same figures as everywhere, and nothing that harms."""

import json
import re
from datetime import date
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from playalong.app.assessment import reporting
from playalong.app.assessment.classes import as_csv, groups, read_one
from playalong.app.assessment.reporting import result_report, run_report, take_report
from playalong.app.assessment.verifying import verify
from playalong.app.assessment.weeks import weeks_report
from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.user_folders import UserFolders
from playalong.app.warm_up import saved
from playalong.commands.main import main
from playalong.practice.assessment.remarks import Remark, RemarkError
from playalong.practice.assessment.remarks import read as read_remark_text
from playalong.practice.warm_up.adapting import Knowledge
from playalong.practice.warm_up.diary import Day, Diary
from playalong.records.assessments.remark_files import read_remark, remark_path, write_remark
from playalong.records.assessments.results import digest, read_result
from playalong.records.pattern_files import library
from playalong.records.takes import read as read_take
from playalong.report.html import report_page
from playalong.support.errors import UserError
from tests.helpers.result_changes import CHANGES, forged, result_of
from tests.helpers.simulated_takes import recorded

HOSTILE = ("<script>alert(1)</script>", "ليلى المريمية", "x" * 300, 'a"b&c', "=cmd()")


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("results")
    for seed, who in enumerate(HOSTILE):
        result_of(folder, who, "beginner" if seed % 2 else "intermediate", seed=seed)
    return folder


def result_by(results: Path, who: str) -> Path:
    return next(path for path in results.glob("*.zip") if verify(path).player == who)


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports without plots, which take most of their time."""
    monkeypatch.setattr(reporting, "plots_of", lambda *_: [])
    monkeypatch.setattr(reporting, "sheet", lambda *_: [])


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("who", HOSTILE)
def test_any_name_is_shown_and_does_nothing(results: Path, who: str) -> None:
    page = report_page(result_report(result_by(results, who)))
    assert "<script" not in page
    assert who in unescape(page)
    assert not re.search(r"""(src|href|url)\s*[=(]\s*["']?(?!data:|#)[a-z/]""", page)


@pytest.mark.usefixtures("undrawn")
def test_figures_are_the_same_in_report_table_result_and_grade_json(
    results: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = result_by(results, HOSTILE[1])
    files = read_result(path).files
    found = verify(path)
    report = result_report(path)
    read = read_one(path).result
    assert read is not None
    (group,) = groups([read])
    head, line = (one.split(",") for one in as_csv(group))
    table = dict(zip(head, line, strict=True))
    for number, item in enumerate(found.assessment.items):
        (check,) = found.counted(number)
        take = tmp_path / "take.mid"
        take.write_bytes(files[check.run.take])
        assert main(["grade", item.pattern, str(take), "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        kept = json.loads(files[check.run.grade])
        assert told == kept
        total = told["score"]["total"]
        assert float(table[f"{number + 1}.score"]) == total
        assert report.sections[number].score == f"{total:.0f}"
        assert report.sections[number].advice == told["advice"]
        for mark in found.items[number].marks:
            if mark.criterion == "spread":
                assert float(table[f"{number + 1}.asked.spread"]) == told["timing"]["sd_ms"]


def test_a_report_has_plots_the_sheet_and_what_to_do_next(results: Path) -> None:
    report = result_report(result_by(results, HOSTILE[3]))  # who has something to work on
    groove = report.sections[0]
    titles = [plot.title for plot in groove.plots]
    assert titles == [
        "Error over time",
        "Tempo over the bars",
        "Error and level at each position of the bar",
        "Errors by limb",
        "Ghost notes against plain strokes",
        "Unisons: how far apart",
    ]
    assert len(groove.sheet) == 1
    assert report.homework
    assert 'kind = "homework"' in report.homework_file
    page = report_page(report)
    drawings = re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)
    assert len(drawings) == len(groove.plots) + len(report.sections[1].plots) + 2
    for drawing in drawings:
        own = set(re.findall(r'\bid="([^"]+)"', drawing))
        assert set(re.findall(r'(?:url\(|href=")#([^")]+)', drawing)) <= own
    clips = re.findall(r'<clipPath id="([^"]+)"', page)
    assert len(clips) == len(set(clips)), "what a drawing refers to is its own"


@pytest.mark.usefixtures("undrawn")
def test_what_does_not_fit_stands_on_top(results: Path, tmp_path: Path) -> None:
    data, _, _ = forged(result_by(results, HOSTILE[1]), CHANGES["a mark"], np.random.default_rng(4))
    path = tmp_path / "forged.zip"
    path.write_bytes(data)
    report = result_report(path)
    assert report.warnings
    page = report_page(report)
    assert page.index("What does not fit") < page.index("<h2>Marks</h2>")


@pytest.mark.usefixtures("undrawn")
def test_the_last_time_is_compared(tmp_path: Path) -> None:
    first = result_of(tmp_path, "Ines", "beginner", seed=1)
    assert not any("then" in line for s in result_report(first).sections for line in s.changes)
    import time

    time.sleep(1.1)
    second = result_of(tmp_path, "Ines", "professional", seed=1)
    changes = result_report(second).sections[0].changes
    assert any(line.startswith("score:") and line.endswith("better") for line in changes)


@pytest.mark.usefixtures("undrawn")
def test_a_teachers_word_stands_beside_what_was_computed(results: Path) -> None:
    path = result_by(results, HOSTILE[3])
    before = path.read_bytes()
    said = (
        Remark(result=digest(before))
        .with_comment("Calmer <b>now</b>.", None)
        .with_eye("posture", "upright", None)
        .with_eye("sticking", "as written", 0)
        .with_mark("very good", "the stand slipped", 0)
    )
    write_remark(path, said)
    assert path.read_bytes() == before, "the result itself stays as it is"
    assert read_remark(path, 2) == (said, "")
    report = result_report(path)
    page = report_page(report)
    assert report.sections[0].mark
    assert (report.sections[0].own_mark, report.sections[0].because) == (
        "very good",
        "the stand slipped",
    )
    assert "Calmer &lt;b&gt;now&lt;/b&gt;." in page
    assert ("posture", "upright") in report.eye
    read = read_one(path).result
    assert read is not None
    assert (read.items[0].own_mark, read.items[0].mark) == ("very good", report.sections[0].mark)
    assert read.items[0].is_reached
    write_remark(path, said.with_mark("not yet", "the sticks were swapped", 0))
    again = read_one(path).result
    assert again is not None
    assert (again.items[0].is_reached, again.items[0].mark) == (False, read.items[0].mark)
    assert again.reached == read.reached - 1
    remark_path(path).unlink()


@pytest.mark.usefixtures("undrawn")
def test_a_word_on_another_result_and_a_mark_without_reason_are_told(
    results: Path, tmp_path: Path
) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(result_by(results, HOSTILE[0]).read_bytes())
    write_remark(path, Remark(result="0" * 64, comments=("Good.",)))
    assert "another result" in result_report(path).warnings[0]
    text = 'result = "x"\n[[item]]\nnumber = 1\nmark = "good"\n[[item]]\nnumber = 9\n'
    with pytest.raises(RemarkError) as told:
        read_remark_text(text, "a.remark.toml", 2)
    assert [problem.line for problem in told.value.problems] == [2, 6]


@pytest.mark.usefixtures("undrawn")
def test_weeks_of_practice_and_one_of_their_runs_by_its_number(tmp_path: Path) -> None:
    home = UserFolders(config=tmp_path / "c", data=tmp_path / "d")
    pattern = library().get("late-bus-home")
    for seed, skill in enumerate(("beginner", "beginner", "intermediate")):
        recording = recorded(pattern, skill, seed)
        log = home.memory.begin(recording, "play")
        graded = grade_take(pattern, recording.take(), Options())
        number = home.memory.keep(log, recording, graded, file=None)
    day = Day(day=date.today().isoformat(), curve=((0.0, 0.0), (300.0, 41.2)))
    saved.save(home, "somebody", saved.SavedWarmUps(knowledge=Knowledge(), diary=Diary((day,))))
    report, name = weeks_report(home, "somebody", 4)
    assert name == "somebody"
    assert report.facts[1][1].startswith("3 runs on 1 day")
    patterns, causes, warm_ups = report.tables
    assert warm_ups.rows == [(day.day, "5", "41°", "0")]
    assert patterns.rows[0][:2] == ("Late Bus Home", "3")
    assert causes.rows
    assert report.homework
    assert report_page(report)
    assert number is not None
    one = run_report(home.memory, number)
    assert one.sections[0].score == f"{graded.grade.score.total:.0f}"
    with pytest.raises(UserError, match="There is no run 999"):
        run_report(home.memory, 999)
    with pytest.raises(UserError, match="There is no player"):
        weeks_report(home, "nobody here", 4)


def test_a_run_of_ones_own_has_a_report(tmp_path: Path) -> None:
    pattern = library().get("late-bus-home")
    path = recorded(pattern, "intermediate", 3).save(tmp_path, "mine")
    report = take_report(read_take(path), path.name)
    (section,) = report.sections
    assert section.plots
    assert len(section.sheet) == 4
    assert report_page(report)
