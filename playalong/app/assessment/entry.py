"""Taking an assessment: opens what is needed, lets play, and leaves the result."""

from dataclasses import dataclass, replace
from pathlib import Path

from playalong.app.assessment.book import Book
from playalong.app.assessment.session import Agreed, AssessmentSession, Connect
from playalong.app.assessment.tasks import item_task, with_recording_of
from playalong.app.memory import Memory
from playalong.app.open_devices import Look, OpenDevices, on_kit
from playalong.app.play.entry import Player
from playalong.app.run.clock import Clock, RealClock, SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.pattern.targets import Targets
from playalong.profile.profile import Profile
from playalong.records.assessments.files import AssessmentFile
from playalong.records.assessments.traces import RESULTS, SITTINGS
from playalong.records.take_info import Simulated
from playalong.simulation.player import SimulatedPort, perform


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What came of a sitting.

    ``path`` is the result, None where the sitting is to be taken up again; ``lines`` tell each item
    in words; ``trouble`` is what went wrong on the way.
    """

    path: Path | None
    lines: tuple[str, ...]
    trouble: tuple[str, ...]


def take(
    file: AssessmentFile,
    look: Look,
    by: Port | Player,
    *,
    who: str,
    profile: Profile,
    home: UserFolders,
    folder: Path | None = None,
) -> Taken:
    """Let ``who`` take an assessment on a port, or a simulated player in their name.

    The result goes into ``folder``, by default that of results. UserError where the days of
    homework are over, or a recording cannot be played along with; FileError where nothing can be
    kept.
    """
    is_simulated, fast = isinstance(by, Player), isinstance(by, Player) and by.fast
    clock: Clock = SteppedClock() if fast else RealClock()

    def connect(targets: Targets, number: int, start_s: float) -> Port:
        if not isinstance(by, Player):
            return by
        return SimulatedPort(perform(targets, by.skill, by.seed + number), start_s, clock.now)

    notice = "a simulated player plays" if isinstance(by, Player) else by.name
    with OpenDevices(look, home, clock, notices=(notice,)) as opened:
        context = opened if isinstance(by, Player) else on_kit(opened, look, by, profile=profile)
        context = replace(context, memory=Memory(folder=home.data, simulated=is_simulated))
        return take_on(
            file,
            context,
            connect,
            who=who,
            profile=profile,
            home=home,
            folder=folder,
            kit="" if isinstance(by, Player) else by.name,
            simulated=by.simulated if isinstance(by, Player) else None,
        )


def take_on(
    file: AssessmentFile,
    context: RunContext,
    connect: Connect,
    *,
    who: str,
    profile: Profile,
    home: UserFolders,
    kit: str,
    folder: Path | None = None,
    simulated: Simulated | None = None,
) -> Taken:
    """The same in a window that is open, on what ``connect`` gives; see ``take``."""
    if simulated is None:  # with the click on the kit another latency holds
        profile = context.profile
    left_handed = simulated is None and home.is_left_handed(profile.player)
    assessment = file.assessment
    tasks = []
    for item in assessment.items:
        task = item_task(assessment, item, bands=profile.bands, left_handed=left_handed)
        task = with_recording_of(task, item, beside=file.path.parent, home=home)
        tasks.append(replace(task, simulated=simulated))
    book = Book(
        file,
        home.data / SITTINGS,
        who=who,
        profile=profile,
        left_handed=left_handed,
        simulated=simulated,
    )
    is_over = False
    try:
        book.check_days()
        book.begin()
        agreed = _agreed(book, kit, profile)
        session = AssessmentSession(book, tasks, context, connect=connect, agreed=agreed)
        is_over = session.go()
        has_runs = any(run.counts for run in book.runs)
        path = book.finish(folder or home.data / RESULTS) if is_over and has_runs else None
        lines = [f"{what}: {came}" for what, came in session.item_results()]
        trouble = [*session.trouble, *book.trouble]
    finally:
        book.close(is_over)
    return Taken(path=path, lines=tuple(lines), trouble=tuple(dict.fromkeys(trouble)))


def _agreed(book: Book, port: str, profile: Profile) -> Agreed:
    """What is agreed, for the first page; ``port`` is empty where a simulated player plays."""
    is_simulated = not port
    latency = profile.latency
    late = "not measured: measure it with playalong kit"
    if latency is not None:
        late = f"{latency.ms:.0f} ms are taken off, {latency.how}"
    rows = [
        ("player", book.who),
        ("kit", "a simulated player" if is_simulated else port),
        ("latency", "none" if is_simulated else late),
        (
            "loudness",
            "your own strokes" if profile.is_loudness_known else "heard against your own strokes",
        ),
    ]
    notices = []
    if book.is_resumed and not book.assessment.is_homework:
        notices.append("This goes on where it was interrupted, with the time that was left.")
    if book.is_resumed and book.assessment.is_homework:
        notices.append(f"So far you have played {len(book.runs)} runs of this homework.")
    return Agreed(rows, tuple(notices))
