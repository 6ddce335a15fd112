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
from playalong.support.reading import telling


def read(path: Path) -> Strokes:
    """The strokes in the file at ``path``; UserError says what is wrong with it."""
    with telling(path):
        tables = Tables(path)
        if "strokes" in tables.table():
            found: Strokes = read_file(path).strokes
        else:
            found = read_strokes(tables, ())
            tables.done()
    if not found:
        raise UserError(f"{path} holds no strokes: write a table like [snare] for each voice.")
    return found
