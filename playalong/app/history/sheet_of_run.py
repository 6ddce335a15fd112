"""The sheet of a run that is opened again, as it was when it ended, and what is heard of it."""

from playalong.app.history.anew import Anew
from playalong.app.listen_back import Playback
from playalong.app.mistakes import Mishaps
from playalong.app.run.context import RunContext
from playalong.app.run.live_judging import LiveJudging
from playalong.app.run.task import Task
from playalong.midi.pads import Pads
from playalong.records.take_info import TakeInfo
from playalong.screen.pages.run import RunPage


def _task(found: Anew) -> Task:
    graded = found.graded
    return Task(
        pattern=graded.expected.pattern,
        tempo_bpm=graded.grade.tempo_bpm,
        bars=graded.run.targets.bars,
        variations=graded.expected.variations,
        rules=graded.run.rules,
    )


def sheet_of(found: Anew, context: RunContext) -> RunPage:
    """The page of the run with every hit and its verdict."""
    run, task = found.graded.run, _task(found)
    judging = LiveJudging(task, run.targets, Mishaps())
    for number in range(len(run.hits)):
        hit = run.hits[number]
        judging.time_passed(hit.time_s)
        judging.hit(hit)
    judging.finish()
    gauges = judging.gauges
    return RunPage(
        theme=context.theme,
        title=task.pattern.title,
        subtitle="",
        tempo_bpm=task.tempo_bpm,
        sheet=judging.sheet,
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
        level=context.level(),
    )


def heard(found: Anew) -> Playback:
    """The player's strokes, the pattern's, and the click where it went by the pattern's tempo."""
    said = TakeInfo.from_plain(found.take.info)
    clicks = [] if said.beats is not None else _task(found).ticks()
    return Playback.of(
        found.take,
        said.pads or Pads(),
        found.graded.run,
        pauses=said.pauses,
        clicks=[click for click in clicks if click.time_s >= 0.0],
    )
