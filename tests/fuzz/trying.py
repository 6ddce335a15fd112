"""Many damaged files of one kind, tried one after the other."""

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType

import hypothesis
from hypothesis import HealthCheck, Phase, given, settings

from tests.fuzz.damage import damaged
from tests.fuzz.kinds import KINDS

#: No file may hold up a command for longer; a busy machine is given twice the time.
LONGEST_S = 10


@dataclass(kw_only=True)
class Tried:
    """How many inputs were tried, the longest time that one took, and what failed."""

    kind: str
    count: int = 0
    longest_s: float = 0.0
    failed: list[str] = field(default_factory=list)


class TooSlowError(Exception):
    """An input that holds up the program."""


def tried(case: tuple[str, int, int]) -> Tried:
    """Try inputs: the kind, how many, and the seed of their chance."""
    name, count, seed = case
    kind, told = KINDS[name], Tried(kind=name)
    sources = kind.sources()

    @hypothesis.seed(seed)
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(damaged(sources))
    def each(data: bytes) -> None:
        begin_s = time.perf_counter()
        told.count += 1
        try:
            with _limited():
                kind.tries(data)
        except Exception as error:
            words = f"{type(error).__name__}: {error}"[:160]
            told.failed.append(f"{words} {_place(error)}: {data!r}"[:2_000])
        told.longest_s = max(told.longest_s, time.perf_counter() - begin_s)

    each()
    return told


def _place(error: BaseException) -> str:
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    return "" if at is None else f"({at.tb_frame.f_code.co_name}, line {at.tb_lineno})"


@contextmanager
def _limited() -> Iterator[None]:
    """TooSlowError after ``LONGEST_S``, where the system has such an alarm."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def late(_: int, __: FrameType | None) -> None:
        raise TooSlowError(f"more than {LONGEST_S} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(LONGEST_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
