"""Patterns out of takes that people played: every hit has its target.

Graded against its own transcription from second 0 of the file, whatever is found is what the
player did, or a mistake of the grader. The rules:

* a beat is cut into 4 or 3 parts, whichever fits better, and into 8 or 6 only where these leave
  two strokes of a voice in one place;
* two hits of a drum closer than 45 ms, the first softer, are a flam;
* a snare stroke of a velocity up to ``ghost`` is a ghost note, every other a plain stroke.

Notes are those of the dataset's own mapping (Gillick et al., ICML 2019).
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import mido
import numpy as np

from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.voices import BY_NOTE

VOICE_OF_NOTE: Mapping[int, str] = {
    **dict.fromkeys((35, 36), "kick"),
    **dict.fromkeys((38, 40), "snare"),
    37: "cross-stick",
    **dict.fromkeys((48, 50), "high-tom"),
    **dict.fromkeys((45, 47), "mid-tom"),
    **dict.fromkeys((43, 58), "floor-tom"),
    **dict.fromkeys((42, 22, 46, 26), "hi-hat"),
    44: "hi-hat-pedal",
    **dict.fromkeys((49, 57), "crash"),
    55: "splash",
    52: "china",
    **dict.fromkeys((51, 59), "ride"),
    53: "ride-bell",
}
OPEN_NOTES = (46, 26)
DRUMS = ("snare", "high-tom", "mid-tom", "floor-tom")
USUAL_GHOST = 45
FLAM_S = 0.045
#: A hit this share of a beat before it belongs to it.
EARLY_BEATS = 0.11


_Grid = dict[tuple[int, str], dict[int, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """A hit, the grace stroke before it swallowed: seconds, MIDI note, velocity, is it a flam."""

    time_s: float
    note: int
    velocity: int
    flam: bool = False

    @property
    def voice(self) -> str:
        return VOICE_OF_NOTE[self.note]


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A hit at its place: beats from the start, the parts that its beat is cut into, its error."""

    struck: Struck
    beat: int
    part: int
    parts: int
    error_s: float

    @property
    def at_beats(self) -> float:
        return self.beat + self.part / self.parts


def strokes_of(path: Path) -> list[Struck]:
    """The hits of a file, each flam as one."""
    now_s, last, found = 0.0, {}, []  # type: ignore[var-annotated]
    for message in mido.MidiFile(path):
        now_s += message.time
        if message.type != "note_on" or not message.velocity or message.note not in VOICE_OF_NOTE:
            continue
        hit = Struck(time_s=now_s, note=message.note, velocity=message.velocity)
        before = last.get(hit.voice)
        one = found[before] if before is not None else None
        if (
            one is not None
            and hit.voice in DRUMS
            and now_s - one.time_s < FLAM_S
            and one.velocity < hit.velocity
            and not one.flam
        ):
            found[before] = Struck(time_s=now_s, note=hit.note, velocity=hit.velocity, flam=True)
        else:
            last[hit.voice] = len(found)
            found.append(hit)
    return found


def written(strokes: list[Struck], beat_s: float) -> list[Written]:
    """Every stroke at the place it was meant for; of two in one place only the first."""
    beats = defaultdict(list)
    for one in strokes:
        beats[int(np.floor(one.time_s / beat_s + EARLY_BEATS))].append(one)
    return [place for beat, group in beats.items() for place in _cut(beat, group, beat_s)]


def _cut(beat: int, group: list[Struck], beat_s: float) -> list[Written]:
    best_cost, best, best_lost = np.inf, [], 1  # type: ignore[var-annotated]
    for parts, dear in ((4, 1.0), (3, 1.15), (8, 1.0), (6, 1.15)):
        if parts == 8 and best_lost == 0:
            break
        cells: dict[tuple[str, int], Written] = {}
        errors = []
        for one in group:
            at = (one.time_s / beat_s - beat) * parts
            part = round(at)
            error_s = (at - part) / parts * beat_s
            errors.append(error_s)
            cells.setdefault(
                (one.voice, part),
                Written(struck=one, beat=beat, part=part, parts=parts, error_s=error_s),
            )
        lost = len(group) - len(cells)
        cost = (np.sqrt(np.mean(np.square(errors))) + 0.002) * dear + 0.05 * lost
        if cost < best_cost:
            best_cost, best, best_lost = cost, list(cells.values()), lost
    return best


@dataclass(frozen=True)
class Transcription:
    """A take in 4/4 to a metronome, and what it plays."""

    path: Path
    tempo_bpm: float

    @cached_property
    def strokes(self) -> list[Struck]:
        """Its hits."""
        return strokes_of(self.path)

    @cached_property
    def written(self) -> list[Written]:
        """Its hits at their places."""
        return written(self.strokes, 60.0 / self.tempo_bpm)

    def text(self, bars: int, ghost: int = USUAL_GHOST) -> tuple[str, int]:
        """The pattern file of its first ``bars`` bars or as many as there are, and how many."""
        grid, parts_of = self._grid(ghost)
        last = min(bars, self._last_bar(grid, 4 * bars) + 1)
        return self._written_out(range(last), grid, parts_of), last

    def pattern(self, bars: int, ghost: int = USUAL_GHOST) -> tuple[Pattern, int]:
        """The same, read."""
        text, count = self.text(bars, ghost)
        return read(text, self.path.stem), count

    @cached_property
    def bars(self) -> int:
        """How many bars it has, the last one begun counted."""
        return self._last_bar(self._grid(USUAL_GHOST)[0]) + 1

    def some(self, bars: Sequence[int]) -> tuple[Pattern, Hits]:
        """These bars of it as if nothing lay between them: the pattern, and what was played."""
        grid, parts_of = self._grid(USUAL_GHOST)
        pattern = read(self._written_out(bars, grid, parts_of), self.path.stem)
        bar_s = 4.0 * 60.0 / self.tempo_bpm
        now_s, hits = 0.0, []
        place = {bar: number for number, bar in enumerate(bars)}
        for message in mido.MidiFile(self.path):
            now_s += message.time
            if message.type != "note_on" or not message.velocity:
                continue
            bar = int(np.floor(now_s / bar_s + EARLY_BEATS / 4.0))
            voice = BY_NOTE.get(message.note)
            if bar in place and voice is not None:
                moved_s = now_s + (place[bar] - bar) * bar_s
                hits.append(Hit(moved_s, voice.name, message.velocity))
        return pattern, Hits.of(hits)

    def _grid(self, ghost: int) -> tuple[_Grid, dict[int, int]]:
        """The symbols by (beat, voice) and part, and the parts of each beat."""
        grid: _Grid = defaultdict(dict)
        for one in self.written:
            beat, part = (one.beat + 1, 0) if one.part == one.parts else (one.beat, one.part)
            if beat >= 0:
                hit = one.struck
                symbol = "g" if hit.voice == "snare" and hit.velocity <= ghost else "x"
                symbol = "o" if hit.note in OPEN_NOTES else "f" if hit.flam else symbol
                grid[beat, hit.voice].setdefault(part, symbol)
        return grid, {one.beat: one.parts for one in self.written}

    @staticmethod
    def _last_bar(grid: _Grid, beats: int = 1 << 30) -> int:
        return max((beat for beat, _ in grid if beat < beats), default=0) // 4

    def _written_out(self, bars: Sequence[int], grid: _Grid, parts_of: Mapping[int, int]) -> str:
        lines = [f'title = "{self.path.stem}"', 'meter = "4/4"', f"tempo = {self.tempo_bpm:g}", ""]
        for bar in bars:
            beats = range(4 * bar, 4 * bar + 4)
            lines.append("[[bar]]")
            for voice in sorted({v for beat, v in grid if beat in beats}) or ["kick"]:
                row = (
                    "".join(
                        grid[beat, voice].get(part, "-") for part in range(parts_of.get(beat, 4))
                    )
                    for beat in beats
                )
                lines.append(f'{voice} = "{" ".join(row)}"')
            lines.append("")
        return "\n".join(lines)
