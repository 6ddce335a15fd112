"""How soon the first page is seen, and the page of a run: python -m tests.bench.start

The first page: from the start of the program, a process of its own on an X server of its own
(Xvfb), with a store and a player in it, to the end of its first frame. The page of a run: from
Start to the end of its first frame, in a window of 1920 x 1080 on no screen.
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playalong.app.play.tasks import task_of
from playalong.app.run.clock import RealClock
from playalong.app.run.context import SilentPort
from playalong.app.run.frame_loop import View
from playalong.app.run.run import Run
from playalong.app.user_folders import UserFolders
from playalong.grading.verdicts import Rules
from playalong.records.pattern_files import library
from tests.helpers.stage import context_on, unseen_window

STARTS, RUNS = 5, 10
PATIENCE_S = 20.0


def first_pages_s(folder: Path) -> list[float]:
    """The seconds of each start."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1920x1080x24", "-nolisten", "tcp"],
        pass_fds=[write],
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    display = os.read(read, 64).decode().strip()
    os.close(read)
    home = UserFolders(config=folder / "config" / "playalong", data=folder / "data" / "playalong")
    home.add_player("Ana")
    home.choose_player("Ana")
    pages = folder / "pages.txt"
    surroundings = {
        **{name: value for name, value in os.environ.items() if name != "SDL_VIDEODRIVER"},
        "DISPLAY": f":{display}",
        "PAGES": str(pages),
        "PLAYALONG_FROM_MENU": "1",
        "XDG_DATA_HOME": str(folder / "data"),
        "XDG_CONFIG_HOME": str(folder / "config"),
        "XDG_CACHE_HOME": str(folder / "cache"),
    }
    surroundings.pop("CI", None)
    found = []
    try:
        for _ in range(STARTS + 1):
            pages.write_text("", encoding="utf-8")
            begin_s = time.perf_counter()
            program = subprocess.Popen(
                [sys.executable, "-m", "tests.helpers.watched_program"],
                env=surroundings,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            while not pages.stat().st_size and time.perf_counter() - begin_s < PATIENCE_S:
                time.sleep(0.005)
            found.append(time.perf_counter() - begin_s)
            program.terminate()
            program.wait()
    finally:
        server.terminate()
        server.wait()
    return found[1:]  # the first start makes what later ones find


def run_pages_s() -> list[float]:
    """The seconds from Start to the first frame of a run."""
    found = []
    with unseen_window((1920, 1080)) as window:
        context = context_on(window, RealClock())
        for name in library().names()[:RUNS]:
            task = task_of(library().get(name), Rules())
            begin_s = time.perf_counter()
            run = Run(task=task, context=context, connect=lambda _: SilentPort())
            view = run.view(context.clock.now())
            assert isinstance(view, View)
            context.window.frame(view.page, view.at_s)
            found.append(time.perf_counter() - begin_s)
    return found


def main() -> None:
    """Print the figures."""
    if shutil.which("Xvfb"):
        with tempfile.TemporaryDirectory() as folder:
            starts_s = first_pages_s(Path(folder))
        print(
            f"first page: median {statistics.median(starts_s):.2f} s of {len(starts_s)} starts, "
            f"at most {max(starts_s):.2f} s"
        )
    else:
        print("first page: left out, there is no Xvfb")
    runs_s = run_pages_s()
    print(f"page of a run: median {statistics.median(runs_s):.3f} s, at most {max(runs_s):.3f} s")


if __name__ == "__main__":
    main()
