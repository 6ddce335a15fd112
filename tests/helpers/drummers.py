"""Takes by drummers, in a folder that PLAYALONG_TAKES names: takes.csv, and the files it lists.

None of them is in the project: data to check with, by people who never saw the program.
"""

import csv
import os
from dataclasses import dataclass
from pathlib import Path

VARIABLE = "PLAYALONG_TAKES"


@dataclass(frozen=True, kw_only=True)
class DrummerTake:
    """A take to a metronome: second 0 of the file is the start of bar 1."""

    path: Path
    drummer: str
    style: str
    tempo_bpm: float
    meter: str
    length_s: float


def takes_folder() -> Path | None:
    """The folder with takes.csv, or None if the variable is not set.

    Raises FileNotFoundError if it is set to a folder without one: a check that somebody asked for
    is not left out in silence.
    """
    named = os.environ.get(VARIABLE)
    if not named:
        return None
    folder = Path(named)
    if not (folder / "takes.csv").is_file():
        raise FileNotFoundError(f"{VARIABLE} names {folder}, where there is no takes.csv")
    return folder


def drummer_takes(folder: Path) -> list[DrummerTake]:
    """The takes that takes.csv lists, in its order."""
    with (folder / "takes.csv").open(encoding="utf-8", newline="") as file:
        return [
            DrummerTake(
                path=folder / row["file"],
                drummer=row["drummer"],
                style=row["style"],
                tempo_bpm=float(row["bpm"]),
                meter=row["time_signature"].replace("-", "/"),
                length_s=float(row["duration_s"]),
            )
            for row in csv.DictReader(file)
        ]
