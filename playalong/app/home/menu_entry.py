"""An entry in the system's menu, which opens the window at its first page.

| system | what is written | after |
| --- | --- | --- |
| Linux | ``applications/playalong.desktop``, the icon | Desktop Entry Specification 1.5, Icon Theme
Specification 0.13 (freedesktop.org) |
| macOS | ``~/Applications/playalong.app`` | Apple, Bundle Programming Guide |
| Windows | ``playalong.lnk`` in the start menu, by the shell itself | Microsoft, WScript.Shell |

Linux is tried; the other two are written after the documents alone.
"""

import os
import plistlib
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from playalong.support import resources
from playalong.support.errors import UserError
from playalong.support.files import write_file

#: Tells the program that it was started from a menu, where nobody reads what it prints.
FROM_MENU = "PLAYALONG_FROM_MENU"

ABOUT = "Listens to your drum kit, and says at once what to work on"

#: Characters that an argument of an Exec line must be quoted for, and those that are then escaped
#: (Desktop Entry Specification, "The Exec key").
_RESERVED = " \t\n\"'\\><~|&;$*?#()`"
_ESCAPED = '"`$\\'


def program() -> list[str]:
    """How this program is started: its own script, or the interpreter with the package."""
    beside = Path(sys.executable).with_name("playalong.exe" if os.name == "nt" else "playalong")
    script = beside if beside.is_file() else shutil.which("playalong")
    return [str(script)] if script else [sys.executable, "-m", "playalong"]


def add() -> list[Path]:
    """Add the entry; the files that were written. UserError where the system takes none."""
    if sys.platform == "darwin":
        return _add_bundle(Path.home() / "Applications")
    elif os.name == "nt":
        return _add_link()
    else:
        return add_desktop_entry(data_home(), program())


def remove() -> list[Path]:
    """Take the entry away again; what was there."""
    if sys.platform == "darwin":
        places = [Path.home() / "Applications" / "playalong.app"]
    elif os.name == "nt":
        places = [_link()]
    else:
        places = [_desktop_file(data_home()), _icon_file(data_home())]
    found = [place for place in places if place.exists()]
    for place in found:
        if place.is_dir():
            shutil.rmtree(place)
        else:
            place.unlink()
    return found


def data_home() -> Path:
    """Where a user's own menu entries are (XDG Base Directory Specification)."""
    named = os.environ.get("XDG_DATA_HOME", "")
    return Path(named) if Path(named).is_absolute() else Path.home() / ".local" / "share"


def add_desktop_entry(data: Path, command: Sequence[str]) -> list[Path]:
    """The menu entry of a Linux desktop below ``data``, which starts ``command``."""
    icon, entry = _icon_file(data), _desktop_file(data)
    for path in (icon, entry):
        path.parent.mkdir(parents=True, exist_ok=True)
    write_file(icon, (resources.folder("assets") / "icon" / "playalong.svg").read_bytes())
    write_file(entry, desktop_entry(command))
    return [entry, icon]


def desktop_entry(command: Sequence[str]) -> str:
    """The text of the menu entry."""
    started = " ".join(exec_argument(one) for one in ("env", f"{FROM_MENU}=1", *command))
    keys = {
        "Type": "Application",
        "Version": "1.5",
        "Name": "playalong",
        "GenericName": "Drum practice",
        "Comment": ABOUT,
        # Backslashes of a value of type string are themselves escaped.
        "Exec": started.replace("\\", "\\\\"),
        "Icon": "playalong",
        "Terminal": "false",
        "Categories": "AudioVideo;Audio;Education;Music;",
        "Keywords": "drums;practice;MIDI;",
        "StartupWMClass": "playalong",
    }
    lines = ["[Desktop Entry]", *(f"{key}={value}" for key, value in keys.items())]
    return "\n".join(lines) + "\n"


def exec_argument(argument: str) -> str:
    """An argument as it stands in an Exec line."""
    argument = argument.replace("%", "%%")
    if argument and not any(letter in _RESERVED for letter in argument):
        return argument
    escaped = "".join(f"\\{letter}" if letter in _ESCAPED else letter for letter in argument)
    return f'"{escaped}"'


def _desktop_file(data: Path) -> Path:
    return data / "applications" / "playalong.desktop"


def _icon_file(data: Path) -> Path:
    return data / "icons" / "hicolor" / "scalable" / "apps" / "playalong.svg"


def _add_bundle(folder: Path) -> list[Path]:
    """The application of a Mac: a folder that starts a script."""
    contents = folder / "playalong.app" / "Contents"
    script = contents / "MacOS" / "playalong"
    script.parent.mkdir(parents=True, exist_ok=True)
    info = {
        "CFBundleName": "playalong",
        "CFBundleIdentifier": "org.playalong.playalong",
        "CFBundleExecutable": "playalong",
        "CFBundlePackageType": "APPL",
        "CFBundleInfoDictionaryVersion": "6.0",
        "NSHighResolutionCapable": True,
    }
    write_file(contents / "Info.plist", plistlib.dumps(info))
    quoted = " ".join("'" + part.replace("'", "'\\''") + "'" for part in program())
    write_file(script, f"#!/bin/sh\nexport {FROM_MENU}=1\nexec {quoted}\n")
    script.chmod(0o755)
    return [folder / "playalong.app"]


def _link() -> Path:
    start = Path(os.environ.get("APPDATA", str(Path.home())))
    return start / "Microsoft" / "Windows" / "Start Menu" / "Programs" / "playalong.lnk"


def _add_link() -> list[Path]:
    """The link in the start menu of Windows, made by its own shell."""
    target, *arguments = program()
    script = (
        "$link = (New-Object -ComObject WScript.Shell).CreateShortcut($args[0]);"
        "$link.TargetPath = $args[1]; $link.Arguments = $args[2]; $link.Save()"
    )
    command = ["powershell", "-NoProfile", "-Command", f"& {{ {script} }}"]
    try:
        subprocess.run(
            [*command, str(_link()), target, " ".join(arguments)], check=True, capture_output=True
        )
    except (OSError, subprocess.CalledProcessError) as error:
        raise UserError(f"The start menu took no entry ({error}).") from None
    return [_link()]
