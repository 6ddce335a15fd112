"""A store with runs of a made-up player, for tests of the history."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import Result

PATTERN = "0123456789abcdef"


def player(database: Database, name: str = "Ines") -> PlayerRow:
    """A player."""
    return players.player_of(database, name, datetime(2026, 1, 1).astimezone())


def kept_run(
    database: Database, who: PlayerRow, began: datetime, *, grade: Mapping[str, Any], **more: Any
) -> int:
    """A run that was played at ``began`` and came to ``grade``."""
    name = more.pop("pattern", "late-bus-home")
    knowledge.keep_pattern(
        database,
        fingerprint=f"{PATTERN}-{name}",
        name=name,
        title=name.replace("-", " ").title(),
        text="",
    )
    run = runs.begin(
        database,
        player=who.id,
        kit=None,
        pattern=f"{PATTERN}-{name}",
        kind=more.pop("kind", "play"),
        program="0.2.0",
        began=began,
        info={},
    )
    result = {"take": b"MThd", "seconds": 60.0, "grade": grade, **more}
    runs.keep(database, run, Result(**result))
    return run


def grade(score: float, tempo_bpm: float = 84.0, **more: Any) -> dict[str, Any]:
    """As much of a grade as the store looks at."""
    return {
        "score": {"total": score},
        "tempo_bpm": tempo_bpm,
        "bars": 8,
        "timing": {"sd_ms": 100.0 - score},
        "dynamics": {"ghost_contrast_db": {"snare": -score / 5.0}},
        "steadiness": {"residual_sd_ms": 10.0},
        "advice": "Play on.",
        **more,
    }
