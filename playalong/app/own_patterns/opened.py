"""A file that is opened, whichever of the formats it has: what it is, and what was left out of it.

By its ending, as everywhere: a pattern file, a Standard MIDI File (a take of this program, or of
another), MusicXML, drum tab. Whatever is wrong is one plain line.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from playalong.interchange.midi import reader as midi_reader
from playalong.interchange.musicxml import reader as musicxml_reader
from playalong.interchange.tab import reader as tab_reader
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.practice.assessment.reader import is_assessment
from playalong.practice.warm_up.routine_file import is_routine
from playalong.records.pattern_files import read_text
from playalong.records.take_info import TakeInfo
from playalong.records.takes import TakeError, from_bytes
from playalong.support.errors import UserError
from playalong.support.reading import MOST_MIDI, read_bytes, telling
from playalong.support.text import printable, quoted

PATTERNS, MIDI = (".toml",), (".mid", ".midi")
SCORES, TABS = (".musicxml", ".xml", ".mxl"), (".tab", ".txt")

#: All endings that are opened, as they are told.
ENDINGS = (*PATTERNS, *MIDI, *SCORES, *TABS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """What was in a file: a pattern, and ``notices``: how it was read and what was left out.

    ``is_own``: it is a pattern file already. ``take`` says what a take of this program is of.
    """

    path: Path
    pattern: Pattern
    notices: tuple[str, ...] = ()
    is_own: bool = False
    take: TakeInfo | None = None


def parts_of(path: Path) -> Sequence[midi_reader.Part]:
    """The tracks and channels of a Standard MIDI File that has more than one, else ().

    A take of this program is one, whatever is in it. UserError where it cannot be read.
    """
    if path.suffix.lower() not in MIDI:
        return ()
    data = _bytes(path)
    if _said(data).get("pattern"):
        return ()
    parts = midi_reader.read(data, printable(path.name)).parts()
    return parts if len(parts) > 1 else ()


def open_file(path: Path, part: midi_reader.Part | None = None) -> Opened:
    """What is in the file at ``path``, of a Standard MIDI File only a ``part``; UserError says why
    nothing can be made of it."""
    kind = path.suffix.lower()
    if kind not in ENDINGS:
        raise UserError(
            f"{quoted(printable(path.name))} is of no kind that is opened here: a pattern ends in "
            f".toml, and {', '.join(ENDINGS[1:])} are read as well."
        )
    if kind in PATTERNS:
        return _pattern_file(path)
    data = _bytes(path)
    name = printable(path.name)
    if kind in SCORES:
        found = musicxml_reader.read(data, name)
        return Opened(path=path, pattern=_named(found.pattern, path), notices=found.notices)
    if kind in TABS:
        found = tab_reader.read(data.decode("utf-8", "replace"), name)
        return Opened(path=path, pattern=_named(found.pattern, path), notices=found.notices)
    return _midi(path, data, part)


def _pattern_file(path: Path) -> Opened:
    text = read_text(path)
    for is_kind, words in (
        (is_assessment, "an assessment: it is taken with: playalong assess"),
        (is_routine, "a routine of the warm-up: it is used with: playalong warmup --routine"),
    ):
        if is_kind(text):
            raise UserError(f"{quoted(printable(path.name))} is {words} FILE.")
    return Opened(path=path, pattern=read(text, printable(path.stem)), is_own=True)


def _said(data: bytes) -> Mapping[str, Any]:
    """What a take of this program says of itself, {} of any other file."""
    try:
        return from_bytes(data, "").info
    except TakeError:
        return {}


def _midi(path: Path, data: bytes, part: midi_reader.Part | None) -> Opened:
    """A take of this program says what it is of; any other file is notes."""
    take, start_s = None, 0.0
    info = _said(data)
    if info.get("pattern"):
        take = TakeInfo.from_plain(info)
        said = info.get("start_s")
        start_s = float(said) if isinstance(said, int | float) else 0.0
    file = midi_reader.read(data, printable(path.name))
    found = midi_reader.pattern_of(
        file,
        printable(path.stem),
        track=None if part is None else part.track,
        channel=None if part is None else part.channel,
        start_s=start_s,
    )
    return Opened(path=path, pattern=_named(found.pattern, path), notices=found.notices, take=take)


def _named(pattern: Pattern, path: Path) -> Pattern:
    return replace(pattern, name=printable(path.stem))


def _bytes(path: Path) -> bytes:
    with telling(path):
        return read_bytes(path, MOST_MIDI)
