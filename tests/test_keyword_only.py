"""Three positions at most: further fields of a record, and of a helper in a test, go by name.

Functions of the product are held by ruff (PLR0917); what ruff does not know is held here.
"""

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

_MOST = 3
#: Where statements stand within a statement.
_PARTS = ("body", "orelse", "finalbody", "handlers", "cases")
_HOME = Path(__file__).resolve().parent.parent
_FILES = sorted((*_HOME.glob("playalong/**/*.py"), *_HOME.glob("tests/**/*.py")))


def _decorators(node: ast.ClassDef | ast.FunctionDef) -> str:
    return " ".join(ast.unparse(decorator) for decorator in node.decorator_list)


def _positions(record: ast.ClassDef) -> int:
    """How many fields of a dataclass or a named tuple can be given by their place."""
    if "kw_only=True" in _decorators(record):
        return 0
    number = 0
    for line in record.body:
        kind = ast.unparse(line.annotation) if isinstance(line, ast.AnnAssign) else ""
        if "KW_ONLY" in kind:
            break
        own = ast.unparse(line.value) if isinstance(line, ast.AnnAssign) and line.value else ""
        number += bool(kind) and "ClassVar" not in kind and "init=False" not in own
    return number


def _definitions(body: Iterable[ast.AST]) -> Iterator[ast.ClassDef | ast.FunctionDef]:
    """All that is defined in ``body``, however deep: statements alone, since no expression
    defines a class or a function with a name."""
    for node in body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            yield node
        for part in _PARTS:
            yield from _definitions(getattr(node, part, ()))


def _records(nodes: Iterable[ast.AST]) -> Iterator[ast.ClassDef]:
    for node in nodes:
        if isinstance(node, ast.ClassDef):
            named = any("NamedTuple" in ast.unparse(base) for base in node.bases)
            if named or "dataclass" in _decorators(node):
                yield node


def _helpers(nodes: Iterable[ast.AST]) -> Iterator[ast.FunctionDef]:
    """Functions that tests call; pytest and hypothesis give the others their fields by name."""
    for node in nodes:
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("test_"):
            continue
        if "fixture" not in _decorators(node):
            yield node


def crowded(text: str, is_test: bool) -> list[str]:
    """What in ``text`` takes more than three fields by their place."""
    defined = list(_definitions(ast.parse(text).body))
    found = [record.name for record in _records(defined) if _positions(record) > _MOST]
    if is_test:
        found += [
            helper.name
            for helper in _helpers(defined)
            if len([one for one in helper.args.args if one.arg not in ("self", "cls")]) > _MOST
        ]
    return found


def test_records_and_helpers_take_three_fields_by_place_at_most():
    found = {
        str(path.relative_to(_HOME)): names
        for path in _FILES
        if (names := crowded(path.read_text(encoding="utf-8"), path.name.startswith("test_")))
    }
    assert not found


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("@dataclass\nclass A:\n a: int\n b: int\n c: int\n d: int\n", ["A"]),
        ("@dataclass(frozen=True)\nclass A:\n a: int\n b: int\n c: int\n d: int = 1\n", ["A"]),
        ("class A(NamedTuple):\n a: int\n b: int\n c: int\n d: int\n", ["A"]),
        ("@dataclass(kw_only=True)\nclass A:\n a: int\n b: int\n c: int\n d: int\n", []),
        ("@dataclass\nclass A:\n a: int\n b: int\n c: int\n _: KW_ONLY\n d: int\n", []),
        ("@dataclass\nclass A:\n a: int\n b: int\n c: int\n d: ClassVar[int] = 1\n", []),
        ("def made(a, b, c, d): ...\n", ["made"]),
        ("def made(a, b, c, *, d): ...\n", []),
        ("def test_it(a, b, c, d): ...\n", []),
        ("class A:\n def made(self, a, b, c): ...\n", []),
    ],
)
def test_it_is_found(text: str, names: list[str]):
    assert crowded(text, is_test=True) == names
