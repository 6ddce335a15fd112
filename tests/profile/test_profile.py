"""A profile: all that is known of one kit and player."""

from playalong.grading.bands_from_strokes import SOURCE, bands_of
from playalong.grading.loudness import Loudness
from playalong.midi.pads import Pads
from playalong.pattern.model import Dynamic
from playalong.profile.pad_commands import Calls
from playalong.profile.profile import Profile

STROKES = {
    "snare": {
        Dynamic.GHOST: (10.0, 11.0, 12.0),
        Dynamic.NORMAL: (40.0, 42.0, 44.0),
        Dynamic.ACCENT: (80.0, 84.0, 88.0),
    }
}


def test_a_fresh_profile_is_what_is_usual():
    fresh = Profile(kit="practice kit", player="Ana")
    assert (fresh.port, fresh.pads, fresh.latency, fresh.calls) == ("", Pads(), None, Calls())
    assert fresh.bands is None


def test_the_bands_are_those_of_the_strokes():
    bands = Profile(kit="practice kit", player="Ana", strokes=STROKES).bands
    assert bands == bands_of(STROKES)
    assert bands is not None
    assert bands.source == SOURCE
    # 60 is a strong stroke on this soft kit, and no ghost note by far.
    assert bands.of("snare", Dynamic.GHOST).judge(12.0) is Loudness.RIGHT
    assert bands.of("snare", Dynamic.GHOST).judge(60.0) is Loudness.TOO_LOUD
    assert bands.of("snare", Dynamic.ACCENT).judge(88.0) is Loudness.RIGHT
