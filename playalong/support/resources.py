"""Where the shipped patterns and assets lie: inside the wheel, or beside a checkout."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent


def folder(name: str) -> Path:
    """The shipped folder ``name`` ("patterns" or "assets")."""
    inside = _PACKAGE / "_shipped" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
