"""A sitting with one pattern that is written: on its sheet, by keys, mouse and sticks.

Nothing is lost: what is not saved is kept as a draft all the while, and leaving asks.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from playalong.app.own_patterns.heard import HeardPattern
from playalong.app.own_patterns.own_files import DraftFile, OwnFiles
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, hold, show, show_by_pads
from playalong.grading.loudness import DEFAULT_BANDS, Bands
from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.pattern.editing import changes
from playalong.pattern.editing.editor import Editor
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.voices import VOICES
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import Button
from playalong.screen.edit_pages.edit import EditPage
from playalong.screen.history_pages.choices import ChoicesPage
from playalong.screen.home_pages.settings import SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.support.errors import UserError

_T = TypeVar("_T")

#: Strokes nearer than this belong together (from the spread of people's unisons).
TOGETHER_S = 0.08

#: So long after a change a draft is kept.
_DRAFT_S = 1.0

#: One step of the tempo, and of swing in per cent.
_STEP_BPM, _STEP_SWING = 2.0, 2

_SAVE = Button((Key.ENTER, "s", "S"), "Enter", "save it", outcome=Outcome.SAVE)
_KEEP = Button(("k", "K"), "K", "keep a draft", outcome=Outcome.KEEP)
_THROW = Button(("t", "T"), "T", "throw it away", outcome=Outcome.THROW_AWAY)
_BACK = Button((Key.ESCAPE, Key.CLOSE), "Esc", "go on writing", outcome=Outcome.LEAVE)


class EditSession:
    """Writes ``pattern``: that of one's own file at ``path``, or for None a new one.

    ``saved_as`` is the file once there is one; ``own`` the pattern in it.
    """

    def __init__(
        self,
        pattern: Pattern,
        context: RunContext,
        files: OwnFiles,
        *,
        path: Path | None = None,
        draft: DraftFile | None = None,
        is_new: bool = False,
        left_handed: bool = False,
        has_kit: bool = False,
    ) -> None:
        """``is_new``: the pattern was never saved; ``has_kit``: its sticks can write."""
        is_saved = not is_new and draft is None
        self.editor = Editor(pattern, is_saved=is_saved)
        self._context, self._files, self._path = context, files, path
        self._needs_title = pattern.title == changes.NEW_TITLE
        self._is_own = path is not None or is_new or draft is not None
        self._draft = None if draft is None else draft.path
        self._saved: Pattern = pattern
        self._heard = HeardPattern(context.output, context.clock)
        self._page = EditPage(
            theme=context.theme,
            editor=self.editor,
            left_handed=left_handed,
            can_use_sticks=has_kit and context.pad_commands is not None,
        )
        self.saved_as: Path | None = None
        self.own: Pattern | None = None
        self._row = 0

    def go(self) -> None:
        """Write until the page is left."""
        while True:
            outcome = self._shown()
            if outcome is Outcome.HEAR:
                self._hear()
            elif outcome is Outcome.SAVE:
                self._save()
            elif outcome is Outcome.SETTINGS:
                self._silence()
                self._more()
            elif outcome is Outcome.TYPED:
                self._page.by_sticks = not self._page.by_sticks
                self._page.offer()
            elif outcome is Outcome.LEAVE and self._may_leave():
                self._silence()
                return

    def _shown(self) -> Outcome | None:
        context, scene = (
            self._context,
            _Writing(self._page, self._heard, keep=self._keep, bands=self._context.profile.bands),
        )
        commands = context.pad_commands
        if self._page.by_sticks and commands is not None:
            commands.begin()
            return show(context, scene, commands.input, pad_commands=commands)
        if commands is not None:
            self._page.buttons.show_pads(commands.on(self._page), commands.call)
        return show_by_pads(context, scene)

    def _hear(self) -> None:
        if self._heard.is_on:
            self._silence()
        elif changes.is_empty(self.editor.pattern):
            self.editor.said = "There is no stroke yet."
        else:
            self._heard.start(self.editor.shown)
            self._page.is_heard = True
            self._page.offer()

    def _silence(self) -> None:
        if self._heard.is_on:
            self._heard.stop()
        self._page.is_heard, self._page.now = False, None
        self._page.offer()

    # Saved, kept, thrown away.

    def _save(self) -> bool:
        """Write the file; whether it is written. A pattern of the program's becomes one's own."""
        editor = self.editor
        if changes.is_empty(editor.pattern):
            editor.said = "There is no stroke yet: put one first."
            return False
        if self._needs_title or not self._is_own:
            title = self._ask_title()
            if title is None:
                return False
            editor.title(title)
        try:
            pattern, path = self._files.save(editor.pattern, self._path)
        except UserError as error:
            self._page.notices = error.lines
            return False
        self._path = self.saved_as = path
        self._needs_title, self._is_own = False, True
        self.own = pattern
        editor.saved(pattern)
        self._saved = editor.pattern
        self._files.drop_draft(self._draft)
        self._draft = None
        self._page.notices = (f"It is saved: {path.name}",)
        return True

    def _ask_title(self) -> str | None:
        title = self.editor.pattern.title
        first = "" if title == changes.NEW_TITLE else f"{title}, my own"
        page = TypedPage(
            theme=self._context.theme,
            title="Save",
            prompt="What is it called?",
            typed=first if not self._is_own or title == changes.NEW_TITLE else title,
            notice="It is kept among your own patterns.",
            longest=60,
        )
        while hold(self._context, page, 0.0) is Outcome.ACCEPT:
            if page.typed.strip():
                return page.typed.strip()
            page.notice, page.is_off = "A pattern needs a title.", True
        return None

    def _keep(self) -> None:
        """Keep a draft of what is new since the last one."""
        pattern = self.editor.pattern
        if pattern == self._saved or not self.editor.is_changed:
            return
        self._draft = self._files.keep_draft(pattern, self._draft, self._path)
        self._saved = pattern

    def _may_leave(self) -> bool:
        """Ask what becomes of what is not saved; with the window, a draft is kept."""
        editor = self.editor
        if not editor.is_changed or changes.is_empty(editor.pattern):
            self._files.drop_draft(self._draft)
            return True
        self._keep()
        if self._context.window.is_closed:
            return True
        page = ChoicesPage(
            self._context.theme,
            editor.pattern.title,
            said="This is not saved yet.",
            lines=("A draft is found again under Write, on the first page.",),
            offered=(_SAVE, _KEEP, _THROW, _BACK),
        )
        outcome = hold(self._context, page, 0.0)
        if outcome is Outcome.SAVE:
            return self._save()
        if outcome is Outcome.THROW_AWAY:
            self._files.drop_draft(self._draft)
            return True
        return outcome is Outcome.KEEP or self._context.window.is_closed

    # Meter, bars, rows and the like.

    def _more(self) -> None:
        while not self._context.window.is_closed:
            rows = self._rows()
            page = SettingsPage(
                theme=self._context.theme,
                title=self.editor.pattern.title,
                subtitle=self.editor.said or "all of it",
                rows=Rows([choice for choice, _ in rows], min(self._row, len(rows) - 1)),
                level=self._context.level(),
            )
            outcome = hold(self._context, page, 0.0)
            self._row = page.rows.chosen
            if outcome not in (Outcome.LESS, Outcome.MORE):
                self._keep()
                return
            rows[self._row][1](1 if outcome is Outcome.MORE else -1)

    def _rows(self) -> list[tuple[Choice, Callable[[int], None]]]:
        editor, pattern = self.editor, self.editor.pattern
        bar = pattern.bars[editor.bar]
        swing = "straight"
        if not pattern.swing.is_straight:
            swing = f"{float(pattern.swing.percent):g} %, {pattern.swing.notes}"
        beat = f"beat {editor.beat + 1} of bar {editor.bar + 1}"
        return [
            (_row("title", pattern.title, "Type another."), lambda _: self._retitle()),
            (
                _row("tempo", f"{pattern.tempo:g} bpm", "Beats in a minute."),
                lambda step: editor.tempo(pattern.tempo + step * _STEP_BPM),
            ),
            (
                _row("meter", pattern.meter.written, "Strokes stay where they are."),
                lambda step: editor.meter(_next(self._meters(), pattern.meter.written, step)),
            ),
            (
                _row("grid", f"in {bar.divisions[editor.beat]}, everywhere", f"As in {beat}."),
                lambda step: editor.grid(
                    _next(changes.GRIDS, bar.divisions[editor.beat], step), everywhere=True
                ),
            ),
            (
                _row("swing", swing, "What the first of two takes of both."),
                lambda step: editor.swing(int(pattern.swing.percent) + step * _STEP_SWING),
            ),
            (
                _row("written on", editor.variation or "the pattern", "Or one of its variations."),
                editor.next_variation,
            ),
            (
                _row("one more variation", "", "Named, then written on: strokes change it."),
                lambda _: self._name_variation(),
            ),
            (
                _row("take a variation away", editor.variation or "–", "Undo brings it back."),
                lambda _: editor.take_variation_away(),
            ),
            (
                _row("one more bar", "empty", f"After bar {editor.bar + 1}; B copies it."),
                lambda _: editor.add_bar(copied=False),
            ),
            (
                _row("take a bar away", f"bar {editor.bar + 1}", "Undo brings it back."),
                lambda _: editor.take_bar_away(),
            ),
            (
                _row("rows", f"{len(editor.rows)} drums", "Which drums have a row."),
                lambda _: self._choose_rows(),
            ),
        ]

    def _meters(self) -> tuple[str, ...]:
        written = self.editor.pattern.meter.written
        return changes.METERS if written in changes.METERS else (written, *changes.METERS)

    def _retitle(self) -> None:
        page = TypedPage(
            theme=self._context.theme,
            title="Title",
            prompt="What is it called?",
            typed=self.editor.pattern.title,
            longest=60,
        )
        if hold(self._context, page, 0.0) is Outcome.ACCEPT and page.typed.strip():
            self.editor.title(page.typed.strip())
            self._needs_title = False

    def _name_variation(self) -> None:
        there = self.editor.pattern.variations
        page = TypedPage(
            theme=self._context.theme,
            title="One more variation",
            prompt="What is it called?",
            typed=f"variation-{len(there) + 1}",
            notice="What you write on it from now on changes it alone; V goes back.",
            longest=30,
        )
        while hold(self._context, page, 0.0) is Outcome.ACCEPT:
            name = "-".join(page.typed.lower().split())
            if name and name not in there:
                self.editor.vary(name)
                return
            page.notice, page.is_off = "Give it a name that no other has.", True

    def _choose_rows(self) -> None:
        chosen = 0
        while not self._context.window.is_closed:
            named = [voice.name for voice in VOICES if voice.name != "hi-hat-open"]
            there = self.editor.rows
            choices = [
                Choice(
                    name=voice.label,
                    value="has a row" if voice.name in there else "–",
                    about="Taking a row away takes its strokes away; undo brings them back.",
                )
                for voice in VOICES
                if voice.name in named
            ]
            page = SettingsPage(
                theme=self._context.theme,
                title="Rows",
                subtitle="which drums have one?",
                rows=Rows(choices, chosen),
            )
            outcome = hold(self._context, page, 0.0)
            chosen = page.rows.chosen
            if outcome not in (Outcome.LESS, Outcome.MORE):
                return
            voice = named[chosen]
            if voice in there:
                self.editor.take_row_away(voice)
            else:
                self.editor.add_row(voice)


def _row(name: str, value: str, about: str) -> Choice:
    return Choice(name=name, value=value, about=about)


def _next(values: tuple[_T, ...], value: _T, step: int) -> _T:
    at = values.index(value) if value in values else 0
    return values[(at + step) % len(values)]


class _Writing(Scene):
    """The page while it is written on: what is put is heard, and kept as a draft."""

    def __init__(
        self,
        page: EditPage,
        heard: HeardPattern,
        *,
        keep: Callable[[], None],
        bands: Bands | None,
    ) -> None:
        self._page, self._heard, self._keep = page, heard, keep
        self._bands = bands or DEFAULT_BANDS
        self._seen = page.editor.pattern
        self._sounds: tuple[tuple[Pattern, str | None], Pattern] | None = None
        self._changed_s: float | None = None
        self._last_s: float | None = None

    @property
    def by_pads(self) -> bool:
        """Unless the sticks write."""
        return not self._page.by_sticks

    def view(self, now_s: float) -> View | None:
        """The page; strokes that were put are heard."""
        editor = self._page.editor
        for stroke in editor.struck if not self._page.by_sticks else ():
            self._heard.one(stroke)
        editor.struck.clear()
        self._heard.go_on(self._sounding())
        self._page.now = self._heard.place()
        if editor.pattern is not self._seen:
            self._seen, self._changed_s = editor.pattern, now_s
            self._page.notices = ()
        if self._changed_s is not None and now_s - self._changed_s >= _DRAFT_S:
            self._changed_s = None
            self._keep()
        return View(self._page, now_s)

    def _sounding(self) -> Pattern:
        """What is heard: the same object until something is changed."""
        editor = self._page.editor
        now = (editor.pattern, editor.variation)
        if self._sounds is None or self._sounds[0] != now:
            self._sounds = (now, editor.shown)
        return self._sounds[1]

    def received(self, message: Heard) -> None:
        """Write a stroke; one that is not together with the last goes into the next cell."""
        if message.hit is not None and self._page.by_sticks:
            self._write(message.hit)

    def _write(self, hit: Hit) -> None:
        editor = self._page.editor
        if self._last_s is not None and hit.time_s - self._last_s > TOGETHER_S:
            editor.move(1)
        self._last_s = hit.time_s
        is_open = hit.voice == "hi-hat-open"
        voice = "hi-hat" if is_open else hit.voice
        editor.strike(voice, dynamic_of(hit, self._bands))
        if is_open and editor.stroke is not None and not editor.stroke.is_open:
            editor.open()


def dynamic_of(hit: Hit, bands: Bands) -> Dynamic:
    """How loud a hit is meant, by the bands of its voice."""
    ghost, accent = bands.of(hit.voice, Dynamic.GHOST), bands.of(hit.voice, Dynamic.ACCENT)
    if hit.velocity <= ghost.high:
        return Dynamic.GHOST
    return Dynamic.ACCENT if hit.velocity >= accent.low else Dynamic.NORMAL
