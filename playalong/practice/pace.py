"""How fast a step is played: faster by what went, slower by what did not.

About ``AIM`` of the repetitions should go right (Wilson, Shenhav, Straccia and Cohen, The eighty
five percent rule for optimal learning, Nature Communications 10, 2019). So each tempo that goes is
followed by one that is faster by a stride, and strides learn from what comes of them: one that went
at once makes the next longer, one that did not makes it shorter (steps that shrink where the
direction turns: Kesten, Accelerated stochastic approximation, Annals of Mathematical Statistics 29,
1958). Where less goes right than should, a tempo that went is kept for a while before the next.

All tempi are beats per minute, strides are shares of the tempo; the figures are our own choice.
"""

from collections import deque

#: The share of repetitions that should go right, and of how many lately it is counted.
AIM, FORM = 0.85, 12

#: Before anything was played as it is to be, so many repetitions count as if they had gone as well
#: as they should.
BEFOREHAND = 4

#: How much faster it gets: at first and at least where a step begins, at most, after a faultless
#: one, and at least. A stride grows and shrinks by these.
STRIDE, CAREFUL, LONGEST, FAULTLESS, SHORTEST = 0.1, 0.04, 0.2, 0.4, 0.02
GROWS, SHRINKS = 1.5, 0.5

#: A tempo that does not go though a slower one went is left for that one, or for so much less.
UNDER = 0.9

#: After so many tempi in a row that did not go, something else is made easier as well.
FALLS = 3

#: Where less goes right than should, a tempo is kept for so many clean ones more.
DWELL = 2

#: A goal that is as near as this share is gone to at once; two tempi as near are not told apart.
NEAR, SAME = 0.08, 0.03


class Pace:
    """The tempi of a lesson, and how much goes right; ``begin`` comes before each step.

    ``tempo_bpm`` is that of now, ``held_bpm`` the last that went in this step, None for none.
    """

    def __init__(self, aim: float = AIM) -> None:
        self._aim = aim
        self._form: deque[bool] = deque(maxlen=FORM)
        self._whole_form: deque[bool] = deque(maxlen=FORM)
        self._stride = LONGEST
        self.begin(0.0)

    def begin(self, tempo_bpm: float, held_bpm: float | None = None) -> None:
        """A step begins at a tempo; ``held_bpm`` went another time."""
        self.tempo_bpm, self.held_bpm = tempo_bpm, held_bpm
        self._limit_bpm: float | None = None
        self._falls = self._dwell = 0
        self._stride = max(self._stride, STRIDE if self.goes_well else CAREFUL)

    def played(self, right: bool, *, whole: bool = True) -> None:
        """A repetition of whatever is played now; ``whole``: nothing in it was made easier."""
        self._form.append(right)
        if whole:
            self._whole_form.append(right)

    @property
    def goes_well(self) -> bool:
        """Whether as much goes right lately as should; of few, one that is wrong may be chance."""
        chance = 0.0 if len(self._form) == FORM else 1.0
        return sum(self._form) >= self._aim * len(self._form) - chance

    @property
    def share(self) -> float:
        """The share that went right of the last repetitions in which nothing was made easier."""
        rights = sum(self._whole_form) + BEFOREHAND * self._aim
        return rights / (len(self._whole_form) + BEFOREHAND)

    @property
    def is_above_held(self) -> bool:
        """Whether a slower tempo of the step went well."""
        return self.held_bpm is not None and self.tempo_bpm > self.held_bpm * (1.0 + SAME)

    def went(self, *, faultless: bool, at_once: bool) -> bool:
        """The tempo of now was clean; whether it is left for a faster one."""
        if self._dwell > 0:
            self._dwell -= 1
            return False
        if faultless:
            self._stride = FAULTLESS
        elif at_once and self.goes_well:
            self._stride = min(max(self._stride * GROWS, SHORTEST), LONGEST)
        self._falls = 0
        self.held_bpm = self.tempo_bpm
        return True

    def faster(self, goal_bpm: float) -> None:
        """On to the next tempo, at most half the way to one that did not go."""
        self.tempo_bpm = self.after(self.tempo_bpm, goal_bpm)
        self._dwell = 0 if self.goes_well else DWELL

    def after(self, tempo_bpm: float, goal_bpm: float) -> float:
        """The tempo that comes after one that went."""
        stride = self._stride if self.goes_well else min(self._stride, CAREFUL)
        faster = max(tempo_bpm + 1.0, float(round(tempo_bpm * (1.0 + stride))))
        limit = self._limit_bpm
        if limit is not None and limit > tempo_bpm:
            faster = min(faster, float(round((tempo_bpm + limit) / 2.0)))
            if faster < tempo_bpm * (1.0 + SAME):
                self._limit_bpm = None  # it may go by now
                faster = max(tempo_bpm + 1.0, float(round(tempo_bpm * (1.0 + SAME))))
        near = goal_bpm * (1.0 - min(NEAR, stride))
        return goal_bpm if faster >= near and limit is None else min(goal_bpm, faster)

    def failed(self, start_bpm: float) -> bool:
        """The tempo of now did not go: a slower one from now on, but not below ``start_bpm``.

        Answers whether that is all: where not, something else has to become easier.
        """
        held = self.held_bpm
        slower = self.tempo_bpm * UNDER
        if self.is_above_held and held is not None:
            slower = held if self.goes_well else min(slower, held)
        slower = max(start_bpm, float(round(slower)))
        if slower >= self.tempo_bpm:
            return False
        self._stride = max(SHORTEST, self._stride * SHRINKS)
        self._limit_bpm, self.tempo_bpm = self.tempo_bpm, slower
        self._falls += 1
        self._dwell = 0 if self.goes_well else DWELL
        return self._falls % FALLS > 0

    def slower_once(self, tempo_bpm: float) -> None:
        """A tempo below that at which the step begins."""
        self._limit_bpm, self.tempo_bpm = self.tempo_bpm, tempo_bpm
        self._falls += 1
