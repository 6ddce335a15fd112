"""Notes against the targets they come from, and the hi-hat that is closed again."""

import numpy as np
import pytest

from playalong.pattern.model import Dynamic
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.sound.device.output import SilentOutput
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import FADE_S, Note, damped, notes
from tests.helpers.shipped import CHOSEN, SHIPPED

RATE = 48_000


def targets(bpm: float = 120.0, bars: int = 1, **lines: str) -> Targets:
    """A bar of 4/4, over and over; a line for each voice, with _ for the hyphen of its name."""
    rows = "".join(f'{voice.replace("_", "-")} = "{line}"\n' for voice, line in lines.items())
    head = 'title = "A Test"\nmeter = "4/4"\ntempo = 120\n[[bar]]\n'
    return lay_out(read(head + rows, "a-test"), bpm, bars)


def rows(found: list[Note]) -> list[tuple[float, str, float]]:
    return [(note.time_s, note.voice, note.velocity) for note in found]


@pytest.mark.parametrize("name", CHOSEN)
def test_every_target_is_heard_at_its_time(name):
    asked = lay_out(SHIPPED[name], 93.0, 5)
    found = notes(asked)
    velocities = {Dynamic.GHOST: 32.0, Dynamic.NORMAL: 84.0, Dynamic.ACCENT: 112.0}
    left = rows(found)
    for time_s, voice, dynamic in zip(asked.time_s, asked.names, asked.dynamic, strict=True):
        velocity = velocities[DYNAMICS[dynamic]]
        played = [
            (float(time_s), name, velocity)
            for name in (voice, "hi-hat-open")
            if (float(time_s), name, velocity) in left
        ]
        assert played, (time_s, voice)
        left.remove(played[0])
    assert len(left) == asked.graces.sum()
    assert [note.time_s for note in found] == sorted(note.time_s for note in found)


def test_dynamics_optional_strokes_and_open_hi_hats():
    # At 120 beats a minute a beat is 0.5 s.
    asked = targets(hi_hat="x- o- x- --", snare="g x? X -")
    assert rows(notes(asked)) == [
        (0.0, "hi-hat", 84.0),
        (0.0, "snare", 32.0),
        (0.5, "hi-hat-open", 84.0),
        (0.5, "snare", 84.0),
        (1.0, "hi-hat", 84.0),
        (1.0, "snare", 112.0),
    ]


def test_grace_strokes_come_before_at_half_the_velocity():
    """A flam has one and a drag two, 30 ms apart."""
    asked = targets(snare="f - d -", kick="x - - -")
    found = notes(asked)
    expected = [
        (-0.03, "snare", 42.0),
        (0.0, "snare", 84.0),
        (0.0, "kick", 84.0),
        (0.94, "snare", 42.0),
        (0.97, "snare", 42.0),
        (1.0, "snare", 84.0),
    ]
    assert [row[1:] for row in rows(found)] == [row[1:] for row in expected]
    assert [note.time_s for note in found] == pytest.approx([row[0] for row in expected])


def test_velocities_may_be_others():
    asked = targets(snare="g x X -")
    others = {Dynamic.GHOST: 20.0, Dynamic.NORMAL: 70.0, Dynamic.ACCENT: 125.0}
    assert [note.velocity for note in notes(asked, others)] == [20.0, 70.0, 125.0]


def test_only_some_voices():
    asked = targets(hi_hat="xx xx xx xx", snare="- x - x", kick="x - x -")
    heard = notes(asked, voices={"kick", "snare"})
    assert [note.voice for note in heard] == ["kick", "snare", "kick", "snare"]
    assert heard == [note for note in notes(asked) if note.voice != "hi-hat"]


@pytest.mark.parametrize(
    ("lines", "until_s"),
    [
        ({"hi_hat": "o x - -"}, 0.5),
        ({"hi_hat": "o - o -"}, 1.0),
        ({"hi_hat": "o - - -", "hi_hat_pedal": "- x - -"}, 0.5),
        ({"hi_hat": "o - f -"}, 1.0 - 0.03),
        ({"hi_hat": "o - - -", "snare": "x x x x", "ride": "- x x x"}, None),
        # Trodden at the same time is not closed at once.
        ({"hi_hat": "o - - -", "hi_hat_pedal": "x - - x"}, 1.5),
    ],
)
def test_an_open_hi_hat_lasts_until_the_hi_hat_is_next_played(lines, until_s):
    first = next(note for note in notes(targets(**lines)) if note.voice == "hi-hat-open")
    assert first.until_s == (until_s if until_s is None else pytest.approx(until_s))


def test_an_open_hi_hat_is_closed_across_the_bar_line_and_nothing_else_is():
    found = notes(targets(bars=2, hi_hat="x - - o", crash="x - - -"))
    ends = {(note.time_s, note.voice): note.until_s for note in found}
    assert ends.pop((1.5, "hi-hat-open")) == 2.0
    assert set(ends.values()) == {None}  # the last one rings, as does everything else


def test_the_hi_hat_is_closed_by_a_stroke_that_is_not_heard_itself():
    asked = targets(hi_hat="o - - -", hi_hat_pedal="- x - -")
    (only,) = notes(asked, voices=["hi-hat"])
    assert only.until_s == 0.5


@pytest.mark.parametrize("ringing", ["hi-hat-open", "hi-hat-half", "foot-splash"])
@pytest.mark.parametrize(
    "closing", ["hi-hat", "hi-hat-half", "hi-hat-open", "hi-hat-pedal", "foot-splash"]
)
def test_whatever_rings_of_the_hi_hat_ends_where_the_hi_hat_is_next_played(ringing, closing):
    played = [
        Note(time_s=0.0, voice=ringing, velocity=84.0),
        Note(time_s=0.2, voice="ride", velocity=84.0),
        Note(time_s=0.5, voice=closing, velocity=84.0),
    ]
    assert [note.until_s for note in damped(played)] == [0.5, None, None]


def test_a_hand_chokes_a_cymbal_and_no_other():
    played = [
        Note(time_s=0.0, voice="crash", velocity=112.0),
        Note(time_s=0.0, voice="china", velocity=112.0),
        Note(time_s=1.0, voice="ride", velocity=84.0),
        Note(time_s=1.5, voice="ride-bell", velocity=84.0),
        Note(time_s=2.0, voice="crash", velocity=112.0),
        Note(time_s=2.5, voice="hi-hat-open", velocity=84.0),
    ]
    held = damped(played, [(1.75, "ride"), (0.75, "crash"), (0.5, "crash"), (3.0, "hi-hat")])
    # Ride and bell are one cymbal; of two chokes the first counts; a choke ends nothing later.
    assert [note.until_s for note in held] == [0.5, None, 1.75, 1.75, None, 3.0]
    assert damped(played, [(5.0, "floor-tom")])[0].until_s is None


def test_a_choked_crash_is_silent_soon():
    sound = Note(time_s=0.0, voice="crash", velocity=112.0, until_s=0.3).frames(RATE)
    assert len(sound) == round((0.3 + FADE_S) * RATE)
    assert np.abs(sound[: round(0.3 * RATE)][-480:]).max() > 0.01
    assert abs(sound[-1]) < 0.001


def test_a_note_that_is_not_ended_sounds_as_its_stroke():
    sound = Note(time_s=3.0, voice="crash", velocity=100.0).frames(RATE)
    assert np.array_equal(sound, stroke("crash", 100.0, RATE))


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_closing_takes_ten_milliseconds_and_makes_no_crack(rate):
    free = Note(time_s=1.0, voice="hi-hat-open", velocity=84.0).frames(rate)
    ended = Note(time_s=1.0, voice="hi-hat-open", velocity=84.0, until_s=1.25).frames(rate)
    held = rate // 4
    assert np.array_equal(ended[:held], free[:held])
    assert len(ended) == held + round(FADE_S * rate) == held + round(0.010 * rate)
    sounding = free[held : len(ended)] != 0
    gain = ended[held:][sounding] / free[held : len(ended)][sounding]
    assert gain[0] > 0.99
    assert gain[-1] < 0.01
    assert np.diff(gain).max() < 1e-6
    assert np.abs(np.diff(gain)).max() < 0.01


def test_an_end_after_the_sound_has_died_changes_nothing():
    free = Note(time_s=0.0, voice="hi-hat-open", velocity=84.0).frames(RATE)
    assert np.array_equal(
        Note(time_s=0.0, voice="hi-hat-open", velocity=84.0, until_s=60.0).frames(RATE), free
    )


def test_what_is_heard_stops_with_the_pedal():
    """An open hi-hat on 1, trodden on 2 and not heard there, at the output."""
    output = SilentOutput()
    asked = targets(hi_hat="o - - -", hi_hat_pedal="- x - -")
    output.schedule(1.0, notes(asked, voices=["hi-hat"]))
    heard = output.timeline.render(3 * RATE)[:, 0]
    assert not heard[:RATE].any()
    assert np.abs(heard[RATE + RATE // 2 - 480 :][:480]).max() > 0.001
    assert not heard[RATE + RATE // 2 + 480 :].any()
