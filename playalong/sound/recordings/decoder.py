"""The decoder: a program of its own, since a broken file can take it down.

``python -m playalong.sound.recordings.decoder FILE`` writes what the file says of itself as one
line of JSON (a ``Source``, or ``{"error": words}``), and then its frames: float32, stereo, at its
own rate. ``decoded_in_a_process`` runs it, and says plainly where it came to grief: a file that
crashes the decoder, one that it never finishes, one that takes all the memory there is.
"""

import json
import os
import subprocess
import sys
from collections.abc import Generator
from contextlib import suppress
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import Path
from queue import Empty, Queue
from struct import unpack_from
from threading import Event, Thread
from types import ModuleType
from typing import IO, Any

from playalong.support.errors import UserError
from playalong.support.reading import telling
from playalong.support.text import printable

KINDS = "wav, flac, mp3 or ogg (Vorbis)"

#: How files of these kinds are named.
OWN_KINDS = (".wav", ".flac", ".mp3", ".ogg", ".oga")

#: How files are named that hold sound of other kinds, which a converter makes one of these of.
OTHER_KINDS = (".m4a", ".mp4", ".aac", ".opus", ".wma", ".aiff", ".aif", ".webm")

#: What a recording is sampled at, in Hz; outside these it is none.
LOWEST_HZ, HIGHEST_HZ = 2_000, 768_000

#: How long the decoder may go without a sign of life, and how much memory it may take.
SILENT_S = 20.0
MEMORY_BYTES = 2**30

#: How long the end of a decoder that was stopped is waited for.
_LETS_GO_S = 1.0

#: Frames to a block, and blocks that are read ahead.
_BLOCK = 16_384
_AHEAD = 8
_FRAME_BYTES = 8


class RecordingError(UserError):
    """A recording that cannot be played."""


@dataclass(frozen=True, slots=True)
class Source:
    """What a file says of itself: frames in a second, and how many (0 where it does not say).

    ``is_cut``: bytes are missing at its end, whatever was decoded.
    """

    rate: int
    frames: int
    is_cut: bool = False


def decoded_in_a_process(path: Path) -> tuple[Source, Generator[bytes, None, None]]:
    """What the file says of itself, and its frames as blocks of float32, stereo.

    RecordingError, also from the blocks, says what is wrong with it.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", __name__ if __name__ != "__main__" else _NAME, str(path)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )
    parts = _parts(process, path)
    try:
        said = json.loads(next(parts, b""))
        if "error" in said:
            raise RecordingError(said["error"])
        return Source(**said), parts
    except (TypeError, ValueError):  # it died before it said anything
        parts.close()
        raise _broken(path) from None
    except BaseException:
        parts.close()
        raise


def check_readable(path: Path) -> None:
    """RecordingError where the file is nothing that can be decoded: it says what would be."""
    _, frames = decoded_in_a_process(path)
    frames.close()


def _parts(process: "subprocess.Popen[bytes]", path: Path) -> Generator[bytes, None, None]:
    """The first line, then the blocks of frames, as the process writes them."""
    assert process.stdout is not None
    waiting: Queue[bytes | None] = Queue(_AHEAD)
    is_over = Event()
    reader = Thread(target=_read, args=(process.stdout, waiting, is_over), daemon=True)
    reader.start()
    try:
        while True:
            try:
                part = waiting.get(timeout=SILENT_S)
            except Empty:
                raise _broken(path) from None
            if part is None:
                break
            yield part
        if process.wait() != 0:
            raise _broken(path)
    finally:
        is_over.set()
        process.kill()
        process.wait()
        with suppress(Empty):
            waiting.get_nowait()  # the reader may wait for room
        reader.join(_LETS_GO_S)
        if not reader.is_alive():  # somebody else may still hold the pipe
            process.stdout.close()


def _read(stream: IO[bytes], waiting: "Queue[bytes | None]", is_over: Event) -> None:
    """Hand on the first line, then blocks of whole frames, then None."""
    line = stream.readline()
    waiting.put(line)
    while not is_over.is_set():
        block = stream.read(_BLOCK * _FRAME_BYTES)
        whole = len(block) // _FRAME_BYTES * _FRAME_BYTES
        if whole:
            waiting.put(block[:whole])
        if len(block) < _BLOCK * _FRAME_BYTES:
            break
    if not is_over.is_set():
        waiting.put(None)


def source_of(path: Path) -> Source:
    """What the file says of itself; RecordingError where it is none that can be played."""
    miniaudio = _library()
    with telling(path, RecordingError):
        if path.is_dir():
            raise RecordingError(f"{named(path)} is a folder: choose a {KINDS} file in it.")
        if path.exists() and not path.is_file():
            raise RecordingError(f"{named(path)} is a device, not a file: choose a {KINDS}.")
        size = path.stat().st_size
        if not size:
            raise RecordingError(f"{named(path)} is empty: choose another recording.")
        with path.open("rb") as file:
            head = file.read(4096)
            file.seek(max(0, size - 2**17))
            tail = file.read()
    if head.startswith(b"OggS"):
        if not _comments_fit(head, size):
            raise _broken(path)
        return _checked(path, _ogg(path, head, tail))
    probes = (
        miniaudio.wav_get_file_info,
        miniaudio.flac_get_file_info,
        miniaudio.mp3_get_file_info,
    )
    for probe in probes:
        try:
            info = probe(str(path))
        except miniaudio.MiniaudioError:
            continue
        if info.sample_rate <= 0:
            break
        if head.startswith(b"RIFF"):
            return _checked(path, _wave(info, head, size))
        return _checked(path, Source(info.sample_rate, info.num_frames))
    raise no_audio(path)


def _library() -> Any:
    import miniaudio

    # It takes no name that is no text, and one that begins with ~ for somebody's own folder.
    miniaudio._get_filename_bytes = os.fsencode
    return miniaudio


def _checked(path: Path, source: Source) -> Source:
    if not LOWEST_HZ <= source.rate <= HIGHEST_HZ:
        raise RecordingError(
            f"{named(path)} says that it is sampled at {source.rate} Hz: a recording has "
            f"{LOWEST_HZ} to {HIGHEST_HZ}. Save it again at 44100 or 48000 Hz."
        )
    return source


def _wave(info: Any, head: bytes, size: int) -> Source:
    """A wave file: its head says how many bytes follow (Multimedia Programming Interface and Data
    Specifications 1.0, IBM and Microsoft, 1991, from memory), or that they were not counted.
    """
    said = unpack_from("<I", head, 4)[0] + 8
    if said <= size or said >= 2**32 - 1:
        return Source(info.sample_rate, info.num_frames)
    return Source(info.sample_rate, info.num_frames * said // size, is_cut=True)


def _ogg(path: Path, head: bytes, tail: bytes) -> Source:
    """An Ogg file: the rate stands in the first packet (Vorbis I, 4.2.2), the length and whether it
    is the last in each page's head (RFC 3533, 6).
    """
    at = head.find(b"\x01vorbis")
    if at < 0 or len(head) < at + 16:
        raise no_audio(path)
    rate = unpack_from("<I", head, at + 12)[0]
    page = tail.rfind(b"OggS")
    if rate == 0:
        raise no_audio(path)
    if page < 0 or len(tail) < page + 14 or not tail[page + 5] & 4:
        return Source(rate, 0, is_cut=True)
    return Source(rate, max(0, unpack_from("<q", tail, page + 6)[0]))


def _comments_fit(head: bytes, size: int) -> bool:
    """Whether the comments of an Ogg Vorbis file say of themselves what can be in ``size`` bytes
    (Vorbis I, 5.2.1): the decoder believes them, and counts to hundreds of millions.
    """
    at = head.find(b"\x03vorbis")
    if at < 0:
        return True  # the decoder will say so

    def number(where: int) -> int | None:
        return unpack_from("<I", head, where)[0] if where + 4 <= len(head) else None

    maker = number(at + 7)  # how long the name of the encoder is: some tens of bytes
    many = None if maker is None else number(at + 11 + maker)
    if many is None or 4 * many > size:
        return False
    where = at + 15 + (maker or 0)
    for _ in range(many):
        length = number(where)
        if length is None:
            return True  # what is farther on is not looked at
        if length > size:
            return False
        where += 4 + length
    return True


def no_audio(path: Path) -> RecordingError:
    """The file is nothing that this program plays."""
    message = f"{named(path)} is no recording that can be played: choose a {KINDS}"
    if path.suffix.casefold() in OTHER_KINDS:
        name, flac = named(path), printable(f"{path.stem}.flac")
        return RecordingError(f'{message}, or convert it first: ffmpeg -i "{name}" "{flac}"')
    return RecordingError(f"{message}.")


def _broken(path: Path) -> RecordingError:
    return RecordingError(f"{named(path)} is broken: it cannot be decoded. Save or copy it again.")


def named(path: Path) -> str:
    """The file as it is called in a message."""
    return printable(path.name or str(path))


def _limited() -> None:
    """No file can take all memory, where the system sets such limits."""
    if sys.platform != "win32":  # Windows has none: blocks are all that is kept
        import resource

        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def main(path: Path, out: IO[bytes]) -> None:
    """Decode the file at ``path`` to ``out``."""
    _limited()
    # The library looks for numpy, and for what reads from the net: they would take most of the
    # start, and have no part in this.
    sys.modules.setdefault("numpy", None)  # type: ignore[arg-type]
    sys.modules.setdefault("urllib.request", ModuleType("urllib.request"))
    try:
        source = source_of(path)
    except RecordingError as error:
        out.write(json.dumps({"error": str(error)}).encode() + b"\n")
        return
    miniaudio = _library()
    try:
        blocks = miniaudio.stream_file(
            str(path),
            output_format=miniaudio.SampleFormat.FLOAT32,
            nchannels=2,
            sample_rate=0,
            frames_to_read=_BLOCK,
        )
        first = next(blocks, None)
    except miniaudio.MiniaudioError:
        out.write(json.dumps({"error": str(no_audio(path))}).encode() + b"\n")
        return
    out.write(json.dumps(asdict(source)).encode() + b"\n")
    if first is not None:
        for samples in chain([first], blocks):
            out.write(samples.tobytes())


_NAME = "playalong.sound.recordings.decoder"

if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.stdout.buffer)  # noqa: TID251 - a pipe to the program
