"""Erasing a player reaches results, remarks, reports, and a sitting that goes on; nobody else's."""

from fractions import Fraction
from pathlib import Path

from playalong.practice.assessment.remarks import Remark
from playalong.records.assessments.remark_files import write_remark
from playalong.records.assessments.sittings import SittingFolder
from playalong.records.assessments.traces import RESULTS, SITTINGS, assessments_of, leave_folders
from playalong.records.takes import Recording
from tests.helpers.result_changes import SHORT, result_of


def test_all_that_is_left_of_a_player_is_found_and_of_nobody_else(tmp_path: Path) -> None:
    own = result_of(tmp_path / RESULTS, "Ines", "beginner", seed=1)
    result_of(tmp_path / RESULTS, "Tom", "beginner", seed=2)
    (tmp_path / RESULTS / "broken.zip").write_bytes(b"no")
    word = write_remark(own, Remark(result="x", comments=("Good.",)))
    own.with_suffix(".html").write_text("a report")
    for who in ("Ines", "Tom"):
        folder = SittingFolder.of(tmp_path / SITTINGS, SHORT, who)
        folder.keep("assessment.toml", SHORT.encode())
        folder.keep("takes/01-a1.mid", b"MThd")
    found = set(assessments_of(tmp_path, "Ines", False))
    sitting = SittingFolder.of(tmp_path / SITTINGS, SHORT, "Ines").path
    assert found == {
        own,
        word,
        own.with_suffix(".html"),
        sitting / "assessment.toml",
        sitting / "takes" / "01-a1.mid",
    }
    assert set(assessments_of(tmp_path, "Ines", True)) == set()
    for path in found:
        path.unlink()
    leave_folders(found)
    leave_folders(found)
    assert not sitting.exists()
    assert set(assessments_of(tmp_path, "Tom", False))


def test_of_a_simulated_player_a_sitting_is_found_in_whatever_name_it_is(tmp_path: Path) -> None:
    sittings = tmp_path / SITTINGS
    for who, skill in (("7b-12", "beginner"), ("7b-13", "advanced")):
        folder = SittingFolder.of(sittings, SHORT, who, is_simulated=True)
        folder.keep("assessment.toml", SHORT.encode())
        info = {"simulated": {"skill": skill, "seed": 1}}
        recording = Recording(80.0, Fraction(1, 4), 0.0, info=info)
        folder.keep("takes/01-a1.mid", recording.as_bytes())
    own = SittingFolder.of(sittings, SHORT, "7b-12", is_simulated=True).path
    files = {own / "assessment.toml", own / "takes" / "01-a1.mid"}
    assert set(assessments_of(tmp_path, "beginner", True)) == files
    assert set(assessments_of(tmp_path, "7b-12", True)) == files
    assert set(assessments_of(tmp_path, "beginner", False)) == set()
