"""Which recording a run goes along with, chosen in the window: one that was told its beats, another
file, or none.
"""

from collections.abc import Sequence
from pathlib import Path

from playalong.app.play.tasks import task_of
from playalong.app.recording.background import LeftError
from playalong.app.recording.entry import known_beats, tapped, with_recording
from playalong.app.recording.recent import remembered
from playalong.app.recording.recording_sounds import UNDER_CLICK_DB
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.run.task import Task
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import Buttons
from playalong.screen.home_pages.settings import CHOOSING, SettingsPage
from playalong.screen.home_pages.typed import TypedPage
from playalong.support.errors import UserError
from playalong.support.text import printable

#: What a run without a recording goes along with.
CLICK_ALONE = "the click alone"

_ANOTHER = "another file"


class Choosing:
    """Recordings to choose from; beats that are not known are told on ``port``, or by keys."""

    def __init__(self, home: UserFolders, port: Port | None) -> None:
        self._home, self._port = home, port

    def chosen(self, context: RunContext, task: Task) -> Task:
        """``task`` along with what is chosen, or as it was where that cannot be."""
        paths, notice = [path for path in remembered(self._home) if path.is_file()], ""
        name = task.along.name if task.along is not None else ""
        at = next((n for n, path in enumerate(paths, 1) if printable(path.name) == name), 0)
        while True:
            page = self._page(context, task, paths, at=at, notice=notice)
            if hold(context, page, 0.0) is not Outcome.START:
                return task
            at = page.rows.chosen
            try:
                if not at:
                    return _without(task)
                path = paths[at - 1] if at <= len(paths) else self._typed(context, paths)
                if path is not None:
                    return self._along(context, task, path)
            except LeftError:
                notice = ""
            except UserError as error:
                notice = " ".join(error.lines)

    def _page(
        self, context: RunContext, task: Task, paths: Sequence[Path], *, at: int, notice: str
    ) -> SettingsPage:
        rows = [
            Choice(name=CLICK_ALONE, value="", fixed=True, about="No recording."),
            *(
                Choice(
                    name=printable(path.name),
                    value="",
                    fixed=True,
                    about=f"In {printable(str(path.parent))}.",
                )
                for path in paths
            ),
            Choice(
                name=_ANOTHER,
                value="",
                fixed=True,
                about="A wav, flac, mp3 or ogg file of yours; its beats are tapped first.",
            ),
        ]
        return SettingsPage(
            theme=context.theme,
            title=task.pattern.title,
            subtitle="along with what?",
            rows=Rows(rows, at),
            notices=[notice] if notice else [],
            buttons=_with_pads(context),
        )

    def _typed(self, context: RunContext, paths: Sequence[Path]) -> Path | None:
        """The file that is typed; None where none is."""
        folder = paths[0].parent if paths else Path.home()
        page = TypedPage(
            theme=context.theme,
            title="A recording of yours",
            prompt="Which file is it?",
            typed=f"{folder}/",
        )
        while hold(context, page, 0.0) is Outcome.ACCEPT:
            path = Path(page.typed).expanduser()
            if path.is_file():
                return path
            page.notice, page.is_off = f"There is no file {printable(page.typed)}.", True
        return None

    def _along(self, context: RunContext, task: Task, path: Path) -> Task:
        """Along with the recording at ``path``; beats that are not known are told first."""
        if known_beats(self._home, path) is None:
            tapped(context, path, port=self._port, home=self._home, per_bar=None)
        if known_beats(self._home, path) is None:
            return task
        return with_recording(
            task,
            self._home,
            path,
            loop=None,
            bars=None,
            percent=100.0,
            level_db=UNDER_CLICK_DB,
            context=context,
        )


def _without(task: Task) -> Task:
    """The task to the click alone, at the pattern's own tempo."""
    if task.along is None:
        return task
    return task_of(
        task.pattern,
        task.rules,
        variations=task.variations,
        count_in=task.count_in,
        clicking=task.clicking,
    )


def _with_pads(context: RunContext) -> Buttons:
    if context.pad_commands is None:
        return Buttons(CHOOSING)
    return Buttons(CHOOSING, context.pad_commands.pads, context.pad_commands.call)
