"""What a take says of itself: all that is needed to grade it again without a further word.

It stands in the take's file as the text ``playalong`` and a JSON object. Every key may be missing:
a take of an earlier version says less, and what makes no sense is passed over.

=============  =====================================================================================
format         of this object: 2; takes of the first format have no such key
program        the version of the program that kept it
date           when the run began: ISO 8601, with the time zone
player, kit    whose profile it was; neither where a simulated player played
simulated      ``skill`` and ``seed`` of the simulated player; not there for people
pattern        the pattern's name
pattern_id     its fingerprint, see ``pattern.fingerprint``
pattern_text   its file as ``pattern.writer`` writes it, so that the take can do without the file
excerpt        which part of it was played, see ``practice.excerpts.Excerpt``; the whole if missing
free           whether the player mixed the variations freely
tempo_bpm      of the click, in beats of the pattern's meter
bars           how many were asked for
variations     those in place from beginning to end
start_s        where bar 1 starts, in seconds from the start of the file
until_s        where the run was broken off, in seconds from bar 1
level, capture_ms, tolerance_ms, bands, left_handed    the rules by which it was judged
pads           what the notes meant, and what was guarded against
latency_ms     what has been taken off the time of every message
pauses         where the run stood still, see ``grading.matching.pauses``
along          the beats of the recording that it was played along with
=============  =====================================================================================
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Any

from playalong.grading.matching.pauses import Pauses
from playalong.midi.pads import Pads
from playalong.pattern.beat_map import BeatMap

FORMAT = 2


@dataclass(frozen=True, slots=True)
class Simulated:
    """The simulated player behind a take."""

    skill: str
    seed: int

    def next(self, runs: int) -> "Simulated":
        """The same player so many runs later, whom the next seeds make play otherwise."""
        return Simulated(self.skill, self.seed + runs)


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeInfo:
    """What a take says of itself, under the names of the module's table.

    ``excerpt``, ``bands`` and ``along`` are plain objects as they stand in the file: what they
    mean depends on the pattern, the default bands, and the bars. Units as the names say; seconds
    count from bar 1.
    """

    format: int = 1
    program: str = ""
    date: str = ""
    player: str = ""
    kit: str = ""
    simulated: Simulated | None = None
    pattern: str = ""
    pattern_id: str = ""
    pattern_text: str = ""
    excerpt: Any = None
    free: bool = False
    tempo_bpm: float | None = None
    bars: int | None = None
    variations: tuple[str, ...] = ()
    until_s: float = inf
    level: str = ""
    capture_ms: float | None = None
    tolerance_ms: float | None = None
    left_handed: bool = False
    bands: Any = None
    pads: Pads | None = None
    latency_ms: float = 0.0
    pauses: Pauses = field(default_factory=Pauses)
    along: Any = None

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for JSON: only what there is to say."""
        plain: dict[str, Any] = {
            "format": self.format,
            "program": self.program,
            "date": self.date,
            "player": self.player,
            "kit": self.kit,
            "simulated": None
            if self.simulated is None
            else {"skill": self.simulated.skill, "seed": self.simulated.seed},
            "pattern": self.pattern,
            "pattern_id": self.pattern_id,
            "pattern_text": self.pattern_text,
            "excerpt": self.excerpt,
            "free": self.free or None,
            "tempo_bpm": self.tempo_bpm,
            "bars": self.bars,
            "variations": list(self.variations),
            "until_s": None if self.until_s == inf else self.until_s,
            "level": self.level,
            "capture_ms": self.capture_ms,
            "tolerance_ms": self.tolerance_ms,
            "left_handed": self.left_handed or None,
            "bands": self.bands,
            "pads": None if self.pads is None else self.pads.as_plain(),
            "latency_ms": self.latency_ms,
            "pauses": self.pauses.as_plain() or None,
            "along": self.along,
        }
        return {key: value for key, value in plain.items() if value not in (None, "")}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "TakeInfo":
        """What a take says; what makes no sense is as if it were not there."""

        def number(key: str) -> float | None:
            value = plain.get(key)
            return float(value) if isinstance(value, int | float) else None

        def text(key: str) -> str:
            value = plain.get(key)
            return value if isinstance(value, str) else ""

        def table(key: str) -> Any:
            value = plain.get(key)
            return value if isinstance(value, dict) else None

        variations, until_s = plain.get("variations"), number("until_s")
        bars = number("bars")
        return cls(
            format=max(1, int(number("format") or 1)),
            program=text("program"),
            date=text("date"),
            player=text("player"),
            kit=text("kit"),
            simulated=_simulated(plain.get("simulated")),
            pattern=text("pattern"),
            pattern_id=text("pattern_id"),
            pattern_text=text("pattern_text"),
            excerpt=table("excerpt"),
            free=plain.get("free") is True,
            tempo_bpm=number("tempo_bpm"),
            bars=None if bars is None else int(bars),
            variations=tuple(map(str, variations)) if isinstance(variations, list) else (),
            until_s=inf if until_s is None else until_s,
            level=text("level"),
            capture_ms=number("capture_ms"),
            tolerance_ms=number("tolerance_ms"),
            left_handed=plain.get("left_handed") is True,
            bands=table("bands"),
            pads=Pads.from_plain(plain["pads"]) if "pads" in plain else None,
            latency_ms=number("latency_ms") or 0.0,
            pauses=Pauses.from_plain(plain.get("pauses", [])),
            along=table("along"),
        )

    def of_the_kit(self) -> "TakeInfo":
        """What it says of the player, the kit and the time, which holds for any pattern."""
        return TakeInfo(
            format=self.format,
            program=self.program,
            date=self.date,
            player=self.player,
            kit=self.kit,
            simulated=self.simulated,
            level=self.level,
            capture_ms=self.capture_ms,
            tolerance_ms=self.tolerance_ms,
            left_handed=self.left_handed,
            bands=self.bands,
            pads=self.pads,
            latency_ms=self.latency_ms,
        )

    @property
    def beats(self) -> BeatMap | None:
        """The beats of the recording that it was played along with, if it was."""
        try:
            times_s, per_bar = map(float, self.along["times_s"]), int(self.along["per_bar"])
            lengths = [int(beats) for beats in self.along.get("bars", [per_bar])]
            return BeatMap.of_bars(times_s, lengths)
        except (KeyError, TypeError, ValueError, OverflowError):
            return None


def _simulated(plain: Any) -> Simulated | None:
    try:
        return Simulated(str(plain["skill"]), int(plain["seed"]))
    except (KeyError, TypeError, ValueError):
        return None
