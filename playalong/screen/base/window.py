"""The window, or a surface in its place where there is no screen."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import pygame

from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome, Page, looks_of
from playalong.support.errors import UserError
from playalong.support.files import write_file

_KEYS = {
    pygame.K_RETURN: Key.ENTER,
    pygame.K_KP_ENTER: Key.ENTER,
    pygame.K_ESCAPE: Key.ESCAPE,
    pygame.K_LEFT: Key.LEFT,
    pygame.K_RIGHT: Key.RIGHT,
    pygame.K_UP: Key.UP,
    pygame.K_DOWN: Key.DOWN,
    pygame.K_SPACE: Key.SPACE,
    pygame.K_BACKSPACE: Key.BACKSPACE,
}

#: Names the video driver to the library beneath.
_DRIVER = "SDL_VIDEODRIVER"

#: Drivers that show nothing. The library falls back on one where no screen answers.
_UNSEEN = ("dummy", "offscreen")


#: After these the window may no longer show what was drawn.
_DAMAGED = (
    pygame.VIDEOEXPOSE,
    pygame.WINDOWEXPOSED,
    pygame.WINDOWSHOWN,
    pygame.WINDOWRESTORED,
    pygame.WINDOWSIZECHANGED,
)

_FULL = pygame.FULLSCREEN


class WindowError(UserError):
    """The window cannot be opened; the text says why."""


class Window:
    """An open window. ``offscreen`` tells that nobody sees it."""

    def __init__(self, offscreen: bool) -> None:
        self.offscreen = offscreen
        #: Whether it was asked to close: every page then ends, and so does the program.
        self.is_closed = False
        #: Files that were dropped on it and not yet opened; each press of OPEN_FILE tells of one.
        self.dropped: list[Path] = []
        self._waiting: list[Press] = []
        self._struck: list[str] | None = None
        self._size = (1280, 720)
        #: What is shown: the page, its time, how it looks, and the window's size; None where that
        #: is damaged.
        self._shown: tuple[Page, float, object, tuple[int, int]] | None = None
        self._stays = False

    @classmethod
    def open(cls, size: tuple[int, int] = (1280, 720), offscreen: bool | None = None) -> "Window":
        """Open a window of ``size`` (width, height) pixels that can be resized.

        With ``offscreen`` nothing is shown; by default so where there is no screen. Raises
        WindowError where there is one, but no window can be had.
        """
        if offscreen is None:
            offscreen = not _has_screen()
        try:
            with _driver("dummy" if offscreen else None):
                pygame.display.init()
            unseen = pygame.display.get_driver() in _UNSEEN
            if unseen and not offscreen and not os.environ.get(_DRIVER):
                raise pygame.error("the screen that DISPLAY or WAYLAND_DISPLAY names is not there")
            if not unseen:  # a small screen has a window that fits
                width, height = pygame.display.get_desktop_sizes()[0]
                size = (min(size[0], width), min(size[1], height))
            pygame.display.set_caption("playalong")
            pygame.display.set_mode(size, pygame.RESIZABLE)
        except pygame.error as error:
            pygame.display.quit()
            raise WindowError(
                f"The window cannot be opened ({error}): start the program where there is a "
                f"screen, or set {_DRIVER}=dummy to run without one."
            ) from None
        return cls(unseen)

    @property
    def surface(self) -> pygame.Surface:
        """What pages are drawn on; as large as the window is now."""
        return pygame.display.get_surface()

    def stays(self) -> None:
        """The page that comes next is as it was last, so that it need not be drawn anew."""
        self._stays = True

    def anew(self) -> None:
        """The page that comes next is drawn, whatever is shown."""
        self._shown = None

    def frame(self, page: Page, now_s: float) -> None:
        """Draw ``page`` as it is at ``now_s`` and show it, unless that is shown already: it stays,
        or looks the same (``page.Looking``).
        """
        stays, self._stays = self._stays, False
        surface = self.surface
        size, looks = surface.get_size(), looks_of(page, now_s)
        if self._shown is not None:
            shown, at_s, looked, as_large = self._shown
            same = stays and shown is page and at_s == now_s
            if as_large == size and (same or (looks is not None and looks == looked)):
                return
        self._shown = None
        page.draw(surface, now_s)
        pygame.display.flip()
        self._shown = page, now_s, looks, size

    def presses(self) -> list[Press]:
        """What was pressed since the last call, in order."""
        self._pull()
        found, self._waiting = self._waiting, []
        if Key.CLOSE in found:
            self.is_closed = True
        return found

    def listen_for_strokes(self) -> None:
        """From now on ``strokes`` tells the letters that are typed, as presses do."""
        self._struck = []

    def strokes(self) -> list[str]:
        """The letters typed since the last call, " " for the space bar, in order."""
        self._pull()
        found, self._struck = self._struck or [], []
        return found

    def _pull(self) -> None:
        for event in pygame.event.get():
            if event.type in _DAMAGED:
                self._shown = None
            if event.type == pygame.DROPFILE:
                self.dropped.append(Path(event.file))
                self._waiting.append(Outcome.OPEN_FILE)
                continue
            press = _press(event)
            if press is None:
                continue
            self._waiting.append(press)
            if self._struck is not None:
                letter = " " if press is Key.SPACE else press
                if isinstance(letter, str):
                    self._struck.append(letter)

    def resize(self, size: tuple[int, int]) -> None:
        """Make the window so large, or as large as the screen allows."""
        if self.offscreen or self.surface.get_size() == size:
            return
        width, height = pygame.display.get_desktop_sizes()[0]
        pygame.display.set_mode((min(size[0], width), min(size[1], height)), pygame.RESIZABLE)
        self._shown = None

    def full_screen(self, full: bool) -> None:
        """Take all of the screen, or a window of it."""
        if self.offscreen or full == bool(pygame.display.get_surface().get_flags() & _FULL):
            return
        size = pygame.display.get_desktop_sizes()[0] if full else self._size
        self._size = self.surface.get_size() if full else size
        pygame.display.set_mode(size, _FULL if full else pygame.RESIZABLE)
        self._shown = None

    def save(self, path: Path) -> None:
        """Keep the last frame as a PNG file; FileError where it cannot be written."""
        write_file(path, self.picture())

    def picture(self) -> bytes:
        """The last frame as a PNG."""
        data = BytesIO()
        pygame.image.save(self.surface, data, "frame.png")
        return data.getvalue()

    def close(self) -> None:
        """Close the window."""
        pygame.display.quit()


def _press(event: pygame.event.Event) -> Press | None:
    if event.type == pygame.QUIT:
        return Key.CLOSE
    if event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
        return Click(*event.pos)
    if event.type != pygame.KEYDOWN:
        return None
    key = _KEYS.get(event.key)
    if key is not None:
        return key
    return str(event.unicode) if event.unicode.isprintable() and event.unicode else None


def _has_screen() -> bool:
    """Whether a screen may be there. Only a Linux session tells by its surroundings."""
    if sys.platform.startswith("linux"):
        return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", _DRIVER))
    else:
        return True


@contextmanager
def _driver(name: str | None) -> Iterator[None]:
    """Open the display with the video driver ``name``, None for whichever there is."""
    before = os.environ.get(_DRIVER)
    if name is not None:
        os.environ[_DRIVER] = name
    try:
        yield
    finally:
        if name is not None:
            os.environ.pop(_DRIVER)
            if before is not None:
                os.environ[_DRIVER] = before
