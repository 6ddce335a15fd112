"""A player's data taken out as ordinary files, or erased: from the store and from every file."""

import json
from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from playalong.app.stored_runs import LESSON
from playalong.app.user_folders import UserFolders
from playalong.records import profiles, settings, takes
from playalong.records.assessments.traces import assessments_of, leave_folders
from playalong.records.store import erasing, exporting, players
from playalong.records.store.database import Database
from playalong.records.store.erasing import Traces
from playalong.records.store.exporting import Progress
from playalong.records.store.meanwhile import changes, run_file
from playalong.records.store.meanwhile.run_file import folders
from playalong.records.store.players import PlayerRow
from playalong.records.take_info import TakeInfo
from playalong.records.takes import TakeError
from playalong.support.files import short_name

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

    Results of assessments are files already: they are copied. UserError where it cannot be done;
    until it is done there is nothing in the folder.
    """
    also = {
        f"assessments/{path.relative_to(home.data).as_posix()}": path
        for path in assessments_of(home.data, player.name, home.simulated)
    }
    return exporting.export(database, player, folder, also=also, progress=progress)


def folder_name(player: PlayerRow, now: datetime) -> str:
    """What a folder with the data of a player is called."""
    return f"playalong-{exporting.file_name(player.name)}-{now:%Y-%m-%d-%H%M%S}"


def traces_of(home: UserFolders, database: Database, player: PlayerRow) -> Traces:
    """What erasing would take away: from the store, and each file."""
    takes = [path for path in erasing.copies(database, player) if path.suffix == ".mid"]
    others = [beside for take in takes for beside in _beside(take)]
    names = [player.name, *players.names_before(database, player)]
    known = erasing.takes_of_all(database)
    found = [path for name in names for path in _files(home, name, known)]
    return erasing.traces(database, player, [*others, *found])


def listed(player: PlayerRow, found: Traces) -> list[str]:
    """What erasing would take away, in lines: that is what is confirmed."""
    counts = ((found.runs, "run"), (found.lessons, "lesson"), (found.profiles, "profile"))
    parts = [f"{count} {what}{'' if count == 1 else 's'}" for count, what in counts]
    files = len(found.files)
    lines = [f"Of {player.name} there is in the store: {', '.join(parts)}; and level and settings."]
    if files:
        lines.append("1 file would go with it:" if files == 1 else f"{files} files would go too:")
    return [*lines, *(f"  {path}" for path in found.files)]


def erase(database: Database, player: PlayerRow, found: Traces) -> list[Path]:
    """Leave nothing of ``player`` in the store and in files; the files that stayed."""
    left = erasing.erase(database, player, found)
    _leave_folders(found)
    return left


def in_name(home: UserFolders, name: str) -> list[Path]:
    """The files of assessments in the ``name`` of somebody whom the store does not know: a
    simulated player takes them in any name.
    """
    return list(assessments_of(home.data, name, home.simulated))


def erase_files(files: Sequence[Path]) -> list[Path]:
    """Leave nothing of ``files``, of which the store knows nothing; those that stayed."""
    left = erasing.erase_files(files)
    leave_folders(files)
    return left


def _leave_folders(found: Traces) -> None:
    for folder in {path.parent for path in found.files if LESSON in path.parent.name}:
        with suppress(OSError):  # something else is in it
            folder.rmdir()
    leave_folders(found.files)


def _files(home: UserFolders, name: str, known: Collection[Path]) -> Iterator[Path]:
    """Files of which the store does not know whose they are; of the takes in ``known`` it does."""
    for path in home.data.glob("takes/**/*.mid"):
        if path not in known and _is_take_of(path, name, home.simulated):
            yield path
            yield from _beside(path)
    yield from assessments_of(home.data, name, home.simulated)
    for path in home.data.glob(f"{home.memory.path.stem}-damaged-*"):
        if _holds(path, name):
            yield path
    waiting = [*run_file.files(folders(home.data)), *changes.files(home.memory.path)]
    for path in [*home.data.glob("mistakes/*"), *waiting]:
        if _holds(path, name):
            yield path
    set_aside = home.data / "set-aside"
    earlier = [] if home.simulated else profiles.earlier_files(home.config)
    for path in [*earlier, *set_aside.glob("*.toml*")]:
        names = profiles.names_in(path)
        if names is not None and names[1] == name:
            yield path
    remembered = settings.earlier_file(home.config)
    for path in [] if home.simulated else home.config.glob(f"{remembered.name}*"):
        if _holds(path, name):  # the store has what it says of others
            yield path


def _beside(take: Path) -> list[Path]:
    return [take.with_name(short_name(take.stem + more)) for more in _BESIDE]


def _is_take_of(path: Path, name: str, is_simulated: bool) -> bool:
    try:
        said = TakeInfo.from_plain(takes.read(path).info)
    except TakeError:
        return False
    player = said.player if said.simulated is None else said.simulated.skill
    return player == name and (said.simulated is not None) is is_simulated


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
