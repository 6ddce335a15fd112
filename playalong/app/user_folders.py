"""What is kept for a user: players with their level, hand, settings and profiles, in the store.

The store lies in the data folder; what earlier versions kept in files is taken in at the first
start. Trouble in reading or keeping never stops a run: it is told, and the run goes on.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import inf
from pathlib import Path
from typing import Any, TypeVar

from playalong.app import moving_in
from playalong.app.memory import Memory
from playalong.app.stored_runs import NOBODY
from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.profile.profile import Profile
from playalong.records import profiles, settings
from playalong.records.settings import Settings
from playalong.records.store import knowledge, players
from playalong.records.store.database import Database, StoreError
from playalong.records.store.meanwhile import changes
from playalong.records.store.meanwhile.changes import Change, Describe, Kind
from playalong.records.store.players import PlayerRow
from playalong.records.tables import TomlError
from playalong.support.errors import UserError
from playalong.support.files import write_new_file
from playalong.support.folders import user_config, user_data
from playalong.support.text import quoted

T = TypeVar("T")


@dataclass(kw_only=True)
class UserFolders:
    """What is kept for one user; ``notices`` say what went wrong with it.

    ``config`` is where earlier versions kept settings and profiles, ``data`` where the store and
    the takes are. Simulated players have a store of their own. More takes of earlier versions than
    ``most_at_once`` are not taken in on the way: ``are_takes_due`` then.
    """

    config: Path
    data: Path
    notices: list[str] = field(default_factory=list)
    simulated: bool = False
    most_at_once: float = inf
    are_takes_due: bool = False

    @classmethod
    def of_user(cls) -> "UserFolders":
        """The user's own folders on this system."""
        return cls(config=user_config(), data=user_data())

    @property
    def memory(self) -> Memory:
        """The store, for runs."""
        return Memory(folder=self.data, simulated=self.simulated)

    # Players.

    def players(self) -> list[PlayerRow]:
        """Everybody, by name."""
        return self._read(players.players, [])

    def player(self, name: str | None = None) -> PlayerRow | None:
        """The player ``name``, by default the last one; None where there is nobody."""
        if name is None:
            return self._read(players.last, None)
        return self._read(lambda database: players.find(database, name), None)

    def runs_of_everybody(self) -> Mapping[int, tuple[int, str]]:
        """How many runs each player has, by their id, and the day of the last one."""
        return self._read(players.runs_of_each, {}, of_runs=True)

    def add_player(self, name: str) -> PlayerRow:
        """Somebody new; UserError where the name is none or taken, or nothing can be kept."""
        found = players.checked(name)

        def describe(database: Database) -> list[Change]:
            players.refuse_taken(database, found)
            return [Change(kind=Kind.PLAYER, player=found)]

        before = len(self.notices)
        self._keep(describe)
        player = self.player(found)
        if player is None:
            raise UserError.of(self.notices[before:] or self.notices)
        return player

    def rename_player(self, name: str, to: str) -> str:
        """Call somebody otherwise, in the profiles too; the name as it is kept.

        UserError as ``add_player``.
        """

        def rename(database: Database) -> str:
            player = players.find(database, name)
            if player is None:
                raise UserError(f"There is no player {quoted(name)}.")
            renamed = players.rename(database, player, to)
            for kit in knowledge.kits(database, player.id):
                text = knowledge.profile_text(database, player.id, kit)
                found = profiles.renamed(text or "", renamed)
                if found is not None:
                    knowledge.keep_profile(database, player.id, kit, text=found, now=_now())
            return renamed

        return self._must_write(rename)

    def choose_player(self, name: str) -> None:
        """From now on this is who plays; somebody new where nobody has that name."""
        self.remember(player=name)

    # Settings of this computer and of each player.

    def settings(self) -> Settings:
        """What is remembered of this computer, with the name of the last player."""

        def read(database: Database) -> Settings:
            last = players.last(database)
            return settings.from_plain(players.settings(database), last.name if last else "")

        return self._read(read, Settings())

    def remember(self, **fields: Any) -> None:
        """Remember these of the settings' fields; nothing is written where nothing is new."""
        found = self.settings()
        new = {name: value for name, value in fields.items() if getattr(found, name) != value}
        if not new:
            return
        name = new.pop("player", None)
        chosen = [Change(kind=Kind.CHOSEN, player=name)] if name else []
        self._keep(lambda _: [*chosen, *_settings(None, new)])

    def settings_of(self, player: str | None) -> Mapping[str, Any]:
        """What a page has remembered for ``player``, for this computer where that is None.

        Plain objects as JSON has them, by the names under which ``remember_for`` took them.
        """

        def read(database: Database) -> Mapping[str, Any]:
            found = players.find(database, player) if player is not None else None
            if player is not None and found is None:
                return {}
            return players.settings(database, found.id if found else players.EVERYBODY)

        return self._read(read, {})

    def remember_for(self, player: str | None, **values: Any) -> None:
        """Remember ``values`` for ``player``, or for this computer (None); a value None forgets."""

        self._keep(lambda _: _settings(player, values))

    def level(self, player: str | None = None) -> Level:
        """How strict ``player`` is judged, by default the last one."""
        found = self.player(player)
        return Level(found.level) if found and found.level in {*Level} else DEFAULT_LEVEL

    def remember_level(self, player: str, level: Level) -> None:
        """Judge ``player`` so from now on."""
        if self.level(player) != level:
            self._change(player, "level", level.value)

    def is_left_handed(self, player: str | None = None) -> bool:
        """Whether ``player``, by default the last one, leads with the left hand."""
        found = self.player(player)
        return found is not None and found.left_handed

    def remember_hand(self, player: str, left_handed: bool) -> None:
        """Which hand ``player`` leads with from now on."""
        if self.is_left_handed(player) != left_handed:
            self._change(player, "left_handed", left_handed)

    def _change(self, player: str, key: str, value: Any) -> None:
        self._keep(lambda _: [Change(kind=Kind.PLAYER, player=player, key=key, value=value)])

    # Profiles.

    def profile(self, kit: str, who: str | None) -> Profile:
        """The profile of ``kit`` as ``who`` plays it, by default the last player."""
        player = who or self.settings().player or NOBODY
        text, fresh = self.profile_text(kit, player), Profile(kit=kit, player=player)
        if text is not None:
            try:
                fresh = replace(profiles.from_text(text, _place(fresh)), kit=kit, player=player)
            except TomlError as mistakes:
                self._notice(str(mistakes))
        return fresh if fresh.port else replace(fresh, port=kit)

    def profile_text(self, kit: str, player: str) -> str | None:
        """The text of a profile, with what a person wrote into it; None where there is none."""

        def read(database: Database) -> str | None:
            found = players.find(database, player)
            return None if found is None else knowledge.profile_text(database, found.id, kit)

        return self._read(read, None)

    def kits(self, player: str) -> list[str]:
        """The kits of which ``player`` has a profile, the latest first."""

        def read(database: Database) -> list[str]:
            found = players.find(database, player)
            return knowledge.kits(database, found.id) if found else []

        return self._read(read, [])

    def keep(self, profile: Profile, text: str | None = None) -> bool:
        """Keep a profile; whether it is kept. ``text`` is the file it came from, if it did.

        What a person wrote into the text before stays; a text that cannot take what is new is
        first put into a file.
        """

        def describe(database: Database) -> list[Change]:
            found = players.find(database, profile.player)
            before = None
            if found is not None:
                before = knowledge.profile_text(database, found.id, profile.kit)
            kind, value = Kind.WRITTEN, text
            if value is None:
                kind, value = Kind.PROFILE, profiles.as_text(profile, before)
                if value is None and before is not None:
                    self._set_aside(profile, before)
                    value = profiles.as_text(profile)
            named = {"player": profile.player, "key": profile.kit}
            return [Change(kind=kind, value=value or "", **named)]

        try:
            is_saved = self._keep(describe)
        except UserError as error:  # it can stand in no text
            self._notice(str(error))
            is_saved = False
        if not is_saved:
            self._notice(f"What was learned of the kit {quoted(profile.kit)} is not kept.")
        return is_saved

    def _set_aside(self, profile: Profile, text: str) -> None:
        aside = write_new_file(self.data / "set-aside", profiles.file_name(profile), text)
        self._notice(
            f"{_place(profile)} is written so that it cannot take what is new: it was set aside as "
            f"{aside}."
        )

    # The store.

    @contextmanager
    def _open(self) -> Iterator[Database | None]:
        database = self._opened()
        try:
            yield database
        finally:
            if database is not None:
                database.close()

    def _opened(self) -> Database | None:
        """The store, made where there is none; None where it cannot be used."""
        memory = self.memory
        database = memory.open()
        for words in [*memory.trouble, *memory.noted]:
            self._notice(words)
        if database is not None and not self.simulated:
            notices, is_in = moving_in.move_in(
                memory, database, self.config, most=self.most_at_once
            )
            self.are_takes_due = not is_in
            for words in notices:
                self._notice(words)
        return database

    def move_takes_in(self, progress: Callable[[int, int], None]) -> None:
        """Take in the takes that are due, and lessons; ``progress`` is told how many of how many.

        UserError where the store cannot be used. Where ``progress`` raises, the next start goes on.
        """
        database = self._opened()
        if database is None:
            raise UserError.of(self.notices)
        try:
            for words in moving_in.move_takes_in(self.memory, database, progress):
                self._notice(words)
            self.are_takes_due = False
        finally:
            database.close()

    def _read(self, ask: Callable[[Database], T], nothing: T, *, of_runs: bool = False) -> T:
        """What the store says; ``nothing`` where there is none, or it cannot be read.

        What changed while it could not be written counts as if it were in it.
        """
        store = self.memory.path
        is_there = store.exists() or changes.is_waiting(store)
        if not is_there and (self.simulated or not moving_in.is_due(self.config, self.data)):
            return nothing
        with self._open() as database:
            try:
                if of_runs or not changes.is_waiting(store):
                    return nothing if database is None else ask(database)
                with changes.seen(store, database) as seen:
                    return ask(seen)
            except StoreError as error:
                self._notice(str(error))
                return nothing

    def _keep(self, describe: Describe) -> bool:
        """Let the store have what changes, or a file meanwhile; whether one has it. What is wrong
        is told.
        """
        with self._open() as database:
            try:
                if database is not None:
                    changes.keep(database, describe)
                    return True
            except StoreError as error:
                self._notice(str(error))
            is_saved = changes.keep_in_file(self.memory.path, database, describe)
        if is_saved:
            self._notice(changes.WORDS)
        return is_saved

    def _must_write(self, change: Callable[[Database], T]) -> T:
        """Change something in the store; UserError where it cannot be."""
        before = len(self.notices)
        database = self._opened()
        if database is None:
            raise UserError.of(self.notices[before:] or self.notices)
        try:
            with database.writing():
                return change(database)
        finally:
            database.close()

    def _notice(self, words: str) -> None:
        if words and words not in self.notices:
            self.notices.append(words)


def _settings(player: str | None, values: Mapping[str, Any]) -> list[Change]:
    return [
        Change(kind=Kind.SETTING, player=player, key=name, value=value)
        for name, value in values.items()
    ]


def _now() -> datetime:
    return datetime.now().astimezone()


def _place(profile: Profile) -> str:
    """What a profile is called where something is wrong with it."""
    return f"The profile of {quoted(profile.kit)} and {quoted(profile.player)}"
