"""All benchmarks, one after the other: python -m tests.bench [NAME]..."""

import sys
from importlib import import_module
from pkgutil import iter_modules

from tests import bench


def main() -> None:
    """Call ``main`` of each module here, or of those named."""
    names = sys.argv[1:] or [
        module.name for module in iter_modules(bench.__path__) if module.name != "__main__"
    ]
    for name in names:
        print(f"{name}:", flush=True)
        import_module(f"tests.bench.{name}").main()


if __name__ == "__main__":
    main()
