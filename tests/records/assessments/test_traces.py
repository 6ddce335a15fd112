"""Erasing a player reaches results, remarks, reports, and a sitting that goes on; nobody else's."""

from pathlib import Path

from playalong.practice.assessment.remarks import Remark
from playalong.records.assessments.remark_files import write_remark
from playalong.records.assessments.sittings import SittingFolder
from playalong.records.assessments.traces import RESULTS, SITTINGS, assessments_of, leave_folders
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
