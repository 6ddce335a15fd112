"""The first strokes on a kit: three normal ones on each of three pads, and three soft ones.

They tell whether the pads are heard, whether soft strokes arrive, and whether they come softer.
What is normal and what is soft on the snare is learned from them; the rest of how loud is loud is
measured later, pad by pad.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from playalong.grading.loudness import level_db
from playalong.midi.hits import Hit
from playalong.midi.pads import pad_of
from playalong.pattern.model import Dynamic

#: What is asked for, in this order, and how often each.
REQUESTED: Sequence[tuple[str, Dynamic]] = (
    ("snare", Dynamic.NORMAL),
    ("hi-hat", Dynamic.NORMAL),
    ("kick", Dynamic.NORMAL),
    ("snare", Dynamic.GHOST),
)
TIMES = 3

#: Hits of a pad this close are one stroke, in seconds.
_TOGETHER_S = 0.06

#: So long soft strokes may not arrive before that is told, in seconds.
SILENT_S = 6.0

#: Soft strokes this much softer than normal ones can be told apart, in dB (our own choice: the
#: contrast that a beginner is asked for).
APART_DB = 8.0


@dataclass
class FirstStrokes:
    """Takes hits until all that is REQUESTED has come; ``since_s`` is when something last came."""

    velocities: list[list[float]] = field(default_factory=lambda: [[] for _ in REQUESTED])
    since_s: float = 0.0
    _last: tuple[str, float] = ("", -1.0)

    @property
    def step(self) -> int:
        """The number of what is asked for now; that of all where nothing is left."""
        counts = (number for number, found in enumerate(self.velocities) if len(found) < TIMES)
        return next(counts, len(REQUESTED))

    @property
    def is_done(self) -> bool:
        """Whether all has come."""
        return self.step == len(REQUESTED)

    def hit(self, hit: Hit) -> bool:
        """Take a hit; whether it was one that is asked for."""
        self.since_s = hit.time_s
        pad = pad_of(hit.voice)
        before, self._last = self._last, (pad, hit.time_s)
        if self.is_done or pad != REQUESTED[self.step][0]:
            return False
        if before[0] == pad and hit.time_s - before[1] < _TOGETHER_S:
            return False
        self.velocities[self.step].append(hit.velocity)
        return True

    def soft_are_missing(self, now_s: float) -> bool:
        """Whether soft strokes are asked for, and nothing has come for some time."""
        return self.step == len(REQUESTED) - 1 and now_s - self.since_s > SILENT_S

    @property
    def apart_db(self) -> float | None:
        """How much softer the soft strokes came than the normal ones; None while not known."""
        normal, soft = self.velocities[0], self.velocities[-1]
        if len(normal) < TIMES or len(soft) < TIMES:
            return None
        return level_db(median(normal)) - level_db(median(soft))

    @property
    def strokes(self) -> dict[str, Mapping[Dynamic, tuple[float, ...]]]:
        """What is learned, voice -> dynamic -> velocities (1 to 127); none while not apart."""
        apart_db = self.apart_db
        if not self.is_done or apart_db is None or apart_db < APART_DB:
            return {}
        found: dict[str, dict[Dynamic, tuple[float, ...]]] = {}
        for (voice, dynamic), velocities in zip(REQUESTED, self.velocities, strict=True):
            found.setdefault(voice, {})[dynamic] = tuple(velocities)
        return dict(found)
