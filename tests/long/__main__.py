"""A long check, by name: python -m tests.long NAME [--count N] [--seed N]."""

import argparse
import importlib
import os
import sys
import tempfile
import time
from pathlib import Path
from pkgutil import iter_modules
from types import ModuleType

from tests import long
from tests.helpers.drummers import VARIABLE, takes_folder
from tests.long.frame import Options

#: Modules of this folder that are no check.
FRAME = ("__main__", "frame")


def checks() -> list[str]:
    """The names of all checks."""
    return [module.name for module in iter_modules(long.__path__) if module.name not in FRAME]


def load(name: str) -> ModuleType:
    """The module of a check."""
    return importlib.import_module(f"{long.__name__}.{name}")


def listed() -> str:
    """All checks, with what each is for and how many cases it has."""
    lines = []
    for name in checks():
        module = load(name)
        about = (module.__doc__ or "").strip().split("\n")[0]
        lines.append(f"  {name:20} {module.FULL_COUNT:7} cases  {about}")
    return "\n".join(lines) or "  none yet"


def main() -> int:
    """Run one check, or list them all."""
    parser = argparse.ArgumentParser(prog="python -m tests.long", description=__doc__)
    parser.add_argument("name", nargs="?", choices=checks(), help="a check; without it, a list")
    parser.add_argument("--count", type=int, help="cases (default: all that the check has)")
    parser.add_argument("--sample", action="store_true", help="the few cases that CI takes")
    parser.add_argument("--seed", type=int, default=1, help="of everything drawn (default: 1)")
    parser.add_argument(
        "--jobs", type=int, default=os.cpu_count() or 1, help="processes (default: one a core)"
    )
    parser.add_argument(
        "--keep", type=Path, metavar="FILE", help="keep results there, and go on from them"
    )
    typed = parser.parse_args()
    for option in ("count", "jobs"):
        if getattr(typed, option) is not None and getattr(typed, option) < 1:
            parser.error(f"--{option} must be at least 1")
    if typed.name is None:
        print(listed())
        return 0
    module = load(typed.name)
    if getattr(module, "NEEDS_TAKES", False) and takes_folder() is None:
        print(f"{typed.name}: left out; {VARIABLE} names no folder with takes by drummers")
        return 0
    count = typed.count or (module.SAMPLE_COUNT if typed.sample else module.FULL_COUNT)
    options = Options(count=count, seed=typed.seed, jobs=typed.jobs, keep=typed.keep)
    begin_s = time.monotonic()
    holds = True
    with tempfile.TemporaryDirectory(prefix="playalong-long-") as home:
        # Nothing that the user has kept is read or written, and no window opens.
        for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
            os.environ[variable] = str(Path(home) / variable.lower())
        os.environ["SDL_VIDEODRIVER"] = "dummy"
        # Else it makes an event of SIGTERM, which nobody looks at here.
        os.environ["SDL_NO_SIGNAL_HANDLERS"] = "1"
        for table in module.tables(options):
            print(table, flush=True)
            holds = holds and table.holds
    took_s = time.monotonic() - begin_s
    print(f"{typed.name}: {count} cases, seed {typed.seed}, {took_s:.0f} s")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
