"""TOML texts that a person may edit, and that the program changes: what the person added stays."""

import tomllib
from collections.abc import Mapping
from typing import Any


def renewed(text: str | None, plain: Mapping[str, Any], template: str) -> str | None:
    """``text``, or a new one, made to say ``plain``; None where it cannot be made to.

    What is there keeps its order and its comments; a new text, and a table that is lacking, are as
    in ``template``.
    """
    import tomlkit  # only where something is written: reading need not wait for it

    try:
        fresh = tomlkit.parse(template)
        document: Any = tomlkit.parse((text or "").removeprefix("\ufeff"))
        if not document:
            document = fresh
        for key, value in fresh.items():
            if key not in document:
                document.add(key, value)
        _renew(document, plain)
        found = tomlkit.dumps(document)
        found.encode()  # some names hold what is no character
        return found if tomllib.loads(found) == plain else None
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
