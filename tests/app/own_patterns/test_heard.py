"""A pattern that is heard while it is written: every stroke once a round, and changes at once."""

from fractions import Fraction

import pytest

from playalong.app.own_patterns.heard import HeardPattern
from playalong.app.run.clock import SteppedClock
from playalong.pattern.editing.changes import without_stroke
from playalong.pattern.targets import lay_out
from playalong.records.pattern_files import library
from playalong.sound.device.output import SilentOutput


class Listening(SilentOutput):
    """Notes what would be heard, and when on the clock."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[tuple[float, str]] = []

    def schedule(self, start_s, sounds):
        self.heard += [(start_s + sound.time_s, sound.voice) for sound in sounds]


def frames(heard: HeardPattern, clock: SteppedClock, pattern, *, seconds: float) -> None:
    for _ in range(round(seconds * 50)):
        heard.go_on(pattern)
        clock.wait(0.02)


@pytest.mark.parametrize("name", ["late-bus-home", "split-kindling", "falling-crates"])
def test_every_stroke_is_heard_once_a_round_where_it_is_written(name):
    pattern = library().get(name)
    clock, output = SteppedClock(), Listening()
    heard = HeardPattern(output, clock)
    targets = lay_out(pattern, pattern.tempo, len(pattern.bars))
    length_s = float(targets.end_s - targets.start_s)
    heard.start(pattern)
    begin_s = clock.now() + 0.15
    frames(heard, clock, pattern, seconds=3.0 * length_s + 0.1)
    full = [at for at, _ in output.heard if at < begin_s + 3.0 * length_s - 1e-6]
    graces = sum(stroke.graces for bar in pattern.bars for stroke in bar.strokes)
    early = sum(stroke.graces for stroke in pattern.bars[0].strokes if stroke.at == 0)
    asked = 3 * (len(targets.time_s) + graces) - early
    assert len(full) == pytest.approx(asked, abs=early)
    places = sorted({round((at - begin_s) % length_s, 4) for at in full})
    mains = {round(float(at), 4) for at in targets.time_s}
    assert mains <= {*places, *(round(place - length_s, 4) for place in places)}


def test_what_is_changed_is_heard_at_once_and_the_round_goes_on():
    pattern = library().get("late-bus-home")
    clock, output = SteppedClock(), Listening()
    heard = HeardPattern(output, clock)
    heard.start(pattern)
    begin_s = clock.now() + 0.15
    beat_s = 60.0 / pattern.tempo
    frames(heard, clock, pattern, seconds=0.15 + 1.5 * beat_s)
    changed = pattern
    for stroke in pattern.bars[0].strokes:
        if stroke.voice == "hi-hat":
            changed = without_stroke(changed, 0, stroke.at, voice="hi-hat")
    now_s = clock.now()
    frames(heard, clock, changed, seconds=4 * beat_s)
    hats = [at for at, voice in output.heard if voice == "hi-hat"]
    assert max(hats) <= now_s + 0.15
    snares = [at for at, voice in output.heard if voice == "snare" and at > now_s + 0.15]
    written = [
        float(one.at) * 4 * beat_s for one in changed.bars[0].strokes if one.voice == "snare"
    ]
    for at in snares:
        into = (at - begin_s) % (4 * beat_s)
        assert min(abs(into - one) for one in written) < 0.01
    place = heard.place()
    assert place is not None
    assert 0 <= place[1] < Fraction(1)
    heard.stop()
    assert heard.place() is None
