"""Listening back: what was played, against what was asked, ready for the timeline.

The drums are synthesised, so at half speed only the times change: every drum keeps its pitch.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from enum import StrEnum

from playalong.midi.hits import Hit
from playalong.pattern.targets import Targets
from playalong.sound.device.output import Panned, Sound
from playalong.sound.synth.click import Click
from playalong.sound.synth.notes import Note, damped, notes
from playalong.sound.voice import heard


class Which(StrEnum):
    """What is listened to; of both, yours is on the left and the pattern on the right."""

    YOURS = "yours"
    PATTERN = "the pattern"
    BOTH = "both"


#: How strongly each is heard on the left and on the right, where both are.
_SIDES = {Which.YOURS: (1.0, 0.0), Which.PATTERN: (0.0, 1.0)}


def listened(
    hits: Sequence[Hit],
    targets: Targets,
    which: Which = Which.BOTH,
    *,
    speed: float = 1.0,
    chokes: Iterable[tuple[float, str]] = (),
    clicks: Sequence[Click] = (),
) -> list[Sound]:
    """What is heard, in order of time; second 0 is that of the run.

    ``hits`` and ``targets`` are those of one run, in its seconds; each hit sounds with its own
    voice and velocity, whatever became of it. ``speed`` is the share of the run's own: 0.5 lasts
    twice as long. ``chokes`` are the times and voices of cymbals that the player's hand ended.
    ``clicks`` sound in the middle, as loud as the mix has them.
    """
    played = sorted(
        (Note(time_s=hit.time_s, voice=hit.voice, velocity=hit.velocity) for hit in hits),
        key=lambda note: note.time_s,
    )
    parts = {Which.YOURS: damped(played, chokes), Which.PATTERN: notes(targets)}
    if which is not Which.BOTH:
        sounds: list[Sound] = [_slowed(note, speed) for note in parts[which]]
    else:
        sounds = [
            Panned(_slowed(note, speed), *_SIDES[part])
            for part, found in parts.items()
            for note in found
        ]
    sounds += heard([replace(click, time_s=click.time_s / speed) for click in clicks])
    return sorted(sounds, key=lambda sound: sound.time_s)


def _slowed(note: Note, speed: float) -> Note:
    until_s = None if note.until_s is None else note.until_s / speed
    return replace(note, time_s=note.time_s / speed, until_s=until_s)
