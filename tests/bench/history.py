"""What 10,000 runs cost: python -m tests.bench.history

What a start and a page ask of the store, with 10 runs in it, with 1,000 and with 10,000: the
medians, and how many times as long 10,000 take as 1,000, of which a page lists as many. What is
asked within one program is told in the processor's time; starts are whole programs, from nothing
to the last line printed.
"""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from playalong.app.history import plotted, reading, text
from playalong.app.history.anew import anew, run_of
from playalong.app.user_folders import UserFolders
from playalong.records.store.periods import By
from tests.helpers.many_runs import PLAYER, fill

COUNTS, TIMES = (10, 1_000, 10_000), 15


def median_ms(
    do: Callable[[], object],
    times: int = TIMES,
    *,
    now: Callable[[], float] = time.process_time,
) -> float:
    """The median of the time that ``do`` takes on the clock ``now``."""
    taken = []
    for _ in range(times):
        before = now()
        do()
        taken.append(1000.0 * (now() - before))
    return statistics.median(taken)


def figures_ms(home: UserFolders) -> dict[str, float]:
    """What is asked, and how long it takes in ms."""

    def table(limit: int) -> reading.History:
        database = home.memory.opened()
        try:
            player = reading.player_of(database, PLAYER, PLAYER)
            return reading.history(database, player, None, limit=limit, by=())
        finally:
            database.close()

    def page() -> None:
        """Both kinds of plots, and the list of runs."""
        database, today = home.memory.opened(), date.today()
        try:
            player = reading.player_of(database, PLAYER, PLAYER)
            for by in By:
                last = plotted.last_shown(by, today, reading.last_day(database, player, None))
                since = plotted.first_shown(by, last)
                found = reading.history(database, player, None, limit=200, by=(by,), since=since)
                plotted.plots(found, by, last, today=today)
            text.said(found, today, None)
            [plotted.line(row, today) for row in found.rows]
        finally:
            database.close()

    def opened() -> None:
        database = home.memory.opened()
        try:
            player = reading.player_of(database, PLAYER, PLAYER)
            anew(database, run_of(database, player, table(1).rows[0].id))
        finally:
            database.close()

    environment = {**os.environ, "XDG_DATA_HOME": str(home.data.parent)}

    def program(*typed: str) -> Callable[[], object]:
        command = [sys.executable, "-m", "playalong", *typed]
        return lambda: subprocess.run(
            command, env=environment, check=True, stdout=subprocess.DEVNULL
        )

    return {
        "settings and last player": median_ms(home.settings),
        "runs that were broken off": median_ms(home.memory.broken_off),
        "table of 20 runs": median_ms(lambda: table(20)),
        "page, days and weeks": median_ms(page),
        "a run opened again": median_ms(opened),
        "playalong history": median_ms(program("history"), 5, now=time.perf_counter),
        "playalong patterns": median_ms(program("patterns"), 5, now=time.perf_counter),
    }


def main() -> None:
    """Print the figures."""
    os.environ["SDL_VIDEODRIVER"] = "dummy"
    found, sizes = [], []
    for count in COUNTS:
        with TemporaryDirectory() as name:
            os.environ["XDG_CONFIG_HOME"] = str(Path(name) / "config")
            home = UserFolders(config=Path(name) / "config", data=Path(name) / "data" / "playalong")
            fill(home.memory.path, count)
            sizes.append(home.memory.path.stat().st_size / 1e6)
            found.append(figures_ms(home))
    told = [f"{count} runs: {size:.1f} MB" for count, size in zip(COUNTS, sizes, strict=True)]
    print("; ".join(told))
    for what in found[0]:
        figures = [each[what] for each in found]
        cells = "".join(f"{figure:9.1f} ms" for figure in figures)
        print(f"  {what:<28}{cells}  {figures[-1] / figures[-2]:6.2f} times")


if __name__ == "__main__":
    main()
