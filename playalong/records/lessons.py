"""Lessons: how far practice of each pattern has come, one JSON file for each."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from playalong.support.errors import UserError
from playalong.support.files import FileError, set_aside, write_file


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
        try:
            aside = set_aside(path)
        except OSError:
            return None, f"What was kept in {path} cannot be read; the lesson starts anew."
        return None, f"What was kept cannot be read and was set aside: {aside}"


def write(folder: Path, pattern: str, plain: Mapping[str, Any]) -> Path:
    """Keep the lesson; LessonError when the folder cannot be written."""
    path = folder / f"{pattern}.json"
    try:
        write_file(path, json.dumps(plain, indent=1))
    except FileError as error:
        raise LessonError(f"The lesson cannot be kept in {folder} ({error.reason}).") from None
    return path
