"""`playalong grade` of many takes: a line each, as JSON, as a table; on all processors."""

import csv
import json
from concurrent.futures.process import BrokenProcessPool
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import pytest

from playalong.app import pool
from playalong.app.grade import batch
from playalong.app.grade.table import columns, row
from playalong.commands.main import main
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording
from tests.commands.test_grade import PATTERN as TEXT
from tests.commands.test_grade import bars, save

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def pattern(tmp_path: Path) -> Path:
    path = tmp_path / "a-test.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


@pytest.fixture
def takes(tmp_path: Path) -> Path:
    """A folder with takes in it and in a folder of it, one of them broken, and something else."""
    folder = tmp_path / "class"
    (folder / "Zoe").mkdir(parents=True)
    save(folder / "b.mid", bars(2, late_s=0.02))
    save(folder / "a.MID", bars(3))
    save(folder / "Zoe" / "c.midi", bars(1))
    (folder / "broken.mid").write_bytes(b"MThd\0\0")
    (folder / "notes.txt").write_text("well done")
    (folder / "._b.mid").write_bytes(b"what a system lays beside a file")
    (folder / "a folder.mid").mkdir()
    return folder


def run(capsys: Capture, *arguments: object) -> tuple[int, list[str], list[str]]:
    code = main(["grade", *map(str, arguments)])
    out, err = capsys.readouterr()
    return code, out.splitlines(), err.splitlines()


def test_each_take_of_a_folder_has_a_line_and_the_broken_one_is_told(pattern, takes, capsys):
    code, out, err = run(capsys, pattern, takes)
    assert code == 2
    assert [line.split()[:3] for line in out] == [["100", "of", "100"]] * 3
    names = ["Zoe/c.midi", "a.MID", "b.mid"]
    for line, name in zip(out, names, strict=True):
        assert str(takes / name) in line
    assert len(err) == 1
    assert f"{takes / 'broken.mid'} is cut off" in err[0]


def test_as_json_each_line_is_what_the_take_gives_alone(pattern, takes, capsys):
    _, out, _ = run(capsys, pattern, takes, "--json", "--hits", "--tolerance-ms", "10")
    for line in out:
        told = json.loads(line)
        path = told.pop("take")
        assert main(["grade", str(pattern), path, "--json", "--hits", "--tolerance-ms", "10"]) == 0
        assert json.loads(capsys.readouterr().out) == told
    assert len(out) == 3


def test_as_a_table(pattern, takes, capsys):
    code, out, _ = run(capsys, pattern, takes, "--csv")
    assert code == 2
    rows = list(csv.DictReader(out))
    _, lines, _ = run(capsys, pattern, takes, "--json")
    assert len(rows) == len(lines) == 3
    for found, told in zip(rows, map(json.loads, lines), strict=True):
        for key in ("take", "pattern", "pattern_id", "advice"):
            assert found[key] == told[key]
        assert float(found["score.total"]) == told["score"]["total"]
        assert int(found["counts.targets"]) == told["counts"]["targets"]
        assert float(found["timing.mean_ms"]) == told["timing"]["mean_ms"]
        assert int(found["bars"]) == told["bars"]


def test_a_cell_of_a_table_is_no_formula():
    told: dict[str, Any] = {
        **{"take": "=1+1.mid", "pattern": "p", "pattern_id": "0", "tempo_bpm": 90.0, "bars": 1},
        **{group: {} for group in ("score", "counts", "steadiness", "unison")},
        **{"timing": {"mean_ms": -3.5, "sd_ms": None, "by_voice": {}}, "advice": 'say "one", two'},
    }
    names = columns(told)
    assert names == [
        *("take", "pattern", "pattern_id", "tempo_bpm", "bars"),
        *("timing.mean_ms", "timing.sd_ms", "advice"),
    ]
    assert row(told, names) == '\'=1+1.mid,p,0,90.0,1,-3.5,,"say ""one"", two"'


def test_files_and_folders_go_together(pattern, takes, tmp_path, capsys):
    alone = save(tmp_path / "alone.mid", bars(1))
    code, out, _ = run(capsys, pattern, alone, takes / "Zoe", alone)
    assert code == 0
    assert [line.split()[3] for line in out] == [
        *(str(alone), str(takes / "Zoe" / "c.midi"), str(alone))
    ]


def test_a_folder_with_one_take_has_a_line_as_well(pattern, takes, capsys):
    _, out, _ = run(capsys, pattern, takes / "Zoe", "--json")
    assert len(out) == 1
    assert json.loads(out[0])["take"] == str(takes / "Zoe" / "c.midi")


def test_what_cannot_be_is_told(pattern, takes, tmp_path, capsys):
    (tmp_path / "empty").mkdir()
    for arguments, told in (
        ((pattern, tmp_path / "empty"), "There is no take in the folder"),
        ((pattern, tmp_path / "nowhere.mid", takes / "Zoe"), "There is no file"),
        ((pattern, takes, "--csv", "--hits"), "--hits does not go with --csv"),
        ((pattern, takes, "--csv", "--json"), "not allowed with"),
    ):
        code, _, err = run(capsys, *arguments)
        assert code == 2
        assert len(err) == 1
        assert told in err[0]


def test_what_is_wrong_with_a_take_names_it(pattern, tmp_path, capsys):
    """A piano's take, between two of drums: no note of it belongs to the pattern."""
    paths = [save(tmp_path / f"{name}.mid", bars(1)) for name in ("one", "two")]
    piano = save(tmp_path / "piano.mid", [(0.0, 100, 90.0), (1.0, 101, 90.0)])
    code, out, err = run(capsys, pattern, paths[0], piano, paths[1])
    assert (code, len(out), len(err)) == (2, 2, 1)
    assert f"{piano}: None of the 2 notes" in err[0]


def test_a_mistake_of_the_program_over_one_take_stops_no_other(pattern, takes, capsys, monkeypatch):
    grading = batch.grade_take

    def stumbling(asked, take, options):
        if len(take.note) == 2 * 13:
            raise KeyError("two bars")
        return grading(asked, take, options)

    monkeypatch.setattr(batch, "grade_take", stumbling)
    code, out, err = run(capsys, pattern, takes)
    assert (code, len(out), len(err)) == (2, 2, 2)
    assert f"{takes / 'b.mid'}: The program made a mistake (KeyError: 'two bars')" in err[0]
    kept = err[0].partition("What helps to mend it is in ")[2]
    assert "stumbling" in Path(kept).read_text()


@pytest.fixture
def many(tmp_path: Path) -> Path:
    folder = tmp_path / "many"
    folder.mkdir()
    for number in range(batch.FEW + 7):
        save(folder / f"{number:03}.mid", bars(1, late_s=number / 1000))
    (folder / "004.mid").write_bytes(b"nothing")
    return folder


def test_many_takes_are_graded_by_other_processes_and_come_in_order(pattern, many, capsys):
    code, out, err = run(capsys, pattern, many, "--json", "--start", "0")
    assert (code, len(err)) == (2, 1)
    told = [json.loads(line) for line in out]
    numbers = [number for number in range(batch.FEW + 7) if number != 4]
    assert [Path(one["take"]).name for one in told] == [f"{n:03}.mid" for n in numbers]
    for number, one in zip(numbers, told, strict=True):
        assert one["timing"]["mean_ms"] == pytest.approx(number, abs=0.03)


def test_a_process_that_is_ended_from_outside_loses_no_take(pattern, many, capsys, monkeypatch):
    class Ended:
        """A pool of which a process dies after the first takes."""

        def __init__(self, *_: object, **__: object) -> None:
            pass

        def map(self, work, paths, chunksize):
            yield from map(work, paths[:chunksize])
            raise BrokenProcessPool

        def shutdown(self, **_: object) -> None:
            pass

    monkeypatch.setattr(pool, "ProcessPoolExecutor", Ended)
    monkeypatch.setattr(pool, "_processors", lambda: 2)
    _, out, err = run(capsys, pattern, many)
    assert [Path(line.split()[3]).name for line in out] == [
        f"{number:03}.mid" for number in range(batch.FEW + 7) if number != 4
    ]
    assert len(err) == 1


def test_a_take_can_do_without_its_pattern(pattern, tmp_path, capsys):
    """It keeps the pattern's own text: the file may be gone, or the library's pattern renamed."""
    info = TakeInfo(format=2, pattern="a-test", pattern_text=TEXT, tempo_bpm=120.0, bars=2)
    recording = Recording(120.0, Fraction(1, 4), 0.0, info=info.as_plain())
    for second, note, velocity in bars(2):
        recording.keep(second, bytes((0x99, note, int(velocity))))
    take = recording.save(tmp_path, "kept")
    for name in ("a-test", "A Test", str(tmp_path / "gone" / "a-test.toml")):
        code, out, err = run(capsys, name, take, "--json")
        assert code == 0
        assert json.loads("\n".join(out))["counts"]["matched"] == 26
        assert "graded by what the take keeps of the pattern" in err[0]
    code, _, err = run(capsys, "another", take)
    assert code == 2
    assert "There is no pattern" in err[0]


def test_in_its_line_a_take_says_that_it_is_of_another_pattern(pattern, tmp_path, capsys):
    info = TakeInfo(format=2, pattern="waltz", pattern_id="0" * 16, tempo_bpm=120.0, bars=2)
    recording = Recording(120.0, Fraction(1, 4), 0.0, info=info.as_plain())
    for second, note, velocity in bars(2):
        recording.keep(second, bytes((0x99, note, int(velocity))))
    other = recording.save(tmp_path, "other")
    code, out, err = run(capsys, pattern, other, save(tmp_path / "t.mid", bars(2)))
    assert (code, len(out), err) == (0, 2, [])
    assert '"waltz": here it is held against "a-test".' in out[0]
    assert "waltz" not in out[1]


def test_takes_of_another_program_do_not_say_their_pattern(tmp_path, capsys):
    take = tmp_path / "t.mid"
    file = mido.MidiFile()
    file.tracks.append(mido.MidiTrack([mido.Message("note_on", channel=9, note=38)]))
    file.save(take)
    code, _, err = run(capsys, "nowhere-to-be-found", take)
    assert code == 2
    assert "There is no pattern" in err[0]
