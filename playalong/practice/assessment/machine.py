"""How an assessment is taken: a machine that is told what happens, and how much time has passed.

| state | the clock | GO_ON | PLAYED, BROKEN_OFF | LOST | PAUSE | NEXT | BACK | FINISH |
| --- | --- | --- | --- | --- | --- | --- | --- | --- |
| AGREEING | stands | WARMING_UP, or READY | - | - | - | - | - | CLOSED |
| WARMING_UP | stands | READY | - | STOPPED | - | - | - | CLOSED |
| READY | runs | LOOKING, or PLAYING | - | STOPPED | PAUSED | READY, or CLOSED | READY | CLOSED |
| LOOKING | runs | PLAYING | - | STOPPED | - | - | - | - |
| PLAYING | runs | - | READY, or CLOSED | STOPPED | - | - | - | - |
| PAUSED | stands | READY | - | - | - | - | - | CLOSED |
| STOPPED | stands | READY | - | - | - | - | - | CLOSED |
| CLOSED | stands | - | - | - | - | - | - | - |

And by time alone: WARMING_UP is over, and READY follows; LOOKING is over, and PLAYING follows; the
total is over, and READY is CLOSED. What has begun by then is played to its end and counts.

* AGREEING shows what is agreed: kit, latency, calibration. READY stands before a run of the item
  that is next, LOOKING shows a sheet that is played at sight, once for an item.
* A rehearsal, and after them an attempt, is a run of PLAYING. One that the player breaks off
  (BROKEN_OFF) is an attempt like any other. One in which the kit or the program is lost (LOST) is
  none: the sitting stands still, and goes on with the time that was left. The result says so.
* PAUSE is possible as often as the file allows it, NEXT once an attempt at the item was played;
  after the last item it is CLOSED.
* A sitting that was kept (``as_plain``) and is taken up again was interrupted: it is STOPPED.
* Homework has no clock, no rehearsals and no end of attempts; NEXT and BACK go round its items.

Knows no device, no file and no clock.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from playalong.practice.assessment.model import Assessment, Item


class State(StrEnum):
    """Where a sitting stands."""

    AGREEING = "agreeing"
    WARMING_UP = "warming up"
    READY = "ready"
    LOOKING = "looking"
    PLAYING = "playing"
    PAUSED = "paused"
    STOPPED = "stopped"
    CLOSED = "closed"


class Event(StrEnum):
    """What may happen."""

    GO_ON = "go on"
    PLAYED = "played"
    BROKEN_OFF = "broken off"
    LOST = "lost"
    PAUSE = "pause"
    NEXT = "next"
    BACK = "back"
    FINISH = "finish"


class Loss(StrEnum):
    """What was lost in an interruption."""

    KIT = "kit"
    PROGRAM = "program"


#: Where the clock runs.
TIMED = frozenset({State.READY, State.LOOKING, State.PLAYING})


@dataclass(frozen=True, slots=True, kw_only=True)
class Interruption:
    """What was lost, in which item (0 is the first) and state, with how much time left."""

    loss: Loss
    item: int
    state: State
    left_s: float

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for JSON."""
        return {
            "loss": self.loss.value,
            "item": self.item,
            "state": self.state.value,
            "left_s": round(self.left_s, 3),
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Interruption":
        """As ``as_plain`` gave it; KeyError, TypeError or ValueError for anything else."""
        return cls(
            loss=Loss(plain["loss"]),
            item=int(plain["item"]),
            state=State(plain["state"]),
            left_s=float(plain["left_s"]),
        )


class Sitting:
    """One sitting with ``assessment``; everything may be read at any time.

    ``item`` is the number of the item that is on; ``rehearsals`` and ``attempts`` are how many of
    it were played; ``left_s`` the time left of the total, ``warm_up_s`` and ``look_s`` of these.
    """

    def __init__(self, assessment: Assessment) -> None:
        self.assessment = assessment
        self.state = State.AGREEING
        self.item = self.rehearsals = self.attempts = 0
        self.left_s, self.warm_up_s = assessment.total_s, assessment.warm_up_s
        self.look_s = assessment.items[0].sight_s or 0.0
        self.pauses = assessment.pauses
        self.interruptions: tuple[Interruption, ...] = ()

    @property
    def current_item(self) -> Item:
        """The item that is on."""
        return self.assessment.items[self.item]

    @property
    def is_rehearsal(self) -> bool:
        """Whether the run that is next, or on, is one that does not count."""
        return not self.assessment.is_homework and self.rehearsals < self.current_item.rehearsals

    @property
    def is_timed(self) -> bool:
        """Whether the clock runs now."""
        return not self.assessment.is_homework and self.state in TIMED

    def may(self, event: Event) -> bool:
        """Whether ``event`` is possible now."""
        if (self.state, event) not in _TABLE:
            return False
        if event is Event.PAUSE:
            return self.pauses > 0 and not self.assessment.is_homework
        if event is Event.BACK:
            return self.assessment.is_homework and len(self.assessment.items) > 1
        if event is Event.NEXT:
            several = len(self.assessment.items) > 1
            return several if self.assessment.is_homework else self.attempts > 0
        return True

    def tell(self, event: Event) -> None:
        """``event`` has happened; ValueError where it is not possible."""
        if not self.may(event):
            raise ValueError(f"{event} is not possible while {self.state}")
        _TABLE[self.state, event](self)

    def lost(self, loss: Loss) -> None:
        """The kit, or the program, is gone; nothing where nothing was on."""
        if self.may(Event.LOST):
            lost = Interruption(loss=loss, item=self.item, state=self.state, left_s=self.left_s)
            self.interruptions += (lost,)
            self.tell(Event.LOST)

    def time_passed(self, seconds: float) -> None:
        """So many seconds have passed."""
        if self.is_timed:
            self.left_s = max(0.0, self.left_s - seconds)
        if self.state is State.WARMING_UP:
            self.warm_up_s = max(0.0, self.warm_up_s - seconds)
            if not self.warm_up_s:
                self.state = State.READY
        elif self.state is State.LOOKING:
            self.look_s = max(0.0, self.look_s - seconds)
            if not self.look_s:
                self.state = State.PLAYING
        elif self.state is State.READY and self.is_timed and not self.left_s:
            self.state = State.CLOSED

    # What each event does.

    def _begin(self) -> None:
        self.state = State.WARMING_UP if self.warm_up_s else State.READY

    def _ready(self) -> None:
        self.state = State.READY

    def _start(self) -> None:
        self.state = State.LOOKING if self.look_s else State.PLAYING

    def _play(self) -> None:
        self.look_s, self.state = 0.0, State.PLAYING

    def _played(self) -> None:
        self.state = State.READY
        if self.assessment.is_homework:
            self.attempts += 1
        elif self.is_rehearsal:
            self.rehearsals += 1
        else:
            self.attempts += 1
            if self.attempts >= self.current_item.attempts:
                self._next()
        if self.state is State.READY and not self.assessment.is_homework and not self.left_s:
            self.state = State.CLOSED

    def _next(self) -> None:
        items = len(self.assessment.items)
        if self.assessment.is_homework:
            self._go_to((self.item + 1) % items)
        elif self.item + 1 < items:
            self._go_to(self.item + 1)
        else:
            self.state = State.CLOSED

    def _back(self) -> None:
        self._go_to((self.item - 1) % len(self.assessment.items))

    def _go_to(self, item: int) -> None:
        self.item, self.rehearsals, self.attempts = item, 0, 0
        self.look_s = self.current_item.sight_s or 0.0

    def _stop(self) -> None:
        self.state = State.STOPPED

    def _pause(self) -> None:
        self.pauses -= 1
        self.state = State.PAUSED

    def _close(self) -> None:
        self.state = State.CLOSED

    # Keeping.

    def as_plain(self) -> dict[str, Any]:
        """All that it takes to go on, as plain objects for JSON."""
        return {
            "state": self.state.value,
            "item": self.item,
            "rehearsals": self.rehearsals,
            "attempts": self.attempts,
            "left_s": round(self.left_s, 3),
            "warm_up_s": round(self.warm_up_s, 3),
            "look_s": round(self.look_s, 3),
            "pauses": self.pauses,
            "interruptions": [one.as_plain() for one in self.interruptions],
        }

    @classmethod
    def resumed(cls, assessment: Assessment, plain: Mapping[str, Any]) -> "Sitting":
        """The sitting that ``as_plain`` told of, whose program has ended since.

        ValueError where ``plain`` is of no sitting with this assessment.
        """
        found = cls(assessment)
        try:
            found.state = State(plain["state"])
            found.item = int(plain["item"])
            found.rehearsals, found.attempts = int(plain["rehearsals"]), int(plain["attempts"])
            found.left_s, found.warm_up_s = float(plain["left_s"]), float(plain["warm_up_s"])
            found.look_s, found.pauses = float(plain["look_s"]), int(plain["pauses"])
            found.interruptions = tuple(map(Interruption.from_plain, plain["interruptions"]))
        except (KeyError, TypeError, ValueError) as error:
            raise ValueError("no sitting is kept here") from error
        if not 0 <= found.item < len(assessment.items):
            raise ValueError("the sitting that is kept is of another assessment")
        found.lost(Loss.PROGRAM)
        return found


_TABLE: Mapping[tuple[State, Event], Callable[[Sitting], None]] = {
    (State.AGREEING, Event.GO_ON): Sitting._begin,
    (State.AGREEING, Event.FINISH): Sitting._close,
    (State.WARMING_UP, Event.GO_ON): Sitting._ready,
    (State.WARMING_UP, Event.LOST): Sitting._stop,
    (State.WARMING_UP, Event.FINISH): Sitting._close,
    (State.READY, Event.GO_ON): Sitting._start,
    (State.READY, Event.LOST): Sitting._stop,
    (State.READY, Event.PAUSE): Sitting._pause,
    (State.READY, Event.NEXT): Sitting._next,
    (State.READY, Event.BACK): Sitting._back,
    (State.READY, Event.FINISH): Sitting._close,
    (State.LOOKING, Event.GO_ON): Sitting._play,
    (State.LOOKING, Event.LOST): Sitting._stop,
    (State.PLAYING, Event.PLAYED): Sitting._played,
    (State.PLAYING, Event.BROKEN_OFF): Sitting._played,
    (State.PLAYING, Event.LOST): Sitting._stop,
    (State.PAUSED, Event.GO_ON): Sitting._ready,
    (State.PAUSED, Event.FINISH): Sitting._close,
    (State.STOPPED, Event.GO_ON): Sitting._ready,
    (State.STOPPED, Event.FINISH): Sitting._close,
}
