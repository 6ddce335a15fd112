"""A pattern is made from nothing in the window, at a person's pace, and the time is taken.

Under Xvfb, with xdotool (Debian: xvfb, xdotool, jackd2): once by keys, once by the mouse. Each
press and each click takes as long as it takes people: ``KEY_S`` a key, ``CLICK_S`` a click with
the way to it (the keystroke-level model: Card, Moran and Newell 1980, from memory: 0.28 s a key
for an average typist, 1.1 s and 0.2 s to point and to click), and ``THINK_S`` before each thing
that is thought of anew (1.35 s there). What is asked is two minutes.
"""

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from playalong.pattern.reader import read
from tests.long.frame import Options, Table
from tests.long.window import Desk, first_start

FULL_COUNT, SAMPLE_COUNT = 2, 1

KEY_S, CLICK_S, THINK_S = 0.28, 1.3, 1.35
ASKED_S = 120.0

#: How long it is listened to before it is saved.
LISTEN_S = 6.0

#: What is written: eighths on the hi-hat, the back-beat, two ghost notes, three kicks.
HATS, SNARES, GHOSTS, KICKS = range(0, 16, 2), (4, 12), (7, 9), (0, 7, 10)


def _keys(desk: Desk, *keys: str) -> None:
    """One thing that is thought of, and the keys for it."""
    time.sleep(THINK_S)
    for key in keys:
        desk.x("key", key)
        time.sleep(KEY_S)


def _by_keys(desk: Desk) -> None:
    """Row by row, from left to right."""
    for _ in HATS:
        _keys(desk, "space", "Right", "Right")
    row = {**dict.fromkeys(SNARES, "a"), **dict.fromkeys(GHOSTS, "g")}
    for strokes in (row, dict.fromkeys(KICKS, "x")):
        _keys(desk, "Down")
        at = 0
        for cell, key in sorted(strokes.items()):
            _keys(desk, *(["Right"] * (cell - at)), key)
            at = cell
        _keys(desk, *(["Right"] * (16 - at)))


def _by_mouse(desk: Desk) -> None:
    """A click for each stroke, as loud as it is high; where cells are is seen on the page."""
    where = _cells(desk)
    for row, cells, high in (
        (0, HATS, 0.6),
        (1, SNARES, 0.9),
        (1, GHOSTS, 0.3),
        (2, KICKS, 0.6),
    ):
        time.sleep(THINK_S)
        for cell in cells:
            left, top, width, height = where[row, cell]
            x, y = left + width // 2, top + round((1 - high) * height)
            time.sleep(CLICK_S)
            desk.x("mousemove", "--window", desk.window(), str(x), str(y), "click", "1")


def _cells(desk: Desk) -> dict[tuple[int, int], tuple[int, int, int, int]]:
    """(row, cell) to its place in a window as large as the program's, from a page drawn alike."""
    import pygame

    from playalong.pattern.editing.changes import new_pattern
    from playalong.pattern.editing.editor import Editor
    from playalong.screen.edit_pages.edit import EditPage
    from tests.helpers.stage import theme

    page = EditPage(
        theme=theme(), editor=Editor(new_pattern(), is_saved=False), can_use_sticks=True
    )
    page.draw(pygame.Surface((1280, 720)), 0.0)
    return {
        (row, cell): (room.left, room.top, room.width, room.height)
        for room, (_, cell, row) in page._grid._areas
    }


def _made(desk: Desk, put: Callable[[Desk], None], title: str) -> tuple[float, int]:
    """From the first page to a file: seconds, and how many strokes of it are as they were meant."""
    begin_s = time.monotonic()
    desk.x("windowfocus", desk.window())
    _keys(desk, "t")
    if not desk.wait_for("WritePage"):
        return 0.0, 0
    _keys(desk, "Return")
    if not desk.wait_for("EditPage"):
        return 0.0, 0
    put(desk)
    _keys(desk, "h")
    time.sleep(LISTEN_S)
    _keys(desk, "h")
    _keys(desk, "s")
    if not desk.wait_for("TypedPage"):
        return 0.0, 0
    _keys(desk, *title, "Return")
    if not desk.wait_for("EditPage"):
        return 0.0, 0
    took_s = time.monotonic() - begin_s
    desk.press("Escape", "Escape")
    desk.wait_for("FirstPage")
    path = next(desk.folder.glob(f"data/**/patterns/{title}.toml"), None)
    if path is None:
        return took_s, 0
    bar = read(path.read_text(encoding="utf-8"), title).bars[0]
    asked = {
        *((cell, "hi-hat", "normal") for cell in HATS),
        *((cell, "snare", "accent") for cell in SNARES),
        *((cell, "snare", "ghost") for cell in GHOSTS),
        *((cell, "kick", "normal") for cell in KICKS),
    }
    found = {(int(one.at * 16), one.voice, str(one.dynamic)) for one in bar.strokes}
    return took_s, len(asked) - len(asked ^ found)


def tables(options: Options) -> Iterator[Table]:
    """How long it took, by keys and by the mouse."""
    table = Table("a pattern from nothing", ("how", "seconds", "strokes right"))
    needed = [name for name in ("Xvfb", "xdotool", "jackd") if shutil.which(name) is None]
    if needed:
        table.row("needs", " ".join(needed), "", holds=False)
        yield table
        return
    all_of_it = len(HATS) + len(SNARES) + len(GHOSTS) + len(KICKS)
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder))
        try:
            desk.start()
            if not first_start(desk):
                table.row("the first start", 0.0, desk.page(), holds=False)
            else:
                ways = {"keys": _by_keys, "mouse": _by_mouse}
                for number, (name, put) in enumerate(list(ways.items())[: options.count]):
                    took_s, right = _made(desk, put, "ab"[number] * 3)
                    holds = 0.0 < took_s <= ASKED_S and right == all_of_it
                    table.row(name, took_s, f"{right} of {all_of_it}", holds=holds)
        finally:
            desk.close()
    yield table
