"""Profiles as TOML texts, for a person to read and to edit: what is known of a kit and its player.

A table that is not there, or a line of it, means what is usual. Every mistake is told with its
line.
"""

import re
import tomllib
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any
from unicodedata import normalize

from playalong.midi.messages import HIGHEST
from playalong.midi.pads import LONGEST_MASK_MS, Guard, Pads, Pedal
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME
from playalong.profile.latency import (
    CLICK_ON_KIT,
    LEAST_MS,
    MOST_MS,
    PLAYED_ALONG,
    TYPED,
    Latency,
)
from playalong.profile.pad_commands import Calls, Command
from playalong.profile.profile import Profile
from playalong.records.hand_edited import renewed
from playalong.records.tables import TEXT, Kind, Tables, TomlError, number, one_of, whole
from playalong.support import merging
from playalong.support.reading import MOST_TEXT, read_bytes
from playalong.support.text import quoted

_TEMPLATE = """\
# What playalong knows of a kit and its player. You may change it; what you add here stays.

# The names of the kit and of its player, and the MIDI port on which the kit is heard.
kit = ""
player = ""
port = ""

# The pads that the kit has, as they were learned; the usual ones where there are none.
has = []

[notes]
# The voice of each note that the kit sends, where it is not the usual one: 40 = "snare"

[pedal]
# What the hi-hat pedal sends on controller 4 when it is let go and when it is pressed.
open = 0
closed = 127

[guards]
# What keeps double triggers and crosstalk of a pad out, a table for each: within mask_ms after a
# stroke only a louder one counts, and never one that is softer than velocity threshold.

[strokes]
# The velocities of your own soft strokes, normal ones and accents, from which the loudness of ghost
# notes, plain strokes and accents is judged. A table for each voice.

[latency]
# How many milliseconds a stroke arrives late, give or take so many, and how that was found. It is
# taken off in every grade.

[calls]
# Sticks in hand, while nothing runs: strike the call twice, then the pad of what is wanted.
"""


_NOTE = re.compile(r"0|[1-9]\d{0,2}")
_VOICE = one_of(BY_NAME)
_END = whole(0, HIGHEST, f"a whole number from 0 to {HIGHEST}, as in 64")
_VELOCITIES = Kind(
    f"a list of velocities from 1 to {HIGHEST}, as in [22, 25, 24]",
    lambda value: (
        isinstance(value, list)
        and len(value) > 0
        and all(type(one) in (int, float) and 1 <= one <= HIGHEST for one in value)
    ),
)
_GUARD = {
    "mask_ms": number(
        0, LONGEST_MASK_MS, f"milliseconds from 0 to {LONGEST_MASK_MS:g}, as in mask_ms = 20"
    ),
    "threshold": number(0, HIGHEST, f"a velocity from 0 to {HIGHEST}, as in threshold = 8"),
}
_LATE = number(LEAST_MS, MOST_MS, f"milliseconds from {LEAST_MS:g} to {MOST_MS:g}, as in ms = 12.5")
_SPREAD = number(0, MOST_MS, f"milliseconds from 0 to {MOST_MS:g}, as in plus_minus_ms = 2.5")
_HOW = one_of((PLAYED_ALONG, TYPED, CLICK_ON_KIT))
_CALLED = one_of((*BY_NAME, ""))
_PADS = Kind(
    'a list of voices, as in ["kick", "snare", "hi-hat"]',
    lambda value: (
        isinstance(value, list)
        and all(isinstance(one, str) and one in BY_NAME for one in value)
        and len(set(value)) == len(value)
    ),
)


def from_text(text: str, name: str) -> Profile:
    """The profile that ``text`` says; TomlError tells every mistake in ``name``, by its line."""
    return _read(Tables(name, text))


def read_file(path: Path) -> Profile:
    """The profile in the file at ``path``; TomlError tells every mistake, OSError that it cannot
    be read.
    """
    return _read(Tables(path))


def as_text(profile: Profile, text: str | None = None) -> str | None:
    """``profile`` as a text; ``text``, the one before, keeps what a person wrote into it.

    None where ``text`` has mistakes, or cannot take what is new; TomlError where the profile can
    stand in no text.
    """
    plain = _as_plain(profile)
    if text is not None:
        try:
            from_text(text, "")
        except TomlError:
            return None
        return renewed(text, plain, _TEMPLATE)
    fresh = renewed(None, plain, _TEMPLATE)
    if fresh is None:
        raise TomlError(f"The profile of {quoted(profile.kit)} cannot be kept: it is no TOML.")
    return fresh


def merged(before: str | None, after: str, stored: str) -> str | None:
    """The text ``stored`` made to say what changed from ``before`` (None: nothing was known) to
    ``after``; None where one of them has mistakes, or it cannot be made to.
    """
    try:
        now, there = from_text(after, ""), from_text(stored, "")
        usual = Profile(kit=now.kit, player=now.player)
        was = usual if before is None else from_text(before, "")
        plain = merging.merged(_as_plain(was), _as_plain(now), _as_plain(there))
        text = renewed(stored, plain, _TEMPLATE)
        return None if text is None or not from_text(text, "") else text
    except TomlError:
        return None


def renamed(text: str, player: str) -> str | None:
    """The text of a profile once its player is called ``player``; None where it has mistakes."""
    try:
        profile = from_text(text, "")
    except TomlError:
        return None
    return as_text(replace(profile, player=player), text)


def file_name(profile: Profile) -> str:
    """A name for the file of a profile, safe on every system, that a person recognises."""
    return f"{_safe(profile.kit) or 'kit'}--{_safe(profile.player) or 'player'}.toml"


def earlier_files(folder: Path) -> list[Path]:
    """The profiles that earlier versions kept in the user's config ``folder``."""
    return sorted((folder / "profiles").glob("*.toml*"))


def names_in(path: Path) -> tuple[str, str] | None:
    """The kit and the player of the file at ``path``, however broken; None where it names none."""
    try:
        table = Tables(path).table()
    except OSError:
        return None
    except TomlError:
        table = _top_of_broken(path)
    kit, player = table.get("kit"), table.get("player")
    both = isinstance(kit, str) and isinstance(player, str)
    return (str(kit), str(player)) if both else None


def _read(tables: Tables) -> Profile:
    tables.known((), _TOP)
    for name in ("kit", "player"):
        if name not in tables.table():
            tables.wrong((), f'"{name}" is missing; write {name} = "...".')
    kit, player, port = (tables.get((name,), TEXT, "") for name in ("kit", "player", "port"))
    profile = Profile(
        kit=kit,
        player=player,
        port=port,
        pads=Pads(_notes(tables), _pedal(tables), _guards(tables)),
        strokes=read_strokes(tables, ("strokes",)),
        latency=_latency(tables),
        calls=_calls(tables),
        has=tuple(tables.get(("has",), _PADS, ())),
    )
    tables.done()
    return profile


_TOP = ("kit", "player", "port", "has", "notes", "pedal", "guards", "strokes", "latency", "calls")


def read_strokes(
    tables: Tables, keys: tuple[str, ...]
) -> dict[str, dict[Dynamic, tuple[float, ...]]]:
    """The strokes in the table ``keys``: one table for each voice, a list for each dynamic."""
    found: dict[str, dict[Dynamic, tuple[float, ...]]] = {}
    for voice in tables.known(keys, BY_NAME, "a voice"):
        own = (*keys, voice)
        groups = {
            Dynamic(name): tuple(float(one) for one in tables.get((*own, name), _VELOCITIES, ()))
            for name in tables.known(own, Dynamic, "a dynamic")
        }
        if groups:
            found[voice] = groups
    return found


def _notes(tables: Tables) -> dict[int, str]:
    found: dict[int, str] = {}
    for name in tables.table("notes"):
        if _NOTE.fullmatch(name) and int(name) <= HIGHEST:
            voice = tables.get(("notes", name), _VOICE, None)
            if voice is not None:
                found[int(name)] = voice
        else:
            tables.wrong(
                ("notes", name),
                f'{quoted(name)} is no note from 0 to {HIGHEST}; write a line like 38 = "snare".',
            )
    return found


def _pedal(tables: Tables) -> Pedal:
    tables.known(("pedal",), ("open", "closed"))
    usual = Pedal()
    ends = (
        tables.get(("pedal", "open"), _END, usual.open),
        tables.get(("pedal", "closed"), _END, usual.closed),
    )
    try:
        return Pedal(*ends)
    except ValueError as error:
        tables.wrong(("pedal",), f"{error}; write open = 0 and closed = 127.")
        return usual


def _guards(tables: Tables) -> dict[str, Guard]:
    found = {}
    for voice in tables.known(("guards",), BY_NAME, "a voice"):
        own = ("guards", voice)
        tables.known(own, _GUARD)
        found[voice] = Guard(
            **{name: float(tables.get((*own, name), kind, 0.0)) for name, kind in _GUARD.items()}
        )
    return found


def _latency(tables: Tables) -> Latency | None:
    names = tables.known(("latency",), ("ms", "plus_minus_ms", "how"))
    if not names:
        return None
    if "ms" not in names:
        tables.wrong(("latency",), '"ms" is missing; write ms = 12.5.')
    spread = tables.get(("latency", "plus_minus_ms"), _SPREAD, None)
    return Latency(
        float(tables.get(("latency", "ms"), _LATE, 0.0)),
        None if spread is None else float(spread),
        tables.get(("latency", "how"), _HOW, TYPED),
    )


def _calls(tables: Tables) -> Calls:
    usual = Calls()
    tables.known(("calls",), ("call", *Command))
    pads = {
        command: tables.get(("calls", command.value), _CALLED, usual.pads.get(command, ""))
        for command in Command
    }
    try:
        return Calls(
            tables.get(("calls", "call"), _CALLED, usual.call),
            {command: voice for command, voice in pads.items() if voice},
        )
    except ValueError as error:
        tables.wrong(("calls",), f"{str(error).rstrip('.')}.")
        return usual


def _as_plain(profile: Profile) -> dict[str, Any]:
    """The tables of the file; numbers as short as they are."""
    latency = profile.latency
    return {
        "kit": profile.kit,
        "player": profile.player,
        "port": profile.port,
        "has": list(profile.has),
        **profile.pads.as_plain(),
        "strokes": {
            voice: {dynamic.value: [_short(one) for one in own] for dynamic, own in groups.items()}
            for voice, groups in profile.strokes.items()
        },
        "latency": {}
        if latency is None
        else {name: value for name, value in asdict(latency).items() if value is not None},
        "calls": {
            "call": profile.calls.call,
            **{command.value: profile.calls.pads.get(command, "") for command in Command},
        },
    }


def _short(value: float) -> float | int:
    return int(value) if value == int(value) else value


def _safe(name: str) -> str:
    plain = normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain)[:40].strip("-")


def _top_of_broken(path: Path) -> dict[str, Any]:
    """The names on top of a file that is no TOML, as far as their own lines are."""
    found: dict[str, Any] = {}
    for line in read_bytes(path, MOST_TEXT).decode(errors="replace").splitlines():
        if line.lstrip().startswith("["):
            break
        with suppress(ValueError, RecursionError):
            found |= tomllib.loads(line)
    return found
