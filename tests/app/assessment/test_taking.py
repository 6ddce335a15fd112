"""An assessment taken from what is agreed to its result, with what may go wrong on the way."""

import csv
import io
import json
import wave
from collections.abc import Callable, Iterator
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import pytest

from playalong.app.assessment import book as book_of_sitting
from playalong.app.assessment import reporting
from playalong.app.assessment.book import Book, RunState
from playalong.app.assessment.entry import take
from playalong.app.assessment.reporting import result_report
from playalong.app.assessment.session import Agreed, AssessmentSession
from playalong.app.assessment.tasks import item_task
from playalong.app.assessment.verifying import verify
from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.memory import Memory
from playalong.app.open_devices import Look
from playalong.app.play.entry import Player
from playalong.app.recording.entry import maps_folder
from playalong.app.run.clock import SteppedClock
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.grading.text import figures
from playalong.midi.pads import Guard, Pads, Pedal
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import Targets
from playalong.practice.assessment.machine import State
from playalong.practice.assessment.measures import MEASURES
from playalong.profile.latency import typed
from playalong.profile.profile import Profile
from playalong.records import beat_maps
from playalong.records.assessments.files import AssessmentFile, load_assessment, read_assessment
from playalong.records.assessments.results import read_result
from playalong.records.pattern_files import library
from playalong.records.store import runs as stored
from playalong.records.take_info import Simulated
from playalong.records.takes import read as read_take
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.window import Window
from playalong.screen.pages.ready import ReadyPage
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import RunPage
from playalong.screen.pages.sitting import SittingPage
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from playalong.support.errors import UserError
from tests.helpers.stage import Hands, context_on, unseen_window

TEXT = """
title = "A test"
minutes = 4
warm-up = 1
pauses = 1
[[item]]
pattern = "boots-by-the-door"
tempo = 240
bars = 2
rehearsals = 1
attempts = 2
[item.asked]
score = 50
[[item]]
pattern = "boots-by-the-door"
tempo = 240
bars = 2
sight = 5
judging = false
"""

Script = Callable[[Page, float], Press | None]


class Kit(SimulatedPort):
    """A kit that somebody plays, and whose cable is out between two times of the clock."""

    def __init__(self, clock: SteppedClock) -> None:
        self.name, self._clock, self.away_s = "a kit", clock, (inf, inf)
        self._port: SimulatedPort | None = None

    def plays(self, targets: Targets, number: int, start_s: float) -> "Kit":
        played = perform(targets, SKILLS["professional"], number)
        self._port = SimulatedPort(played, start_s, self._clock.now)
        return self

    def poll(self) -> Any:
        return self._port.poll() if self._port and self.is_there() else []

    def is_there(self) -> bool:
        return not self.away_s[0] <= self._clock.now() < self.away_s[1]

    def reopen(self) -> bool:
        return self.is_there()


class Seen(Hands):
    """A window that somebody looks at."""

    offscreen = False


@pytest.fixture
def window() -> Iterator[Window]:
    with unseen_window() as made:
        yield made


def file_of(text: str = TEXT) -> AssessmentFile:
    path = Path("a-test.toml")
    return AssessmentFile(read_assessment(text, path), text, path)


INES = Profile(kit="a kit", player="Ines")

#: A kit that was learned, and its player's own strokes.
LEARNED = Profile(
    kit='a "kit" of 2',
    player="Ines",
    port="a port",
    pads=Pads({40: "snare"}, Pedal(4, 120), {"snare": Guard(35.0, 9.0)}),
    strokes={
        "snare": {
            Dynamic.GHOST: (20.0, 22.5, 25.0),
            Dynamic.NORMAL: (70.0, 75.0, 80.0),
            Dynamic.ACCENT: (110.0, 115.0, 120.0),
        }
    },
    latency=typed(12.3),
)


class Stage:
    """A sitting of somebody at a kit; ``script`` says what is pressed, given page and clock."""

    def __init__(
        self,
        window: Window,
        folder: Path,
        script: Script | None,
        *,
        text: str = TEXT,
        profile: Profile = INES,
        left_handed: bool = False,
    ) -> None:
        self.clock, self.folder = SteppedClock(), folder
        self.kit = Kit(self.clock)
        self.book = Book(
            file_of(text), folder, who="Ines", profile=profile, left_handed=left_handed
        )
        self.book.begin()
        self.pages: list[Page] = []

        def scripted(page: Page, _: float) -> Press | None:
            if not self.pages or self.pages[-1] is not page:
                self.pages.append(page)
            return script(page, self.clock.now()) if script else None

        hands = Seen(window, scripted) if script else window
        around = context_on(hands, self.clock, frame_s=0.05, listen_s=0.05, profile=profile)
        pads = HitInput(self.kit, around.stamps, profile.pads)
        self.context = replace(
            around,
            pad_commands=PadCommands(pads, profile.calls),
            memory=Memory(folder=folder),
        )
        assessment = self.book.assessment
        tasks = [
            item_task(assessment, item, bands=profile.bands, left_handed=left_handed)
            for item in assessment.items
        ]
        agreed = Agreed([("kit", "a kit"), ("latency", "not measured")])
        self.session = AssessmentSession(
            self.book, tasks, self.context, connect=self.kit.plays, agreed=agreed
        )

    def go(self) -> bool:
        try:
            return self.session.go()
        finally:
            self.book.keep_progress()
            self.book.close(False)


def entering(page: Page, _: float) -> Press | None:
    """Somebody who always goes on."""
    return None if isinstance(page, RunPage) else Key.ENTER


def test_a_sitting_by_keys_from_what_is_agreed_to_the_result(window, tmp_path) -> None:
    stage = Stage(window, tmp_path, entering)
    assert stage.go()
    kinds = [type(page) for page in stage.pages]
    first = stage.pages[0]
    assert isinstance(first, SittingPage)
    assert ("latency", "not measured") in first.rows
    assert kinds == [
        *(SittingPage, SittingPage),  # agreed, warm-up
        *([ReadyPage, RunPage, ResultPage] * 3),  # rehearsal, two attempts
        *(SittingPage, ReadyPage, RunPage, ResultPage),  # covered, the sheet, the run
        SittingPage,
    ]
    assert [(run.item, run.is_rehearsal, run.number) for run in stage.book.runs] == [
        (0, True, 1),
        (0, False, 1),
        (0, False, 2),
        (1, False, 1),
    ]
    covered, looking = stage.pages[11], stage.pages[12]
    assert isinstance(covered, SittingPage)
    assert "at sight" in covered.said
    assert isinstance(looking, ReadyPage)
    assert "to look" in looking.title
    played_s = 4 * 2.0
    assert 240.0 - 60.0 - played_s < stage.book.sitting.left_s < 240.0 - played_s
    path = stage.book.finish(tmp_path / "results")
    found = read_result(path)
    assert found.changed == ()
    result = json.loads(found.files["result.json"])
    assert result["player"] == "Ines"
    assert result["interruptions"] == []
    assert [item["reached"] for item in result["items"]] == [True, True]


def test_every_figure_is_that_of_the_take_in_result_and_store(window, tmp_path) -> None:
    """Graded from the file anew, in the result and in the store: the same, to the last figure."""
    stage = Stage(window, tmp_path, None)
    assert stage.go()
    files = read_result(stage.book.finish(tmp_path)).files
    database = Memory(folder=tmp_path).open()
    assert database is not None
    rows = stored.select(database, "run.kind = ?", ("assessment",))
    in_store = [stored.grade_of(database, row.id)[0] for row in reversed(rows)]
    database.close()
    assert len(in_store) == len(stage.book.runs) == 4
    for run, kept in zip(stage.book.runs, in_store, strict=True):
        take = tmp_path / "a.mid"
        take.write_bytes(files[run.take])
        item = stage.book.assessment.items[run.item]
        pattern = stage.book.assessment.pattern_of(item)
        again = json.loads(json.dumps(grade_take(pattern, read_take(take), Options()).as_json()))
        assert json.loads(files[run.grade]) == again
        assert kept == again


def test_report_tables_store_and_json_say_the_same_of_a_take(
    window, tmp_path, capsys, monkeypatch
) -> None:
    """Every measure there is, in report, class table, store, and the table and JSON of ``grade``.

    Of one take each figure is one figure.

    """
    monkeypatch.setattr(reporting, "plots_of", lambda *_: [])
    monkeypatch.setattr(reporting, "sheet", lambda *_: [])
    asked = "".join(
        f"{name} = {measure.low if measure.at_least else measure.high}\n"
        for name, measure in MEASURES.items()
    )
    item = 'title = "A"\nminutes = 4\n[[item]]\npattern = "late-bus-home"\ntempo = 200\nbars = 4\n'
    stage = Stage(window, tmp_path, None, text=f"{item}[item.asked]\n{asked}")
    assert stage.go()
    path = stage.book.finish(tmp_path)
    (run,) = stage.book.runs
    files = read_result(path).files
    take = tmp_path / "a.mid"
    take.write_bytes(files[run.take])
    assert main(["grade", "late-bus-home", str(take), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert main(["grade", "late-bus-home", str(take), "--csv"]) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert json.loads(files[run.grade]) == told
    database = Memory(folder=tmp_path).open()
    assert database is not None
    (kept,) = stored.select(database, "run.kind = ?", ("assessment",))
    in_store = stored.grade_of(database, kept.id)[0]
    database.close()
    assert in_store == told
    assert kept.score == told["score"]["total"]
    for column, value in row.items():
        group, _, name = column.rpartition(".")
        if group:
            figure = told[group][name]
            assert value == ("" if figure is None else str(figure)), column
    table = tmp_path / "class.csv"
    assert main(["class", str(tmp_path), "--csv", str(table)]) == 0
    (of_class,) = csv.DictReader(table.read_text().splitlines())
    (section,) = result_report(path).sections
    rows = {mark.requirement.partition(":")[0]: mark.figure for mark in section.marks}
    assert section.score == f"{told['score']['total']:.0f}"
    assert section.figures == figures(
        grade_take(library().get("late-bus-home"), read_take(take), Options()).grade
    )
    for name, measure in MEASURES.items():
        figure = measure.figure(told)
        assert of_class[f"1.asked.{name}"] == ("" if figure is None else str(figure)), name
        assert rows[measure.label] == measure.written(figure), name
    assert float(of_class["score"]) == float(of_class["1.score"]) == told["score"]["total"]


def test_a_result_of_a_learned_kit_and_a_left_handed_player_fits(window, tmp_path) -> None:
    stage = Stage(window, tmp_path, None, profile=LEARNED, left_handed=True)
    assert stage.go()
    found = verify(stage.book.finish(tmp_path / "r"))
    assert found.wrong == ()
    assert found.profile.bands == LEARNED.bands
    assert found.profile.latency == LEARNED.latency
    assert all(run.run.left_handed for run in found.runs)


def test_an_item_along_with_a_recording(tmp_path) -> None:
    home = UserFolders(config=tmp_path / "c", data=tmp_path / "d")
    recording = tmp_path / "evening.wav"
    write_wav(recording, seconds=8)
    beats = BeatMap.from_tempo(tempo_bpm=121.5, first_beat_s=0.5, length_s=8.0)
    beat_maps.write(maps_folder(home), recording, beats)
    text = 'title = "Along"\nminutes = 2\n[[item]]\npattern = "boots-by-the-door"\nbars = {}\n'
    path = tmp_path / "along.toml"
    path.write_text(text.format(2) + 'recording = "evening.wav"\n')
    player = Player(skill=SKILLS["professional"], seed=3, fast=True)
    known = {"who": "Ines", "profile": Profile(kit="", player=""), "home": home}
    taken = take(load_assessment(str(path)), Look(), player, **known)
    assert taken.trouble == ()
    assert taken.path is not None
    found = verify(taken.path)
    assert found.wrong == ()
    assert found.runs[0].reported["tempo_bpm"] == pytest.approx(121.5)
    path.write_text(text.format(40) + 'recording = "evening.wav"\n')
    with pytest.raises(UserError, match=f"has only {beats.bars} bars; 40 are asked"):
        take(load_assessment(str(path)), Look(), player, **known)


def write_wav(path: Path, seconds: int) -> None:
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, 44_100, 0, "NONE", ""))
        file.writeframes(bytes(2 * 44_100 * seconds))


def test_without_judging_the_sheet_and_the_gauges_stay_empty(window, tmp_path) -> None:
    stage = Stage(window, tmp_path, entering)
    stage.go()
    shown = [page for page in stage.pages if isinstance(page, RunPage)]
    assert [len(page.timing.errors_ms) > 0 for page in shown] == [True, True, True, False]


def test_a_pulled_cable_costs_neither_attempt_nor_time(window, tmp_path) -> None:
    seen: dict[str, float] = {}

    def script(page: Page, now_s: float) -> Press | None:
        sitting = stage.book.sitting
        if isinstance(page, RunPage) and "pulled" not in seen and len(stage.book.runs) == 1:
            seen["pulled"] = now_s
            stage.kit.away_s = (now_s + 3.0, now_s + 60.0)
        if sitting.state is State.STOPPED:
            seen.setdefault("left", sitting.left_s)
            if now_s < stage.kit.away_s[1] + 1.0:
                return None
            assert sitting.left_s == seen["left"], "the clock stands while the cable is out"
        return entering(page, now_s)

    stage = Stage(window, tmp_path, script)
    assert stage.go()
    (lost,) = stage.book.sitting.interruptions
    assert (lost.loss.value, lost.item) == ("kit", 0)
    states = [run.state for run in stage.book.runs if run.item == 0]
    assert states.count(RunState.INTERRUPTED) == 1
    assert states.count(RunState.PLAYED) == 3, "all rehearsals and attempts were still there"
    result = json.loads(read_result(stage.book.finish(tmp_path / "r")).files["result.json"])
    assert result["interruptions"][0]["left_s"] == pytest.approx(lost.left_s, abs=1e-3)


class PowerCutError(Exception):
    """The program is gone."""


def test_a_crash_goes_on_with_the_time_that_was_left(window, tmp_path) -> None:
    stage = Stage(window, tmp_path, entering)
    play = stage.session._play
    left_s: list[float] = []

    def until_the_power_goes() -> bool:
        """Nothing is written any more once the third run has gone on for three seconds."""
        if len(stage.book.runs) == 2:
            stage.book.sitting.time_passed(3.0)
            stage.book.keep_progress()
            left_s.append(stage.book.sitting.left_s)
            raise PowerCutError
        return play()

    stage.session._play = until_the_power_goes  # type: ignore[method-assign]
    with pytest.raises(PowerCutError):
        stage.session.go()
    stage.book.close(False)
    again = Stage(window, tmp_path, entering)
    assert again.book.is_resumed
    assert len(again.book.runs) == 2
    assert again.book.sitting.state is State.STOPPED
    assert again.book.sitting.left_s == pytest.approx(left_s[0], abs=1e-3)
    assert again.go()
    (lost,) = again.book.sitting.interruptions
    assert lost.loss.value == "program"
    assert sum(run.counts for run in again.book.runs) == 3


def test_a_run_that_is_broken_off_is_an_attempt_and_the_rest_of_it_is_missed(
    window, tmp_path
) -> None:
    def script(page: Page, now_s: float) -> Press | None:
        if isinstance(page, RunPage) and len(stage.book.runs) == 1:
            begun.append(now_s)
            return Key.ESCAPE if now_s > begun[0] + 3.0 else None
        return entering(page, now_s)

    begun: list[float] = []

    stage = Stage(window, tmp_path, script)
    assert stage.go()
    broken = next(run for run in stage.book.runs if run.state is RunState.BROKEN_OFF)
    counts = stage.book.grades[broken.grade]["counts"]
    whole = stage.book.grades[stage.book.runs[0].grade]["counts"]
    assert counts["targets"] == whole["targets"]
    assert counts["missed"] > 0
    assert sum(run.counts for run in stage.book.runs if run.item == 0) == 2


def test_closing_asks_first_and_what_is_left_can_be_taken_up_again(window, tmp_path) -> None:
    sure: list[str] = []

    def script(page: Page, now_s: float) -> Press | None:
        if isinstance(page, SittingPage) and page.said.startswith("End here"):
            sure.append(page.said)
            return Key.ENTER if len(sure) == 1 else "e"
        if isinstance(page, ReadyPage) and stage.book.runs:
            return Key.ESCAPE if len(stage.book.runs) > 1 else Key.ENTER
        return entering(page, now_s)

    stage = Stage(window, tmp_path, script)
    assert stage.go()
    assert len(sure) >= 1
    assert stage.book.sitting.state is State.CLOSED
    assert sum(run.counts for run in stage.book.runs) >= 1


def test_strokes_that_would_leave_only_ask_to_finish(window, tmp_path) -> None:
    asked: list[Press] = []

    def script(page: Page, now_s: float) -> Press | None:
        if isinstance(page, SittingPage) and page.said.startswith("End here"):
            asked.append(now_s)
            return "e"
        if isinstance(page, ReadyPage):
            return Outcome.LEAVE
        return entering(page, now_s)

    stage = Stage(window, tmp_path, script)
    assert stage.go()
    assert asked
    left = Stage(window, tmp_path / "other", lambda page, _: Key.CLOSE)
    assert left.go() is False


def test_the_next_item_is_a_key_away_after_an_attempt(window, tmp_path) -> None:
    def script(page: Page, now_s: float) -> Press | None:
        done = any(run.counts for run in stage.book.runs)
        if isinstance(page, ReadyPage) and stage.book.sitting.item == 0 and done:
            return "n"
        return entering(page, now_s)

    stage = Stage(window, tmp_path, script)
    assert stage.go()
    assert [run.number for run in stage.book.runs if run.item == 0 and run.counts] == [1]
    assert [run.number for run in stage.book.runs if run.item == 1] == [1]


WEEK = 'title = "Week"\nkind = "homework"\ndays = 7\n[[item]]\n'
WEEK += 'pattern = "boots-by-the-door"\ntempo = 240\nbars = 2\n'


def test_a_kit_measured_anew_and_another_leading_hand_are_no_change_of_a_result(
    window, tmp_path
) -> None:
    for profile, left_handed in ((INES, False), (LEARNED, False), (LEARNED, True), (INES, False)):
        stage = Stage(window, tmp_path, None, text=WEEK, profile=profile, left_handed=left_handed)
        assert stage.go()
    names = [run.calibration for run in stage.book.runs]
    assert names == ["calibration.toml", *["calibration-2.toml"] * 2, "calibration.toml"]
    assert verify(stage.book.finish(tmp_path / "r")).wrong == ()


def test_somebody_simulated_never_goes_on_with_what_a_person_began(window, tmp_path) -> None:
    stage = Stage(window, tmp_path, None, text=WEEK)
    assert stage.go()
    others = Book(
        file_of(WEEK), tmp_path, who="Ines", profile=INES, simulated=Simulated("beginner", 1)
    )
    others.close(False)
    assert not others.is_resumed


def test_a_result_has_room_for_so_many_runs_and_the_best_stay(
    window, tmp_path, monkeypatch
) -> None:
    stage = Stage(window, tmp_path, None, text=WEEK)
    assert stage.go()
    book = stage.book
    (run,), (grade,) = book.runs, book.grades.values()
    folder = book._folder
    for number in range(2, 9):
        more = replace(run, number=number)
        score = {**grade["score"], "total": 50.0 + (40.0 if number == 3 else 0.0)}
        book.runs.append(more)
        book.grades[more.grade] = {**grade, "score": score}
        folder.keep(more.take, folder.files()[run.take])
        folder.keep(more.grade, json.dumps(book.grades[more.grade]).encode())
    book.grades[run.grade] = {**grade, "score": {**grade["score"], "total": 40.0}}
    monkeypatch.setattr(book_of_sitting, "MOST_RUNS", 3)
    found = read_result(book.finish(tmp_path / "r"))
    plain = json.loads(found.files["result.json"])
    assert [one["number"] for one in plain["runs"]] == [3, 7, 8]
    assert plain["left_out"] == 5
    assert plain["items"][0]["score"] == 90.0
    assert found.changed == ()
    assert sum(name.startswith("takes/") for name in found.files) == 3


def test_homework_gathers_runs_over_days_and_ends(window, tmp_path) -> None:
    for count in (1, 2):
        stage = Stage(window, tmp_path, None, text=WEEK)
        stage.book.check_days()
        assert stage.go()
        assert len(stage.book.runs) == count
    result = json.loads(read_result(stage.book.finish(tmp_path / "r")).files["result.json"])
    scores = [stage.book.grades[run.grade]["score"]["total"] for run in stage.book.runs]
    assert result["items"][0]["score"] == max(scores)
    stage.book.began = stage.book.began.replace(year=stage.book.began.year - 1)
    with pytest.raises(UserError, match="The 7 days"):
        stage.book.check_days()
