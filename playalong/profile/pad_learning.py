"""Which pad is which: the player strikes what is lit up, one after the other.

``ZONES`` is the table of what can be lit up, in order. Two strokes that agree on a note settle a
zone, and the next lights up at once. What the kit lacks is passed over: by a key, by waiting, or
by striking a pad twice that is known already. Where that pad is the zone's own, the kit cannot tell
the two apart, and they count as one.

The order is chosen so that little goes wrong: the foot's own sound is known before the hi-hat is
struck, and is then not taken for it; the open hi-hat is known before the foot splash, which some
kits send with its note (common practice).
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from itertools import groupby
from math import ceil, inf
from statistics import median

from playalong.midi.messages import CONTROL_CHANGE, FOOT_CONTROLLER, is_stroke, kind_of, whole
from playalong.midi.pads import Pads, Pedal
from playalong.pattern.voices import BY_NAME, BY_NOTE

#: Notes this close are one stroke of a person, in seconds: bounces, and other pads that heard it.
TOGETHER_S = 0.06

#: How long a zone that a kit may lack is lit up after the last stroke, in seconds.
WAIT_S = 5.0

#: Who strikes so soon after a zone was passed over was about to strike it: nobody sees and plays
#: the next one as fast, as to answer a light alone takes about 0.2 s (from memory).
LATE_S = 0.25

#: How many strokes must agree on a note.
AGREE = 2

#: A pad that is struck so often, and sends nothing but what was taken for the foot, has that note.
_NO_FOOT = 4

#: A note that is known counts so much of its velocity against a new one of the same stroke: a rim
#: shot sounds the head as well, and is about as loud; crosstalk is far softer.
_KNOWN = 0.5

#: The pedal moved if its values lie so far apart, rests after so long in seconds, and is at one
#: of its ends within this share of its way.
_LEAST_WAY, _REST_S, _AT_END = 8, 0.5, 0.25


@dataclass(frozen=True, slots=True)
class Zone:
    """What can be lit up.

    ``words`` ask for it; ``voice`` is what it becomes, and ``drum`` what it becomes where rims and
    edges are to count as their drum. ``part`` of the pad is "middle", "rim" or "bell". ``of`` names
    the zone whose pad it is on, and without which it is not asked for. An ``optional`` zone is
    passed over after a while. Of a zone that ``travels`` only the pedal's way is learned.
    """

    name: str
    voice: str
    words: str
    _: KW_ONLY
    drum: str | None = None
    part: str = "middle"
    of: str | None = None
    optional: bool = True
    travels: bool = False


#: All that can be lit up, in the order in which it is.
ZONES: tuple[Zone, ...] = (
    Zone("kick", "kick", "Play the kick.", optional=False),
    Zone("snare", "snare", "Strike the head of the snare.", optional=False),
    Zone(
        "snare rim",
        "rim-shot",
        "Strike the rim of the snare.",
        drum="snare",
        part="rim",
        of="snare",
    ),
    Zone(
        "cross-stick",
        "cross-stick",
        "Lay the stick across the snare and tap its rim.",
        drum="snare",
        part="rim",
        of="snare",
    ),
    Zone(
        "pedal",
        "hi-hat-pedal",
        "Press the hi-hat pedal all the way down and let it come all the way up, twice.",
        travels=True,
    ),
    Zone(
        "pedal chick",
        "hi-hat-pedal",
        "Press the hi-hat pedal sharply and hold it.",
    ),
    Zone(
        "hi-hat",
        "hi-hat",
        "Hold the pedal down and strike the hi-hat on top.",
        optional=False,
    ),
    Zone(
        "hi-hat edge",
        "hi-hat",
        "Hold the pedal down and strike the edge of the hi-hat.",
        part="rim",
        of="hi-hat",
    ),
    Zone(
        "open hi-hat",
        "hi-hat-open",
        "Take the foot off the pedal and strike the hi-hat on top.",
        of="hi-hat",
    ),
    Zone(
        "open hi-hat edge",
        "hi-hat-open",
        "Foot off the pedal: strike the edge of the hi-hat.",
        part="rim",
        of="open hi-hat",
    ),
    Zone(
        "foot splash",
        "foot-splash",
        "Press the hi-hat pedal and let it spring up at once.",
        of="pedal chick",
    ),
    Zone("high tom", "high-tom", "Strike the head of the high tom."),
    Zone(
        "high tom rim",
        "high-tom",
        "Strike the rim of the high tom.",
        drum=None,
        part="rim",
        of="high tom",
    ),
    Zone("mid tom", "mid-tom", "Strike the head of the mid tom."),
    Zone(
        "mid tom rim",
        "mid-tom",
        "Strike the rim of the mid tom.",
        drum=None,
        part="rim",
        of="mid tom",
    ),
    Zone("floor tom", "floor-tom", "Strike the head of the floor tom."),
    Zone(
        "floor tom rim",
        "floor-tom",
        "Strike the rim of the floor tom.",
        drum=None,
        part="rim",
        of="floor tom",
    ),
    Zone(
        "second floor tom",
        "floor-tom",
        "Strike the head of the second floor tom.",
        of="floor tom",
    ),
    Zone(
        "second floor tom rim",
        "floor-tom",
        "Strike the rim of the second floor tom.",
        drum=None,
        part="rim",
        of="second floor tom",
    ),
    Zone("crash", "crash", "Strike the crash on top."),
    Zone(
        "crash edge",
        "crash",
        "Strike the edge of the crash.",
        drum=None,
        part="rim",
        of="crash",
    ),
    Zone("second crash", "crash", "Strike the second crash on top."),
    Zone(
        "second crash edge",
        "crash",
        "Strike the edge of the second crash.",
        drum=None,
        part="rim",
        of="second crash",
    ),
    Zone("ride", "ride", "Strike the ride on top."),
    Zone(
        "ride edge",
        "ride",
        "Strike the edge of the ride.",
        drum=None,
        part="rim",
        of="ride",
    ),
    Zone(
        "ride bell",
        "ride-bell",
        "Strike the bell of the ride.",
        drum="ride",
        part="bell",
        of="ride",
    ),
    Zone("china", "china", "Strike the china."),
    Zone("splash", "splash", "Strike the splash."),
    Zone("cowbell", "cowbell", "Strike the cowbell."),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneResult:
    """What became of a zone.

    ``note`` is its own note, None where it has none; ``value`` where the pedal stood at its
    strokes, if that is known; ``pedal`` what a zone that travels has told. ``requested``: it was
    lit up, and not passed over with the pad that it is on.
    """

    zone: Zone
    note: int | None = None
    value: float | None = None
    pedal: Pedal | None = None
    requested: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class _Note:
    """A note-on; ``pedal`` is where the pedal stood, if that is known."""

    time_s: float
    note: int
    velocity: int
    pedal: int | None


@dataclass(frozen=True, slots=True)
class _Move:
    time_s: float
    value: int


class Learning:
    """Asks for one zone after the other, and learns from the messages of the kit.

    Messages come with their time in seconds, in order, on any channel; ``time_passed`` is told the
    same clock. ``found`` holds what became of the zones so far, in their order; ``said`` what is
    to be told of the last.
    """

    def __init__(self, zones: Sequence[Zone] = ZONES) -> None:
        self.zones = tuple(zones)
        self.found: list[ZoneResult] = []
        self.said = ""
        self._named = {zone.name: zone for zone in self.zones}
        self._value: int | None = None
        self._counts: Counter[int] = Counter()
        #: How often notes of the foot came alone while a stroke was asked for.
        self._foot: Counter[int] = Counter()
        self._values: list[int] = []
        self._cluster: list[_Note] = []
        self._moves: list[_Move] = []
        self._since_s = self._now_s = inf
        #: When a zone was last passed over by waiting.
        self._passed_s = -inf
        self._light_up()

    @property
    def zone(self) -> Zone | None:
        """What is lit up, None when all is known."""
        return self.zones[len(self.found)] if len(self.found) < len(self.zones) else None

    @property
    def words(self) -> str:
        """What is asked for now."""
        if self.zone is None:
            return "That was all."
        return f"{self.zone.words} Once more." if self._counts else self.zone.words

    @property
    def hint(self) -> str:
        """What to do where the kit lacks what is asked for, "" where it should not."""
        if self.zone is None:
            return ""
        kick = any(found.zone.voice == "kick" and found.note is not None for found in self.found)
        if not self.zone.optional:
            return "If there is none, play the kick twice." if kick else ""
        waited_s = max(0.0, self._now_s - self._since_s) if self._since_s < inf else 0.0
        left = ceil(max(0.0, WAIT_S - waited_s))
        return f"If there is none, wait ({left} s){', or play the kick twice' if kick else ''}."

    @property
    def progress(self) -> tuple[int, int]:
        """How many zones are done, and of how many."""
        return len(self.found), len(self.zones)

    def message(self, time_s: float, data: bytes) -> None:
        """Take a message of the kit, whatever it is."""
        self._gather(time_s)
        if len(data) != 3 or not whole(data):
            return
        number, value = data[1], data[2]
        if kind_of(data) == CONTROL_CHANGE and number == FOOT_CONTROLLER:
            self._value = value
            if self.zone is not None and self.zone.travels:
                self._moves.append(_Move(time_s, value))
        elif is_stroke(data):
            self._cluster.append(
                _Note(time_s=time_s, note=number, velocity=value, pedal=self._value)
            )

    def time_passed(self, now_s: float) -> None:
        """It is ``now_s``: the moment of a stroke may be over, or the wait for one."""
        self._gather(now_s)
        zone = self.zone
        if zone is None:
            return
        if zone.travels:
            self._look_at_pedal(zone, now_s)
        elif zone.optional and not self._cluster and now_s - self._since_s >= WAIT_S:
            self._settle(ZoneResult(zone=zone), f"No {zone.name}: on without it.")
            self._passed_s = now_s

    def wait_anew(self) -> None:
        """The kit is not there: what is lit up is waited for from when it is back."""
        self._since_s = inf

    def skip(self) -> None:
        """On without what is lit up."""
        if self.zone is not None:
            self._settle(ZoneResult(zone=self.zone), f"On without the {self.zone.name}.")

    def back(self) -> None:
        """Ask again for what was lit up before."""
        while self.found and not self.found.pop().requested:
            pass
        self.said = ""
        self._light_up()

    def result(self, fold: bool) -> Pads:
        """What is known of the kit, only where it differs from the default table.

        With ``fold``, rims and edges count as their drum.
        """
        notes: dict[int, str] = {}
        for found in self.found:
            if found.note is None:
                continue
            voice = (found.zone.drum if fold else None) or found.zone.voice
            usual = BY_NOTE.get(found.note)
            if usual is None or usual.name != voice:
                notes[found.note] = voice
        return Pads(notes, self._pedal() or Pedal())

    def _light_up(self) -> None:
        self._counts.clear()
        self._foot.clear()
        self._values.clear()
        self._cluster.clear()
        # Where the pedal stands when it is asked for is one of its places.
        self._moves = [] if self._value is None else [_Move(-inf, self._value)]
        self._since_s = inf

    def _settle(self, found: ZoneResult, said: str) -> None:
        """Keep what became of a zone, and light up the next that the kit can have."""
        self.found.append(found)
        self.said = said
        there = {one.zone.name for one in self.found if one.note is not None}
        while (zone := self.zone) is not None and zone.of in self._named and zone.of not in there:
            self.found.append(ZoneResult(zone=zone, requested=False))
        self._light_up()

    def _gather(self, now_s: float) -> None:
        """Note the time, and take the notes of one moment for a stroke once it is over."""
        self._now_s = now_s
        self._since_s = min(self._since_s, now_s)
        if self._cluster and now_s - self._cluster[0].time_s >= TOGETHER_S:
            cluster, self._cluster = self._cluster, []
            if cluster[0].time_s - self._passed_s < LATE_S:
                self.back()
            self._passed_s = -inf
            self._stroke(cluster)

    def _stroke(self, cluster: list[_Note]) -> None:
        zone = self.zone
        if zone is None or zone.travels:
            return
        known = {found.note: found.zone for found in self.found if found.note is not None}
        loudest = max(
            cluster, key=lambda one: one.velocity * (_KNOWN if one.note in known else 1.0)
        )
        note, earlier = loudest.note, known.get(loudest.note)
        by_foot = earlier if earlier and BY_NAME[earlier.voice].by_itself else None
        if by_foot is not None and not BY_NAME[zone.voice].by_itself:
            self._foot[note] += 1
            if self._foot[note] < _NO_FOOT:
                return
            # So often by itself the foot sounds nothing: the note was the pad's all along.
            at = next(n for n, found in enumerate(self.found) if found.zone == by_foot)
            self.found[at] = ZoneResult(zone=by_foot)
            self._settle(
                ZoneResult(zone=zone, note=note), f"{zone.name.capitalize()}: note {note}."
            )
            return
        self._since_s = loudest.time_s
        self._counts[note] += 1
        if loudest.pedal is not None:
            self._values.append(loudest.pedal)
        if self._counts[note] < AGREE:
            return
        value = median(self._values) if self._values else None
        if earlier is None:
            name = zone.name.capitalize()
            self._settle(ZoneResult(zone=zone, note=note, value=value), f"{name}: note {note}.")
        elif self._base(zone) != self._base(earlier):
            self._settle(
                ZoneResult(zone=zone), f"That is the {earlier.name}: on without the {zone.name}."
            )
        elif self._pedal_tells(zone, earlier, value):
            self._settle(
                ZoneResult(zone=zone, note=None, value=value),
                f"The pedal tells the {zone.name} from the {earlier.name}.",
            )
        else:
            self._settle(
                ZoneResult(zone=zone),
                f"The kit cannot tell the {zone.name} from the {earlier.name}: they count as one.",
            )

    def _base(self, zone: Zone) -> Zone:
        """The zone whose pad it is on."""
        while zone.of in self._named:
            zone = self._named[zone.of]
        return zone

    def _pedal_tells(self, zone: Zone, earlier: Zone, value: float | None) -> bool:
        """Whether the pedal stood elsewhere at the strokes of a zone than at an earlier one's."""
        if zone.voice == earlier.voice or value is None:
            return False
        pedal = next((found.pedal for found in self.found if found.pedal), None)
        before = next((found.value for found in self.found if found.zone == earlier), None)
        if pedal is None or before is None:
            return False
        return abs(value - before) >= abs(pedal.closed - pedal.open) / 2.0

    def _look_at_pedal(self, zone: Zone, now_s: float) -> None:
        """Settle a zone that travels: the pedal went to its other end, came back and rests."""
        values = [move.value for move in self._moves]
        low, high = min(values, default=0), max(values, default=0)
        if high - low < _LEAST_WAY:
            if now_s - self._since_s >= WAIT_S:
                self._settle(ZoneResult(zone=zone), "The pedal does not tell where it stands.")
            return
        near = _AT_END * (high - low)

        def end(move: _Move) -> int | None:
            """The end at which the pedal is, None on its way."""
            return low if move.value <= low + near else high if move.value >= high - near else None

        # Some pedals tell their place all the time and are never quite still.
        stays = [(place, next(moves).time_s) for place, moves in groupby(self._moves, end)]
        ends = [place for place, _ in groupby(place for place, _ in stays if place is not None)]
        last, since_s = stays[-1]
        if len(ends) >= 3 and last is not None and now_s - since_s >= _REST_S:
            pedal = Pedal(open=last, closed=low if last == high else high)
            said = f"Pedal: {pedal.open} when let go, {pedal.closed} when pressed."
            self._settle(ZoneResult(zone=zone, pedal=pedal), said)

    def _pedal(self) -> Pedal | None:
        """The pedal's two ends; the strokes on the closed and the open hi-hat say which is which,
        should the foot have rested on it when it was learned.
        """
        pedal = next((found.pedal for found in self.found if found.pedal), None)
        values = {found.zone.name: found.value for found in self.found}
        closed, opened = values.get("hi-hat"), values.get("open hi-hat")
        if pedal is None or closed is None or opened is None:
            return pedal
        way = pedal.closed - pedal.open
        is_swapped = (closed - opened) * way < 0 and abs(closed - opened) >= abs(way) / 2.0
        return Pedal(pedal.closed, pedal.open) if is_swapped else pedal
