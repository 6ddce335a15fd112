"""A profile as a file: written for a person to edit, and taken again as it was edited."""

from pathlib import Path

from playalong.app.stored_runs import NOBODY
from playalong.app.user_folders import UserFolders
from playalong.profile.profile import Profile
from playalong.records import profiles
from playalong.records.pattern_files import read_text
from playalong.support.errors import UserError
from playalong.support.files import write_file
from playalong.support.text import quoted


def take_profile(home: UserFolders, path: Path) -> Profile:
    """Keep the profile in the file at ``path``, comments and all; UserError tells every mistake.

    It is that of the kit and the player that it names.
    """
    text = read_text(path)
    profile = profiles.from_text(text, str(path))
    if not profile.kit or not profile.player:
        raise UserError(f'{path} names no kit, or no player: write both, as in kit = "my kit".')
    if not home.keep(profile, text):
        raise UserError.of(["The profile is not kept.", *home.notices])
    return profile


def save_profile(home: UserFolders, who: str | None, path: Path) -> None:
    """Write the profile of the last kit, as ``who`` plays it (by default the last player)."""
    last = home.settings()
    player = who or last.player or NOBODY
    kits = home.kits(player)
    kit = last.kit if last.kit in kits or not kits else kits[0]
    text = home.profile_text(kit, player)
    if text is None:
        raise UserError(
            f"There is no profile of {quoted(player)} yet: playalong kit learns the kit."
        )
    if path.exists():
        raise UserError(f"{path} is there already: name a new file, so that nothing is lost.")
    write_file(path, text)
