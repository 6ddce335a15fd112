"""What assessments leave of a player in the data folder: results, remarks, reports, sittings."""

from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from playalong.records.assessments.remark_files import remark_path
from playalong.records.assessments.results import ASSESSMENT, RESULT, plain_of, read_result
from playalong.records.assessments.sittings import SittingFolder
from playalong.support.errors import UserError

#: Where results and sittings are, below the data folder.
RESULTS, SITTINGS = "results", "sittings"


def assessments_of(data: Path, name: str, is_simulated: bool) -> Iterator[Path]:
    """The files below ``data`` that assessments have left of the player ``name``."""
    for path in sorted((data / RESULTS).glob("*.zip")):
        try:
            plain = plain_of(read_result(path).files[RESULT])
        except UserError:
            continue
        simulated = plain.get("simulated") is not None
        if plain.get("player") == name and simulated is is_simulated:
            beside = (path, remark_path(path), path.with_suffix(".html"))
            yield from (one for one in beside if one.is_file())
    for text in sorted((data / SITTINGS).glob(f"*/{ASSESSMENT}")):
        try:
            written = text.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            continue
        own = SittingFolder.of(data / SITTINGS, written, name, is_simulated=is_simulated)
        if own.path == text.parent:
            yield from (one for one in sorted(own.path.rglob("*")) if one.is_file())


def leave_folders(files: Iterable[Path]) -> None:
    """Take away the folders of sittings in which nothing is left."""
    for folder in {path.parent for path in files if SITTINGS in path.parts}:
        for one in (folder, folder.parent):
            with suppress(OSError):
                one.rmdir()
