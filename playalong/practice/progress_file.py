"""Keeping a lesson: the records of its steps as plain objects for a file, and back.

A record belongs to the step with its key, and only as long as the step asks the same (its mark).
"""

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

from playalong.practice.feedback import Record, State
from playalong.practice.phrases import Code, Said, said, subject
from playalong.practice.plan import Step


def as_plain(pattern: str, steps: Sequence[Step], records: Sequence[Record]) -> dict[str, Any]:
    """The records of the steps that were played or skipped; ``pattern`` is the pattern's name."""
    return {
        "pattern": pattern,
        "steps": {
            step.key: {
                "name": subject(step),
                "mark": step.mark,
                "state": record.state.value,
                "repetitions": record.repetitions,
                "clean": record.clean,
                "seconds": record.seconds,
                "helped": record.helped,
                "tempo_bpm": record.tempo_bpm,
                "lately": record.lately,
            }
            for step, record in zip(steps, records, strict=True)
            if record != Record()
        },
    }


def count(plain: Any) -> int:
    """Of how many steps something was kept."""
    steps = plain.get("steps") if isinstance(plain, Mapping) else None
    return len(steps) if isinstance(steps, Mapping) else 0


#: How steps were called in files of earlier versions, and are called now.
_RENAMED = (("called mixing ", "called variations "), ("free mixing ", "variations played freely "))


def _key(key: str) -> str:
    return next((new + key[len(old) :] for old, new in _RENAMED if key.startswith(old)), key)


def from_plain(plain: Any, steps: Sequence[Step]) -> tuple[list[Record], tuple[Said, ...]]:
    """A record for each of ``steps``, and what could not be used."""
    records = [Record() for _ in steps]
    saved = plain.get("steps") if isinstance(plain, Mapping) else None
    if not isinstance(saved, Mapping):
        return records, (said(Code.UNREADABLE),)
    numbers = {step.key: number for number, step in enumerate(steps)}
    dropped = []
    for key, raw in saved.items():
        number, record = numbers.get(_key(str(key))), _record(raw)
        marks = () if number is None else (steps[number].mark, steps[number].former_mark)
        if number is None or record is None or raw.get("mark") not in marks:
            name = raw.get("name") if isinstance(raw, Mapping) else None
            dropped.append(str(name or key))
        else:
            records[number] = record
    if not dropped:
        return records, ()
    return records, (said(Code.NO_LONGER_FITS, names=dropped),)


def _record(raw: Any) -> Record | None:
    """A record from plain objects, None where they make no sense."""
    try:
        tempo = raw["tempo_bpm"]
        lately = raw.get("lately", "")
        if not isinstance(lately, str) or set(lately) - {"0", "1"}:
            return None
        record = Record(
            state=State(raw["state"]),
            repetitions=int(raw["repetitions"]),
            clean=int(raw["clean"]),
            seconds=float(raw["seconds"]),
            helped=int(raw["helped"]),
            tempo_bpm=None if tempo is None else float(tempo),
            lately=lately[-Record.LATELY :],
        )
        values = (record.repetitions, record.clean, record.seconds, record.helped, tempo or 0.0)
        return record if all(value >= 0 and isfinite(value) for value in values) else None
    except (AttributeError, KeyError, TypeError, ValueError, OverflowError):
        return None
