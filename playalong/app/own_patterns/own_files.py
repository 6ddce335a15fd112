"""Files of a player's own patterns, and drafts of what is not saved yet.

A pattern is saved whole or not at all, and never over another. What a file of one's own said before
it was written anew is kept beside it, once, where the program could not have written it: it has
comments, or is set by hand. A draft is kept while a pattern is written, so that nothing is lost
when the program ends; it is gone once the pattern is saved, or thrown away.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from playalong.app.user_folders import UserFolders
from playalong.pattern.editing.changes import is_empty
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.writer import write
from playalong.records.pattern_files import read_text
from playalong.support.errors import UserError
from playalong.support.files import FileError, short_name, write_file, write_new_file

#: Below the data folder: where patterns are, and drafts.
OWN, DRAFTS = "patterns", "drafts"

#: The letters of a file's name.
_LONGEST = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftFile:
    """A draft: where it is, what it says, and of which own file it is, None for none."""

    path: Path
    pattern: Pattern
    of: Path | None = None


class OwnFiles:
    """The patterns of one user."""

    def __init__(self, home: UserFolders) -> None:
        self.folder, self._drafts = home.data / OWN, home.data / DRAFTS

    def files(self) -> list[Path]:
        """The files of one's own patterns, by name."""
        return sorted(self.folder.glob("*.toml")) if self.folder.is_dir() else []

    def file_of(self, pattern: Pattern) -> Path | None:
        """One's own file that holds just this pattern, None where there is none."""
        path = self.folder / f"{pattern.name}.toml"
        try:
            return (
                path
                if path in self.files() and read(read_text(path), path.stem) == pattern
                else None
            )
        except UserError:
            return None

    def save(self, pattern: Pattern, path: Path | None) -> tuple[Pattern, Path]:
        """Write a pattern over its own file at ``path``, or for None as a new one.

        The pattern as its file says it, and the file; FileError where it cannot be written.
        """
        text = write(pattern)
        if path is None:
            path = write_new_file(self.folder, f"{file_name(pattern.title)}.toml", text)
        else:
            _keep_beside(path, text)
            write_file(path, text)
        return replace(pattern, name=path.stem), path

    # Drafts.

    def keep_draft(self, pattern: Pattern, path: Path | None, of: Path | None) -> Path | None:
        """Keep what is not saved yet, at ``path`` or, for None, at a new one; None where nothing
        can be kept: there is no stroke, or the disk does not take it.
        """
        if is_empty(pattern):
            return path
        text = write(pattern)
        if of is not None:
            text = f"# {_OF}{of.name}\n{text}"
        try:
            if path is None:
                return write_new_file(self._drafts, f"{file_name(pattern.title)}.toml", text)
            write_file(path, text)
        except FileError:
            return path
        return path

    def drop_draft(self, path: Path | None) -> None:
        """Throw a draft away."""
        if path is not None:
            path.unlink(missing_ok=True)

    def drafts(self) -> list[DraftFile]:
        """Drafts that are left, the newest first; one that cannot be read is left out."""
        if not self._drafts.is_dir():
            return []
        paths = sorted(
            self._drafts.glob("*.toml"), key=lambda path: path.stat().st_mtime, reverse=True
        )
        return [draft for path in paths for draft in self._draft(path)]

    def _draft(self, path: Path) -> list[DraftFile]:
        try:
            text = read_text(path)
            pattern = read(text, path.stem)
        except UserError:
            return []
        first = text.partition("\n")[0]
        name = first.removeprefix(f"# {_OF}") if first.startswith(f"# {_OF}") else ""
        of = self.folder / name if name and "/" not in name and "\\" not in name else None
        return [DraftFile(path=path, pattern=pattern, of=of if of and of.is_file() else None)]


#: How a draft says of which file it is.
_OF = "a draft of "


def file_name(title: str) -> str:
    """A title as the name of a file: small letters and hyphens."""
    words = "".join(letter if letter.isalnum() else " " for letter in title.lower()).split()
    return short_name("-".join(words), _LONGEST) or "pattern"


def _keep_beside(path: Path, text: str) -> None:
    """Keep what a person wrote before it is written over, where nothing is kept yet."""
    try:
        before = read_text(path)
        is_ours = write(read(before, path.stem)) == before
    except UserError:
        is_ours = False
        before = path.read_text(encoding="utf-8", errors="replace") if path.is_file() else ""
    beside = path.with_name(f"{path.name}.before")
    if not is_ours and before and before != text and not beside.exists():
        write_file(beside, before)
