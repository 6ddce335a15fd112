"""Where what is played is kept."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Parser

if TYPE_CHECKING:
    from playalong.app.user_folders import UserFolders


class FolderOption(Protocol):
    """Where what is played is kept, None for the user's own folder."""

    out: Path | None


def add_folder(parser: Parser, what: str) -> None:
    """Add where ``what`` is kept."""
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FOLDER",
        help=f"where {what} kept (default your own folder of playalong)",
    )


def user_folders() -> "UserFolders":
    """The user's own folders."""
    from playalong.app.user_folders import UserFolders

    return UserFolders.of_user()
