"""Assessments from files: those that come with the program, and a teacher's own."""

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from playalong.pattern.library.catalogue import key_of
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read as read_pattern
from playalong.practice.assessment.model import Assessment
from playalong.practice.assessment.reader import read
from playalong.records.pattern_files import library, read_text
from playalong.support import resources
from playalong.support.errors import UserError
from playalong.support.reading import is_file
from playalong.support.text import quoted


@dataclass(frozen=True, slots=True)
class AssessmentFile:
    """An assessment, the text it was read from, and where that lies."""

    assessment: Assessment
    text: str
    path: Path


def shipped() -> dict[str, Path]:
    """The assessments that come with the program, by name."""
    files = (resources.folder("patterns") / "assessments").glob("*.toml")
    return {path.stem: path for path in sorted(files)}


def load_assessment(name: str) -> AssessmentFile:
    """The assessment in a file, if ``name`` looks like one, else the shipped one of that name.

    UserError where there is none, or where it is not written right.
    """
    path = Path(name)
    if path.suffix != ".toml" and not is_file(path):
        path = _shipped(name)
    text = read_text(path)
    return AssessmentFile(read_assessment(text, path), text, path)


def read_assessment(text: str, path: Path) -> Assessment:
    """The assessment in ``text``, which stands in the file at ``path``: its patterns may lie beside
    it. AssessmentError tells all that is wrong.
    """
    known = library()

    def find(name: str) -> Pattern:
        stem = name.removesuffix(".toml")
        beside = path.parent / f"{stem}.toml"
        if Path(stem).name == stem and is_file(beside) and beside != path:
            return read_pattern(read_text(beside), stem)
        return known.get(name)

    return read(text, path.name, find, is_beside=lambda name: (path.parent / name).is_file())


def _shipped(name: str) -> Path:
    known = shipped()
    by_key = {key_of(one): path for one, path in known.items()}
    found = by_key.get(key_of(name))
    if found is not None:
        return found
    near = get_close_matches(name, known, 3, 0.4) or list(known)
    listed = " or ".join(quoted(one) for one in near)
    raise UserError(f"There is no assessment {quoted(name)}: name a file, or {listed}.")
