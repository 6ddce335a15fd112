"""The page on which the beats of a recording are set, with a recording that was never recorded."""

import numpy as np

from playalong.pattern.beat_map import BeatMap
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Level
from playalong.screen.pages.beats import BeatsPage

LENGTH_S = 60.0
BEATS = BeatMap.of(0.5 + 0.5 * np.arange(110) + 0.02 * np.sin(np.arange(110) / 5), first=2)

WORDS = (
    "40 taps, and the beats from the beginning to the end: 129 in all. Check them: play, and hear "
    "whether the clicks fall on the beat. U takes it back."
)


def overview(begin_s: float, end_s: float, columns: int) -> np.ndarray:
    """A recording that is loud for the first tenth of each second, silent outside itself."""
    at_s = np.linspace(begin_s, end_s, columns, endpoint=False)
    size = np.where((at_s >= 0) & (at_s < LENGTH_S) & (at_s % 1.0 < 0.1), 0.5, 0.0)
    return np.stack([-size, size], axis=1).astype(np.float32)


def a_page(theme: Theme, **fields) -> BeatsPage:
    known = {
        "beats": BEATS,
        "loop": (2, 5),
        "words": WORDS,
        "notices": ["a kit in the cellar"],
        "level": Level(-18.0),
        "recording_db": -6.0,
    }
    return BeatsPage(
        theme=theme,
        title="rainy evening.flac",
        length_s=LENGTH_S,
        overview=overview,
        **known | fields,
    )
