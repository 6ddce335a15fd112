"""The player's own strokes, as ``--strokes FILE`` names them: a profile, or a small TOML file with
for each voice the velocities of each dynamic.

[snare]
ghost  = [22, 25, 24, 28]
normal = [70, 78, 74, 81]
accent = [110, 118, 115, 121]
"""

from pathlib import Path

from playalong.grading.bands_from_strokes import Strokes
from playalong.records.profiles import read_file, read_strokes
from playalong.records.tables import Tables
from playalong.support.errors import UserError


def read(path: Path) -> Strokes:
    """The strokes in the file at ``path``; UserError says what is wrong with it."""
    try:
        tables = Tables(path)
        if "strokes" in tables.table():
            found: Strokes = read_file(path).strokes
        else:
            found = read_strokes(tables, ())
            tables.done()
    except OSError as error:
        raise UserError(f"{path} cannot be read: {error.strerror}.") from None
    if not found:
        raise UserError(f"{path} holds no strokes: write a table like [snare] for each voice.")
    return found
