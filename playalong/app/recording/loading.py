"""Playing along with a recording: opened, its bars cut out for a run, or checked by ear."""

from pathlib import Path

import numpy as np

from playalong.app.recording.background import work_in_terminal, work_on_page
from playalong.app.recording.recording_sounds import UNDER_CLICK_DB, Clicked, Faded
from playalong.app.run.along import Along, Cut, RecordingPart, Song
from playalong.app.run.context import RunContext
from playalong.pattern.beat_map import BeatMap, check_speed
from playalong.sound.recordings.decoding import Progress, Recording
from playalong.sound.recordings.stretching import stretched
from playalong.sound.rendering import blocks, write_wave
from playalong.sound.timeline import RATE, gain
from playalong.support.errors import UserError
from playalong.support.reading import is_file
from playalong.support.text import printable, sentence

#: A loop is joined over ``JOIN_S``, which is over ``BEFORE_S`` before the 1: what begins on the 1
#: begins once, and whole, even where the map has it a little late.
JOIN_S, BEFORE_S = 0.015, 0.010

#: After the last bar the recording falls silent in so long.
END_S = 0.4


def keep_off(heard: Path, out: Path | None) -> None:
    """UserError where what is written to ``out`` would take the place of what is heard."""
    if out is not None and is_file(out) and is_file(heard) and out.samefile(heard):
        raise UserError(
            f"{printable(str(out))} is what is to be heard itself, which is never changed: choose "
            "another name for what is written."
        )


def opened(path: Path, context: RunContext | None = None) -> Recording:
    """The recording at ``path``, its progress shown in the window, or told in the terminal.

    RecordingError says what is wrong with it; ``rec_work.LeftError`` that the player did not wait.
    """
    words = f"Reading {printable(path.name)}"
    if context is None:
        return work_in_terminal(words, lambda progress: Recording.open(path, progress))
    return work_on_page(
        context, printable(path.name), words, work=lambda progress: Recording.open(path, progress)
    )


def along(
    recording: Recording,
    beats: BeatMap,
    cut: Cut,
    *,
    level_db: float = UNDER_CLICK_DB,
    progress: Progress | None = None,
) -> Along:
    """What is ``cut`` out of ``recording``, ``level_db`` against what it was made at.

    The beats of the run are its beats, going on from round to round; bar 1 of the run is the first
    of them. UserError says which bars or what speed there may be.
    """
    percent, rounds = cut.percent, cut.rounds
    try:
        begin_s, end_s = beats.loop(cut.first_bar, cut.last_bar)
        check_speed(percent)
    except ValueError as error:
        raise UserError(sentence(error)) from None
    if rounds < 1:
        raise UserError("The bars of a recording are played once at least.")
    length_s = (end_s - begin_s) * 100.0 / percent

    lead = round((BEFORE_S + JOIN_S) * RATE)
    begin = int(begin_s * RATE) - -(-lead * percent // 100)
    end = round((end_s + END_S * percent / 100.0) * RATE)
    reel = stretched(recording, percent, begin=begin, end=end, progress=progress)
    # So many seconds of what was stretched come before the 1.
    before_s = (begin_s - begin / RATE) * 100.0 / percent
    join, fall = round(JOIN_S * RATE), round(END_S * RATE)
    through = round((length_s + before_s - BEFORE_S) * RATE)
    level = gain(level_db)
    middle = Faded(stream=reel, frames=through, rise=join, fall=join, gain=level)
    last = Faded(stream=reel, frames=reel.frames, rise=join, fall=fall, gain=level)
    sounds = [
        RecordingPart(last if number == rounds - 1 else middle, 0, number * length_s - before_s)
        for number in range(rounds)
    ]
    rest = RecordingPart(reel, through - join, 0.0)
    ending = Faded(
        stream=rest, frames=reel.frames - through + join, rise=join, fall=fall, gain=level
    )

    def again(other: Cut, progress: Progress) -> Along:
        return along(recording, beats, other, level_db=level_db, progress=progress)

    return Along(
        beats=_repeated(beats, cut),
        first_bar=0,
        sounds=tuple(sounds),
        name=printable(recording.path.name),
        cut=cut,
        ending=RecordingPart(ending, 0, -BEFORE_S - JOIN_S),
        song=Song(beats=beats, length_s=recording.length_s, overview=recording.overview),
        again=again,
    )


def _repeated(beats: BeatMap, cut: Cut) -> BeatMap:
    """The beats of a loop as they are played, and the one after the last; second 0 is the first."""
    lengths = beats.lengths(cut.first_bar, cut.last_bar)
    start = beats.bar_beat(cut.first_bar)
    times_s = beats.seconds(start + np.arange(sum(lengths) + 1, dtype=np.float64))
    times_s = (times_s - times_s[0]) * (100.0 / cut.percent)
    whole = times_s[:-1] + times_s[-1] * np.arange(cut.rounds)[:, None]
    return BeatMap.of_bars([*whole.ravel(), cut.rounds * times_s[-1]], lengths * cut.rounds)


def write_with_click(
    path: Path, recording: Recording, beats: BeatMap, *, level_db: float = UNDER_CLICK_DB
) -> None:
    """Write the whole recording with a click on each beat as a wave file, to check them by ear.

    UserError when it cannot be written.
    """
    write_wave(path, blocks([RecordingPart(Clicked(recording, beats, level_db), 0, 0.0)]))
