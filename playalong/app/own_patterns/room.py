"""The room in which patterns of one's own are made: new, opened from a file, changed, printed."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from playalong.app.own_patterns.edit_session import EditSession
from playalong.app.own_patterns.opened import ENDINGS, Opened, open_file, parts_of
from playalong.app.own_patterns.own_files import DraftFile, OwnFiles
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.user_folders import UserFolders
from playalong.interchange.midi.form import DRUMS
from playalong.interchange.midi.reader import Part
from playalong.pattern.editing.changes import new_pattern
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.records.pattern_files import read_text
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import Buttons
from playalong.screen.edit_pages.opened import GRADE, OPENED, OpenedPage
from playalong.screen.edit_pages.write import WritePage
from playalong.screen.home_pages.settings import CHOOSING, SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.support.errors import UserError
from playalong.support.files import write_new_file
from playalong.support.text import counted, printable

#: Where sheets go: a folder beside one's own patterns.
SHEETS = "sheets"

#: The channel of drums, counted from 1.
DRUM_CHANNEL = DRUMS + 1

#: Rows of the room that are no pattern.
_NEW = Choice(name="a new pattern", value="", fixed=True, about="An empty bar of 4/4 at 90 bpm.")
_OPEN = Choice(
    name="open a file",
    value="",
    fixed=True,
    about=f"{', '.join(ENDINGS)}. Or drop it on the window.",
)
_PLAY_IN = Choice(
    name="play it in",
    value="",
    fixed=True,
    about="Play a groove on the kit for a few bars; it is written down.",
)
_FIRST = (_NEW, _OPEN, _PLAY_IN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """What the room hands on: a pattern to be played, or heard; a take to be looked at; a groove to
    be played in, which gives where it is kept, None for nowhere."""

    play: Callable[[Pattern], None]
    hear: Callable[[Pattern], None]
    look_at_take: Callable[[Path, Opened], None]
    play_in: Callable[[], Path | None]


class OwnPatterns:
    """The room of one user; ``changed`` is called when there is another pattern."""

    def __init__(
        self,
        context: RunContext,
        home: UserFolders,
        hands: Hands,
        *,
        changed: Callable[[], None] = lambda: None,
        left_handed: bool = False,
        has_kit: bool = False,
    ) -> None:
        self._context, self._hands, self._changed = context, hands, changed
        self._left_handed, self._has_kit = left_handed, has_kit
        self._files, self._sheets = OwnFiles(home), home.data / SHEETS

    # What is done with one pattern.

    def edit(
        self,
        pattern: Pattern,
        path: Path | None = None,
        *,
        draft: DraftFile | None = None,
        is_new: bool = False,
    ) -> Pattern | None:
        """Write on a pattern; as it is saved then, None where it is not."""
        session = EditSession(
            pattern,
            self._context,
            self._files,
            path=path,
            draft=draft,
            is_new=is_new,
            left_handed=self._left_handed,
            has_kit=self._has_kit,
        )
        session.go()
        if session.saved_as is not None:
            self._changed()
        return session.own

    def print(self, pattern: Pattern) -> str:
        """Write the sheet as a PDF; where it is, in words."""
        from playalong.app.own_patterns.own_files import file_name
        from playalong.app.own_patterns.printed import PDF, Printing, as_files

        pages = Printing(left_handed=self._left_handed).pages(pattern)
        name = f"{file_name(pattern.title)}{PDF}"
        ((_, data),) = as_files(pages, Path(name), pattern.title)
        path = write_new_file(self._sheets, name, data)
        return f"The sheet, {counted(len(pages), 'page')}: {printable(str(path))}"

    def change(self, pattern: Pattern) -> Pattern | None:
        """Write on a pattern, in its own file where it has one; as ``edit``."""
        return self.edit(pattern, self._files.file_of(pattern))

    # The room.

    def go(self) -> None:
        """Show what there is until the room is left."""
        chosen = 0
        trouble: tuple[str, ...] = ()
        while not self._context.window.is_closed:
            drafts, files = self._files.drafts(), self._files.files()
            choices = [
                *_FIRST,
                *(_draft_row(draft) for draft in drafts),
                *(_file_row(path) for path in files),
            ]
            page = WritePage(
                theme=self._context.theme,
                title="Write",
                subtitle="a pattern of your own",
                rows=Rows(choices, min(chosen, len(choices) - 1)),
                notices=trouble,
            )
            outcome = hold(self._context, page, 0.0)
            chosen, trouble = page.rows.chosen, ()
            try:
                if outcome is Outcome.OPEN_FILE:
                    self.open_dropped()
                elif outcome is not Outcome.START:
                    return
                elif chosen == 0:
                    self.edit(new_pattern(), is_new=True)
                elif chosen == 1:
                    self._type_file()
                elif chosen == 2:
                    trouble = self._play_in()
                elif chosen < len(_FIRST) + len(drafts):
                    draft = drafts[chosen - len(_FIRST)]
                    self.edit(draft.pattern, draft.of, draft=draft)
                else:
                    path = files[chosen - len(_FIRST) - len(drafts)]
                    self.edit(read(read_text(path), path.stem), path)
            except UserError as error:
                trouble = tuple(error.lines)

    def _play_in(self) -> tuple[str, ...]:
        """A groove out of the hands; what is to be told of it."""
        path = self._hands.play_in()
        return () if path is None else (f"It is written: {printable(str(path))}",)

    def _type_file(self) -> None:
        page = TypedPage(
            theme=self._context.theme,
            title="Open a file",
            prompt="Where is it?",
            typed=f"{Path.home()}/",
            notice=f"{', '.join(ENDINGS)}; or drop it on the window.",
        )
        while hold(self._context, page, 0.0) is Outcome.ACCEPT:
            try:
                self._open(Path(page.typed).expanduser())
            except UserError as error:
                page.notice, page.is_off = " ".join(error.lines), True
                continue
            return

    def _open(self, path: Path) -> None:
        """Open a file, once it is said which part of it; UserError where it cannot be."""
        parts = parts_of(path)
        if not parts:
            self.show(open_file(path))
            return
        drums = [number for number, part in enumerate(parts) if part.channel == DRUM_CHANNEL]
        page = SettingsPage(
            theme=self._context.theme,
            title="Which part has the drums?",
            subtitle=printable(path.name),
            rows=Rows([_part_row(part) for part in parts], drums[0] if drums else 0),
            buttons=Buttons(CHOOSING),
        )
        if hold(self._context, page, 0.0) is Outcome.START:
            self.show(open_file(path, parts[page.rows.chosen]))

    def open_dropped(self) -> None:
        """Open the files that were dropped on the window, one after the other.

        UserError tells of those that cannot be.
        """
        wrong: list[str] = []
        dropped = self._context.window.dropped
        while dropped and not self._context.window.is_closed:
            try:
                self._open(dropped.pop(0))
            except UserError as error:
                wrong += error.lines
        if wrong:
            raise UserError(*wrong)

    def show(self, opened: Opened) -> None:
        """Show what a file holds, and do with it what is asked for."""
        context, pattern = self._context, opened.pattern
        notices: tuple[str, ...] = ()
        own_path = opened.path if opened.path.parent == self._files.folder else None
        offered = [*OPENED[:1], GRADE, *OPENED[1:]] if opened.take is not None else [*OPENED]
        while not context.window.is_closed:
            page = OpenedPage(
                theme=context.theme,
                title=pattern.title,
                subtitle=f"{pattern.meter.written}  ·  {counted(len(pattern.bars), 'bar')}",
                pattern=pattern,
                said=_file_said(opened),
                notices=notices,
                left_handed=self._left_handed,
                buttons=Buttons(offered),
            )
            outcome = hold(context, page, 0.0)
            notices = ()
            try:
                if outcome is Outcome.KEEP:
                    notices, own_path, pattern = self._keep(pattern, own_path)
                elif outcome is Outcome.EDIT:
                    saved = self.edit(pattern, own_path, is_new=own_path is None)
                    if saved is not None:
                        return
                elif outcome is Outcome.START:
                    self._hands.play(pattern)
                elif outcome is Outcome.HEAR:
                    self._hands.hear(pattern)
                elif outcome is Outcome.PRINT:
                    notices = (self.print(pattern),)
                elif outcome is Outcome.GRADE:
                    self._hands.look_at_take(opened.path, opened)
                elif outcome is Outcome.LEAVE:
                    return
            except UserError as error:
                notices = tuple(error.lines)

    def _keep(
        self, pattern: Pattern, own_path: Path | None
    ) -> tuple[tuple[str, ...], Path, Pattern]:
        """Keep what was opened among one's own patterns, once."""
        if own_path is not None:
            return (f"It is among your own already: {own_path.name}",), own_path, pattern
        own, path = self._files.save(replace(pattern, name=""), None)
        self._changed()
        return (f"It is kept among your own: {path.name}",), path, own


def _part_row(part: Part) -> Choice:
    named = f'"{part.name}", ' if part.name else ""
    about = "Channel 10 is that of drums." if part.channel == DRUM_CHANNEL else ""
    return Choice(
        name=f"track {part.track}",
        value=f"{named}channel {part.channel}, {counted(part.notes, 'note')}",
        fixed=True,
        about=about,
    )


def _draft_row(draft: DraftFile) -> Choice:
    about = "Not saved when it was left."
    if draft.of is not None:
        about = f"Changes of {draft.of.name} that were not saved."
    return Choice(name=draft.pattern.title, value="a draft", fixed=True, about=about)


def _file_row(path: Path) -> Choice:
    try:
        pattern = read(read_text(path), path.stem)
    except UserError as error:
        message = str(error.lines[0])
        return Choice(name=printable(path.stem), value="cannot be read", fixed=True, about=message)
    figures = f"{pattern.tempo:g} bpm, {pattern.meter.written}"
    about = pattern.about or f"{path.name} in your own folder."
    return Choice(name=pattern.title, value=figures, fixed=True, about=about)


def _file_said(opened: Opened) -> tuple[str, ...]:
    """What is said of a file: its name first."""
    first = printable(opened.path.name)
    if opened.take is not None:
        first = f"{first}: a take of {printable(opened.take.pattern)}, read as a pattern"
    return (first, *opened.notices)
