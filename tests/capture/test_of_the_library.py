"""Some grooves of the library, played and heard: ``python -m tests.long capture`` takes all."""

import pytest

from tests.long.capture import METER, PATTERNS, one_played

#: Every so many-th groove; so many of them come back at least, stroke by stroke (the long check
#: asks for more, of all).
EVERY, LEAST = 4, 0.8

GROOVES = sorted(str(path.relative_to(PATTERNS)) for path in (PATTERNS / "grooves").glob("*.toml"))[
    ::EVERY
]


@pytest.mark.parametrize(("player", "bars"), [("professional", 4), ("intermediate", 8)])
def test_most_grooves_come_back_stroke_by_stroke(player: str, bars: int) -> None:
    cases = [one_played((name, player, bars, 11, False, METER)) for name in GROOVES]

    exact = [case for case in cases if case.exact]
    lost = [f"{case.name}: {case.what}" for case in cases if not case.exact]
    assert len(lost) <= (1.0 - LEAST) * len(GROOVES), lost
    assert sum(case.tempo for case in exact) >= LEAST * len(exact)
