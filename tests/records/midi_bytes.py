"""Standard MIDI Files by hand, after Standard MIDI Files 1.0 (RP-001)."""

from collections.abc import Iterable
from pathlib import Path

END = b"\x00\xff\x2f\x00"
#: 120 quarter notes a minute, the tempo of a file that says none.
DEFAULT_TEMPO = (500_000).to_bytes(3, "big")


def quantity(ticks: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the high bit on all bytes but the last."""
    found = bytes([ticks & 0x7F])
    while ticks := ticks >> 7:
        found = bytes([0x80 | ticks & 0x7F]) + found
    return found


def header(kind: int, tracks: int, division: int) -> bytes:
    numbers = (kind, tracks, division & 0xFFFF)
    return b"MThd\x00\x00\x00\x06" + b"".join(number.to_bytes(2, "big") for number in numbers)


def track(*events: bytes) -> bytes:
    body = b"".join(events) + END
    return b"MTrk" + len(body).to_bytes(4, "big") + body


def tempo(ticks: int, microseconds: int) -> bytes:
    return quantity(ticks) + b"\xff\x51\x03" + microseconds.to_bytes(3, "big")


def text(words: str) -> bytes:
    raw = words.encode("latin-1")
    return b"\x00\xff\x01" + quantity(len(raw)) + raw


def event(ticks: int, *data: int) -> bytes:
    return quantity(ticks) + bytes(data)


def file(kind: int, division: int, tracks: Iterable[bytes]) -> bytes:
    parts = list(tracks)
    return header(kind, len(parts), division) + b"".join(parts)


def in_file(folder: Path, data: bytes) -> Path:
    path = folder / "take.mid"
    path.write_bytes(data)
    return path
