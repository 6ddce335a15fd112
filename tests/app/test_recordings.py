"""Along with a recording: cut to a loop, played to, tapped, checked; on the stepped clock."""

import sys
import wave
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import ClassVar

import mir_eval.beat
import numpy as np
import pytest
import soundfile

from playalong.app.play.play_session import save_run
from playalong.app.recording.background import LeftError, work_on_page
from playalong.app.recording.beats_draft import Draft, DraftError
from playalong.app.recording.beats_session import LEAD_S, BeatsSession, half_or_double
from playalong.app.recording.loading import along, opened, write_with_click
from playalong.app.recording.recording_sounds import Clicked
from playalong.app.run.along import Cut, RecordingPart
from playalong.app.run.clock import Clock, SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.voices import Limb
from playalong.profile.latency import typed
from playalong.records import beat_maps
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.window import Window
from playalong.screen.pages.beats import SETTINGS, Setting
from playalong.simulation.player import Performance, SimulatedPort, Truth, perform
from playalong.sound.recordings.decoding import Recording, RecordingError
from playalong.sound.recordings.onsets import Onsets
from playalong.sound.rendering import LEVEL
from playalong.sound.synth.click import Kind, sample
from playalong.sound.timeline import RATE, gain
from playalong.support.errors import UserError
from tests.helpers.stage import Keys, context_on, unseen_window
from tests.helpers.steady_player import STEADY
from tests.sound.making_music import GROOVES, Played, rendered, swaying, tapped

PATTERN = read_pattern(
    """
title = "To The Band"
meter = "4/4"
tempo = 110
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- X- -- X-"
kick   = "x- -- xx --"
""",
    "to-the-band",
)

#: A recording of 16 bars that sways by 4 per cent up and down.
BEATS_S = swaying(64)
TRUE = BeatMap.of(BEATS_S)

#: One who plays on the beat of the recording, give or take a little.
NEAR = (0.0, 4.0)
TO_THE_BAND = replace(STEADY, error_ms=dict.fromkeys(Limb, NEAR))


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    at = tmp_path_factory.mktemp("recordings") / "rainy evening.wav"
    soundfile.write(at, rendered(BEATS_S, GROOVES["straight"]).sound, RATE, subtype="FLOAT")
    return at


@pytest.fixture(scope="module")
def recording(path: Path) -> Recording:
    return Recording.open(path)


class Read(Keys):
    """Keys in a window that somebody reads."""

    def __init__(self, window: Window, clock: Clock) -> None:
        super().__init__(window, clock)
        self.words: list[str] = []
        self.notices: set[str] = set()

    def frame(self, page, now_s: float) -> None:
        said = getattr(page, "words", "")
        if not self.words or self.words[-1] != said:
            self.words.append(said)
        self.notices.update(getattr(page, "notices", ()))
        self._window.frame(page, now_s)


@pytest.fixture
def context() -> Iterator[RunContext]:
    clock = SteppedClock()
    with unseen_window() as window:
        yield context_on(Read(window, clock), clock, frame_s=0.02, listen_s=0.02)


# Opened.


def test_a_recording_is_opened_behind_a_page_or_without_one(path, context):
    assert opened(path).frames == opened(path, context).frames
    assert context.window.words == ["Reading rainy evening.wav"]


def test_what_is_wrong_with_a_file_is_told_in_both_ways(context, tmp_path):
    noise = tmp_path / "noise.wav"
    noise.write_bytes(b"no sound in here" * 100)
    for where in (None, context):
        with pytest.raises(RecordingError, match="no recording that can be played"):
            opened(noise, where)


def test_the_player_need_not_wait(context):
    def never_done(progress):
        while True:
            progress(0.5)

    context.window.plan = [(0.0, Key.ESCAPE)]
    with pytest.raises(LeftError):
        work_on_page(context, "a title", "Doing it", work=never_done)


# A run along with it.


@pytest.mark.parametrize("percent", [100, 70])
def test_who_plays_on_its_beats_is_on_time_and_steady(recording, context, tmp_path, percent):
    to = along(recording, TRUE, Cut(first_bar=2, last_bar=7, percent=percent, rounds=1))
    task = Task(pattern=PATTERN, tempo_bpm=110.0, bars=6, variations=(), rules=Rules(), along=to)
    # When the player strikes follows from the truth alone: the recording's own seconds.
    beats = 8 + np.arange(0, 24, 0.5)
    start_s = float(TRUE.seconds(8.0))
    true_s = (TRUE.seconds(beats) - start_s) * 100.0 / percent
    targets = task.targets()
    hats = np.array(targets.names) == "hi-hat"
    assert targets.time_s[hats] == pytest.approx(true_s, abs=1e-9)
    performance = perform(targets, TO_THE_BAND, 4)
    ended = Run(
        task, context, lambda at_s: SimulatedPort(performance, at_s, context.clock.now)
    ).play()
    grade = save_run(task, ended, tmp_path).graded.grade
    assert grade.counts.matched == grade.counts.targets == len(targets)
    assert abs(grade.timing.mean_ms) < 3.0
    assert grade.steadiness.trend == "steady"


def test_a_run_through_bars_of_other_lengths_is_on_time_and_graded_alike(
    recording, context, tmp_path
):
    cut = TRUE.with_bar(1, 2).with_bar(3, 5)
    assert cut.lengths(0, 4) == [4, 2, 4, 5, 4]
    to = along(recording, cut, Cut(first_bar=0, last_bar=4, percent=100, rounds=2))
    task = Task(pattern=PATTERN, tempo_bpm=110.0, bars=10, variations=(), rules=Rules(), along=to)
    one_s = [tick.time_s for tick in task.ticks() if tick.kind is Kind.ONE]
    targets = task.targets()
    assert one_s == pytest.approx(targets.bar_starts_s.tolist(), abs=1e-9)
    performance = perform(targets, TO_THE_BAND, 4)
    ended = Run(
        task, context, lambda at_s: SimulatedPort(performance, at_s, context.clock.now)
    ).play()
    saved = save_run(task, ended, tmp_path)
    # The take alone says where the beats were.
    assert saved.graded.run.targets.time_s == pytest.approx(targets.time_s, abs=1e-9)
    counts = saved.graded.grade.counts
    assert counts.matched == counts.targets == len(targets)
    assert ended.page.sheet.targets.beats_s[3] == pytest.approx(
        [cut.seconds(beat) - cut.seconds(0) for beat in range(10, 15)]
    )


def heard(context: RunContext, end_s: float) -> np.ndarray:
    """All that the stepped clock's output would have sounded, second 0 of the clock being its 0."""
    return context.output.timeline.render(context.output.frame_at(end_s))


@pytest.mark.parametrize("percent", [100, 70])
def test_the_recording_sounds_where_the_targets_are(recording, context, percent):
    to = along(recording, TRUE, Cut(first_bar=2, last_bar=4, percent=percent, rounds=2))
    task = Task(
        pattern=PATTERN,
        tempo_bpm=110.0,
        bars=6,
        variations=(),
        rules=Rules(),
        along=to,
        clicked=False,
    )
    context.output.schedule(1.0, to.sounds)
    onsets_s, _ = Onsets.of(Played(heard(context, 1.0 + task.targets().end_s))).peaks
    targets = task.targets()
    # Soft strokes between are no onsets of their own beside bass and chords; these are.
    strong_s = targets.time_s[np.isin(targets.names, ("kick", "snare"))]
    assert len(strong_s) == 6 * 5
    errors_s = [np.abs(onsets_s - 1.0 - at_s).min() for at_s in strong_s.tolist()]
    assert max(errors_s) < 0.010


def test_the_count_in_has_the_tempo_of_the_first_bar(recording):
    task = Task(
        pattern=PATTERN,
        tempo_bpm=110.0,
        bars=2,
        variations=(),
        rules=Rules(),
        along=along(recording, TRUE, Cut(first_bar=8, last_bar=9, percent=50)),
    )
    counted = [tick.time_s for tick in task.ticks() if tick.time_s < 0.0]
    bar_s = 2.0 * (TRUE.bar_start_s(9) - TRUE.bar_start_s(8))
    assert counted == pytest.approx([-bar_s * left / 4.0 for left in (4, 3, 2, 1)])


def test_a_loop_is_repeated_with_its_beats(recording):
    once = along(recording, TRUE, Cut(first_bar=3, last_bar=4, percent=80))
    assert once.cut.percent == 80
    assert once.again is not None
    slower = Cut(first_bar=3, last_bar=4, percent=60)
    assert once.again(slower, lambda _: None).beats == along(recording, TRUE, slower).beats
    thrice = along(recording, TRUE, Cut(first_bar=3, last_bar=4, percent=80, rounds=3))
    length_s = (TRUE.bar_start_s(5) - TRUE.bar_start_s(3)) / 0.8
    row = np.array(once.beats.times_s[:-1])
    assert thrice.beats.times_s == pytest.approx(
        [*row, *(row + length_s), *(row + 2 * length_s), 3 * length_s]
    )
    starts = [sound.time_s for sound in thrice.sounds]
    assert np.diff(starts) == pytest.approx([length_s, length_s])
    assert thrice.beats.bars == 6


def test_rounds_join_without_a_gap_or_a_crack(tmp_path, context):
    """A tone whose waves fill the loop: looped it is the same tone, going on."""
    at_s = np.arange(8 * RATE) / RATE
    tone = 0.2 * np.sin(2 * np.pi * 200.0 * at_s)
    file = tmp_path / "tone.wav"
    soundfile.write(file, np.repeat(tone[:, None], 2, 1), RATE, subtype="FLOAT")
    beats = BeatMap.from_tempo(tempo_bpm=120.0, first_beat_s=1.0, length_s=7.0)
    context.output.timeline.level = 1.0
    context.output.timeline.render(RATE)  # the level is reached
    to = along(Recording.open(file), beats, Cut(first_bar=0, last_bar=0, rounds=3), level_db=0.0)
    context.output.schedule(2.0, to.sounds)
    sound = heard(context, 2.0 + 6.0)[RATE + 100 : RATE + round(5.98 * RATE), 0]
    place_s = np.arange(100, 100 + len(sound)) / RATE
    assert np.abs(sound - 0.2 * np.sin(2 * np.pi * 200.0 * place_s)).max() < 0.002


def test_it_falls_silent_after_the_last_bar(recording, context):
    to = along(recording, TRUE, Cut(first_bar=2, last_bar=2))
    context.output.schedule(1.0, to.sounds)
    end_s = 1.0 + TRUE.bar_start_s(3) - TRUE.bar_start_s(2)
    sound = heard(context, end_s + 2.0)
    assert np.abs(sound[round((end_s + 0.5) * RATE) :]).max() == 0.0
    assert np.abs(sound[: round(0.9 * RATE)]).max() == 0.0  # nor is it heard in the count-in


def test_bars_that_are_not_there_and_other_speeds_are_told(recording):
    with pytest.raises(UserError, match=r"Bars 3 to 40 cannot be looped: .* bars 1 to 16"):
        along(recording, TRUE, Cut(first_bar=2, last_bar=39))
    with pytest.raises(UserError, match="choose 50 to 110"):
        along(recording, TRUE, Cut(first_bar=2, last_bar=3, percent=130))


# Checked by ear.


def test_in_the_file_the_clicks_are_on_the_drums(recording, tmp_path):
    file = tmp_path / "checked.wav"
    write_with_click(file, recording, TRUE, level_db=-12.0)
    with wave.open(str(file)) as written:
        raw = np.frombuffer(written.readframes(written.getnframes()), "<i2").reshape(-1, 2)
    only = raw[: recording.frames, 0] / 32767.0 / LEVEL
    only = only - recording.read(0, recording.frames)[:, 0] * gain(-12.0)
    drums_s, _ = Onsets.of(recording).peaks
    for beat, beat_s in enumerate(BEATS_S[:-1].tolist()):
        frame = round(beat_s * RATE)
        click = sample(Kind.BEAT if beat % 4 else Kind.ONE, RATE)
        # A ten-thousandth is what 16 bit leave; where both are loudest the limiter takes its part.
        assert np.abs(only[frame - 200 : frame]).max() < 0.001
        assert np.abs(only[frame : frame + 20] - click[:20]).max() < 0.05
        assert np.abs(drums_s - frame / RATE).min() < 0.010


def test_another_level_is_reached_without_a_crack():
    clicked = Clicked(Played(np.full((4_800, 2), 0.5, np.float32)), None, 0.0)
    before = clicked.read(0, 480)
    clicked.level_db = -12.0
    after = clicked.read(480, 480)
    whole = np.concatenate([before, after, clicked.read(960, 480)])[:, 0]
    assert np.abs(np.diff(whole)).max() < 0.002
    assert whole[0] == pytest.approx(0.5)
    assert whole[-1] == pytest.approx(0.5 * gain(-12.0))


# Tapped.


def taps_on(times_s: np.ndarray) -> Performance:
    """A snare struck at these times."""
    notes = [(at_s, bytes((0x99, 38, 90))) for at_s in times_s.tolist()]
    return Performance(tuple(notes), Truth(error_ms=np.zeros(0), missed=(), wrong_drum=(), extra=0))


class Kept(list[BeatMap | None]):
    """What was kept."""

    def __call__(self, beats: BeatMap | None) -> None:
        self.append(beats)


def errors_s(beats: BeatMap) -> np.ndarray:
    """How far each true beat is from the nearest of the map."""
    return np.abs(np.array(beats.times_s)[None, :] - BEATS_S[:-1, None]).min(axis=1)


@pytest.mark.parametrize("late_ms", [0.0, 60.0])
def test_taps_on_a_pad_become_the_beats_of_the_recording(recording, context, late_ms):
    began_s = LEAD_S + 0.02  # it plays from the beginning of the recording on
    taps_s = tapped(BEATS_S[:16], early_s=0.02) + late_ms / 1000.0
    port = SimulatedPort(taps_on(taps_s), began_s, context.clock.now)
    profile = replace(context.profile, latency=typed(late_ms))
    kept = Kept()
    session = BeatsSession(replace(context, profile=profile), recording, None, port=port, keep=kept)
    end_s = taps_s[-1] + began_s + 0.2
    context.window.plan = [(0.0, "t"), (end_s, Key.ENTER), (end_s + 0.1, "k")]
    beats = session.go()
    assert beats is not None
    assert kept == [beats]
    assert errors_s(beats).max() < 0.010
    assert beats.bar_start_s(0) == pytest.approx(BEATS_S[0], abs=0.010)
    assert session.bars == (0, beats.bars - 1)


def test_the_space_bar_taps_as_well(recording, context):
    began_s = LEAD_S + 0.02
    context.window.plan = [(0.0, "t")]
    context.window.plan += [(began_s + at_s, Key.SPACE) for at_s in BEATS_S[:12].tolist()]
    context.window.plan += [(began_s + BEATS_S[12], Key.ENTER), (began_s + BEATS_S[13], "k")]
    beats = BeatsSession(context, recording, None, port=None, keep=Kept()).go()
    assert beats is not None
    assert errors_s(beats).max() < 0.010


def test_who_leaves_off_need_not_stop_it(recording, context):
    """Nor is another tapping begun anywhere but where this one was."""
    began_s = LEAD_S + 0.02
    context.window.plan = [(0.0, "t")]
    context.window.plan += [(began_s + at_s, Key.SPACE) for at_s in BEATS_S[:12].tolist()]
    context.window.plan += [(began_s + BEATS_S[12] + 6.0, "k")]  # not offered while it is tapped
    beats = BeatsSession(context, recording, None, port=None, keep=Kept()).go()
    assert beats is not None
    assert errors_s(beats).max() < 0.010


def test_after_a_tapping_in_vain_the_place_is_the_old_one(recording, context):
    places: list[float] = []
    context.window.plan = [(0.0, "t"), (3.0, Key.ENTER), (3.4, Key.ESCAPE)]
    BeatsSession(replace(context, seen=places.append), recording, None, port=None, keep=Kept()).go()
    assert max(places) > 2.0
    assert places[-1] == 0.0


def test_beats_that_cannot_be_found_are_told_on_the_page(recording, context, monkeypatch):
    """Without the extra the way to install it is said, and the beats there are stay."""
    monkeypatch.setitem(sys.modules, "librosa", None)
    monkeypatch.setitem(sys.modules, "librosa.beat", None)
    pressed(context, [*chosen(Setting.ORIGIN), Key.RIGHT])
    context.window.plan += [(4.0, "k")]
    assert BeatsSession(context, recording, TRUE, port=None, keep=Kept()).go() == TRUE
    told = next(words for words in context.window.words if "librosa" in words)
    assert "pip install 'playalong[beats]'" in told
    assert told.endswith("The beats stay as they were.")


@pytest.mark.beats
def test_beats_are_found_by_the_setting_of_the_page(recording, context):
    kept = Kept()
    pressed(context, [*chosen(Setting.ORIGIN), Key.RIGHT])
    context.window.plan += [(4.0, "k")]
    beats = BeatsSession(context, recording, None, port=None, keep=kept).go()
    assert beats is not None
    assert kept == [beats]
    assert "← counts it at" in " ".join(context.window.words)
    # Source: mir_eval.beat, with its usual window of 70 ms.
    assert mir_eval.beat.f_measure(BEATS_S[:-1], np.array(beats.times_s)) > 0.9


def test_too_few_taps_are_told_and_the_beats_stay(recording, context):
    context.window.plan = [(0.0, "t"), *((1.0 + n, Key.SPACE) for n in range(3))]
    context.window.plan += [(5.0, Key.ENTER), (5.2, "k")]
    kept = Kept()
    assert BeatsSession(context, recording, TRUE, port=None, keep=kept).go() == TRUE
    assert not kept
    told = next(words for words in context.window.words if "too few" in words)
    assert told.endswith("The beats stay as they were.")


def test_beats_that_are_taken_back_are_kept_no_more(recording, context):
    began_s = LEAD_S + 0.02
    context.window.plan = [(0.0, "t")]
    context.window.plan += [(began_s + at_s, Key.SPACE) for at_s in BEATS_S[:12].tolist()]
    context.window.plan += [(began_s + BEATS_S[12], Key.ENTER), (began_s + BEATS_S[14], "u")]
    context.window.plan += [(began_s + BEATS_S[16], Key.ESCAPE)]
    kept = Kept()
    assert BeatsSession(context, recording, None, port=None, keep=kept).go() is None
    assert len(kept) == 2
    assert kept[0] is not None
    assert kept[1] is None


def test_without_beats_there_is_nothing_to_keep(recording, context):
    kept = Kept()
    context.window.plan = [(0.0, "k"), (0.2, Key.ESCAPE)]
    assert BeatsSession(context, recording, None, port=None, keep=kept).go() is None
    assert not context.window.plan, "it was left by Esc, since K keeps nothing"
    assert not kept


def chosen(setting: Setting) -> list[Press]:
    """The keys that choose it, from the first on."""
    return [Key.DOWN] * SETTINGS.index(setting)


def pressed(context: RunContext, keys: list[Press]) -> None:
    context.window.plan = [(0.1 * number, key) for number, key in enumerate(keys)]


def test_each_change_is_kept_at_once_and_can_be_undone(recording, context):
    kept = Kept()
    keys = [*chosen(Setting.ALL), Key.RIGHT, Key.RIGHT, "u", "k"]
    pressed(context, keys)
    beats = BeatsSession(context, recording, TRUE, port=None, keep=kept).go()
    assert beats == TRUE.nudge(5.0)
    assert kept == [TRUE.nudge(5.0), TRUE.nudge(5.0).nudge(5.0), TRUE.nudge(5.0)]


def test_who_leaves_has_what_was_kept(recording, context):
    kept = Kept()
    pressed(context, [*chosen(Setting.ALL), Key.RIGHT, Key.ESCAPE])
    assert (
        BeatsSession(context, recording, TRUE, port=None, keep=kept).go()
        == kept[-1]
        == TRUE.nudge(5.0)
    )


def test_the_map_is_found_again(recording, context, tmp_path):
    pressed(context, [*chosen(Setting.PACE), Key.RIGHT, "k"])
    beats = BeatsSession(
        context,
        recording,
        TRUE,
        port=None,
        keep=lambda beats: beat_maps.write(tmp_path, recording.path, beats),
    ).go()
    again, told = beat_maps.read(tmp_path, recording.path)
    assert beats is not None
    assert again is not None
    assert told == ""
    assert again.times_s == pytest.approx(beats.times_s, abs=1e-6)
    assert len(again) == 2 * len(TRUE) - 1


def test_a_map_that_cannot_be_kept_is_told_and_used(recording, context):
    def full(_: BeatMap) -> None:
        raise UserError("The beats cannot be kept: the disk is full.")

    pressed(context, [*chosen(Setting.BAR_1), Key.RIGHT, "", "k"])
    session = BeatsSession(context, recording, TRUE, port=None, keep=full)
    assert session.go() == TRUE.moved_bar_1(1)
    assert "The beats cannot be kept: the disk is full." in context.window.notices


def test_chosen_bars_are_played_over_and_over(recording, context):
    places: list[float] = []
    session = BeatsSession(
        replace(context, seen=places.append), recording, TRUE, port=None, keep=Kept()
    )
    keys = [*chosen(Setting.FIRST), Key.RIGHT, Key.RIGHT, Key.DOWN, *[Key.LEFT] * 12, Key.ENTER]
    pressed(context, keys)
    context.window.plan += [(16.0, "k")]
    session.go()
    assert session.bars == (2, 3)
    begin_s, end_s = TRUE.loop(2, 3)
    turns = [b for a, b in pairwise(places) if b < a]
    assert len(turns) >= 2
    assert turns == pytest.approx([begin_s] * len(turns))
    assert max(places) < end_s + 0.05


def test_the_line_goes_to_the_bars_that_are_chosen(recording, context):
    places: list[float] = []
    keys = [*chosen(Setting.FIRST), Key.RIGHT, Key.RIGHT, "", Key.ESCAPE]
    pressed(context, keys)
    BeatsSession(replace(context, seen=places.append), recording, TRUE, port=None, keep=Kept()).go()
    assert places[-1] == pytest.approx(TRUE.bar_start_s(2))


def test_from_the_middle_a_recording_rises_without_a_step():
    loud = Played(np.full((4_800, 2), 0.5, np.float32))
    heard_first = RecordingPart(loud, 0, 0.0).after(0.01).read(0, 1_000)[:, 0]
    assert heard_first[0] == 0.0
    assert np.abs(np.diff(heard_first)).max() < 0.01
    assert heard_first[200:] == pytest.approx(0.5)
    assert RecordingPart(loud, 0, 0.0).read(0, 10)[:, 0] == pytest.approx(0.5)


def test_a_change_is_heard_while_it_plays(recording):
    clicked = Clicked(Played(np.zeros((recording.frames, 2), np.float32)), TRUE)
    first, second = (round(beat_s * RATE) for beat_s in BEATS_S[:2].tolist())
    assert np.flatnonzero(clicked.read(0, first + 50)[:, 0])[0] == first
    clicked.beats = TRUE.nudge(20.0)
    heard_then = clicked.read(second - 100, 2_000)[:, 0]
    assert np.flatnonzero(heard_then)[0] == 100 + round(0.020 * RATE)


class Called:
    """Strokes that ask for something at times on the clock; see ``pad_commands.PadCommands``."""

    call = "Kick twice, then:"
    pads: ClassVar[dict[Outcome, str]] = {Outcome.START: "snare", Outcome.ACCEPT: "snare"}

    def __init__(self, plan: list[tuple[float, Outcome]]) -> None:
        self.plan, self.begun = plan, 0

    def begin(self) -> None:
        self.begun += 1

    def hit(self, hit: Hit) -> None:
        pass

    def outcome(self, page, now_s: float) -> Outcome | None:
        if self.plan and self.plan[0][0] <= now_s and page.offers(self.plan[0][1]):
            return self.plan.pop(0)[1]
        return None


def test_strokes_work_the_page(recording, context):
    """One setting on, more of it twice; back over the first to the last, which takes one back."""
    plan = [Outcome.NEXT, *[Outcome.FASTER] * 2, *[Outcome.BACK] * 2, Outcome.SLOWER]
    plan.append(Outcome.LEAVE)
    pad_commands = Called([(0.1 * number, outcome) for number, outcome in enumerate(plan)])
    beats = BeatsSession(
        replace(context, pad_commands=pad_commands), recording, TRUE, port=None, keep=Kept()
    ).go()
    assert beats == TRUE.nudge(5.0)
    assert pad_commands.begun


def test_while_it_plays_strokes_change_it_and_stop_it(recording, context):
    places: list[float] = []
    plan = [(1.0, Outcome.FASTER), (2.0, Outcome.START), (3.0, Outcome.LEAVE)]
    context = replace(context, pad_commands=Called(plan), seen=places.append)
    pressed(context, [*chosen(Setting.ALL), Key.ENTER])
    session = BeatsSession(context, recording, TRUE, port=None, keep=Kept())
    assert session.go() == TRUE.nudge(5.0)
    assert places[-1] == places[-20] > 1.0, "it stood still from the second call on"


def test_strokes_that_tap_ask_for_nothing(recording, context):
    pad_commands = Called([(1.0, Outcome.START)])
    context.window.plan = [(0.0, "t"), (3.0, Key.ESCAPE)]
    context = replace(context, pad_commands=pad_commands)
    BeatsSession(context, recording, TRUE, port=None, keep=Kept()).go()
    assert pad_commands.plan


def test_the_beats_are_tapped_and_taken_back_by_strokes_alone(recording, context):
    """Of a recording without beats the first call lets tap; one back is one call as well."""
    began_s, taps_s = 0.2 + LEAD_S, BEATS_S[:12]
    wire = [(0.1, Outcome.SLOWER), (began_s + BEATS_S[16], Outcome.SLOWER)]
    wire.append((began_s + BEATS_S[18], Outcome.FASTER))
    wire.append((began_s + BEATS_S[20], Outcome.LEAVE))
    context.window.plan = [(began_s + at_s, Key.SPACE) for at_s in taps_s.tolist()]
    kept = Kept()
    context = replace(context, pad_commands=Called(wire))
    beats = BeatsSession(context, recording, None, port=None, keep=kept).go()
    assert beats is not None
    assert kept == [beats, None, beats]


# Drafts.


def test_changes_of_a_draft():
    draft = Draft(TRUE)
    at_s = BEATS_S[10] + 0.1

    def times(setting: Setting, way: int) -> np.ndarray:
        return np.array(draft.changed(setting, way, at_s).known().times_s)

    assert times(Setting.ALL, -1) == pytest.approx(BEATS_S - 0.005)
    moved = times(Setting.ONE, 1) - BEATS_S
    assert np.flatnonzero(np.abs(moved) > 1e-9).tolist() == [10]
    assert moved[10] == pytest.approx(0.005)
    assert times(Setting.PACE, -1) == pytest.approx(BEATS_S[::2])
    assert times(Setting.PACE, 1)[1] == pytest.approx(BEATS_S[:2].mean())
    assert draft.changed(Setting.BAR_1, 1, at_s).known().first == 1
    three = draft.changed(Setting.PER_BAR, -1, at_s)
    assert (three.per_bar, three.known().per_bar) == (3, 3)


def test_beats_and_bars_of_a_draft_where_the_line_is():
    draft = Draft(TRUE)
    on_s, between_s = float(BEATS_S[10]), float(BEATS_S[10:12].mean()) + 0.02

    def beats(setting: Setting, way: int, at_s: float = on_s) -> BeatMap:
        return draft.changed(setting, way, at_s).known()

    assert beats(Setting.BEAT, 1).times_s[11] == pytest.approx(BEATS_S[10:12].mean())
    assert beats(Setting.BEAT, 1, between_s).times_s[11] == between_s
    assert len(beats(Setting.BEAT, -1)) == len(TRUE) - 1
    assert beats(Setting.BAR, 1).lengths(1, 3) == [4, 2, 4]
    assert beats(Setting.THIS_BAR, 1).lengths(1, 3) == [4, 5, 4]
    begun = draft.changed(Setting.BAR, 1, on_s)
    assert begun.changed(Setting.PER_BAR, -1, on_s).known().lengths(1, 4) == [4, 2, 3, 3]
    assert begun.changed(Setting.BAR, -1, on_s).known() == TRUE
    with pytest.raises(DraftError, match="counted through"):
        draft.changed(Setting.BAR, -1, on_s)


def test_a_bar_that_begins_elsewhere_clicks_there_at_once(recording):
    click, beat = Clicked(recording, TRUE, 0.0), round(BEATS_S[10] * RATE)
    plain = recording.read(beat, 400)
    one, usual = sample(Kind.ONE, RATE), sample(Kind.BEAT, RATE)
    assert click.read(beat, 400) - plain == pytest.approx(usual[:400, None].repeat(2, 1), abs=1e-6)
    click.beats = TRUE.begun_at(10)
    assert click.read(beat, 400) - plain == pytest.approx(one[:400, None].repeat(2, 1), abs=1e-6)


def test_a_loop_never_leaves_the_recording():
    draft = Draft(TRUE)
    assert draft.bars() == (0, 15)
    draft = draft.changed(Setting.FIRST, 1, 0.0)
    assert draft.loop == (1, 15)
    with pytest.raises(DraftError, match="bars 1 to 16"):
        draft.changed(Setting.LAST, 1, 0.0)
    assert draft.changed(Setting.FIRST, -1, 0.0).loop is None  # all of it again
    assert draft.changed(Setting.PACE, -1, 0.0).bars() == (1, 7)
    late = replace(draft, loop=(14, 15))
    assert late.changed(Setting.PACE, -1, 0.0).loop is None


@pytest.mark.parametrize(
    "setting", [Setting.ALL, Setting.ONE, Setting.BEAT, Setting.BAR, Setting.THIS_BAR]
)
def test_what_needs_beats_says_so(setting):
    with pytest.raises(DraftError, match="no beats yet"):
        Draft().changed(setting, 1, 0.0)


def test_half_and_double_are_told_of_found_beats():
    even = BeatMap.from_tempo(tempo_bpm=120.0, first_beat_s=0.0, length_s=30.0)
    assert "at 120 bpm: ← counts it at 60, → at 240." in half_or_double(even)
    draft = Draft(even)
    halved = draft.changed(Setting.PACE, -1, 0.0).known()
    assert halved.tempo_bpm(0) == pytest.approx(60.0)


def test_a_change_that_cannot_be_is_told():
    with pytest.raises(DraftError, match="Bar 1 cannot begin on beat 0"):
        Draft(TRUE).changed(Setting.BAR_1, -1, 0.0)
    with pytest.raises(DraftError, match="1 to 16 beats"):
        Draft(per_bar=1).changed(Setting.PER_BAR, -1, 0.0)
