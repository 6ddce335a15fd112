"""The house: how large a folder may be, that nothing goes in a circle, and what one place knows."""

import ast
import re
from pathlib import Path

import pytest

_HOME = Path(__file__).resolve().parent.parent
_HOUSE = _HOME / "playalong"
_FOLDERS = sorted(path for path in _HOUSE.rglob("*") if path.is_dir() and any(path.glob("*.py")))
_MODULES = {
    ".".join(path.relative_to(_HOME).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(_HOUSE.rglob("*.py"))
}

#: The most modules of a folder; a command is a module, however many there are.
_MOST = 12

#: A status byte of MIDI as it is written: kinds from note-off on, with any channel.
_STATUS_BYTE = re.compile(r"\b0x(?:[89A-E][0-9A-F]|F0|F7|FE)\b", re.IGNORECASE)


@pytest.mark.parametrize("folder", [_HOUSE, *_FOLDERS], ids=lambda one: one.name)
def test_a_folder_holds_twelve_modules_at_most(folder: Path) -> None:
    modules = [path.stem for path in folder.glob("*.py") if path.stem != "__init__"]
    if folder != _HOUSE / "commands":
        assert len(modules) <= _MOST, sorted(modules)


@pytest.mark.parametrize("folder", [_HOUSE, *_FOLDERS], ids=lambda one: one.name)
def test_no_prefix_stands_for_a_folder(folder: Path) -> None:
    """No three modules begin alike."""
    names = [path.stem for path in folder.glob("*.py") if path.stem != "__init__"]
    starts = [name.split("_")[0] for name in names if "_" in name.strip("_")]
    alike = {start for start in starts if starts.count(start) > 2}
    assert not alike, alike


def test_nothing_is_imported_in_a_circle() -> None:
    """Late imports counted; those for types alone are none."""
    leads_to = {name: _imported(path) - {name} for name, path in _MODULES.items()}
    while leads_to:
        ends = {name for name, others in leads_to.items() if not others & leads_to.keys()}
        assert ends, f"in a circle, or on the way to one: {sorted(leads_to)}"
        leads_to = {name: others for name, others in leads_to.items() if name not in ends}


def _imported(path: Path) -> set[str]:
    found = set()
    for node in _walked(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                name = f"{node.module}.{alias.name}"
                found.add(name if name in _MODULES else node.module)
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


def _walked(tree: ast.AST) -> list[ast.AST]:
    """All of a module but what stands under TYPE_CHECKING."""
    found = [tree]
    for node in ast.iter_child_nodes(tree):
        if not (isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"):
            found += _walked(node)
    return found


def test_one_place_knows_a_status_byte() -> None:
    knowing = {
        name for name, path in _MODULES.items() if _STATUS_BYTE.search(path.read_text("utf-8"))
    }
    assert knowing == {"playalong.midi.messages"}
