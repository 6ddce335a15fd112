"""A result verified: what was changed is found, whoever changed it; what was not fits."""

import json
from pathlib import Path

import numpy as np
import pytest

from playalong.app.assessment import verifying
from playalong.app.assessment.verifying import verify
from playalong.records.assessments.results import DIGESTS, packed, read_result
from playalong.support.errors import UserError
from tests.helpers.result_changes import CHANGES, changed_by_chance, forged, nothing, result_of

#: How many changes of each kind are tried here; ``python -m tests.long assessments`` tries more.
FEW = 12


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return result_of(tmp_path_factory.mktemp("results"), "Ines", "intermediate", seed=5)


def found(path: Path, data: bytes) -> bool:
    """Whether something is found in ``data``, as a file of its own."""
    path.write_bytes(data)
    try:
        return not verify(path).fits
    except UserError:
        return True


def test_a_result_as_it_was_written_fits(result: Path) -> None:
    told = verify(result)
    assert told.wrong == ()
    assert (told.player, told.version) == ("Ines", "")
    assert [check.name for check in told.runs] == [
        "item 1, attempt 1",
        "item 1, attempt 2",
        "item 2, attempt 1",
    ]
    assert all(check.figures > 100 and not check.differences for check in told.runs)
    assert told.items == told.items_now


def test_a_result_put_together_again_as_it_was_fits(result: Path, tmp_path: Path) -> None:
    """So that what is found below is found for what was changed, and not for being packed anew."""
    data, _, matters = forged(result, nothing, np.random.default_rng(3))
    assert not matters
    assert data == result.read_bytes()
    assert not found(tmp_path / "same.zip", data)


def test_any_change_by_chance_is_found(result: Path, tmp_path: Path) -> None:
    data, chance = result.read_bytes(), np.random.default_rng(1)
    for number in range(4 * FEW):
        other = changed_by_chance(data, chance)
        if other != data:
            assert found(tmp_path / "changed.zip", other), number


@pytest.mark.parametrize("kind", CHANGES)
def test_changes_with_digests_made_anew_are_found_where_they_matter(
    result: Path, tmp_path: Path, kind: str
) -> None:
    chance = np.random.default_rng(2)
    mattered = 0
    for _ in range(FEW):
        data, what, matters = forged(result, CHANGES[kind], chance)
        mattered += matters
        if matters:
            assert found(tmp_path / "forged.zip", data), what
    assert mattered > FEW // 2


def test_packed_anew_by_another_program_is_told_as_that(result: Path, tmp_path: Path) -> None:
    import zipfile

    other = tmp_path / "again.zip"
    with zipfile.ZipFile(other, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in read_result(result).files.items():
            archive.writestr(name, data)
    told = verify(other)
    (line,) = told.wrong
    assert "packed anew by another program" in line
    assert not any(check.differences for check in told.runs)


def test_another_version_is_told_with_both_figures_and_never_as_tampered_with(
    result: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A result of a version that gave two points more, as it would have written it."""
    files = dict(read_result(result).files)
    earlier = verify(result)
    for check in earlier.runs:
        grade = json.loads(files[check.run.grade])
        grade["score"]["total"] += 2.0
        grade["program"] = "0.0.9"
        files[check.run.grade] = json.dumps(grade).encode()
        files[check.run.take] = files[check.run.take].replace(
            earlier.plain["program"].encode(), b"0.0.9"
        )
    plain = json.loads(files["result.json"])
    plain["program"] = "0.0.9"
    for item in plain["items"]:
        item["score"] += 2.0
        for mark in item["marks"]:
            if mark["asked"] == "score":
                mark["value"] += 2.0
    files["result.json"] = json.dumps(plain).encode()
    path = tmp_path / "earlier.zip"
    path.write_bytes(packed({name: data for name, data in files.items() if name != DIGESTS}))
    told = verify(path)
    assert told.wrong == ()
    assert told.version == "0.0.9"
    for check in told.runs:
        (one,) = check.differences
        assert one.what == "score.total"
        assert one.reported == pytest.approx(one.now + 2.0)
    monkeypatch.setattr(verifying, "program_version", lambda: "0.0.9")
    assert verify(path).wrong, "of this version it is told as not theirs"


def test_more_attempts_than_there_are_and_files_of_no_run(result: Path, tmp_path: Path) -> None:
    files = {name: data for name, data in read_result(result).files.items() if name != DIGESTS}
    plain = json.loads(files["result.json"])
    for number in (3, 4):
        plain["runs"].append({**plain["runs"][1], "number": number})
    files["result.json"] = json.dumps(plain).encode()
    assert found(tmp_path / "more.zip", packed(files))
    files["result.json"] = read_result(result).files["result.json"]
    files["takes/07-a1.mid"] = files["takes/01-a1.mid"]
    (tmp_path / "no-run.zip").write_bytes(packed(files))
    assert verify(tmp_path / "no-run.zip").wrong == ("takes/07-a1.mid belongs to no run.",)


def test_a_take_that_cannot_be_graded_is_told_and_the_others_are_verified(
    result: Path, tmp_path: Path
) -> None:
    files = {**read_result(result).files, "takes/01-a1.mid": b"MThd and no more"}
    path = tmp_path / "ungraded.zip"
    path.write_bytes(packed(files))
    told = verify(path)
    assert any(line.startswith("item 1, attempt 1: ") for line in told.wrong)
    assert [check.graded is None for check in told.runs] == [True, False, False]


@pytest.mark.parametrize("many", [2, 2_000])
def test_runs_without_end_are_refused_before_any_is_graded(
    result: Path, tmp_path: Path, many: int
) -> None:
    files = dict(read_result(result).files)
    plain = json.loads(files["result.json"])
    plain["runs"] *= many
    path = tmp_path / "runs.zip"
    path.write_bytes(packed({**files, "result.json": json.dumps(plain).encode()}))
    with pytest.raises(UserError) as told:
        verify(path)
    (line,) = told.value.lines
    assert line.startswith(f"{path}: It tells of ")


def test_what_cannot_be_read_is_told_with_the_name_of_the_file(
    result: Path, tmp_path: Path
) -> None:
    for name, words in (("assessment.toml", "The assessment"), ("grades/01-a1.json", "no grade")):
        path = tmp_path / "odd.zip"
        path.write_bytes(packed({**read_result(result).files, name: b"[" * 100_000}))
        with pytest.raises(UserError) as told:
            verify(path)
        (line,) = told.value.lines
        assert line.startswith(f"{path}: ")
        assert words in line


@pytest.mark.parametrize(
    "plain",
    [[], {}, {"format": 1}, {"format": 99}, {"format": "x"}, {"format": 1, "program": 3}],
)
def test_a_result_json_that_means_nothing_is_told_in_a_line(
    result: Path, tmp_path: Path, plain: object
) -> None:
    files = {**read_result(result).files, "result.json": json.dumps(plain).encode()}
    path = tmp_path / "odd.zip"
    path.write_bytes(packed(files))
    with pytest.raises(UserError) as told:
        verify(path)
    assert len(told.value.lines) == 1
