"""All benchmarks, one after the other: python -m tests.bench [NAME]..."""

import subprocess
import sys
from pkgutil import iter_modules

from tests import bench


def main() -> None:
    """Run each module here, or those named, in a process of its own: none leaves a trace."""
    names = sys.argv[1:] or [
        module.name for module in iter_modules(bench.__path__) if module.name != "__main__"
    ]
    for name in names:
        print(f"{name}:", flush=True)
        subprocess.run([sys.executable, "-m", f"tests.bench.{name}"], check=True)


if __name__ == "__main__":
    main()
