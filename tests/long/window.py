"""The program in a real window: keys and mouse by the X server, strokes by a real MIDI port.

Under Xvfb, with xdotool and JACK's dummy server (Debian: xvfb, xdotool, jackd2): from the first
start to a graded run, a lesson, the history, settings that are kept, the cable out; then random
keys, clicks, strokes and sizes of the window.
"""

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from playalong.pattern.beat_map import BeatMap
from playalong.pattern.targets import lay_out_on
from playalong.pattern.voices import note_of
from playalong.records import beat_maps
from playalong.records.pattern_files import library
from playalong.records.takes import read
from playalong.sound.rendering import write_wave
from tests.long.frame import Options, Table
from tests.sound.making_music import GROOVES, rendered

FULL_COUNT, SAMPLE_COUNT = 2_000, 40

KIT = "cellar kit"

#: What random keys are pressed; Escape as often as all letters together would be too often.
KEYS = (
    *("Return", "Up", "Down", "Left", "Right", "space", "BackSpace"),
    *"abcdefhklnopstuxy",
    *("plus", "minus"),
)
NOTES = (36, 38, 40, 42, 46, 44, 48, 45, 43, 49, 51, 22, 26, 99)
SIZES = ((640, 480), (1280, 720), (1000, 700), (1920, 1080), (320, 240), (1500, 500))

PATIENCE_S = 40.0

#: The pattern that is learned and looped.
CHOSEN = "boots-by-the-door"


class Desk:
    """An X server, a MIDI server with a kit's port, and the program in between."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.pages = folder, folder / "pages.txt"
        self.errors = folder / "errors.txt"
        read, write = os.pipe()
        self._x = subprocess.Popen(
            ["Xvfb", "-displayfd", str(write), "-screen", "0", "1920x1080x24", "-nolisten", "tcp"],
            pass_fds=[write],
            stderr=subprocess.DEVNULL,
        )
        os.close(write)
        display = b""
        while not display.endswith(b"\n"):
            display += os.read(read, 16)
        os.close(read)
        self.surroundings = {
            **{name: value for name, value in os.environ.items() if not name.startswith("SDL_")},
            "DISPLAY": f":{display.decode().strip()}",
            "PAGES": str(self.pages),
            "PLAYALONG_FROM_MENU": "1",
            "XDG_DATA_HOME": str(folder / "data"),
            "XDG_CONFIG_HOME": str(folder / "config"),
            "XDG_CACHE_HOME": str(folder / "cache"),
        }
        self.surroundings.pop("CI", None)
        self._jack = self._start_jack()
        self.kit: object | None = None
        self.plug_in()
        self.program: subprocess.Popen[bytes] | None = None

    def _start_jack(self) -> "subprocess.Popen[bytes]":
        name = f"playalong-{os.getpid()}"
        # It waits for nobody: on a machine with much to do the program may be late for a period.
        command = ["jackd", "-n", name, "-r", "-d", "dummy", "-r", "48000", "-p", "1024"]
        server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for where in (os.environ, self.surroundings):
            where["JACK_DEFAULT_SERVER"], where["JACK_NO_START_SERVER"] = name, "1"
        import rtmidi

        for _ in range(200):
            try:
                rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="waiting").delete()
                return server
            except (rtmidi.RtMidiError, SystemError):
                time.sleep(0.1)
        raise RuntimeError("jackd did not answer")

    def plug_in(self) -> None:
        """Plug the kit in."""
        from playalong.midi_io.rtmidi_port import VirtualOutput

        self.kit = VirtualOutput(KIT)

    def pull(self) -> None:
        """Pull its cable."""
        self.kit.close()  # type: ignore[attr-defined]
        self.kit = None

    def strike(self, note: int, velocity: int = 90) -> None:
        """Strike a pad, where the cable is in."""
        if self.kit is not None:
            self.kit.send(bytes((0x99, note, velocity)))  # type: ignore[attr-defined]
            self.kit.send(bytes((0x89, note, 0)))  # type: ignore[attr-defined]

    def start(self, *arguments: str) -> None:
        """Start the program, with what is typed behind its name."""
        self.pages.write_text("", encoding="utf-8")
        self.program = subprocess.Popen(
            [sys.executable, "-m", "tests.helpers.watched_program", *arguments],
            env=self.surroundings,
            stdout=subprocess.DEVNULL,
            stderr=self.errors.open("ab"),
        )

    @property
    def is_running(self) -> bool:
        """Whether the program runs."""
        return self.program is not None and self.program.poll() is None

    def page(self) -> str:
        """What is shown now."""
        lines = self.pages.read_text(encoding="utf-8").splitlines()
        return lines[-1] if lines else ""

    def wait_for(self, *names: str, patience_s: float = PATIENCE_S) -> bool:
        """Whether a page of one of these names is shown before long."""
        until_s = time.monotonic() + patience_s
        while time.monotonic() < until_s and self.is_running:
            if any(name in self.page() for name in names):
                return True
            time.sleep(0.05)
        return False

    def x(self, *arguments: str) -> None:
        """Tell the X server."""
        subprocess.run(
            ["xdotool", *arguments],
            env=self.surroundings,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            check=False,
        )

    def window(self) -> str:
        """The number of the window, "" where there is none."""
        path = Path(f"{self.pages}.window")
        return path.read_text(encoding="utf-8") if path.exists() else ""

    def press(self, *keys: str) -> None:
        """Press keys, one after the other, as a person does."""
        window = self.window()
        if window:
            self.x("windowfocus", window)
        for key in keys:
            self.x("key", key)
            time.sleep(0.12)

    def close(self) -> None:
        """End everything that was started here."""
        for one in (self.program, self._jack, self._x):
            if one is not None and one.poll() is None:
                one.terminate()
                try:
                    one.wait(10)
                except subprocess.TimeoutExpired:
                    one.kill()
                    one.wait()
        if self.kit is not None:
            self.kit.close()  # type: ignore[attr-defined]

    def asked(self, sql: str) -> list[tuple[object, ...]]:
        """What the store says."""
        store = next(self.folder.glob("data/**/playalong.db"), None)
        if store is None:
            return []
        with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as database:
            return database.execute(sql).fetchall()


def first_start(desk: Desk) -> bool:
    """The kit is heard, strokes are taken, the name is typed, the level chosen."""
    if not desk.wait_for("StartPage"):
        return False
    desk.strike(38)
    if not desk.wait_for("Struck StartPage"):
        return False
    desk.press("Return")
    for note in (38, 42, 36):
        for _ in range(3):
            desk.strike(note)
            time.sleep(0.15)
    for _ in range(3):
        desk.strike(38, 20)
        time.sleep(0.15)
    desk.press("Return", "s", "A", "n", "a", "Return")
    return desk.wait_for("SettingsPage") and (desk.press("Return") or desk.wait_for("FirstPage"))


def first_bar(desk: Desk) -> bool:
    """A run is played and graded, and stands in the store."""
    desk.press("Return")
    if not desk.wait_for("ReadyPage"):
        return False
    desk.press("Return")
    if not desk.wait_for("RunPage"):
        return False
    for _ in range(60):
        desk.strike(42)
        desk.strike(36)
        time.sleep(0.4)
        if "ResultPage" in desk.page():
            break
    there = desk.wait_for("ResultPage")
    desk.press("Escape")
    scored = desk.asked("SELECT count(*) FROM run WHERE state = 'kept' AND score IS NOT NULL")
    return there and desk.wait_for("FirstPage") and scored == [(1,)]


def settings_kept(desk: Desk) -> bool:
    """Dark is chosen, and kept over another start."""
    desk.press("s")
    if not desk.wait_for("SettingsPage"):
        return False
    desk.press("Down", "Down", "Right", "Escape")
    kept = desk.asked("SELECT value FROM setting WHERE name = 'dark'")
    return desk.wait_for("FirstPage") and kept == [("true",)]


def looked_back(desk: Desk) -> bool:
    """The history opens and is left."""
    desk.press("l")
    if not desk.wait_for("LookBackPage"):
        return False
    desk.press("Escape")
    return desk.wait_for("FirstPage")


def before_a_run(desk: Desk) -> bool:
    """The pattern ``CHOSEN`` is chosen, up to the page before a run."""
    desk.press("p")
    if not desk.wait_for("PatternsPage"):
        return False
    desk.press(*CHOSEN[:4], "Return")
    return desk.wait_for("ReadyPage")


def lesson(desk: Desk) -> bool:
    """A lesson is begun from the choice of patterns, and left page by page."""
    if not before_a_run(desk):
        return False
    desk.press("p")
    if not desk.wait_for("PlanPage", "RunPage"):
        return False
    desk.press("Return")
    there = desk.wait_for("RunPage")
    return there and left(desk)


def called(desk: Desk, pad: int) -> None:
    """Sticks in hand: silence, the kick twice, a pad twice."""
    time.sleep(2.0)
    for note in (36, 36, pad, pad):
        desk.strike(note)
        time.sleep(0.35)


def sound(desk: Desk) -> bool:
    """The level of the sound is moved by strokes on the page before a run."""
    if not before_a_run(desk):
        return False
    called(desk, note_of("hi-hat"))
    if not desk.wait_for("SettingsPage: Sound"):
        return False
    called(desk, note_of("high-tom"))
    called(desk, note_of("snare"))
    return desk.wait_for("ReadyPage") and left(desk)


def loop(desk: Desk) -> bool:
    """Two bars of a recording, chosen and moved on the page before a run, are played again and
    again with sticks on a real port, each pass graded; then they are left.
    """
    pattern, beats = library().get(CHOSEN), BeatMap.of([0.5 + 0.6 * beat for beat in range(33)])
    song = desk.folder / "song.wav"
    write_wave(song, rendered(np.array(beats.times_s), GROOVES["straight"]).sound)
    data = next(desk.folder.glob("data/**/playalong.db")).parent
    beat_maps.write(data / "beats", song, beats)
    if not before_a_run(desk):
        return False
    desk.press("Down", "Right")  # along with what
    if not desk.wait_for("SettingsPage"):
        return False
    desk.press("Up", "Return")  # the last: another file
    if not desk.wait_for("TypedPage"):
        return False
    desk.press(*["BackSpace"] * (len(str(Path.home())) + 1))
    desk.x("type", "--delay", "60", str(song))
    desk.press("Return")
    if not desk.wait_for("ReadyPage"):
        return False
    # From bar 1 to bar 2, again and again.
    desk.press("Down", "Down", *["Left"] * 6, "Down", "Right", "Return")
    if not desk.wait_for("RunPage"):
        return False
    time.sleep(0.5)
    start_s = float(Path(f"{desk.pages}.start").read_text(encoding="utf-8"))
    targets, passes = lay_out_on(pattern, beats, 0, bars=2), 3
    pass_s = beats.bar_start_s(2) - beats.bar_start_s(0)
    for number in range(passes):
        for time_s, voice in zip(targets.time_s.tolist(), targets.names, strict=True):
            due_s = start_s + number * pass_s + time_s
            time.sleep(max(0.0, due_s - time.perf_counter()))
            desk.strike(note_of(voice))
    time.sleep(1.0)
    desk.press("Escape")
    return desk.wait_for("PassesPage") and looped_takes(data) and left(desk)


def looped_takes(data: Path) -> bool:
    """A take of it is kept, along with the recording."""
    takes = [read(path) for path in sorted((data / "takes").glob(f"{CHOSEN}*.mid"))]
    along = [take.info["along"] for take in takes if take.info.get("along")]
    return len(along) == 1 and along[0]["recording"] == "song.wav"


#: How each page is come to from the first one; the last key leaves it, or begins to.
WAYS: dict[str, tuple[str, ...]] = {
    "FirstPage": (),
    "PatternsPage": ("p",),
    "ReadyPage": ("p", "Return"),
    "RunPage": ("p", "Return", "Return"),
    "PlanPage": ("p", "Return", "p"),
    "SettingsPage": ("s",),
    "WarmUpPage": ("u",),
    "LookBackPage": ("l",),
    "KitPage": ("k",),
    "SittingPage": ("a", "Return"),
}


def cable_on_every_page(desk: Desk) -> bool:
    """The cable is out and in on each of these pages."""
    for page, keys in WAYS.items():
        if not left(desk):
            return False
        desk.press(*keys)
        if not (desk.wait_for(page) and cable(desk) and page in desk.page()):
            return False
    return left(desk)


def cable(desk: Desk) -> bool:
    """The cable is out on a page, which says so; back in, the page goes on."""
    is_run = desk.page().startswith(("RunPage", "Struck RunPage"))
    desk.pull()
    if is_run:  # the run says so on its sheet
        time.sleep(1.0)
        desk.plug_in()
        time.sleep(1.0)
        return "RunPage" in desk.page()
    if not desk.wait_for("Covered"):
        return False
    desk.plug_in()
    until_s = time.monotonic() + PATIENCE_S
    while "Covered" in desk.page() and time.monotonic() < until_s:
        time.sleep(0.1)
    return "Covered" not in desk.page() and desk.is_running


def left(desk: Desk) -> bool:
    """Every page can be left: Escape leads to the first page in the end.

    Whoever ends an assessment is asked whether they mean it, which E says.
    """
    for _ in range(15):
        if not desk.is_running or "FirstPage" in desk.page():
            return desk.is_running
        desk.press("Escape")
        time.sleep(0.4)
        if "SittingPage" in desk.page():
            desk.press("e")
            time.sleep(0.4)
    return "FirstPage" in desk.page()


def ended(desk: Desk) -> bool:
    """Escape on the first page ends the program, and nothing was wrong."""
    desk.press("Escape")
    try:
        code = desk.program.wait(20) if desk.program else -1
    except subprocess.TimeoutExpired:
        return False
    return code == 0


def at_random(desk: Desk, events: int, seed: int) -> tuple[int, int, set[str]]:
    """So many random events; how often the program ended, how often wrongly, and the pages seen."""
    chance = random.Random(seed)
    ends, wrong, seen = 0, 0, set()
    window = desk.window()
    for _ in range(events):
        if not desk.is_running:
            ends += 1
            wrong += desk.program is not None and desk.program.returncode != 0
            desk.start()
            desk.wait_for("FirstPage", "ChoicesPage")
            window = desk.window()
        seen.add(desk.page().split(":")[0].split(" ")[-1])
        kind = chance.random()
        if kind < 0.5:
            desk.x("windowfocus", window, "key", chance.choice(KEYS))
        elif kind < 0.56:
            desk.x("windowfocus", window, "key", "Escape")
        elif kind < 0.7:
            x, y = chance.randrange(1280), chance.randrange(720)
            desk.x("mousemove", "--window", window, str(x), str(y), "click", "1")
        elif kind < 0.95:
            desk.strike(chance.choice(NOTES), chance.randrange(1, 128))
        elif kind < 0.98:
            width, height = chance.choice(SIZES)
            desk.x("windowsize", window, str(width), str(height))
        elif desk.kit is not None:
            desk.pull()
        else:
            desk.plug_in()
        time.sleep(chance.random() * 0.05)
    return ends, wrong, seen


def tables(options: Options) -> Iterator[Table]:
    """All of it, in this order."""
    yield _all_of_it(options)


def _all_of_it(options: Options) -> Table:
    table = Table("The program in a real window", ("what", "came of it"))
    needed = [name for name in ("Xvfb", "xdotool", "jackd") if shutil.which(name) is None]
    if needed:
        table.row("needs", " ".join(needed), holds=False)
        return table
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder))
        try:
            desk.start()
            steps: dict[str, Callable[[Desk], bool]] = {
                "first start, to the first page": first_start,
                "first run, graded and in the store": first_bar,
                "a setting is kept": settings_kept,
                "history": looked_back,
                "a lesson": lesson,
                "the level of the sound, sticks in hand": sound,
                "bars of a recording, chosen on the page, again and again": loop,
                f"cable out and in on {len(WAYS)} pages": cable_on_every_page,
                "the program ends when asked": ended,
            }
            for name, step in steps.items():
                done = step(desk)
                table.row(name, "done" if done else f"stopped at: {desk.page()}", holds=done)
                if not done and not left(desk):
                    break
            if not desk.is_running:
                desk.start()
                desk.wait_for("FirstPage")
            ends, wrong, seen = at_random(desk, options.count, options.seed)
            table.row("random events", options.count)
            table.row("kinds of page seen on the way", len(seen))
            table.row("times the program ended", ends)
            table.row("of these with something wrong", wrong, holds=wrong == 0)
            if desk.kit is None:
                desk.plug_in()
            if desk.is_running:
                table.row("the page at the end can be left", desk.page(), holds=left(desk))
            errors = desk.errors.read_text(encoding="utf-8", errors="replace")
            bad = [line for line in errors.splitlines() if "Traceback" in line or "mistake" in line]
            table.row("tracebacks and mistakes", len(bad), holds=not bad)
            for line in bad[:3]:
                table.row("", line[:120])
        finally:
            desk.close()
    return table
