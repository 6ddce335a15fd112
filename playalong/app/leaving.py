"""A player's data taken out as ordinary files, or erased: from the store and from every file."""

import json
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from playalong.app.memory import folders
from playalong.app.stored_runs import LESSON
from playalong.app.user_folders import UserFolders
from playalong.records import profiles, settings, takes
from playalong.records.assessments.traces import assessments_of, leave_folders
from playalong.records.store import erasing, exporting, players, run_file
from playalong.records.store.database import Database
from playalong.records.store.erasing import Traces
from playalong.records.store.exporting import Progress
from playalong.records.store.players import PlayerRow
from playalong.records.take_info import TakeInfo
from playalong.records.takes import TakeError
from playalong.support.errors import UserError
from playalong.support.files import write_file

#: What is written beside a take, behind its name.
_BESIDE = ("-grade.json", "-sheet.png", "-grade.png")


#: So many bytes are looked through at once.
_PORTION = 1 << 20


def export(
    home: UserFolders,
    database: Database,
    player: PlayerRow,
    *,
    folder: Path,
    progress: Progress = lambda _: None,
) -> int:
    """Write all that is kept of ``player`` into a new folder; the number of files.

    ``progress`` is told after each run how much of all is done, from 0 to 1.

    Results of assessments are files already: they are copied. UserError where it cannot be done.
    """
    count = len(exporting.export(database, player, folder, progress=progress))
    for path in assessments_of(home.data, player.name, home.simulated):
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError(f"{path} cannot be read ({error.strerror or error}).") from None
        write_file(folder / "assessments" / path.relative_to(home.data), data)
        count += 1
    return count


def folder_name(player: PlayerRow, now: datetime) -> str:
    """What a folder with the data of a player is called."""
    return f"playalong-{exporting.file_name(player.name)}-{now:%Y-%m-%d-%H%M%S}"


def traces_of(home: UserFolders, database: Database, player: PlayerRow) -> Traces:
    """What erasing would take away: from the store, and each file."""
    takes = [path for path in erasing.copies(database, player) if path.suffix == ".mid"]
    others = [beside for take in takes for beside in _beside(take)]
    names = [player.name, *players.names_before(database, player)]
    found = [path for name in names for path in _files(home, name)]
    return erasing.traces(database, player, [*others, *found])


def listed(player: PlayerRow, found: Traces) -> list[str]:
    """What erasing would take away, in lines: that is what is confirmed."""
    counts = ((found.runs, "run"), (found.lessons, "lesson"), (found.profiles, "profile"))
    kept = [f"{count} {what}{'' if count == 1 else 's'}" for count, what in counts]
    files = len(found.files)
    lines = [f"Of {player.name} there is in the store: {', '.join(kept)}; and level and settings."]
    if files:
        lines.append("1 file would go with it:" if files == 1 else f"{files} files would go too:")
    return [*lines, *(f"  {path}" for path in found.files)]


def erase(database: Database, player: PlayerRow, found: Traces) -> list[Path]:
    """Leave nothing of ``player`` in the store and in files; the files that stayed."""
    left = erasing.erase(database, player, found)
    for folder in {path.parent for path in found.files if LESSON in path.parent.name}:
        with suppress(OSError):  # something else is in it
            folder.rmdir()
    leave_folders(found.files)
    return left


def _files(home: UserFolders, name: str) -> Iterator[Path]:
    """Files of which the store does not know whose they are."""
    for path in home.data.glob("takes/**/*.mid"):
        if _player_of(path) == name and _is_simulated(path) is home.simulated:
            yield path
            yield from _beside(path)
    yield from assessments_of(home.data, name, home.simulated)
    for path in home.data.glob(f"{home.memory.path.stem}-damaged-*"):
        if _holds(path, name):
            yield path
    for path in [*home.data.glob("mistakes/*"), *run_file.files(folders(home.data))]:
        if _holds(path, name):
            yield path
    kept = home.data / "set-aside"
    earlier = [] if home.simulated else profiles.earlier_files(home.config)
    for path in [*earlier, *kept.glob("*.toml*")]:
        names = profiles.names_in(path)
        if names is not None and names[1] == name:
            yield path
    remembered = settings.earlier_file(home.config)
    for path in [] if home.simulated else home.config.glob(f"{remembered.name}*"):
        if _holds(path, name):  # the store has what it says of others
            yield path


def _beside(take: Path) -> list[Path]:
    return [take.with_name(take.stem + more) for more in _BESIDE]


def _said(path: Path) -> TakeInfo:
    try:
        return TakeInfo.from_plain(takes.read(path).info)
    except TakeError:
        return TakeInfo()


def _player_of(path: Path) -> str:
    said = _said(path)
    return said.player if said.simulated is None else said.simulated.skill


def _is_simulated(path: Path) -> bool:
    return _said(path).simulated is not None


def _holds(path: Path, name: str) -> bool:
    """Whether a name stands in a file, as it is or as JSON writes it."""
    spellings = name.encode(errors="replace"), json.dumps(name)[1:-1].encode()
    longest = max(map(len, spellings))
    try:
        with path.open("rb") as file:
            end = b""
            while portion := file.read(_PORTION):
                if any(spelling in end + portion for spelling in spellings):
                    return True
                end = portion[-longest:]
    except OSError:
        return False
    return False
