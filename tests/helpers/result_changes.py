"""Results as simulated players leave them, and changes to them: by chance, and by somebody who
knows how a result is packed and computes its digests anew.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from playalong.app.assessment.book import Book, RunState
from playalong.app.assessment.tasks import item_task
from playalong.app.grade.take_grading import Options, grade_take
from playalong.pattern.reader import read
from playalong.practice.assessment.machine import Event, Sitting, State
from playalong.profile.profile import Profile
from playalong.records.assessments.files import AssessmentFile, read_assessment
from playalong.records.assessments.results import DIGESTS, packed, read_result
from playalong.records.midi_file import parse
from playalong.records.takes import TICKS_PER_QUARTER, Recording, from_bytes
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS, Skill

SHORT = """
title = "A short one"
minutes = 5
[[item]]
pattern = "late-bus-home"
bars = 2
attempts = 2
[item.asked]
score = { good = 80, pass = 50 }
spread = 40
without = ["speeding_up"]
[[item]]
pattern = "boots-by-the-door"
bars = 2
"""

#: From the beginning of a take to bar 1, in seconds.
_LEAD_S = 4.0


def file_of(text: str) -> AssessmentFile:
    """An assessment by its text, as if it stood in a file."""
    path = Path("an-assessment.toml")
    return AssessmentFile(read_assessment(text, path), text, path)


@cache
def _file(text: str) -> AssessmentFile:
    return file_of(text)


def result_of(
    out: Path,
    who: str,
    skill: Skill | str,
    *,
    seed: int,
    text: str = SHORT,
    runs: int | None = None,
) -> Path:
    """The result of ``who``, who plays as ``skill`` does, without playing it in a window.

    Every rehearsal and attempt is played, or the first ``runs`` of them.
    """
    file = _file(text)
    with TemporaryDirectory() as sittings:
        book = Book(file, Path(sittings), who=who, profile=Profile(kit="a kit", player=who))
        book.begin()
        known = SKILLS[skill] if isinstance(skill, str) else skill
        for recording in _takes(book.sitting, book, known, seed=seed):
            pattern = file.assessment.pattern_of(book.sitting.current_item)
            graded = grade_take(pattern, recording.take(), Options())
            book.add(RunState.PLAYED, recording, graded)
            book.sitting.tell(Event.PLAYED)
        path = book.finish(out)
        book.close(True)
    return path


def _takes(sitting: Sitting, book: Book, skill: Skill, *, seed: int) -> Iterator[Recording]:
    while sitting.state is not State.CLOSED:
        if sitting.state is not State.PLAYING:
            sitting.tell(Event.GO_ON)
            continue
        task = item_task(sitting.assessment, sitting.current_item)
        targets = task.targets()
        recording = task.recording(_LEAD_S, Profile(kit="a kit", player=book.who), targets)
        for time_s, data in perform(targets, skill, 1000 * seed + len(book.runs)).messages:
            recording.keep(time_s, data)
        yield recording


def changed_by_chance(data: bytes, chance: np.random.Generator) -> bytes:
    """A file of which some bytes are other ones, are gone, or have come in."""
    at = int(chance.integers(len(data)))
    many = int(chance.integers(1, 40))
    match int(chance.integers(5)):
        case 0:
            return data[:at] + bytes([data[at] ^ (1 << int(chance.integers(8)))]) + data[at + 1 :]
        case 1:
            return data[:at] + chance.bytes(many) + data[at + many :]
        case 2:
            return data[:at] + chance.bytes(many) + data[at:]
        case 3:
            return data[:at] + data[at + many :]
        case _:
            return data[:at]


Files = dict[str, bytes]

#: A change to the files of a result: what was changed, and whether that alters a figure.
Change = Callable[[Files, np.random.Generator], tuple[str, bool]]


def forged(path: Path, change: Change, chance: np.random.Generator) -> tuple[bytes, str, bool]:
    """The result at ``path`` changed, its digests computed anew; what, and whether it matters."""
    files = {name: data for name, data in read_result(path).files.items() if name != DIGESTS}
    what, matters = change(files, chance)
    return packed(files), what, matters


def nothing(files: Files, chance: np.random.Generator) -> tuple[str, bool]:
    """A take is taken apart and put together again as it was: nothing to be found."""
    name, recording = _take(files, chance)
    return name, _put(files, name, recording)


def figure(files: Files, chance: np.random.Generator) -> tuple[str, bool]:
    """Some figure of some grade is another one."""
    name = _any([name for name in files if name.startswith("grades/")], chance)
    plain = json.loads(files[name])
    leaves = [leaf for leaf in _leaves(plain) if not isinstance(leaf[0][leaf[1]], str)]
    holder, key = leaves[int(chance.integers(len(leaves)))]
    before = holder[key]
    holder[key] = _otherwise(before, chance)
    files[name] = json.dumps(plain, indent=1).encode()
    return f"{name}: {key} from {before} to {holder[key]}", True


def mark(files: Files, chance: np.random.Generator) -> tuple[str, bool]:
    """Some mark, or the figure it stands on, is another one."""
    plain = json.loads(files["result.json"])
    leaves = list(_leaves(plain["items"]))
    holder, key = leaves[int(chance.integers(len(leaves)))]
    before = holder[key]
    holder[key] = _otherwise(before, chance)
    files["result.json"] = json.dumps(plain, indent=1).encode()
    return f"result.json: {key} from {before} to {holder[key]}", True


def hit(files: Files, chance: np.random.Generator) -> tuple[str, bool]:
    """A stroke is moved, louder, softer, on another pad, gone, or one more."""
    name, recording = _take(files, chance)
    messages = recording._messages
    strokes = [at for at, (_, data) in enumerate(messages) if data[0] & 0xF0 == 0x90 and data[2]]
    at = strokes[int(chance.integers(len(strokes)))]
    tick, data = messages[at]
    kind = int(chance.integers(5))
    if kind == 0:
        moved = int(chance.integers(1, TICKS_PER_QUARTER // 4)) * (
            1 if chance.random() < 0.5 else -1
        )
        messages[at] = (max(0, tick + moved), data)
    elif kind == 1:
        messages[at] = (tick, bytes((data[0], data[1], int(chance.integers(1, 128)))))
    elif kind == 2:
        messages[at] = (tick, bytes((data[0], int(chance.integers(35, 60)), data[2])))
    elif kind == 3:
        del messages[at]
    else:
        messages.insert(at, (tick + 3000, data))
    return f"{name}: stroke {at}, change {kind}", _put(files, name, recording)


def setting(files: Files, chance: np.random.Generator) -> tuple[str, bool]:
    """Something that a take says of itself is otherwise."""
    name, recording = _take(files, chance)
    info = recording.info
    changes: list[tuple[str, Any]] = [
        ("tolerance_ms", float(chance.uniform(5.0, 99.0))),
        ("capture_ms", float(chance.uniform(50.0, 200.0))),
        ("level", _any(["beginner", "advanced", "professional"], chance)),
        ("tempo_bpm", float(chance.uniform(60.0, 140.0))),
        ("bars", int(chance.integers(1, 20))),
        ("start_s", float(info["start_s"]) + float(chance.uniform(-0.2, 0.2))),
        ("until_s", float(chance.uniform(0.5, 4.0))),
        ("variations", ["push"]),
        ("latency_ms", float(chance.uniform(1.0, 60.0))),
        ("left_handed", True),
        ("bands", {**info["bands"], "source": "somebody's"}),
        ("pads", {**info["pads"], "notes": {"38": "kick"}}),
        ("free", True),
        ("player", "somebody else"),
    ]
    key, value = changes[int(chance.integers(len(changes)))]
    info[key] = value
    return f"{name}: {key} is {value}", _put(files, name, recording)


def pattern(files: Files, chance: np.random.Generator) -> tuple[str, bool]:
    """A pattern asks for another stroke: in its own file, or in that which a take keeps."""
    if chance.random() < 0.5:
        name = _any([name for name in files if name.startswith("patterns/")], chance)
        files[name] = _other_stroke(files[name].decode(), chance).encode()
        return name, True
    name, recording = _take(files, chance)
    recording.info["pattern_text"] = _other_stroke(recording.info["pattern_text"], chance)
    recording.info["pattern_id"] = "0" * 16
    return f"{name}: pattern_text", _put(files, name, recording)


CHANGES: Mapping[str, Change] = {
    "a figure": figure,
    "a mark": mark,
    "a hit": hit,
    "a setting": setting,
    "a pattern": pattern,
}


def _take(files: Files, chance: np.random.Generator) -> tuple[str, Recording]:
    """One of the takes, as it was when it was kept."""
    name = _any([name for name in files if name.startswith("takes/")], chance)
    (track,) = parse(files[name]).tracks
    info = dict(from_bytes(files[name], name).info)
    plain = {"tempo_us": track.tempi[0][1], "info": info}
    return name, Recording.resumed(plain, track.messages)


def _put(files: Files, name: str, recording: Recording) -> bool:
    """Put a take back; whether a figure of its grade is another one now."""
    before = json.loads(files[name.replace("takes/", "grades/").replace(".mid", ".json")])
    files[name] = recording.as_bytes()
    take = from_bytes(files[name], name)
    texts = [data.decode() for key, data in files.items() if key.startswith("patterns/")]
    named = [one["name"] for one in json.loads(files["result.json"])["patterns"]]
    patterns = {key: read(text, key) for key, text in zip(named, texts, strict=True)}
    try:
        graded = grade_take(patterns[recording.info["pattern"]], take, Options())
    except Exception:  # it cannot be graded at all: that matters
        return True
    return bool(json.loads(json.dumps(graded.as_json())) != before)


def _other_stroke(text: str, chance: np.random.Generator) -> str:
    lines = text.split("\n")
    rows = [
        number for number, line in enumerate(lines) if line.startswith(("kick", "snare", "hi-hat"))
    ]
    number = rows[int(chance.integers(len(rows)))]
    start = lines[number].index('"') + 1
    places = [at for at in range(start, len(lines[number])) if lines[number][at] in "-xXg"]
    at = places[int(chance.integers(len(places)))]
    other = "x" if lines[number][at] == "-" else "-"
    lines[number] = lines[number][:at] + other + lines[number][at + 1 :]
    return "\n".join(lines)


def _any(names: list[str], chance: np.random.Generator) -> str:
    return names[int(chance.integers(len(names)))]


def _leaves(plain: Any) -> Iterator[tuple[Any, Any]]:
    """Everything that is no list and no object: what holds it, and by which key."""
    items = plain.items() if isinstance(plain, dict) else enumerate(plain)
    for key, value in list(items):
        if isinstance(value, dict | list):
            yield from _leaves(value)
        else:
            yield plain, key


def _otherwise(value: Any, chance: np.random.Generator) -> Any:
    """Another value of the same kind: of a number sometimes only a little another one."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + int(chance.integers(1, 5))
    if isinstance(value, float):
        return value + float(chance.choice([0.001, 0.1, 1.0, 25.0]) * chance.choice([-1, 1]))
    if value is None:
        return 7.5
    return f"{value}, and better"
