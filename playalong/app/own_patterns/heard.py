"""A pattern that is heard again and again while it is written: what is changed is heard at once."""

from fractions import Fraction

from playalong.app.run.clock import Clock
from playalong.pattern.model import Pattern, Stroke
from playalong.pattern.targets import lay_out
from playalong.sound.device.output import Output
from playalong.sound.synth.drums import warm
from playalong.sound.synth.notes import VELOCITIES, Note, notes
from playalong.sound.timeline import RATE

#: The first stroke comes so soon; strokes are handed on so long before they sound. A grace stroke
#: comes before its main stroke, so no less.
_LEAD_S, _AHEAD_S = 0.15, 0.12


class HeardPattern:
    """Plays a pattern round and round from ``start`` on, until ``stop``."""

    def __init__(self, output: Output, clock: Clock) -> None:
        self._output, self._clock = output, clock
        self._pattern: Pattern | None = None
        self._notes: list[Note] = []
        self._length_s = self._origin_s = self._until_s = 0.0
        self._number = 0
        self.is_on = False

    def start(self, pattern: Pattern) -> None:
        """Begin with bar 1."""
        self._take(pattern)
        self._origin_s = self._until_s = self._clock.now() + _LEAD_S
        self.is_on = True

    def stop(self) -> None:
        """Be silent."""
        self.is_on = False
        self._output.clear()

    def one(self, stroke: Stroke) -> None:
        """Let one stroke be heard as soon as can be."""
        voice = "hi-hat-open" if stroke.is_open else stroke.voice
        self._number += 1
        velocity = VELOCITIES[stroke.dynamic]
        self._output.now(Note(time_s=0.0, voice=voice, velocity=velocity, variant=self._number))

    def go_on(self, pattern: Pattern) -> None:
        """Hand on what sounds next; called many times a second."""
        if not self.is_on:
            return
        now_s = self._clock.now()
        if pattern is not self._pattern:
            share = (
                ((now_s - self._origin_s) / self._length_s) % 1.0 if now_s > self._origin_s else 0.0
            )
            self._take(pattern)
            if now_s > self._origin_s:  # the place in the round stays
                self._origin_s = now_s - share * self._length_s
        until_s = max(self._until_s, now_s + _AHEAD_S)
        first = max(0, int((self._until_s - self._origin_s) // self._length_s))
        round_s = self._origin_s + first * self._length_s
        while round_s < until_s:
            due = [note for note in self._notes if self._until_s <= round_s + note.time_s < until_s]
            if due:
                self._output.schedule(round_s, due)
            round_s += self._length_s
        self._until_s = until_s

    def place(self) -> tuple[int, Fraction] | None:
        """(bar, position) that sounds now, None before the first."""
        pattern, now_s = self._pattern, self._clock.now()
        if not self.is_on or pattern is None or now_s < self._origin_s:
            return None
        whole = sum((bar.meter.length for bar in pattern.bars), Fraction(0))
        share = ((now_s - self._origin_s) / self._length_s) % 1.0
        at = Fraction(share).limit_denominator(10_000) * whole
        for number, bar in enumerate(pattern.bars):
            if at < bar.meter.length:
                return number, at
            at -= bar.meter.length
        return 0, Fraction(0)

    def _take(self, pattern: Pattern) -> None:
        targets = lay_out(pattern, pattern.tempo, len(pattern.bars))
        self._pattern, self._notes = pattern, notes(targets)
        self._length_s = float(targets.end_s - targets.start_s)
        warm({note.voice for note in self._notes}, RATE)
