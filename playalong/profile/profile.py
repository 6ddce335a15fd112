"""A profile: all that is known of one kit and the player who plays it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from playalong.grading.bands_from_strokes import bands_of
from playalong.grading.loudness import Bands
from playalong.midi.pads import Pads
from playalong.pattern.model import Dynamic
from playalong.profile.latency import Latency
from playalong.profile.pad_commands import Calls


@dataclass(frozen=True, kw_only=True)
class Profile:
    """What is known of ``kit`` as ``player`` plays it.

    ``port`` is the plain name of the port on which it is heard, empty while there is none;
    ``strokes`` the velocities of the player's own strokes, voice -> dynamic -> velocities (1 to
    127); ``latency`` None until it is measured; ``calls`` the strokes that work the program;
    ``has`` the pads that the kit has, by their voices, empty until they were learned.
    """

    kit: str
    player: str
    port: str = ""
    pads: Pads = field(default_factory=Pads)
    strokes: Mapping[str, Mapping[Dynamic, tuple[float, ...]]] = field(default_factory=dict)
    latency: Latency | None = None
    calls: Calls = field(default_factory=Calls)
    has: tuple[str, ...] = ()

    @property
    def bands(self) -> Bands | None:
        """The loudness bands of the player's own strokes, None until there are some."""
        return bands_of(self.strokes) if self.strokes else None

    @property
    def is_loudness_known(self) -> bool:
        """Whether some pad was struck softly, normally and with accents."""
        return any(all(groups.get(one) for one in Dynamic) for groups in self.strokes.values())
