"""Along with a recording: its beats told, and a task that goes along with them."""

from dataclasses import replace
from pathlib import Path

from playalong.app.grade.checks import checked_tempo
from playalong.app.open_devices import Look, OpenDevices, on_kit
from playalong.app.recording.beats_draft import MOST_TO_THE_BAR
from playalong.app.recording.beats_session import BeatsSession
from playalong.app.recording.loading import along, keep_off, opened, write_with_click
from playalong.app.recording.recent import remember
from playalong.app.recording.recording_sounds import HIGHEST_DB, LOWEST_DB
from playalong.app.run.along import Cut
from playalong.app.run.clock import RealClock
from playalong.app.run.context import RunContext
from playalong.app.run.task import MOST_CLEAN, Passes, Task
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.midi_io.backend import NO_PORT, PortError
from playalong.midi_io.ports import open_port
from playalong.pattern.beat_map import FASTEST_PERCENT, BeatMap
from playalong.records import beat_maps
from playalong.sound.recordings.decoder import check_readable
from playalong.sound.recordings.decoding import Recording
from playalong.support.errors import UserError
from playalong.support.reading import is_file
from playalong.support.text import printable, quoted, sentence

#: Beats to a bar where nobody has said how many.
USUAL_PER_BAR = 4


def maps_folder(home: UserFolders) -> Path:
    """Where the beats of recordings are kept."""
    return home.data / "beats"


def with_recording(
    task: Task,
    home: UserFolders,
    path: Path,
    *,
    loop: tuple[int, int] | None,
    bars: int | None,
    percent: float,
    level_db: float,
    counted: bool = False,
    faster_after: int | None = None,
    context: RunContext | None = None,
) -> Task:
    """``task`` along with the recording at ``path``, whose beats are known; bars count from 1.

    Without a ``loop`` it goes from bar 1 to its end, or through ``bars`` bars of it; with one it is
    played again and again (``counted`` and ``faster_after`` as in ``Passes``), and ``bars`` says
    how many bars are played in all, whole loops. A word on beats or sound goes to
    ``home.notices``. It is read behind a page where there is a ``context``.
    """
    beats, notice = beat_maps.read(maps_folder(home), path)
    if beats is None:
        check_readable(path)
        raise UserError(
            notice
            or f"The beats of {printable(path.name)} are not known yet: tell them with "
            "playalong beats and its name."
        )
    if notice:
        home.notices.append(notice)
    if not percent.is_integer():
        raise UserError(f"A speed of {percent:g} % cannot be: choose whole per cent, 50 to 110.")
    if not LOWEST_DB <= level_db <= HIGHEST_DB:
        raise UserError(
            f"A recording at {level_db:g} dB cannot be: choose {LOWEST_DB:g} to {HIGHEST_DB:g}."
        )
    if not beats.bars:
        raise UserError(
            f"The beats of {printable(path.name)} make no whole bar of {beats.per_bar}."
        )
    if loop is None and bars is not None and bars > beats.bars:
        raise UserError(f"{quoted(path.name)} has only {beats.bars} bars; {bars} are asked.")
    first, last = loop or (1, bars or beats.bars)
    length = last - first + 1
    if loop and bars and bars % length:
        raise UserError(
            f"--bars {bars} breaks off a loop of {length} bars: choose {length}, "
            f"{2 * length} or another multiple, or leave it out."
        )
    if faster_after is not None and not 1 <= faster_after <= MOST_CLEAN:
        raise UserError(
            f"--faster-after {faster_after} cannot be: choose 1 to {MOST_CLEAN} clean passes, or "
            "leave it out."
        )
    passes = None
    if loop:
        most = bars // length if bars else None
        if faster_after is not None and most is not None and most <= faster_after:
            raise UserError(
                f"--faster-after {faster_after} needs {faster_after + 1} passes: choose --bars "
                f"{(faster_after + 1) * length} or more, or leave it out."
            )
        if faster_after is not None and percent >= FASTEST_PERCENT:
            raise UserError(f"At a speed of {percent:g} % --faster-after cannot go faster.")
        passes = Passes(most=most, counted=counted, faster_after=faster_after or 0)
    recording = opened(path, context)
    home.notices += filter(None, [recording.notice])
    played = along(
        recording,
        beats,
        Cut(first_bar=first - 1, last_bar=last - 1, percent=round(percent)),
        level_db=level_db,
    )
    found = replace(task, bars=length, passes=passes).going_along(played)
    remember(home, path)
    return found


def known_beats(home: UserFolders, path: Path) -> BeatMap | None:
    """The beats that were told of the recording at ``path``, None where none were."""
    return beat_maps.read(maps_folder(home), path)[0]


def in_rounds(task: Task) -> Task:
    """``task`` with its passes as one run: as many as are asked for, or one."""
    passes, along = task.passes, task.along
    if passes is None or along is None or along.again is None:
        return task
    cut = replace(along.cut, rounds=passes.most or 1)
    laid = replace(task, passes=None, bars=cut.bars * cut.rounds)
    return laid.going_along(along.again(cut, lambda _: None))


def beats(
    path: Path,
    look: Look,
    home: UserFolders,
    *,
    tempo_bpm: float | None,
    first_beat_s: float | None,
    per_bar: int | None,
    find: bool,
    port_part: str | None,
    out: Path | None,
) -> BeatMap | None:
    """Tell where the beats of the recording at ``path`` are; None where none were kept.

    A word on the beats known before, or on the sound, goes to ``home.notices``.
    """
    folder = maps_folder(home)
    given = (tempo_bpm, first_beat_s) != (None, None)
    if find and first_beat_s is not None:
        raise UserError("--find finds the first beat by itself: leave out --first-beat.")
    if given or find or out is not None:
        known, per_bar = _known(home, path, per_bar, tells=not given and not find)
        keep_off(path, out)
        if find:
            from playalong.sound.recordings.beat_finding import check_installed

            check_readable(path)
            check_installed()
        recording = opened(path)
        home.notices += filter(None, [recording.notice])
        known = _found(
            recording,
            known=known,
            tempo_bpm=tempo_bpm,
            first_beat_s=first_beat_s,
            per_bar=per_bar,
            find=find,
        )
        if known is None:
            raise UserError(
                f"The beats of {printable(path.name)} are not known yet: tap them first."
            )
        beat_maps.write(folder, path, known)
        remember(home, path)
        if out is not None:
            write_with_click(out, recording, known)
        return known
    port = _some_port(port_part)
    try:
        with OpenDevices(look, home, RealClock(), notices=()) as context:
            if port is not None:
                profile = home.profile(port.name, None)
                context = on_kit(context, look, port, profile=profile)
            return tapped(context, path, port=port, home=home, per_bar=per_bar)
    finally:
        if port is not None:
            port.close()


def _known(
    home: UserFolders, path: Path, per_bar: int | None, *, tells: bool = True
) -> tuple[BeatMap | None, int]:
    """The beats that are known of a recording, and how many are asked for to a bar."""
    folder = maps_folder(home)
    known, notice = beat_maps.read(folder, path) if is_file(path) else (None, "")
    if notice and tells:
        home.notices.append(notice)
    if per_bar is not None and not 1 <= per_bar <= MOST_TO_THE_BAR:
        raise UserError(f"{per_bar} beats to a bar cannot be: choose 1 to {MOST_TO_THE_BAR}.")
    if known is not None and per_bar not in (None, known.per_bar):
        known = replace(known, per_bar=per_bar, changes=())
        beat_maps.write(folder, path, known)
    return known, per_bar or USUAL_PER_BAR


def tapped(
    context: RunContext,
    path: Path,
    *,
    port: Port | None,
    home: UserFolders,
    per_bar: int | None,
) -> BeatMap | None:
    """Have the beats of a recording told in a window that is open; None where none are kept.

    They are tapped on ``port`` or on the space bar. UserError where there is no screen.
    """
    if context.window.offscreen:
        raise UserError(
            "There is no screen to tap at: give --tempo and --first-beat, or let --find do it."
        )
    known, per_bar = _known(home, path, per_bar)
    recording = opened(path, context)
    folder = maps_folder(home)

    def keep(beat_map: BeatMap | None) -> None:
        if beat_map is None:
            beat_maps.remove(folder, path)
        else:
            beat_maps.write(folder, path, beat_map)
            remember(home, path)

    return BeatsSession(context, recording, known, port=port, keep=keep, per_bar=per_bar).go()


def _found(
    recording: Recording,
    *,
    known: BeatMap | None,
    tempo_bpm: float | None,
    first_beat_s: float | None,
    per_bar: int,
    find: bool,
) -> BeatMap | None:
    """The beats that are typed in, or found, or known already."""
    hint_bpm = None if tempo_bpm is None else checked_tempo(tempo_bpm)
    if hint_bpm is not None and not find:
        try:
            return BeatMap.from_tempo(
                tempo_bpm=hint_bpm,
                first_beat_s=first_beat_s or 0.0,
                length_s=recording.length_s,
                per_bar=per_bar,
            )
        except ValueError as error:
            raise UserError(sentence(error)) from None
    if first_beat_s is not None:
        raise UserError("--first-beat goes with --tempo: give both.")
    if find:
        from playalong.app.recording.background import work_in_terminal
        from playalong.sound.recordings.beat_finding import find as found
        from playalong.sound.recordings.onsets import Onsets

        onsets = work_in_terminal(
            "Listening for beats", lambda progress: Onsets.of(recording, progress)
        )
        return found(onsets, per_bar, hint_bpm)
    return known


def _some_port(part: str | None) -> Port | None:
    """A port to tap on, None where there is none."""
    try:
        return open_port(part)
    except PortError as error:
        if part is not None and str(error) != NO_PORT:
            raise
        return None
