"""The player's own strokes, as a small TOML file: for each voice the velocities of each dynamic.

[snare]
ghost  = [22, 25, 24, 28]
normal = [70, 78, 74, 81]
accent = [110, 118, 115, 121]
"""

import tomllib
from pathlib import Path

from playalong.pattern.kit import BY_NAME
from playalong.pattern.model import Dynamic
from playalong.plain import PlainError


def read(path: Path) -> dict[str, dict[Dynamic, list[float]]]:
    """The strokes in the file at ``path``; PlainError says what is wrong with it."""
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise PlainError(f"{path} cannot be read: {error.strerror}.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise PlainError(f"{path} is not written right: {error}.") from None
    found: dict[str, dict[Dynamic, list[float]]] = {}
    for voice, groups in tables.items():
        if voice not in BY_NAME or not isinstance(groups, dict):
            raise PlainError(
                f'{path}: "{voice}" is no voice; write a table like [snare] for one of '
                f"{', '.join(BY_NAME)}."
            )
        for dynamic, velocities in groups.items():
            found.setdefault(voice, {})[_dynamic(path, voice, dynamic)] = _checked(
                path, f"{voice}, {dynamic}", velocities
            )
    if not found:
        raise PlainError(f"{path} holds no strokes: write a table like [snare] for each voice.")
    return found


def _dynamic(path: Path, voice: str, name: str) -> Dynamic:
    try:
        return Dynamic(name)
    except ValueError:
        raise PlainError(
            f'{path}, {voice}: "{name}" is no dynamic; write {", ".join(Dynamic)}.'
        ) from None


def _checked(path: Path, where: str, velocities: object) -> list[float]:
    fitting = isinstance(velocities, list) and all(
        type(v) in (int, float) and 1 <= v <= 127 for v in velocities
    )
    if not isinstance(velocities, list) or not fitting or len(velocities) < 3:
        raise PlainError(
            f"{path}, {where}: write at least three velocities from 1 to 127, as in [22, 25, 24]."
        )
    return [float(v) for v in velocities]
