"""Runs as the store keeps them: what a take says of itself, what its grade came to, and takes that
come from files.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.library.catalogue import Library
from playalong.pattern.model import Pattern
from playalong.records import takes
from playalong.records.lessons import text_of
from playalong.records.pattern_files import library
from playalong.records.store import imports, knowledge, players, runs
from playalong.records.store.database import Database
from playalong.records.store.meanwhile.run_file import FiledRun
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import Result, RunRow
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording
from playalong.support.errors import UserError
from playalong.support.reading import MOST_MIDI, read_bytes

if TYPE_CHECKING:
    from playalong.app.grade.take_grading import Graded

#: What a player is called whom nobody has named.
NOBODY = "player"

#: What stands in the name of a folder with the takes of a lesson.
LESSON = "-practice-"


def begin(database: Database, said: TakeInfo, kind: str, *, plain: Mapping[str, Any]) -> int:
    """A run that begins now; its number. ``plain`` is what its ``Recording`` says."""
    player = player_of(database, said)
    if said.pattern_id:
        _keep_pattern(database, said)
    return runs.begin(
        database,
        player=player.id,
        kit=said.kit or None,
        pattern=said.pattern_id or None,
        kind=kind,
        program=said.program,
        began=_date(said) or _now(),
        info=plain,
    )


@dataclass(frozen=True, kw_only=True)
class FiledTake:
    """A take in a file: its bytes, what it says of itself, and how long it is, in seconds."""

    path: Path
    data: bytes
    info: Mapping[str, Any]
    said: TakeInfo
    seconds: float

    @property
    def is_simulated(self) -> bool:
        """Whether a simulated player played it, whose runs are in a store of their own."""
        return self.said.simulated is not None


def read_take(path: Path) -> FiledTake | None:
    """The take at ``path``, None where it says nothing of itself: then it is not ours.

    TakeError where the file is none, OSError where it cannot be read.
    """
    data = read_bytes(path, MOST_MIDI)
    take = takes.from_bytes(data, path)
    if not take.info:
        return None
    said = TakeInfo.from_plain(take.info)
    seconds = take.messages[-1][0] if take.messages else 0.0
    return FiledTake(path=path, data=data, info=dict(take.info), said=said, seconds=seconds)


def take_in(database: Database, take: FiledTake) -> bool:
    """Take in a take, if it is new; whether it was. It is graded when it is asked for."""
    path, said = take.path, take.said
    with database.writing():
        if database.row("SELECT 1 FROM run WHERE file = ?", (str(path),)) is not None:
            return False
        player = player_of(database, said)
        with imports.taking_in(database, path, _now(), player=player.name) as is_new:
            if is_new:
                pattern = _keep_named(database, said)
                runs.take_in(
                    database,
                    player=player.id,
                    kit=said.kit or None,
                    pattern=pattern,
                    kind="lesson" if LESSON in path.parent.name else "play",
                    program=said.program,
                    began=_date(said) or datetime.fromtimestamp(path.stat().st_mtime).astimezone(),
                    info={"info": take.info},
                    take=take.data,
                    seconds=take.seconds,
                    file=str(path),
                )
    return is_new


def row_of(filed: FiledRun) -> RunRow:
    """A run that is in a file of its own, as a list shows it; its number is 0."""
    said = TakeInfo.from_plain(filed.info["info"])
    pattern = pattern_of(said)
    return RunRow(
        id=0,
        player=_name_of(said),
        kit=said.kit or None,
        pattern=said.pattern or None,
        title=pattern.title if pattern is not None else said.pattern or None,
        kind=filed.kind,
        program=said.program,
        began=_date(said) or datetime.fromtimestamp(filed.alive_s).astimezone(),
        seconds=None,
        state=runs.GOING,
        score=None,
        tempo_bpm=said.tempo_bpm,
        bars=said.bars,
        spread_ms=None,
        contrast_db=None,
        steadiness_ms=None,
        advice=None,
        file=str(filed.path),
    )


def player_of(database: Database, said: TakeInfo) -> PlayerRow:
    """Who played a take: a simulated player goes by the name of the skill."""
    return players.player_of(database, _name_of(said), _now())


def _name_of(said: TakeInfo) -> str:
    return (said.simulated.skill if said.simulated is not None else said.player) or NOBODY


def result_of(recording: Recording, graded: "Graded | None", file: Path | None) -> Result:
    """What a run came to, as the store keeps it."""
    return Result(
        take=recording.as_bytes(),
        seconds=recording.seconds,
        file=None if file is None else str(file),
        **grade_of(graded),
    )


def grade_of(graded: "Graded | None") -> dict[str, Any]:
    """The fields of a ``Result`` that a grade fills."""
    if graded is None:
        return {}
    grade = graded.as_json(with_hits=True)
    hits = grade.pop("hits")
    return {
        "grade": grade,
        "hits": hits,
        "findings": [_finding(one) for one in grade.get("findings", ())],
    }


def pattern_of(said: TakeInfo) -> Pattern | None:
    """The pattern of a take: its own text, or in takes of the first format the one of its name."""
    from playalong.app.grade.expected import own_pattern

    own = own_pattern(said)
    if own is not None or said.pattern_text or not said.pattern:
        return own
    try:
        return _library().get(said.pattern)
    except UserError:
        return None


@cache
def _library() -> Library:
    return library()


def _keep_named(database: Database, said: TakeInfo) -> str | None:
    """Keep the pattern of a take, whatever is known of it; its fingerprint, or what stands for it
    where a take of the first format gives a name alone.
    """
    if said.pattern_id:
        _keep_pattern(database, said)
        return said.pattern_id
    if not said.pattern:
        return None
    pattern = pattern_of(said)
    fingerprint = f"name {said.pattern}" if pattern is None else pattern_id(pattern)
    knowledge.keep_pattern(
        database,
        fingerprint=fingerprint,
        name=said.pattern,
        title=said.pattern if pattern is None else pattern.title,
        text="" if pattern is None else text_of(pattern),
    )
    return fingerprint


def _keep_pattern(database: Database, said: TakeInfo) -> None:
    knowledge.keep_pattern(
        database,
        fingerprint=said.pattern_id,
        name=said.pattern,
        title=_title_of(said.pattern, said.pattern_text),
        text=said.pattern_text,
    )


@lru_cache(maxsize=256)
def _title_of(name: str, text: str) -> str:
    """The title of a pattern: thousands of takes are of a few patterns."""
    from playalong.app.grade.expected import own_pattern

    pattern = own_pattern(TakeInfo(pattern=name, pattern_text=text))
    return name if pattern is None else pattern.title


def _date(said: TakeInfo) -> datetime | None:
    """When a take began, None where it does not say."""
    try:
        return datetime.fromisoformat(said.date).astimezone()
    except ValueError:
        return None


def _finding(plain: Mapping[str, Any]) -> runs.Finding:
    """A finding as it stands in the JSON of a grade."""
    return runs.Finding(
        code=plain["code"],
        voice=plain["voice"],
        limb=plain["limb"],
        places=plain["places"],
        n=plain["n"],
        of=plain["of"],
        value=plain["value"],
        unit=plain["unit"] or "",
        gain=plain["gain"],
        text=plain["text"],
    )


def _now() -> datetime:
    return datetime.now().astimezone()
