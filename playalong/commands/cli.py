"""The commands. Each is thin: it takes what was typed, calls the room that does the work, prints.

Imports stand inside the commands, so that none pays for what another needs.
"""

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.terminal import print_errors, print_lines
from playalong.support.text import quoted


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code is 0 when it did its work, 2 when the input was bad."""
    from playalong.commands.arguments import parser

    try:
        given = parser(_COMMANDS).parse_args(arguments)
        return int(given.command(given))
    except UserError as error:
        first, *more = error.lines
        print_errors(f"playalong: {first}", *more)
        return 2
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has gone
        return 0


def _patterns(_: argparse.Namespace) -> int:
    library = _library()
    for name in library.names():
        pattern = library.get(name)
        tempo = f"{pattern.tempo:g} bpm"
        print_lines(f"{name:<24} {pattern.meter.written:>7}  {tempo:>8}  {pattern.title}")
        if pattern.about:
            print_lines(f"    {pattern.about}")
        if pattern.variations:
            print_lines(f"    variations: {', '.join(pattern.variations)}")
    return 0


def _check(given: argparse.Namespace) -> int:
    from playalong.pattern.reader import PatternError, read

    wrong = 0
    for path in given.files:
        try:
            pattern = read(_text(path), path.name)
        except PatternError as error:
            print_errors(*error.lines)
            wrong += 1
            continue
        bars = "1 bar" if len(pattern.bars) == 1 else f"{len(pattern.bars)} bars"
        print_lines(f'{path}: "{pattern.title}" is right: {bars} of {pattern.meter.written}.')
    return 2 if wrong else 0


def _ports(_: argparse.Namespace) -> int:
    from playalong.midi_io.backend import NO_PORT
    from playalong.midi_io.ports import port_names

    names = port_names()
    if not names:
        raise UserError(NO_PORT)
    print_lines(*names)
    return 0


def _grade(given: argparse.Namespace) -> int:
    import json

    from playalong.app.take_grading import Options, grade_take
    from playalong.grading.grade_run import judged_hits
    from playalong.grading.text import as_json, figures, hit_lines
    from playalong.records.takes import read

    pattern = _pattern(given.pattern)
    profile = _profile(given.profile)
    latency = profile.latency if profile else None
    options = Options(
        given.tempo,
        given.start,
        given.bars,
        None if given.variation is None else tuple(given.variation),
        given.capture_ms,
        given.tolerance_ms,
        _bands(given) or (profile.bands if profile else None),
        profile.pads if profile else None,
        latency.ms if given.latency_ms is None and latency else given.latency_ms,
    )
    graded = grade_take(pattern, read(given.take), options)
    hits = judged_hits(graded.run) if given.hits else None
    if given.json:
        told = as_json(graded.grade, hits)
        told |= {
            "followed": graded.followed,
            "start_s": round(graded.start_s, 6),
            "latency_ms": graded.latency_ms,
        }
        print_lines(*json.dumps(told, indent=1).split("\n"))
        return 0
    grade = graded.grade
    bars = "1 bar" if grade.bars == 1 else f"{grade.bars} bars"
    print_lines(
        f"{pattern.title}, {bars} at {grade.tempo_bpm:g} bpm: {grade.score.total:.0f} of 100"
    )
    print_lines("")
    for what, figure in figures(grade):
        print_lines(f"  {what:<18} {figure}")
    print_lines("", grade.advice)
    _notice(graded.remarks)
    if hits is not None:
        print_lines("", *hit_lines(hits))
    return 0


def _sounds(_: argparse.Namespace) -> int:
    from playalong.sound.device.devices import device_names

    names = device_names()
    if not names:
        raise UserError("There is no sound device: the click is seen, not heard.")
    print_lines(*names)
    return 0


def _kit(given: argparse.Namespace) -> int:
    import time

    from playalong.app.kit_setup.entry import set_up
    from playalong.app.kit_setup.kit_session import shown, typed_latency, watch
    from playalong.app.play.entry import Player

    if given.player or given.fast:
        by: Any = Player(_skill(given.player or "steady"), given.seed, given.fast)
        profile = set_up(by, _look(given), None, _home(given), given.page)
        print_lines(*shown(profile, ()))
        return 0
    with _listening(given) as (port, profile, home):
        if given.latency_ms is not None:
            profile = typed_latency(profile, given.latency_ms)
            if not home.keep(profile):
                raise UserError(f"The latency is not kept. {' '.join(home.told)}")
        if given.watch:
            for line in watch(port, profile, time.perf_counter):
                print_lines(line)
        elif not given.show and given.latency_ms is None:
            profile = set_up(port, _look(given), profile, home, given.page)
        print_lines(*shown(profile, home.told))
    return 0


def _play(given: argparse.Namespace) -> int:
    from playalong.app.play.entry import play

    trouble: tuple[str, ...] = ()
    with _listening(given) as (port, profile, home):
        task = _task(given, profile)
        for kept in play(task, _look(given), port, profile, home, given.out):
            _tell(kept)
            trouble = kept.trouble
    if trouble:
        raise UserError.of(trouble)
    return 0


def _demo(given: argparse.Namespace) -> int:
    from playalong.app.play.entry import Player, demo

    skill = _skill(given.player)
    task = _task(given)
    if given.fast and given.through_port:
        raise UserError("A real port knows no simulated clock: leave out --fast or --through-port.")
    player = Player(skill, given.seed, given.fast, given.through_port)
    kept, files = demo(task, _look(given), player, _home(), given.out, given.stay)
    _tell(kept)
    for file in files:
        print_lines(f"Also there: {file}")
    if kept.trouble:
        raise UserError.of(kept.trouble)
    return 0


@contextmanager
def _listening(given: argparse.Namespace) -> Iterator[tuple[Any, Any, Any]]:
    """The kit's port, what is known of kit and player, and the user's folders."""
    from playalong.midi_io.ports import open_port

    home = _home(given)
    port = open_port(given.port, home.settings().port)
    try:
        profile = home.profile(port.name, given.who)
        if not getattr(given, "show", False):  # who only looks changes nothing
            home.remember(port=port.name, kit=profile.kit, player=profile.player)
        print_lines(f'Listening to "{port.name}", played by {profile.player}. {CAUTION}')
        _notice(home.told)
        yield port, profile, home
    finally:
        port.close()


def _home(given: argparse.Namespace | None = None) -> Any:
    from playalong.app.user_folders import UserFolders

    home = UserFolders.of_user()
    folder = getattr(given, "out", None)
    if folder is not None and given is not None and given.command is _kit:
        home = UserFolders(folder, folder)
    return home


def _task(given: argparse.Namespace, profile: Any = None) -> Any:
    """What is to be played."""
    from playalong.app.run.task import Task
    from playalong.app.take_grading import (
        check_variations,
        checked_bars,
        checked_rules,
        checked_tempo,
    )
    from playalong.commands.arguments import check_unused

    along = getattr(given, "along", None)
    if along is not None:
        why = "does not go with --with: a recording has its own tempo, which --speed changes"
        check_unused(given, "--tempo", why)
    elif hasattr(given, "along"):
        why = "goes with --with, a recording that is played along with"
        check_unused(given, "--loop --speed --recording-db", why)
    pattern = _pattern(given.pattern)
    variations = tuple(given.variation or ())
    check_variations(pattern, variations)
    tempo_bpm = checked_tempo(pattern.tempo if given.tempo is None else given.tempo)
    bars = checked_bars(_whole_rounds(len(pattern.bars)) if given.bars is None else given.bars)
    bands = _bands(given) or (profile.bands if profile else None)
    rules = checked_rules(given.capture_ms, given.tolerance_ms, bands)
    task = Task(
        pattern, tempo_bpm, bars, variations, rules, given.count_in, clicking=_clicking(given)
    )
    if along is None:
        return task
    from playalong.app.kit_setup.entry import with_recording

    home = _home()
    found = with_recording(
        task, home, along, given.loop, given.bars, given.speed, given.recording_db
    )
    _notice(home.told)
    return found


def _clicking(given: argparse.Namespace) -> Any:
    from playalong.sound.synth.click import Clicking, Gap, Places

    asked = "eighths" if given.eighths else given.click
    places = {
        "beats": Places.BEATS,
        "eighths": Places.EIGHTHS,
        "off-beats": Places.OFF_BEATS,
    }[asked]
    try:
        return Clicking(places, gap=None if given.gap is None else Gap(*given.gap))
    except ValueError as error:
        raise UserError(f"--gap: {error}.") from None


def _practice(given: argparse.Namespace) -> int:
    from playalong.app.play.entry import Player, plan_lines, practise
    from playalong.app.take_grading import checked_rules

    pattern, home, clicking = _pattern(given.pattern), _home(), _clicking(given)
    rules = checked_rules(given.capture_ms, given.tolerance_ms, _bands(given))
    if given.plan:
        print_lines(*plan_lines(pattern, rules, given.out or home.data))
        return 0
    if given.player or given.fast:
        by = Player(_skill(given.player or "steady"), given.seed, given.fast)
        told = practise(pattern, rules, _look(given), by, None, home, given.out, clicking)
    else:
        with _listening(given) as (port, profile, home):
            bands = _bands(given) or profile.bands
            rules = checked_rules(given.capture_ms, given.tolerance_ms, bands)
            told = practise(pattern, rules, _look(given), port, profile, home, given.out, clicking)
    print_lines(
        f"{told.learned} of {told.steps} steps are learned, after {told.repetitions} runs today."
    )
    if told.next:
        print_lines(f"Next: {told.next}")
    if told.trouble:
        raise UserError.of(told.trouble)
    return 0


def _skill(name: str) -> Any:
    from playalong.simulation.player import SKILLS

    if name not in SKILLS:
        raise UserError(f'No player plays "{name}"; there is {", ".join(SKILLS)}.')
    return SKILLS[name]


def _hear(given: argparse.Namespace) -> int:
    from playalong.app.play.hearing import hear, hear_take
    from playalong.app.recording.loading import keep_off
    from playalong.commands.arguments import check_unused

    home, click = _home(), not given.no_click
    if given.take is None:
        check_unused(given, "--half --which", "goes with --take, a take that is heard")
    else:
        played = "--tempo --bars --variation --count-in --click --eighths --gap --chunk --with"
        why = "does not go with --take: a take is heard as it was played"
        check_unused(given, played, why)
    for heard in filter(None, (given.take, given.along, Path(given.pattern))):
        keep_off(heard, given.out)
    if given.take is not None:
        half = 0.5 if given.half else 1.0
        pattern = _pattern(given.pattern)
        hear_take(pattern, given.take, given.which, half, click, _look(given), home, given.out)
    else:
        task = _task(given)
        hear(_chunk(task, given) if given.chunk else task, _look(given), click, home, given.out)
    if given.out is not None:
        print_lines(f"It is written: {given.out}")
    return 0


def _chunk(task: Any, given: argparse.Namespace) -> Any:
    """The task with only one chunk of its pattern."""
    from dataclasses import replace

    from playalong.practice.excerpts import cut, excerpt

    parts = {part.name: part for part in cut(task.pattern)}
    if given.chunk not in parts:
        listed = ", ".join(map(quoted, parts))
        raise UserError(
            f"{quoted(task.pattern.title)} has no chunk {quoted(given.chunk)}; it has {listed}."
        )
    alone = excerpt(task.pattern, [parts[given.chunk]], [task.variations])
    bars = task.bars if given.bars else 1
    return replace(task, pattern=alone, variations=(), bars=bars, about=given.chunk)


def _beats(given: argparse.Namespace) -> int:
    from playalong.app.kit_setup.entry import beats

    home = _home()
    beat_map = beats(
        given.recording,
        _look(given),
        home,
        tempo_bpm=given.tempo,
        first_beat_s=given.first_beat,
        per_bar=given.per_bar,
        find=given.find,
        port_part=given.port,
        out=given.out,
    )
    if beat_map is None:
        raise UserError("No beats were kept.")
    _notice(home.told)
    bars = "1 bar" if beat_map.bars == 1 else f"{beat_map.bars or 'no whole'} bars"
    print_lines(
        f"{len(beat_map)} beats in {bars} of {beat_map.per_bar}: "
        f"{beat_map.tempo_bpm(0):.1f} bpm in bar 1, "
        f"{beat_map.tempo_bpm(max(0, beat_map.bars - 1)):.1f} in the last."
    )
    if given.find:
        print_lines("Hear whether bar 1 begins where it should: playalong beats and its name.")
    if given.out is not None:
        print_lines(f"It is written: {given.out}")
    return 0


def _whole_rounds(bars: int) -> int:
    """Four bars or more, as whole rounds through a pattern of ``bars``."""
    return -(-4 // bars) * bars


def _bands(given: argparse.Namespace) -> Any:
    if given.strokes is None:
        return None
    from playalong.grading.bands_from_strokes import bands_of
    from playalong.records.strokes import read

    return bands_of(read(given.strokes))


def _profile(path: Path | None) -> Any:
    """What is known of the kit on which a take was played."""
    if path is None:
        return None
    from playalong.records.profiles import read_file

    try:
        return read_file(path)
    except OSError as error:
        raise UserError(f"{path} cannot be read: {error.strerror}.") from None


def _look(given: argparse.Namespace) -> Any:
    from playalong.app.open_devices import Look

    echo = getattr(given, "sound_pads", False)
    return Look(given.dark, given.large, given.sound, given.buffer_ms, given.click_to, echo)


def _notice(words: Iterable[str]) -> None:
    for word in words:
        print_lines(*f"({word})".split("\n"))


def _tell(kept: Any) -> None:
    grade = kept.graded.grade
    print_lines(f"{grade.score.total:.0f} of 100. {grade.advice}")
    print_lines(f"The take is kept: {kept.path}")


def _library() -> Any:
    from playalong.pattern.library import Library
    from playalong.support import resources as shipped

    files = shipped.folder("patterns").glob("*.toml")
    return Library({path.stem: path.read_text(encoding="utf-8") for path in files})


def _pattern(name: str) -> Any:
    """The pattern in a file, if ``name`` looks like one, else the shipped one of that name."""
    path = Path(name)
    if path.suffix == ".toml" or path.is_file():
        from playalong.pattern.reader import read

        return read(_text(path), path.stem)
    return _library().get(name)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise UserError(f"There is no file {path}: check the name and the folder.") from None
    except UnicodeDecodeError:
        raise UserError(f"{path} is no text in UTF-8: save it so in the editor.") from None
    except OSError as error:
        raise UserError(f"{path} cannot be read: {error.strerror}.") from None


_COMMANDS = {
    "patterns": _patterns,
    "check": _check,
    "ports": _ports,
    "sounds": _sounds,
    "kit": _kit,
    "play": _play,
    "demo": _demo,
    "hear": _hear,
    "beats": _beats,
    "practice": _practice,
    "grade": _grade,
}


if __name__ == "__main__":
    sys.exit(main())
