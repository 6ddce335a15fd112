"""The program in its real window, telling which pages it shows.

Run as python -m tests.helpers.watched_program.
Appends a line to the file that PAGES names whenever another page is shown: its class, and its
title; and into files beside it the number of its window, and of a run when its bar 1 starts, in
seconds of the system's clock. Nothing else is changed.
"""

import os
import sys
import time
from pathlib import Path

import pygame

from playalong.commands.main import main
from playalong.screen.base.window import Window

_frame = Window.frame


def _told(page: object) -> str:
    names = []
    while True:
        names.append(type(page).__name__)
        inner = getattr(page, "page", None)
        if inner is None:
            break
        page = inner
    title = getattr(page, "title", None) or getattr(page, "_title", "")
    return f"{' '.join(names)}: {title}"


class _Watch:
    last = ""


def frame(window: Window, page: object, now_s: float) -> None:
    """Show the page, and tell of it where it is another one."""
    _frame(window, page, now_s)  # type: ignore[arg-type]
    told = _told(page)
    if told != _Watch.last:
        _Watch.last = told
        if "RunPage" in told:
            start = Path(f"{os.environ['PAGES']}.start")
            start.write_text(str(time.perf_counter() - now_s), encoding="utf-8")
        with open(os.environ["PAGES"], "a", encoding="utf-8") as file:  # noqa: PTH123
            file.write(f"{told}\n")
        number = pygame.display.get_wm_info().get("window", "")
        Path(f"{os.environ['PAGES']}.window").write_text(str(number), encoding="utf-8")


if __name__ == "__main__":
    Window.frame = frame  # type: ignore[method-assign,assignment]
    sys.exit(main(sys.argv[1:]))
