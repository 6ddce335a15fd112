"""From the window: which assessment, then it is taken, and what it came to."""

from collections.abc import Sequence
from pathlib import Path

from playalong.app.assessment.entry import Taken, take_on
from playalong.app.assessment.remarking import choose_result
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.stored_runs import NOBODY
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.practice.assessment.phrases import overview
from playalong.profile.profile import Profile
from playalong.records.assessments.files import AssessmentFile, load_assessment, shipped
from playalong.records.assessments.traces import RESULTS
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import Choice, Rows
from playalong.screen.base.widgets import LEAVE, Buttons
from playalong.screen.home_pages.settings import CHOOSING, SettingsPage
from playalong.screen.pages.sitting import SittingPage
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.text import counted

#: Where assessments of a teacher's are put, below the data folder.
OWN = "assessments"

#: In place of an assessment: results are to be judged.
_JUDGED = "results"


def assessments(home: UserFolders) -> tuple[list[AssessmentFile], list[str]]:
    """Those in the user's own folder, then those of the program; and what is wrong with files."""
    paths: list[Path] = [*sorted((home.data / OWN).glob("*.toml")), *shipped().values()]
    found, wrong = [], []
    for path in paths:
        try:
            found.append(load_assessment(str(path)))
        except UserError as error:
            wrong.append(error.lines[0])
    return found, wrong


def take_in_window(
    context: RunContext, port: Port, profile: Profile, *, home: UserFolders
) -> tuple[str, ...]:
    """Choose an assessment, and take it; what went wrong on the way, in words."""
    found, wrong = assessments(home)
    results = home.data / RESULTS
    file = _chosen(context, found, wrong=wrong, home=home)
    while file is _JUDGED:
        choose_result(context, results)
        file = _chosen(context, found, wrong=wrong, home=home)
    if not isinstance(file, AssessmentFile):
        return ()
    return take_and_tell(file, context, port, profile=profile, home=home).trouble


def take_and_tell(
    file: AssessmentFile,
    context: RunContext,
    port: Port,
    *,
    profile: Profile,
    home: UserFolders,
) -> Taken:
    """Take an assessment, and tell what it came to."""
    taken = take_on(
        file,
        context,
        lambda targets, number, start_s: port,
        who=profile.player or NOBODY,
        profile=profile,
        home=home,
        kit=port.name,
    )
    if taken.path is not None:
        page = SittingPage(
            theme=context.theme,
            title=file.assessment.title,
            said="The result is kept.",
            words=[f"Give this file to your teacher: {taken.path}"],
            rows=[(what, came) for what, _, came in (one.partition(": ") for one in taken.lines)],
            notices=[CAUTION],
            buttons=Buttons([LEAVE]),
        )
        hold(context, page, 0.0)
    return taken


def _chosen(
    context: RunContext,
    found: Sequence[AssessmentFile],
    *,
    wrong: Sequence[str],
    home: UserFolders,
) -> AssessmentFile | str | None:
    """The assessment that is chosen, ``_JUDGED`` for results, None for neither."""
    choices = [
        Choice(name=one.assessment.title, value=overview(one.assessment), fixed=True)
        for one in found
    ]
    results = len(list((home.data / RESULTS).glob("*.zip")))
    if results:
        status = f"{counted(results, 'result')} here"
        choices.append(Choice(name="A teacher's word", value=status, fixed=True))
    commands = context.pad_commands
    pads, call = (commands.pads, commands.call) if commands else ({}, "")
    page = SettingsPage(
        theme=context.theme,
        title="Assessment",
        subtitle="which one?",
        rows=Rows(choices),
        notices=[*wrong, f"Files of your teacher's go into {home.data / OWN}."],
        buttons=Buttons(CHOOSING, pads, call),
    )
    if hold(context, page, 0.0) is not Outcome.START:
        return None
    return found[page.rows.chosen] if page.rows.chosen < len(found) else _JUDGED
