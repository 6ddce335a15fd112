"""TOML files that a person may edit, kept by the program: what the person added stays, and a file
with mistakes is never lost but set aside under another name.
"""

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from playalong.records.tables import TomlError
from playalong.support.files import FileError, set_aside, write_file
from playalong.support.text import printable

T = TypeVar("T")


def read_or_set_aside(path: Path, read: Callable[[Path], T]) -> tuple[T | None, str]:
    """What ``read`` gives of the file at ``path``, None for nothing, and a word on trouble.

    A file with mistakes is set aside under another name, never overwritten.
    """
    try:
        return read(path), ""
    except FileNotFoundError:
        return None, ""
    except OSError as error:
        return None, f"{printable(str(path))} cannot be read ({error.strerror or error})."
    except TomlError as mistakes:
        try:
            return None, _set_aside(path, mistakes)
        except OSError as error:
            return None, f"{mistakes}\nIt cannot be set aside ({error.strerror or error})."


def _set_aside(path: Path, mistakes: TomlError) -> str:
    """Move the file at ``path`` out of the way, and say so; OSError if that fails."""
    aside = set_aside(path)
    name = printable(str(aside))
    return f"{mistakes}\nThe file was set aside as {name}: mend it, and give it its name again."


def write(path: Path, plain: Mapping[str, Any], template: str, read: Callable[[Path], T]) -> str:
    """Write ``plain`` to ``path`` at once or not at all; TomlError where it cannot be written.

    A file that is there, and that ``read`` finds right, keeps its order and its comments; a new
    one, and a table that it lacks, are as in ``template``. Returns a word on trouble: one with
    mistakes is set aside.
    """
    import tomlkit  # only where something is written: reading need not wait for it

    told = ""
    try:
        try:
            read(path)
            document = tomlkit.parse(path.read_text(encoding="utf-8").removeprefix("\ufeff"))
        except FileNotFoundError:
            document = tomlkit.document()
        except TomlError as mistakes:
            told = _set_aside(path, mistakes)
            document = tomlkit.document()
        text = _renewed(document, plain, template)
        is_new = text is None
        if text is None:
            text = _renewed(tomlkit.document(), plain, template)
        if text is None:
            raise TomlError(f"{path} cannot be written: what is to be kept is no TOML.")
        data = text.encode()
        if is_new:
            told = f"{printable(str(path))} is written so that it cannot take what is new: it was "
            told += f"set aside as {printable(str(_replace(path, data)))}."
        else:
            write_file(path, data)
    except FileError as error:
        raise TomlError(*error.lines) from None
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise TomlError(f"{path} cannot be written ({reason}).") from None
    return told


def _replace(path: Path, data: bytes) -> Path:
    """Write ``data`` to ``path``, and set aside what was there; where that is now."""
    aside = set_aside(path)
    try:
        write_file(path, data)
    except FileError:
        aside.replace(path)
        raise
    return aside


def _renewed(document: Any, plain: Mapping[str, Any], template: str) -> str | None:
    """The text of ``document`` once it says ``plain``; None where it would not say that."""
    import tomlkit

    try:
        fresh = tomlkit.parse(template)
        if not document:
            document = fresh
        for key, value in fresh.items():
            if key not in document:
                document.add(key, value)
        _renew(document, plain)
        text = tomlkit.dumps(document)
        return text if tomllib.loads(text) == plain else None
    except (ValueError, TypeError, KeyError):  # a way of writing that does not take what is new
        return None


def _renew(table: Any, plain: Mapping[str, Any]) -> None:
    """Make ``table`` say what ``plain`` says, touching nothing that it says already."""
    for key in [key for key in table if key not in plain]:
        del table[key]
    for key, value in plain.items():
        if isinstance(value, Mapping) and isinstance(table.get(key), Mapping):
            _renew(table[key], value)
        elif key not in table or table[key] != value:
            table[key] = _spaced(value) if isinstance(value, Mapping) else value


def _spaced(plain: Mapping[str, Any]) -> Any:
    """A new table, with a blank line after it."""
    import tomlkit

    table = tomlkit.table()
    table.update(plain)
    return table.add(tomlkit.nl())
