"""The editor: a pattern that is being written, what was done to it, and where the cursor stands.

Moves and changes go in; the pattern, the cursor and a word on what could not be done come out.
Whatever is done can be undone. Only what a pattern file can say is ever put into it.
"""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from playalong.pattern.editing import changes
from playalong.pattern.model import Bar, Dynamic, Hand, Pattern, Stroke
from playalong.pattern.reader import FASTEST_BPM, SLOWEST_BPM, PatternError, read
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, Limb
from playalong.pattern.writer import write

#: The rows of a new pattern.
NEW_ROWS = ("hi-hat", "snare", "kick")

#: So much can be undone.
_MOST = 1_000

_FEET = (Limb.KICK_FOOT, Limb.HAT_FOOT)


class Editor:
    """``pattern`` as it is now, and the cursor: a bar, one of its cells, a row.

    ``said`` tells what could not be done; ``struck`` are strokes put in and not heard yet.
    """

    def __init__(self, pattern: Pattern, *, is_saved: bool = True) -> None:
        """``is_saved``: whether the pattern as it is now is in a file."""
        self._done = [pattern]
        self._at = 0
        self._saved: Pattern | None = pattern if is_saved else None
        self._rows = list(pattern.voices or NEW_ROWS)
        self.bar = self.cell = self.row = 0
        self.said = ""
        self.struck: list[Stroke] = []
        #: The variation that is written on, None for the pattern itself.
        self.variation: str | None = None

    # What there is.

    @property
    def pattern(self) -> Pattern:
        """As it is now."""
        return self._done[self._at]

    @property
    def shown(self) -> Pattern:
        """What is written on: the pattern, or as its variation has it."""
        name, pattern = self.variation, self.pattern
        if name is None or name not in pattern.variations:
            return pattern
        return replace(pattern, bars=pattern.with_variations([name]), variations={}, chunks=())

    @property
    def is_changed(self) -> bool:
        """Whether it is other than in its file."""
        return self.pattern != self._saved

    @property
    def rows(self) -> Sequence[str]:
        """The voices that have a row, in staff order."""
        used = {*self._rows, *self.pattern.voices}
        return sorted(used, key=STAFF_ORDER.__getitem__)

    @property
    def voice(self) -> str:
        """That of the cursor's row."""
        return self.rows[min(self.row, len(self.rows) - 1)]

    @property
    def at(self) -> Fraction:
        """The cursor's place in its bar."""
        return changes.cells(self._bar)[self.cell]

    @property
    def beat(self) -> int:
        """The cursor's beat, 0 is the first."""
        return self._bar.meter.beat_of(self.at)

    @property
    def stroke(self) -> Stroke | None:
        """The stroke under the cursor."""
        return changes.stroke_at(self._bar, self.at, self.voice)

    @property
    def _bar(self) -> Bar:
        return self.shown.bars[self.bar]

    # The cursor.

    def go(self, bar: int, cell: int, row: int) -> None:
        """Put the cursor there, or as near as there is a cell."""
        self.bar = min(max(bar, 0), len(self.pattern.bars) - 1)
        self.cell = min(max(cell, 0), len(changes.cells(self._bar)) - 1)
        self.row = min(max(row, 0), len(self.rows) - 1)
        self.said = ""

    def move(self, cells: int, rows: int = 0) -> None:
        """Move the cursor: over bar lines, round at the end, and up and down the rows."""
        self.row = (self.row + rows) % len(self.rows)
        self.cell += cells
        while self.cell < 0:
            self.bar = (self.bar - 1) % len(self.pattern.bars)
            self.cell += len(changes.cells(self._bar))
        while self.cell >= len(changes.cells(self._bar)):
            self.cell -= len(changes.cells(self._bar))
            self.bar = (self.bar + 1) % len(self.pattern.bars)
        self.said = ""

    # Strokes.

    def toggle(self) -> None:
        """Put a stroke where there is none, or take the one that is there away."""
        if self.stroke is None:
            self._put(Stroke(at=self.at, voice=self.voice))
        else:
            self.take_away()

    def strike(self, voice: str, dynamic: Dynamic) -> None:
        """Put a stroke of any voice at the cursor's place: it gets a row where it has none."""
        self.add_row(voice)
        self.row = list(self.rows).index(voice)
        self._put(_as_loud(self._here(), dynamic))

    def loudness(self, dynamic: Dynamic) -> None:
        """Put a stroke that loud, or make the one that is there so."""
        self._put(_as_loud(self._here(), dynamic))

    def open(self) -> None:
        """Open the hi-hat under the cursor, or close it."""
        if self.voice != "hi-hat":
            self.said = "Only the hi-hat can be open."
            return
        one = self._here()
        self._put(replace(_no_ghost(one), is_open=not one.is_open, graces=0, roll=None))

    def graces(self, count: int) -> None:
        """Make it a flam (1) or a drag (2), or a single stroke again."""
        one = self._here()
        graces = 0 if one.graces == count else count
        self._put(replace(_no_ghost(one), graces=graces, is_open=False, roll=None))

    def optional(self) -> None:
        """Let the stroke be one that may be left out, or not any more."""
        one = self._here()
        self._put(replace(one, optional=not one.optional))

    def hand(self, hand: Hand) -> None:
        """Say which hand plays the stroke, or no longer."""
        one = self.stroke
        if one is None:
            self.said = "There is no stroke here."
        elif BY_NAME[one.voice].limb in _FEET:
            self.said = "A foot plays this: it has no hand."
        else:
            other = None if one.hand is hand else hand
            self._do_shown(changes.with_hand(self.shown, self.bar, one, hand=other))

    def roll(self, per_step: int) -> None:
        """Make it a buzz (0), or a counted roll of so many strokes to a cell, or a single stroke
        again."""
        one = self._here()
        if BY_NAME[one.voice].limb in _FEET:
            self.said = "A foot plays no roll: write its strokes."
            return
        own = one.roll
        if own is not None and bool(own.strokes) is bool(per_step):
            self._put(replace(one, roll=None))
            return
        plain = replace(_no_ghost(one), graces=0, is_open=False)
        rolled = changes.with_roll(self._bar, plain, per_step=per_step, steps=1)
        if rolled is not None:
            self._put(rolled)

    def longer(self, by: int) -> None:
        """Let the roll under the cursor last so many cells more, or fewer."""
        one = self.stroke
        if one is None or one.roll is None:
            self.said = "There is no roll here: Z and W put one."
            return
        cell = self._bar.meter.beats[self.beat] / self._bar.divisions[self.beat]
        steps = int(one.roll.length / cell) + by
        per_step = 2 if one.roll.strokes else 0
        rolled = changes.with_roll(self._bar, one, per_step=per_step, steps=steps)
        if rolled is None:
            self.said = "There is no room for a longer one." if by > 0 else "It is one cell long."
            return
        self._put(rolled)

    def take_away(self) -> None:
        """Take the stroke under the cursor away."""
        if self.stroke is not None:
            self._do_shown(changes.without_stroke(self.shown, self.bar, self.at, voice=self.voice))

    def _here(self) -> Stroke:
        return self.stroke or Stroke(at=self.at, voice=self.voice)

    def _put(self, stroke: Stroke) -> None:
        if self._do_shown(changes.with_stroke(self.shown, self.bar, stroke)):
            self.struck.append(stroke)

    # Variations.

    def vary(self, name: str | None) -> None:
        """Write on a variation from now on, an old or a new one; None for the pattern itself."""
        at = self.at
        self.variation = name
        self._back_to(at)

    def next_variation(self, by: int = 1) -> None:
        """Write on the next variation, and after the last on the pattern itself."""
        names: list[str | None] = [None, *self.pattern.variations]
        if self.variation not in names:
            names.append(self.variation)
        if len(names) == 1:
            self.said = "There is no variation yet: M has one more."
            return
        self.vary(names[(names.index(self.variation) + by) % len(names)])

    def take_variation_away(self) -> None:
        """Take the variation that is written on away."""
        name = self.variation
        if name is None:
            self.said = "This is the pattern itself: V goes to a variation."
            return
        self.vary(None)
        self._do(changes.without_variation(self.pattern, name))

    def _do_shown(self, shown: Pattern) -> bool:
        """Take changed strokes, of the pattern or of the variation that is written on."""
        name = self.variation
        if name is None:
            return self._do(shown)
        return self._do(changes.with_variation(self.pattern, name, shown.bars))

    # All of it.

    def grid(self, parts: int, *, everywhere: bool = False) -> None:
        """Cut the cursor's beat, or all, into so many parts."""
        at = self.at
        changed = (
            changes.with_grid_everywhere(self.pattern, parts)
            if everywhere
            else changes.with_grid(self.pattern, self.bar, self.beat, parts=parts)
        )
        if self.variation is not None and _strokes(changed) != _strokes(self.pattern):
            self.said = "That would move strokes of the pattern: V goes back to it."
            return
        self._do(changed)
        self._back_to(at)

    def meter(self, written: str) -> None:
        """Another meter."""
        at = self.at
        self._do(changes.with_meter(self.pattern, written))
        self._back_to(at)

    def tempo(self, bpm: float) -> None:
        """Another tempo, within what a pattern may have."""
        bpm = min(max(bpm, SLOWEST_BPM), FASTEST_BPM)
        self._do(changes.with_tempo(self.pattern, float(bpm)))

    def title(self, words: str) -> None:
        """Another title."""
        self._do(replace(self.pattern, title=words))

    def swing(self, percent: int) -> None:
        """So many per cent of a pair for its first note; beats of a quarter note swing."""
        swing = replace(self.pattern.swing, percent=Fraction(min(max(percent, 50), 80)))
        self._do(replace(self.pattern, swing=swing))

    def add_bar(self, *, copied: bool) -> None:
        """One more bar after the cursor's, and the cursor in it."""
        if len(self.pattern.bars) >= changes.MOST_BARS:
            self.said = f"{changes.MOST_BARS} bars are the most."
            return
        self._do(changes.with_bar(self.pattern, self.bar, copied=copied))
        self.bar += 1

    def take_bar_away(self) -> None:
        """Take the cursor's bar away."""
        if len(self.pattern.bars) == 1:
            self.said = "The last bar stays."
            return
        self._do(changes.without_bar(self.pattern, self.bar))
        self.go(self.bar, self.cell, self.row)

    def add_row(self, voice: str) -> None:
        """Give a voice a row."""
        own = self.voice
        self._rows.append(voice)
        self.row = list(self.rows).index(own)

    def take_row_away(self, voice: str) -> None:
        """Take a row away with its strokes; the last one stays."""
        if len(self.rows) == 1:
            self.said = "The last row stays."
            return
        self._rows = [one for one in self._rows if one != voice]
        self._do(changes.without_voice(self.pattern, voice))
        self._rows = [one for one in self.rows if one != voice] or [*NEW_ROWS]
        self.go(self.bar, self.cell, self.row)

    # What was done.

    def undo(self) -> None:
        """Take back what was done last."""
        self._step(-1, "There is nothing to undo.")

    def redo(self) -> None:
        """Do again what was taken back."""
        self._step(1, "There is nothing to do again.")

    def saved(self, pattern: Pattern) -> None:
        """It is in a file now, as ``pattern``, which is ours with its name and title."""
        if pattern != self.pattern:
            self._do(pattern)
        self._saved = self.pattern

    def _step(self, by: int, nothing: str) -> None:
        if not 0 <= self._at + by < len(self._done):
            self.said = nothing
            return
        self._at += by
        if self.variation not in self.pattern.variations:
            self.variation = None
        self.go(self.bar, self.cell, self.row)

    def _do(self, pattern: Pattern) -> bool:
        """Take a changed pattern for the one there is, if a file can say it."""
        self.said = ""
        if pattern == self.pattern:
            return False
        if not changes.is_empty(pattern) and not _is_sound(pattern):
            self.said = "That cannot be written in a pattern."
            return False
        self._done = [*self._done[: self._at + 1], pattern][-_MOST:]
        self._at = len(self._done) - 1
        return True

    def _back_to(self, at: Fraction) -> None:
        """The cursor on the last cell up to a place."""
        cells = changes.cells(self._bar)
        before = [number for number, cell in enumerate(cells) if cell <= at]
        self.go(self.bar, before[-1] if before else 0, self.row)


def _as_loud(stroke: Stroke, dynamic: Dynamic) -> Stroke:
    """The stroke that loud: neither a flam nor a roll is ever a ghost."""
    loud = replace(stroke, dynamic=dynamic)
    is_ghost = dynamic is Dynamic.GHOST
    return replace(loud, graces=0, is_open=False, roll=None) if is_ghost else loud


def _no_ghost(stroke: Stroke) -> Stroke:
    """A ghost note is neither open nor a flam: it becomes a normal stroke."""
    normal = stroke.dynamic is Dynamic.GHOST
    return replace(stroke, dynamic=Dynamic.NORMAL) if normal else stroke


def _strokes(pattern: Pattern) -> list[tuple[Stroke, ...]]:
    return [bar.strokes for bar in pattern.bars]


def _is_sound(pattern: Pattern) -> bool:
    """Whether its file says the same."""
    try:
        again = read(write(pattern), pattern.name)
    except (PatternError, KeyError):
        return False
    return all(
        [bar.strokes for bar in again.with_variations(names)]
        == [bar.strokes for bar in pattern.with_variations(names)]
        for names in ([], *([name] for name in pattern.variations))
    )
