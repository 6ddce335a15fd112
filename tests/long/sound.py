"""What is heard, as figures: levels, offsets, beats, devices, pads, and a soak in real time.

The cases are minutes of the soak: a run of the click on the null device, which runs in real time,
while its page is drawn as fast as it can be. Found tempi need the extra "beats".
"""

import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import miniaudio
import numpy as np
import pytest
from numpy.typing import NDArray

from playalong.app.recording.loading import along
from playalong.app.run.along import Cut
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.model import Dynamic
from playalong.sound.device.output import LOOK_S, SWITCH_S, DeviceOutput
from playalong.sound.mix import SOFT_CLICK_DB
from playalong.sound.recordings.beat_finding import find
from playalong.sound.recordings.onsets import Onsets, continued, refined
from playalong.sound.rendering import rendered as file_of
from playalong.sound.synth.click import Click, Kind, sample
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import VELOCITIES, Note
from playalong.sound.timeline import RATE
from playalong.support.errors import UserError
from tests.bench.output import DriftingDevice, Simulated, drawing
from tests.long.frame import Options, Table, generator
from tests.long.pads import over_jack
from tests.sound.a_weighting import level_db
from tests.sound.making_music import (
    GROOVES,
    Floats,
    Played,
    held,
    of_periods,
    rendered,
    swaying,
    tapped,
    wandering,
)
from tests.sound.test_output import Machine, Now, wait_for_another

FULL_COUNT, SAMPLE_COUNT = 60, 1

VOICES = ("hi-hat", "snare", "kick", "ride", "hi-hat-open", "floor-tom", "crash")

#: In what is heard the click is at most so much over the plain strokes on which it falls.
NEAR_DB = 8.0

#: How much farther off a recording may begin at any speed than at its own; of its onsets each
#: is measured to some 1 ms.
OFFSET_MS = 1.6

#: How far a bar line that was tapped may lie from the true one, and how soon a device is back.
LINE_MS, BACK_S = 10.0, 2.0

#: Strokes, and how many ms of spread from stroke to sound are asked for.
STROKES, SPREAD_MS = 2000, 1.0

#: So many strokes over real ports.
STRUCK = 200


class InMemory(Played):
    """A recording that was never a file."""

    path = Path("made.wav")

    @property
    def length_s(self) -> float:
        """Its length."""
        return self.frames / RATE

    def overview(self, begin_s: float, end_s: float, columns: int) -> NDArray[np.float32]:
        """Nothing is drawn."""
        return np.zeros((columns, 2), np.float32)


def levels() -> Table:
    """How loud the click is over each voice."""
    table = Table(
        "click over stroke in what is heard, dB(A) of the first 50 ms",
        ("voice", "ghost", "normal", "accent"),
    )
    click = level_db(sample(Kind.BEAT, RATE), RATE) + SOFT_CLICK_DB
    for voice in VOICES:
        own = {one: level_db(stroke(voice, VELOCITIES[one], RATE), RATE) for one in Dynamic}
        over = [click - own[one] for one in (Dynamic.GHOST, Dynamic.NORMAL, Dynamic.ACCENT)]
        table.row(voice, *(round(each, 1) for each in over), holds=over[1] < NEAR_DB)
    return table


def offsets() -> Table:
    """How far a recording and its click lie from the beats, at several speeds."""
    table = Table(
        "on the beats of a recording, ms: what begins in it, and the click",
        ("groove", "per cent", "median", "sd", "click, most"),
    )
    beats_s = of_periods(np.full(40, 0.6))
    for groove in ("straight", "sixteenths"):
        band = InMemory(rendered(beats_s, GROOVES[groove]).sound)
        usual_ms = 0.0
        for percent in (100, 80, 65, 50):
            cut = Cut(first_bar=1, last_bar=7, percent=percent)
            to = along(band, BeatMap.of(beats_s), cut)  # type: ignore[arg-type]
            times_s = np.array(to.beats.times_s[:-1])
            heard_s = onsets_of(file_of(list(to.sounds)))
            at_s = times_s - min(0.0, *(one.time_s for one in to.sounds))
            off_ms = 1000.0 * off(heard_s, at_s)
            sounding = np.flatnonzero(
                file_of([Click(float(one), Kind.BEAT) for one in times_s])[:, 0]
            )
            knocks = sounding[np.diff(sounding, prepend=-RATE) > RATE // 10] / RATE
            click_ms = 1000.0 * float(np.abs(off(knocks, times_s - times_s[0])).max())
            median = float(np.median(off_ms))
            usual_ms = median if percent == 100 else usual_ms
            holds = abs(median - usual_ms) < OFFSET_MS and click_ms < OFFSET_MS
            row = (round(median, 2), round(float(off_ms.std()), 2), round(click_ms, 2))
            table.row(groove, percent, *row, holds=holds)
    return table


def onsets_of(sound: NDArray[np.float32]) -> Floats:
    """When something clearly begins."""
    times_s, strength = Onsets.of(Played(sound)).peaks
    return times_s[strength > 0.4]


def off(heard_s: Floats, at_s: Floats) -> Floats:
    """How much later than each of ``at_s`` the nearest of what was heard begins."""
    return np.array([heard_s[np.abs(heard_s - at).argmin()] - at for at in at_s.tolist()])


def bar_lines(seed: int) -> Table:
    """Bar lines behind beats that were held."""
    table = Table(
        "bar lines of a song with two held beats, tapped", ("held", "groove", "most off, ms")
    )
    for longer in (1.6, 2.0, 3.1):
        for groove in ("straight", "off-beat", "sixteenths"):
            truth = held(64, longer)
            onsets = Onsets.of(rendered(truth, GROOVES[groove]))
            found = continued(refined(tapped(truth[:-1], seed), onsets), onsets)
            lines_s = np.array([found.bar_start_s(bar) for bar in range(15)])
            off_ms = 1000.0 * float(np.abs(lines_s - truth[:60:4]).max())
            table.row(f"x {longer:g}", groove, round(off_ms, 1), holds=off_ms < LINE_MS)
    return table


def tempi() -> Table:
    """Found tempi of songs whose beats are known, and where bar 1 was put."""
    table = Table(
        "found by itself", ("songs", "right", "half or double", "bar 1 right", "with a hint")
    )
    songs = right = octave = bar_1 = hinted = 0
    for drift in (swaying, wandering):
        for groove in ("straight", "sixteenths", "swung"):
            for intro_bars in (0,) if drift is wandering else (4,):
                truth = drift(96)
                onsets = Onsets.of(rendered(truth, GROOVES[groove], intro_bars=intro_bars))
                true_bpm = 60.0 / float(np.median(np.diff(truth)))
                try:
                    found = find(onsets)
                except UserError:
                    table.row("none: the extra beats is not installed", "", "", "", "")
                    return table
                bpm = 60.0 / float(np.median(np.diff(found.times_s)))
                again = find(onsets, hint_bpm=true_bpm)
                with_hint = 60.0 / float(np.median(np.diff(again.times_s)))
                songs += 1
                right += abs(bpm / true_bpm - 1.0) < 0.03
                octave += min(abs(bpm / true_bpm - part) for part in (0.5, 2.0)) < 0.06
                hinted += abs(with_hint / true_bpm - 1.0) < 0.03
                bar_1 += abs(again.bar_start_s(0) - float(truth[4 * intro_bars])) < 0.03
    table.row(songs, right, octave, bar_1, hinted, holds=hinted > 0.9 * songs)
    return table


def lost_device() -> Table:
    """How soon a device that was lost plays again once it is back."""
    table = Table("a device that was lost, back after", ("device", "s", "asked"))
    for part, lost in (("desk", "Desk Box"), (None, "default")):
        with pytest.MonkeyPatch.context() as changed:
            machine, now = Machine(changed), Now()
            device = DeviceOutput(part, clock=now)
            timeline = device.timeline
            machine.plays = {"null"}
            for _ in range(60):
                now.s += 0.01
                device.tend()
            wait_for_another(device, machine, timeline)
            machine.plays = {lost, "null"}
            back_s = now.s
            while device.device_name != lost and now.s - back_s < 10 * BACK_S:
                now.s += 0.01
                machine.now_open.ask()
                device.tend()
                time.sleep(0.001)  # the search is a thread
            took_s = now.s - back_s
            device.close()
            table.row(
                lost, round(took_s, 2), f"< {BACK_S:g}", holds=LOOK_S < took_s + 1.0 < 1.0 + BACK_S
            )
    return table


def pads(seed: int) -> Table:
    """From stroke to sound, on a device whose requests jitter."""
    clock, there = Simulated(), DriftingDevice()
    with patch.object(miniaudio, "PlaybackDevice", there.opened):
        device = DeviceOutput(clock=clock, sleep=lambda _: None)
    buffer_s = there.frames_at_once / RATE
    chance = generator(seed, 0)
    struck_s = np.cumsum(chance.uniform(0.08, 0.3, STROKES)) + 1.0
    late_s = chance.exponential(0.001, round(struck_s[-1] / buffer_s) + 10).clip(0.0, 0.004)
    sounds, next_stroke = list[float](), 0
    for number, late in enumerate(late_s.tolist(), 1):
        # The loop notices a stroke within 2 ms.
        while next_stroke < STROKES and struck_s[next_stroke] + 0.002 < number * buffer_s + late:
            clock.now_s = float(struck_s[next_stroke]) + float(chance.uniform(0.0, 0.002))
            note = Note(time_s=0.0, voice="snare", velocity=90.0)
            placed = device.answer(float(struck_s[next_stroke]), note)
            sounds.append(placed.start / RATE + buffer_s - float(struck_s[next_stroke]))
            next_stroke += 1
        clock.now_s = number * buffer_s + late
        there.ask()
        device.tend()
    device.close()
    delay_ms = 1000.0 * np.array(sounds)
    table = Table("from stroke to sound, ms", ("strokes", "mean", "spread (sd)", "95 % within"))
    within = float(np.percentile(np.abs(delay_ms - np.median(delay_ms)), 95))
    table.row(
        len(delay_ms),
        round(float(delay_ms.mean()), 2),
        round(float(delay_ms.std()), 3),
        round(within, 3),
        holds=float(delay_ms.std()) < SPREAD_MS,
    )
    return table


def soak(minutes: int) -> Table:
    """A run in real time, drawn as fast as it can be."""
    table = Table(
        "a soak in real time on the null device, drawn as fast as it can be",
        (
            "minutes",
            "frames a second",
            "clicks",
            "off, frames",
            "underruns",
            "not waiting",
            "held up by others",
        ),
    )
    found = drawing(60 * minutes, SWITCH_S)
    # An underrun while a thread of ours waited for a processor that others had is not ours.
    table.row(
        minutes,
        round(found.frames_per_s),
        found.clicks,
        found.error_frames,
        found.underruns,
        found.own,
        f"{found.held} times, {found.held_ms:.0f} ms at most",
        holds=found.error_frames == 0 and found.own == 0,
    )
    return table


def tables(options: Options) -> Iterator[Table]:
    """All of it."""
    yield levels()
    yield offsets()
    yield bar_lines(options.seed)
    yield tempi()
    yield lost_device()
    yield pads(options.seed)
    yield over_jack(STRUCK)
    yield soak(options.count)
