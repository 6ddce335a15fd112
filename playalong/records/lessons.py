"""Lessons: how far practice of each pattern has come, one JSON file for each."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from playalong.support.errors import UserError


class LessonError(UserError):
    """A lesson that cannot be kept."""


def read(folder: Path, pattern: str) -> tuple[Any, str]:
    """What was kept of the lesson on ``pattern``, None for nothing, and a word on trouble.

    A file that cannot be read is set aside under another name, never overwritten.
    """
    path = folder / f"{pattern}.json"
    try:
        return json.loads(path.read_text(encoding="utf-8")), ""
    except FileNotFoundError:
        return None, ""
    except (OSError, ValueError, RecursionError):
        aside = path.with_suffix(".broken.json")
        try:
            path.replace(aside)
        except OSError:
            return None, f"What was kept in {path} cannot be read; the lesson starts anew."
        return None, f"What was kept cannot be read and was set aside: {aside}"


def write(folder: Path, pattern: str, plain: Mapping[str, Any]) -> Path:
    """Keep the lesson; LessonError when the folder cannot be written."""
    path = folder / f"{pattern}.json"
    draft = path.with_suffix(".part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        draft.write_text(json.dumps(plain, indent=1), encoding="utf-8")
        draft.replace(path)
    except OSError as error:
        raise LessonError(
            f"The lesson cannot be kept in {folder} ({error.strerror or error})."
        ) from None
    return path
