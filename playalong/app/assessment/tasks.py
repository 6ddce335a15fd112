"""The items of an assessment as what is to be played."""

from dataclasses import replace
from pathlib import Path

from playalong.app.grade.checks import checked_rules
from playalong.app.run.task import Task
from playalong.app.user_folders import UserFolders
from playalong.grading.loudness import Bands
from playalong.grading.verdicts import Verdict
from playalong.practice.assessment.model import Assessment, Clicks, Item
from playalong.sound.synth.click import Clicking, Gap, Places

#: What runs of an assessment are in the store.
KIND = "assessment"

_PLACES = {
    Clicks.BEATS: Places.BEATS,
    Clicks.EIGHTHS: Places.EIGHTHS,
    Clicks.OFF_BEATS: Places.OFF_BEATS,
    Clicks.NONE: Places.BEATS,
}

#: How loud a recording is, in decibel, where nobody chooses.
_RECORDING_DB = -6.0


def item_task(
    assessment: Assessment, item: Item, *, bands: Bands | None = None, left_handed: bool = False
) -> Task:
    """What is to be played; ``bands`` and ``left_handed`` are the player's.

    A recording is not in it yet: see ``with_recording_of``.
    """
    rules = checked_rules(level=item.level, bands=bands, left_handed=left_handed)
    gap = None if item.gap is None else Gap(*item.gap)
    return Task(
        pattern=assessment.pattern_of(item),
        tempo_bpm=item.tempo_bpm,
        bars=item.bars,
        variations=item.variations,
        rules=rules,
        count_in=item.count_in,
        clicked=item.click is not Clicks.NONE,
        clicking=Clicking(_PLACES[item.click], gap=gap),
        shown=frozenset(Verdict) if item.judging else frozenset(),
        waits=False,
        kind=KIND,
    )


def with_recording_of(task: Task, item: Item, *, beside: Path, home: UserFolders) -> Task:
    """``task`` along with the item's recording, which lies in the folder ``beside``, if it has one.

    UserError where its beats are not known, or where it has fewer bars than are asked.
    """
    if not item.recording:
        return task
    from playalong.app.recording.entry import with_recording

    path = beside / item.recording
    found = with_recording(
        task,
        home,
        path,
        loop=None,
        bars=item.bars,
        percent=100.0,
        level_db=_RECORDING_DB,
    )
    return replace(found, waits=False)
