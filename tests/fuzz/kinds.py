"""The kinds of files that are read, and what the program does with each.

``tries`` raises what a user would see as a mistake of the program; words for a person it takes.
"""

import json
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stdout, suppress
from dataclasses import dataclass
from functools import cache, partial
from io import StringIO
from pathlib import Path

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.history.anew import anew
from playalong.app.history.reading import history
from playalong.app.history.text import run_table
from playalong.app.memory import Memory
from playalong.commands.main import main
from playalong.interchange.midi import reader as midi_reader
from playalong.interchange.midi import writer as midi_writer
from playalong.interchange.musicxml import reader as musicxml_reader
from playalong.interchange.musicxml import writer as musicxml_writer
from playalong.interchange.tab import reader as tab_reader
from playalong.interchange.tab import writer as tab_writer
from playalong.pattern import reader
from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.targets import lay_out
from playalong.pattern.writer import write
from playalong.practice.plan import plan
from playalong.records import beat_maps, profiles, takes
from playalong.records.pattern_files import library
from playalong.records.store import knowledge, players
from playalong.records.store.database import BESIDE
from playalong.sound.recordings.decoding import Recording
from playalong.support.errors import UserError
from tests.fuzz.damage import CORPUS, samples

#: A take is graded only every so often: reading is what is tried.
GRADED_EVERY = 8


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file: of so many in a thousand inputs it is one."""

    share: int
    sources: Callable[[], tuple[bytes, ...]]
    tries: Callable[[bytes], None]


def pattern(data: bytes) -> None:
    """Read, and where it is right, written, laid out, planned, and read again the same."""
    try:
        text = data.decode()
        found = reader.read(text, "fuzzed")
    except (UnicodeDecodeError, UserError):
        return
    again = reader.read(write(found), "fuzzed")
    assert pattern_id(again) == pattern_id(found)
    lay_out(found, found.tempo, bars=8, variations=tuple(found.variations))
    plan(found)


def midi(data: bytes) -> None:
    """Read; some graded, and written as JSON."""
    with suppress(UserError):
        take = takes.from_bytes(data, "fuzzed.mid")
        if sum(data) % GRADED_EVERY == 0:
            graded = grade_take(library().get("late-bus-home"), take, Options())
            json.dumps(graded.as_json(with_hits=True), allow_nan=False)


def midi_pattern(data: bytes) -> None:
    """Made a pattern of, where it has drums, which is written as a file and read the same."""
    with suppress(UserError):
        found = midi_reader.pattern_of(midi_reader.read(data, "fuzzed.mid"), "fuzzed").pattern
        assert reader.read(write(found), "fuzzed").bars == found.bars


def tab(data: bytes) -> None:
    """Read, and where it is right, written again, and read the same."""
    with suppress(UserError):
        found = tab_reader.read(data.decode("utf-8", "replace"), "fuzzed").pattern
        assert tab_reader.read(tab_writer.write(found), "fuzzed").pattern.bars == found.bars


def score(data: bytes) -> None:
    """The same of MusicXML."""
    with suppress(UserError):
        found = musicxml_reader.read(data, "fuzzed").pattern
        assert (
            musicxml_reader.read(musicxml_writer.write(found), "fuzzed").pattern.bars == found.bars
        )


def profile(data: bytes) -> None:
    """Read, and where it is right, written anew, and read again."""
    try:
        text = data.decode()
        found = profiles.from_text(text, "fuzzed.toml")
    except (UnicodeDecodeError, UserError):
        return
    written = profiles.as_text(found, text) or profiles.as_text(found)
    if written is not None:
        assert profiles.from_text(written, "again.toml") == found


def beat_map(data: bytes) -> None:
    """Found beside a recording of its name; read, or set aside and told."""
    with _folder() as folder:
        recording = folder / "evening.wav"
        recording.write_bytes(b"RIFF")
        maps = folder / "beats"
        maps.mkdir()
        (maps / "evening-wav-6f1c0a000000.toml").write_bytes(data)
        found, words = beat_maps.read(maps, recording)
        if found is not None:
            assert words  # they were set on another file of this name
            beat_maps.write(maps, recording, found)
            again, _ = beat_maps.read(maps, recording)
            assert again is not None
            assert len(again) == len(found)


def store(data: bytes) -> None:
    """Opened; all that a history shows is read, and every run is opened again."""
    with _folder() as folder:
        memory = Memory(folder=folder, simulated=True)
        memory.path.write_bytes(data)
        with suppress(UserError):
            memory.broken_off()
        database = memory.open()
        if database is None:
            assert memory.trouble
            return
        try:
            with suppress(UserError):
                for player in players.players(database):
                    players.settings(database, player.id)
                    for kit in knowledge.kits(database, player.id):
                        knowledge.profile_text(database, player.id, kit)
                    found = history(database, player, None, limit=20)
                    json.dumps(found.as_plain())
                    found.as_csv()
                    list(run_table(found))
                    for row in found.rows:
                        with suppress(UserError):
                            anew(database, row)
        finally:
            database.close()


def recording(kind: str, data: bytes) -> None:
    """Decoded to its end, in a process of its own."""
    with _folder() as folder, suppress(UserError):
        path = folder / f"fuzzed.{kind}"
        path.write_bytes(data)
        Recording.open(path).close()


def _recordings(kind: str) -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted(CORPUS.glob(f"recordings/*.{kind}")))


@cache
def stores() -> tuple[bytes, ...]:
    """A store with two runs, as the program writes it."""
    with _folder() as folder:
        for seed in ("1", "2"):
            command = ["demo", "--fast", "--bars", "1", "--seed", seed, "--out", str(folder)]
            with redirect_stdout(StringIO()):
                assert main(command) == 0
        (path,) = folder.glob("*.db")
        assert not any(path.with_name(path.name + more).exists() for more in BESIDE[1:])
        return (path.read_bytes(),)


@contextmanager
def _folder() -> Iterator[Path]:
    """A folder for one input: in memory, where the system has such."""
    memory = Path("/dev/shm")
    where = memory if os.access(memory, os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix="playalong-fuzz-", dir=where) as name:
        yield Path(name)


def _patterns() -> tuple[bytes, ...]:
    return (*samples("patterns"), *(write(library().get(name)).encode() for name in _NAMES))


def _midi_patterns() -> tuple[bytes, ...]:
    written = (midi_writer.write(library().get(name), bars=2) for name in _NAMES)
    return (*samples("midi"), *samples("midi_patterns"), *written)


def _tabs() -> tuple[bytes, ...]:
    written = (tab_writer.write(library().get(name)).encode() for name in _NAMES)
    return (*samples("tabs"), *written)


def _scores() -> tuple[bytes, ...]:
    return tuple(musicxml_writer.write(library().get(name)) for name in _NAMES)


def _packed_scores() -> tuple[bytes, ...]:
    return tuple(map(musicxml_writer.compressed, _scores()))


_NAMES = ("late-bus-home", "boots-by-the-door", "turns-at-the-pump")

KINDS = {
    "patterns": Kind(share=160, sources=_patterns, tries=pattern),
    "tabs": Kind(share=60, sources=_tabs, tries=tab),
    "scores": Kind(share=40, sources=_scores, tries=score),
    "packed scores": Kind(share=20, sources=_packed_scores, tries=score),
    "midi": Kind(share=160, sources=lambda: samples("midi"), tries=midi),
    "patterns as midi": Kind(share=80, sources=_midi_patterns, tries=midi_pattern),
    "profiles": Kind(share=120, sources=lambda: samples("profiles"), tries=profile),
    "beat maps": Kind(share=60, sources=lambda: samples("beat_maps"), tries=beat_map),
    "store": Kind(share=100, sources=stores, tries=store),
    **{
        kind: Kind(share=50, sources=partial(_recordings, kind), tries=partial(recording, kind))
        for kind in ("wav", "flac", "mp3", "ogg")
    },
}
