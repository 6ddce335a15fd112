"""A class: who counts, who is missing, what most get wrong, who moved; and what is broken."""

import csv
import io
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from playalong.app.assessment.class_pages import class_pages, common_fault, terminal_lines
from playalong.app.assessment.classes import (
    CommonFault,
    Fault,
    as_csv,
    groups,
    missing,
    names_in,
    read_all,
    results_in,
    without_names,
)
from playalong.commands.main import main
from playalong.report.html import class_page
from playalong.support.errors import UserError
from tests.helpers.classes import played_class
from tests.helpers.result_changes import CHANGES, forged, result_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("class")
    for seed, who in enumerate(("Ines", "Tom", "=1+1")):
        result_of(made, who, ("beginner", "intermediate", "advanced")[seed], seed=seed)
    return made


def read_in(folder: Path):
    return [read.result for read in read_all(results_in(folder)) if read.result is not None]


def test_a_class_as_terminal_table_csv_and_page(folder: Path) -> None:
    (group,) = groups(read_in(folder))
    assert [one.player for one in group.latest] == ["=1+1", "Ines", "Tom"]
    assert missing(["Ines", "Ada"], group) == ["Ada"]
    lines = terminal_lines(group, ["Ines", "Ada"])
    assert lines[-1] == "Missing: Ada"
    rows = list(csv.DictReader(io.StringIO("\n".join(as_csv(group)))))
    assert [row["player"] for row in rows] == ["'=1+1", "Ines", "Tom"], "no cell is a formula"
    for row, one in zip(rows, group.latest, strict=True):
        assert float(row["score"]) == one.score
    page = class_page(class_pages([group], ["Ines", "Ada"], ["one thing"], shows_names=True))
    assert all(words in page for words in ("Ines", "=1+1", "Ada", "one thing"))


def test_without_names_nobody_is_named_anywhere(folder: Path, tmp_path, capsys) -> None:
    page, table, names = tmp_path / "c.html", tmp_path / "c.csv", tmp_path / "names.txt"
    names.write_text("Ines\nTom\nAda\n")
    options = ["--without-names", "--names", str(names), "--html", str(page), "--csv", str(table)]
    assert main(["class", str(folder), *options]) == 0
    told = capsys.readouterr().out + page.read_text() + table.read_text()
    assert "player 3" in told
    assert not any(name in told for name in ("Ines", "Tom", "Ada", "=1+1"))
    assert "1 of 3" in page.read_text(), "so many are missing"
    numbered, _ = without_names(read_in(folder))
    assert len({one.player for one in numbered}) == 3


@pytest.mark.skipif(os.name == "nt", reason="links and pipes of POSIX")
def test_broken_and_forged_ones_are_told_and_the_others_shown(
    folder: Path, tmp_path: Path, capsys
) -> None:
    for path in folder.glob("*.zip"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "broken.zip").write_bytes(b"PK nothing")
    (tmp_path / "link.zip").symlink_to("/etc/passwd")
    os.mkfifo(tmp_path / "pipe.zip")
    data, _, _ = forged(next(folder.glob("*Tom*")), CHANGES["a figure"], np.random.default_rng(1))
    next(tmp_path.glob("*Tom*")).write_bytes(data)
    names = tmp_path / "names.txt"
    names.write_text("# our class\nInes\n\nTom\nAda\n")
    assert names_in(names) == ["Ines", "Tom", "Ada"]
    assert main(["class", str(tmp_path), "--names", str(names)]) == 2
    ended = capsys.readouterr()
    assert "does not fit" in next(line for line in ended.out.splitlines() if "Tom" in line)
    assert "Missing: Ada" in ended.out
    assert "broken.zip" in ended.err
    assert "link.zip is a link" in ended.err
    assert "pipe.zip is no ordinary file" in ended.err
    assert "results in" in ended.err
    assert "Traceback" not in ended.err


def test_a_common_fault_is_told_with_its_place_in_the_bar() -> None:
    fault = Fault(
        item=0,
        code="stroke_late",
        voice="kick",
        limb="kick foot",
        places=((1, "a of 1"),),
        gain=3.0,
        text="The kick on the a of 1 comes late.",
    )
    what, told = common_fault(CommonFault(fault=fault, players=5, of=7), ["The groove"])
    assert what == "5 of 7 in item 1, The groove: a stroke that comes late, kick, on the a of 1."
    assert told == "One was told: The kick on the a of 1 comes late."
    anywhere = CommonFault(fault=replace(fault, places=()), players=5, of=7)
    assert common_fault(anywhere, ["The groove"])[0].endswith("kick, all over the bar.")


def test_what_most_have_comes_first_where_it_has_a_place(folder: Path) -> None:
    (group,) = groups(read_in(folder))
    uneven = Fault(item=0, code="uneven_time", voice="", limb="", places=(), gain=9.0, text="U")
    late = replace(uneven, code="stroke_late", voice="kick", places=((1, "3"),), gain=2.0, text="L")

    def first(*faults: tuple[Fault, ...]) -> str:
        latest = [replace(one, faults=own) for one, own in zip(group.latest, faults, strict=True)]
        return replace(group, latest=tuple(latest)).common()[0].fault.code

    assert len(group.latest) == 3
    assert first((uneven, late), (uneven, late), (uneven,)) == "stroke_late"
    four = replace(group, latest=(*group.latest, replace(group.latest[0], player="Kim")))
    group = four
    assert first((uneven, late), (uneven, late), (uneven,), ()) == "uneven_time"


def test_a_folder_without_results_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no result in the folder"):
        results_in(tmp_path)
    with pytest.raises(UserError, match="is no folder"):
        results_in(tmp_path / "none")


def test_two_assessments_are_two_groups(folder: Path, tmp_path: Path) -> None:
    for path in folder.glob("*.zip"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    other = 'title = "Another"\nminutes = 5\n[[item]]\npattern = "boots-by-the-door"\nbars = 2\n'
    result_of(tmp_path, "Ines", "advanced", seed=9, text=other)
    found = groups(read_in(tmp_path))
    assert [(group.title, len(group.latest)) for group in found] == [
        ("A short one", 3),
        ("Another", 1),
    ]


def test_a_simulated_class_in_its_order_with_the_fault_that_was_put_in() -> None:
    """A sample; ``python -m tests.long classes`` takes 20 classes of 30 players."""
    found = played_class(seed=1, size=10)
    assert found.rank_correlation >= 0.85
    assert found.is_found, found.common
    assert found.players_with_it > found.size / 2
