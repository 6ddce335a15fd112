"""What assessments leave of a player in the data folder: results, remarks, reports, sittings."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from playalong.records import takes
from playalong.records.assessments.remark_files import remark_path
from playalong.records.assessments.results import ASSESSMENT, RESULT, plain_of, read_result
from playalong.records.assessments.sittings import SittingFolder
from playalong.support.errors import UserError

#: Where results and sittings are, below the data folder.
RESULTS, SITTINGS = "results", "sittings"


def assessments_of(data: Path, name: str, is_simulated: bool) -> Iterator[Path]:
    """The files below ``data`` that assessments have left of the player ``name``.

    Somebody simulated plays in a name of its own, or in any other: both are ``name``.
    """
    for path in sorted((data / RESULTS).glob("*.zip")):
        try:
            plain = plain_of(read_result(path).files[RESULT])
        except UserError:
            continue
        simulated = plain.get("simulated")
        names = [plain.get("player"), *([_skill(simulated)] if is_simulated else [])]
        if name in names and (simulated is not None) is is_simulated:
            beside = (path, remark_path(path), path.with_suffix(".html"))
            yield from (one for one in beside if one.is_file())
    for text in sorted((data / SITTINGS).glob(f"*/{ASSESSMENT}")):
        try:
            written = text.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            continue
        own = SittingFolder.of(data / SITTINGS, written, name, is_simulated=is_simulated)
        files = [one for one in sorted(text.parent.rglob("*")) if one.is_file()]
        if own.path == text.parent or (is_simulated and name in _skills(files)):
            yield from files


def _skill(simulated: Any) -> str | None:
    """The name of a simulated player in what a result or a take says."""
    return simulated.get("skill") if isinstance(simulated, Mapping) else None


def _skills(files: Iterable[Path]) -> set[str | None]:
    """The simulated players in the takes among ``files``."""
    found = set()
    for path in files:
        if path.suffix == ".mid":
            with suppress(UserError):
                found.add(_skill(takes.read(path).info.get("simulated")))
    return found


def leave_folders(files: Iterable[Path]) -> None:
    """Take away the folders of sittings in which nothing is left."""
    for folder in {path.parent for path in files if SITTINGS in path.parts}:
        for one in (folder, folder.parent):
            with suppress(OSError):
                one.rmdir()
