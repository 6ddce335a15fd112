"""A groove that was played, as a pattern: asked for with what is known of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from playalong.app.grade.checks import checked_tempo
from playalong.capture.bars import COMMON, ClickHeard
from playalong.capture.understanding import Captured, again, understand
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.midi.pads import Pads
from playalong.pattern.meter import Meter
from playalong.pattern.model import Pattern
from playalong.pattern.targets import lay_out
from playalong.records.takes import read
from playalong.simulation.player import perform
from playalong.simulation.skills import Skill
from playalong.support.errors import UserError
from playalong.support.text import counted, sentence

#: The longest pattern that is written, in bars.
MOST_BARS = 8


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known of the groove before it is heard.

    ``meters`` it may be in, () for any; ``tempo_bpm`` about; ``click_bpm`` the tempo of a click
    that it is played to, exactly; ``bars`` the length of the pattern; ``title``; ``reading`` the
    number of the reading that is wanted, 1 the likeliest.
    """

    meters: tuple[Meter, ...] = ()
    tempo_bpm: float | None = None
    click_bpm: float | None = None
    bars: int | None = None
    title: str = ""
    reading: int = 1

    @property
    def click_meter(self) -> Meter:
        """The meter that a click counts: the first that is named."""
        return self.meters[0] if self.meters else COMMON


def known(
    meters: Sequence[str],
    tempo_bpm: float | None,
    *,
    click_bpm: float | None = None,
    bars: int | None,
    title: str,
    reading: int,
) -> Known:
    """What was typed; UserError where it cannot be."""
    if bars is not None and not 1 <= bars <= MOST_BARS:
        raise UserError(f"A pattern of {bars} bars cannot be: choose 1 to {MOST_BARS}.")
    for bpm in (tempo_bpm, click_bpm):
        if bpm is not None:
            checked_tempo(bpm)
    try:
        parsed = tuple(Meter.parse(one) for one in meters)
    except ValueError as error:
        raise UserError(sentence(error)) from None
    return Known(
        meters=parsed,
        tempo_bpm=tempo_bpm,
        click_bpm=click_bpm,
        bars=bars,
        title=title,
        reading=reading,
    )


def of_hits(hits: Hits, known: Known, name: str, *, click: ClickHeard | None = None) -> Captured:
    """The groove in ``hits``, played to a ``click`` where there was one; UserError, in words, where
    nothing can be understood."""
    found = understand(
        hits,
        name=name,
        title=known.title or titled(name),
        meters=known.meters,
        tempo_bpm=known.tempo_bpm,
        click=click,
        bars=known.bars,
    )
    if known.reading == 1:
        return found
    if not 1 <= known.reading <= len(found.choices):
        raise UserError(f"There is no reading {known.reading}: choose 1 to {len(found.choices)}.")
    return again(found, found.choices[known.reading - 1], bars=known.bars)


def of_file(path: Path, known: Known, name: str) -> tuple[Captured, list[str]]:
    """The groove in the Standard MIDI File at ``path``, and what of it is no drum, in words."""
    hits, unknown = hits_of(read(path).messages, Pads())
    notices = [
        f"note {note} is no drum of the kit: {counted(many, 'stroke')} left out"
        for note, many in sorted(unknown.items())
    ]
    return of_hits(hits, known, name, click=click_in_file(known)), notices


def click_in_file(known: Known) -> ClickHeard | None:
    """The click to which a file was played: its second 0 is a bar line."""
    if known.click_bpm is None:
        return None
    return ClickHeard(tempo_bpm=known.click_bpm, start_s=0.0)


#: When a simulated player begins, in seconds.
BEGINS_S = 1.0


def simulated(
    pattern: Pattern, skill: Skill, seed: int, *, bars: int, start_s: float = BEGINS_S
) -> Hits:
    """``pattern`` as a simulated player plays it, bar 1 at ``start_s``."""
    targets = lay_out(pattern, pattern.tempo, bars, start_s=start_s)
    return hits_of(perform(targets, skill, seed).messages)[0]


def titled(name: str) -> str:
    """A title out of the name of a file."""
    return " ".join(word[:1].upper() + word[1:] for word in name.replace("_", "-").split("-"))
