"""Which recordings were played along with, so that they can be chosen again in the window."""

from pathlib import Path

from playalong.app.user_folders import UserFolders

#: So many are remembered, the last first.
RECENT = 8

_KEY = "recordings"


def remembered(home: UserFolders) -> list[Path]:
    """The files, whether they are there or not, the last first."""
    stored = home.settings_of(None).get(_KEY)
    return [Path(one) for one in stored if isinstance(one, str)] if isinstance(stored, list) else []


def remember(home: UserFolders, path: Path) -> None:
    """This one was the last."""
    try:
        whole = path.resolve()
    except (OSError, RuntimeError):
        return
    before = [one for one in remembered(home) if one != whole]
    home.remember_for(None, **{_KEY: [str(one) for one in [whole, *before]][:RECENT]})
