"""The mix: how loud click, drums and recording are beside one another."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

#: A part may be set between these, in decibel against what it was made at.
LOWEST_DB, HIGHEST_DB = -36.0, 6.0

#: Where the drums are heard as well the click starts so much softer: it is then about as loud as
#: the strokes that it falls on (``python -m tests.bench.mix`` prints both, A-weighted).
SOFT_CLICK_DB = -15.0


class Part(StrEnum):
    """What is heard."""

    CLICK = "click"
    DRUMS = "drums"
    RECORDING = "recording"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """The level of each part in decibel, 0 as it was made.

    The click has two levels: ``click_db`` by itself, and ``soft_click_db`` where the program plays
    drums as well (``is_under_drums``).
    """

    click_db: float = 0.0
    soft_click_db: float = SOFT_CLICK_DB
    drums_db: float = 0.0
    recording_db: float = 0.0
    is_under_drums: bool = False

    def of(self, part: Part) -> float:
        """The level of ``part``."""
        return float(getattr(self, self._field(part)))

    def moved(self, part: Part, by_db: float) -> "Mix":
        """With ``part`` so much louder, within what may be set."""
        level_db = min(max(self.of(part) + by_db, LOWEST_DB), HIGHEST_DB)
        changes: dict[str, Any] = {self._field(part): level_db}
        return replace(self, **changes)

    def under_drums(self, is_under: bool) -> "Mix":
        """The same while the program plays drums, or plays none."""
        return replace(self, is_under_drums=is_under)

    def as_levels(self) -> Mapping[Part, float]:
        """All levels by their parts."""
        return {part: self.of(part) for part in Part}

    def _field(self, part: Part) -> str:
        if part is Part.CLICK and self.is_under_drums:
            return "soft_click_db"
        return f"{part}_db"


#: All as they were made.
EVEN = Mix()
