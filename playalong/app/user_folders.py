"""Where a user's things are: settings and profiles in the config folder, takes in the data folder.

Trouble in reading or keeping them never stops a run: it is told, and the run goes on.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import platformdirs

from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.profile.profile import Profile
from playalong.records import profiles, settings
from playalong.records.settings import Settings
from playalong.support.errors import UserError

#: What a player is called who has not said otherwise.
SOMEBODY = "player"


@dataclass
class UserFolders:
    """The folders of one user; ``notices`` say what went wrong with what is kept in them."""

    config: Path
    data: Path
    notices: list[str] = field(default_factory=list)

    @classmethod
    def of_user(cls) -> "UserFolders":
        """The user's own folders on this system."""
        return cls(
            platformdirs.user_config_path("playalong"), platformdirs.user_data_path("playalong")
        )

    def settings(self) -> Settings:
        """What is remembered."""
        found, notice = settings.read(self.config)
        self._notice(notice)
        return found

    def remember(self, **changes: Any) -> None:
        """Remember these of the settings' fields; nothing is written where nothing is new."""
        found = self.settings()
        changed = replace(found, **changes)
        if changed == found:
            return
        try:
            self._notice(settings.write(self.config, changed))
        except UserError as error:
            self._notice(str(error))

    def level(self, player: str | None = None) -> Level:
        """How strict ``player`` is judged, by default the last one."""
        found = self.settings()
        return found.levels.get(player or found.player or SOMEBODY, DEFAULT_LEVEL)

    def remember_level(self, player: str, level: Level) -> None:
        """Judge ``player`` so from now on."""
        self.remember(levels={**self.settings().levels, player: level})

    def is_left_handed(self, player: str | None = None) -> bool:
        """Whether ``player``, by default the last one, leads with the left hand."""
        found = self.settings()
        return (player or found.player or SOMEBODY) in found.left_handed

    def remember_hand(self, player: str, left_handed: bool) -> None:
        """Which hand ``player`` leads with from now on."""
        others = [one for one in self.settings().left_handed if one != player]
        self.remember(left_handed=(*others, player) if left_handed else tuple(others))

    def profile(self, kit: str, who: str | None) -> Profile:
        """The profile of ``kit`` as ``who`` plays it, by default the last player."""
        player = who or self.settings().player or SOMEBODY
        found, notice = profiles.read(self.config, kit, player)
        self._notice(notice)
        return found if found.port else replace(found, port=kit)

    def keep(self, profile: Profile) -> bool:
        """Keep a profile; whether it is kept."""
        try:
            _, notice = profiles.write(self.config, profile)
        except UserError as error:
            self._notice(str(error))
            return False
        self._notice(notice)
        return True

    def _notice(self, words: str) -> None:
        if words and words not in self.notices:
            self.notices.append(words)
