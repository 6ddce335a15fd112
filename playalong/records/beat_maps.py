"""Beat maps: a small TOML file for each recording, kept in the user's data, never beside the file.

A map is known by what its recording holds, so it is found again when the file was moved or
renamed; by its name where its content changed (a new tag), which is then told.

recording = "rainy evening.flac"
content = "6f1c0a..."      # SHA-256 of parts of the file all through it, and of its length
beats_in_a_bar = 4
bar_1_on_beat = 3          # the first beat of the map is 1
beats_s = [                # seconds, a row for each bar
  0.512, 1.020,
  1.530, 2.041, 2.549, 3.060,
]
counted_anew = [           # where there are bars of other lengths: from a beat on, beats to a bar
  [7, 5], [12, 4],
]
"""

import json
import tomllib
from dataclasses import replace
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import Any

from playalong.pattern.beat_map import BeatMap
from playalong.support.errors import UserError
from playalong.support.files import FileError, set_aside, short_name, write_file
from playalong.support.reading import read_text, refuse_other_than_file, telling
from playalong.support.text import printable, quoted

#: So many bytes at the beginning of a recording, and so many parts of so many bytes spread all
#: through it, tell it from another: two may begin with the same silence.
HEAD_BYTES, PARTS, PART_BYTES = 2**20, 64, 2**14


class BeatMapError(UserError):
    """A beat map that cannot be kept, or a recording that cannot be read for it."""


def read(folder: Path, recording: Path) -> tuple[BeatMap | None, str]:
    """The map kept in ``folder`` for ``recording``, None for nothing, and a word on trouble.

    A file that is not right is set aside under another name, never overwritten. BeatMapError when
    the recording itself cannot be read.
    """
    content, words = _content(recording), ""
    path = _of_content(folder, content)
    if path is None:
        named = sorted(folder.glob(f"{_stem(recording)}-????????????.toml"))
        path = next((path for path in named if _is_of(path, recording)), None)
        if path is None:
            return None, ""
        words = (
            f"The beats of {quoted(recording.name)} were set on another file of this name, or "
            "before it changed: check them by ear."
        )
    try:
        return _read(path), words
    except OSError as error:
        return None, f"The beats in {path} cannot be read: {error.strerror or error}."
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        what = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        try:
            aside = set_aside(path)
        except OSError:
            return None, f"The beats in {path} are not written right: {what}."
        return None, f"The beats kept are not written right ({what}) and were set aside: {aside}"


def write(folder: Path, recording: Path, beat_map: BeatMap) -> Path:
    """Keep the map; BeatMapError when the recording cannot be read or the folder not written."""
    content = _content(recording)
    path = folder / f"{_stem(recording)}-{content[:12]}.toml"
    try:
        before = _of_content(folder, content)
        write_file(path, _written(recording.name, content, beat_map))
        if before is not None and before != path:
            before.unlink()  # the recording was renamed
    except FileError as error:
        raise BeatMapError(f"The beats cannot be kept in {folder}: {error.reason}.") from None
    except OSError as error:
        raise BeatMapError(
            f"The beats cannot be kept in {folder}: {error.strerror or error}."
        ) from None
    return path


def remove(folder: Path, recording: Path) -> None:
    """Keep no map for the recording any more; BeatMapError where that cannot be."""
    try:
        path = _of_content(folder, _content(recording))
        if path is not None:
            path.unlink()
    except OSError as error:
        raise BeatMapError(
            f"The beats kept in {folder} cannot be taken away: {error.strerror or error}."
        ) from None


def _is_of(path: Path, recording: Path) -> bool:
    """Whether the map in a file is of a recording of this name; one that is broken may be."""
    try:
        name = tomllib.loads(read_text(path)).get("recording")
    except (OSError, ValueError):
        return True
    return bool(name == printable(recording.name))


def _content(recording: Path) -> str:
    """What tells the recording from another, whatever its name."""
    with telling(recording, BeatMapError):
        hasher = sha256()
        refuse_other_than_file(recording)
        length = recording.stat().st_size
        with recording.open("rb") as file:
            hasher.update(file.read(HEAD_BYTES))
            for part in range(PARTS):
                file.seek(length * part // PARTS)
                hasher.update(file.read(PART_BYTES))
    hasher.update(str(length).encode())
    return hasher.hexdigest()


def _of_content(folder: Path, content: str) -> Path | None:
    return next(iter(sorted(folder.glob(f"*-{content[:12]}.toml"))), None)


def _stem(recording: Path) -> str:
    """The recording's name as a part of a file name, on every system."""
    name = f"{recording.stem[:60]}{recording.suffix[:8]}"
    return short_name("".join(char if char.isalnum() else "-" for char in name))


def _written(name: str, content: str, beat_map: BeatMap) -> str:
    per_bar, first = beat_map.per_bar, beat_map.first
    times = [f"{time_s:.6f}" for time_s in beat_map.times_s]
    begins = (beat for beat in range(1, len(times)) if beat_map.place(beat)[1] == 0)
    rows = (times[low:high] for low, high in pairwise([0, *begins, len(times)]))
    anew = ", ".join(f"[{beat + 1}, {beats}]" for beat, beats in beat_map.changes)
    beats = "".join(f"  {', '.join(row)},\n" for row in rows)
    # A JSON string of printable characters is a TOML string.
    return (
        f"recording = {json.dumps(printable(name), ensure_ascii=False)}\n"
        f'content = "{content}"      # of the recording, to know it again\n'
        f"beats_in_a_bar = {per_bar}\n"
        f"bar_1_on_beat = {first + 1}      # the first beat here is 1\n"
        f"beats_s = [      # seconds, a row for each bar\n{beats}]\n"
    ) + (f"counted_anew = [{anew}]      # from a beat on, beats to a bar\n" if anew else "")


def _read(path: Path) -> BeatMap:
    """The map in the file; ValueError, KeyError or TypeError where it is none."""
    plain = tomllib.loads(read_text(path))
    per_bar, first = _whole(plain, "beats_in_a_bar"), _whole(plain, "bar_1_on_beat")
    beats_s = plain["beats_s"]
    if not isinstance(beats_s, list) or any(type(beat) not in (int, float) for beat in beats_s):
        raise ValueError("beats_s must be a row of seconds, as in [0.5, 1.0]")
    anew = plain.get("counted_anew", [])
    if not isinstance(anew, list) or any(
        not isinstance(each, list) or [type(number) for number in each] != [int, int]
        for each in anew
    ):
        raise ValueError("counted_anew must be pairs, as in [[33, 3]]: a beat, and beats to a bar")
    changes = tuple((beat - 1, beats) for beat, beats in anew)
    return replace(BeatMap.of(beats_s, first - 1, per_bar), changes=changes)


def _whole(plain: dict[str, Any], name: str) -> int:
    number = plain[name]
    if type(number) is not int:
        raise ValueError(f"{name} must be a whole number, as in {name} = 4")
    return number
