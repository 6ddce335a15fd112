"""For all tests: in CI the same examples every time, elsewhere new ones; one thread a worker."""

import gc
import os
import tempfile
from pathlib import Path

from hypothesis import settings

#: Each worker has a core: more threads of its own would only wait for one another. Set before
#: numpy is imported, in this process and in those that it starts.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")

#: No test touches what a user has kept: settings, profiles, takes, and the drums of the cache.
_HOME = tempfile.TemporaryDirectory(prefix="playalong-tests-")
for _name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
    os.environ[_name] = str(Path(_HOME.name) / _name.lower())


#: While tests are collected little becomes garbage, and to look for it takes a third of the time.
gc.disable()

#: Then it is looked for after so many new objects: after each 700 it took a fifteenth of the time.
_NEW_OBJECTS = 10_000


def pytest_collection_finish() -> None:
    """What is there before the first test stays: it is not looked through for garbage again."""
    gc.freeze()
    gc.enable()
    gc.set_threshold(_NEW_OBJECTS)
