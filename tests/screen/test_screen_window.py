import os
import struct
import sys
from pathlib import Path

import pygame
import pytest

from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.window import Window, WindowError
from playalong.support.errors import UserError

from .screen_samples import run_page


def png_size(data: bytes) -> tuple[int, int]:
    """Width and height in the IHDR chunk (W3C, Portable Network Graphics, 11.2.1)."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert data[12:16] == b"IHDR"
    return struct.unpack(">II", data[16:24])


@pytest.mark.parametrize("size", [(1280, 720), (900, 560)])
def test_an_offscreen_frame_is_saved_in_its_size(theme, tmp_path, size):
    window = Window.open(size, offscreen=True)
    window.frame(run_page(theme), 1.0)
    window.save(tmp_path / "frame.png")
    window.close()
    assert png_size((tmp_path / "frame.png").read_bytes()) == size


class Counted:
    """A page that counts how often it is drawn."""

    times = 0

    def draw(self, surface, now_s: float) -> None:
        self.times += 1


def drawn_again(window: Window, page: Counted, at_s: float = 1.0) -> int:
    """How often a page that stays is drawn in the next frame."""
    before = page.times
    window.stays()
    window.frame(page, at_s)
    return page.times - before


def test_a_page_that_stays_is_not_drawn_again_unless_the_window_was_damaged(window):
    page, other = Counted(), Counted()
    assert drawn_again(window, page) == 1  # it was not shown yet
    assert drawn_again(window, page) == 0
    assert drawn_again(window, page, 2.0) == 1
    assert drawn_again(window, other, 2.0) == 1
    assert drawn_again(window, page, 2.0) == 1
    window.frame(page, 2.0)
    assert page.times == 4  # nobody said that it stays
    for event in (pygame.VIDEOEXPOSE, pygame.WINDOWEXPOSED, pygame.WINDOWRESTORED):
        pygame.event.post(pygame.event.Event(event))
        window.presses()
        assert drawn_again(window, page, 2.0) == 1
        assert drawn_again(window, page, 2.0) == 0
    pygame.display.set_mode((800, 450), pygame.RESIZABLE)
    assert drawn_again(window, page, 2.0) == 1


def test_without_a_screen_it_works_off_screen(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"):
        monkeypatch.delenv(name, raising=False)
    window = Window.open((320, 200))
    assert window.offscreen
    assert window.surface.get_size() == (320, 200)
    assert "SDL_VIDEODRIVER" not in os.environ
    window.close()


@pytest.mark.parametrize("offscreen", [None, False])
def test_a_window_that_cannot_be_had_is_told_in_one_line(monkeypatch, offscreen):
    monkeypatch.setenv("SDL_VIDEODRIVER", "no-such-driver")
    with pytest.raises(WindowError) as told:
        Window.open((320, 200), offscreen=offscreen)
    assert isinstance(told.value, UserError)
    assert str(told.value).startswith("The window cannot be opened")
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("driver", ["dummy", "offscreen"])
def test_a_window_that_nobody_would_see_is_told_where_a_screen_was_promised(monkeypatch, driver):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("DISPLAY", ":77")
    monkeypatch.delenv("SDL_VIDEODRIVER")
    monkeypatch.setattr(pygame.display, "init", lambda: None)
    monkeypatch.setattr(pygame.display, "get_driver", lambda: driver)
    with pytest.raises(WindowError, match="DISPLAY"):
        Window.open((320, 200))


def test_a_driver_that_shows_nothing_may_be_asked_for(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    window = Window.open((320, 200))
    assert window.offscreen
    window.close()


def test_presses_are_told_in_order(window):
    def pressed(key: int, character: str = "") -> None:
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, unicode=character))

    window.presses()
    pressed(pygame.K_RETURN, "\r")
    pressed(pygame.K_KP_ENTER, "\r")
    pressed(pygame.K_ESCAPE, "\x1b")
    pressed(pygame.K_LEFT)
    pressed(pygame.K_RIGHT)
    pressed(pygame.K_UP)
    pressed(pygame.K_DOWN)
    pressed(pygame.K_SPACE, " ")
    pressed(pygame.K_e, "é")
    pressed(pygame.K_LSHIFT)
    pygame.event.post(pygame.event.Event(pygame.MOUSEBUTTONDOWN, button=1, pos=(7, 9)))
    pygame.event.post(pygame.event.Event(pygame.MOUSEBUTTONDOWN, button=3, pos=(7, 9)))
    pygame.event.post(pygame.event.Event(pygame.QUIT))
    assert window.presses() == [
        Key.ENTER,
        Key.ENTER,
        Key.ESCAPE,
        Key.LEFT,
        Key.RIGHT,
        Key.UP,
        Key.DOWN,
        Key.SPACE,
        "é",
        Click(7, 9),
        Key.CLOSE,
    ]
    assert window.presses() == []


def test_the_room_opens_no_sound(window):
    assert pygame.mixer.get_init() is None


def test_a_file_that_is_dropped_waits_until_it_is_opened():
    window = Window.open((320, 200), offscreen=True)
    pygame.event.clear()
    pygame.event.post(pygame.event.Event(pygame.DROPFILE, file="/a/groove.mid"))
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_UP, unicode=""))
    assert window.presses() == [Outcome.OPEN_FILE, Key.UP]
    assert window.dropped == [Path("/a/groove.mid")]
    window.close()
