"""Ghost notes, plain strokes and accents by what is clearly apart on one voice."""

from fractions import Fraction

import numpy as np
import pytest

from playalong.capture.levels import Kind, Place, border, kinds_of, kinds_of_voices
from playalong.pattern.model import Dynamic

GHOST, NORMAL, ACCENT = Dynamic.GHOST, Dynamic.NORMAL, Dynamic.ACCENT


def places(*levels: tuple[float, ...]) -> list[Place]:
    """Places a sixteenth apart from the first on."""
    return [
        Place(bar=0, at=Fraction(n, 16), into=Fraction(n % 4, 16), levels=own)
        for n, own in enumerate(levels)
    ]


def dynamics(kinds: list[Kind]) -> list[Dynamic]:
    return [kind.dynamic for kind in kinds]


def test_soft_far_under_the_rest_are_ghost_notes() -> None:
    found = kinds_of("snare", places((-4, -5), (-27, -24), (-5, -3), (-30, -26)))

    assert dynamics(found) == [NORMAL, GHOST, NORMAL, GHOST]
    assert all(kind.sure for kind in found)


def test_loud_a_little_over_the_rest_are_accents() -> None:
    found = kinds_of("snare", places((-1, -2), (-11, -10), (-12, -10), (-11, -12)))

    assert dynamics(found) == [ACCENT, NORMAL, NORMAL, NORMAL]


def test_three_kinds() -> None:
    found = kinds_of("snare", places((-1, -2), (-27, -24), (-11, -10), (-26, -28), (-2, -1)))

    assert dynamics(found) == [ACCENT, GHOST, NORMAL, GHOST, ACCENT]


@pytest.mark.parametrize("shift", [0.0, -12.0])
def test_one_kind_is_plain_however_loud_it_is(shift: float) -> None:
    found = kinds_of(
        "snare", places(*((level + shift, level + shift + 2) for level in (-3, -4, -2)))
    )

    assert dynamics(found) == [NORMAL] * 3


def test_a_hi_hat_that_leans_on_the_beats_has_no_accents() -> None:
    beats = [(-7.0, -8.0) if n % 4 == 0 else (-19.0, -17.0) for n in range(16)]

    assert dynamics(kinds_of("hi-hat", places(*beats))) == [NORMAL] * 16


def test_a_hi_hat_has_accents_where_they_are_plain() -> None:
    levels = [(-1.0, -2.0) if n in (3, 6, 11) else (-17.0, -16.0) for n in range(16)]

    found = kinds_of("hi-hat", places(*levels))

    assert [n for n, kind in enumerate(found) if kind.dynamic is ACCENT] == [3, 6, 11]


def test_what_is_far_under_the_loudest_strokes_is_no_accent() -> None:
    hat = places(*[(-9.0, -10.0) if n in (3, 6, 11) else (-25.0, -24.0) for n in range(16)])
    soft = places(*[(-9.0, -9.5)] * 4)
    loud = places(*[(-0.5, -0.5)] * 4)

    beside_soft = kinds_of_voices({"hi-hat": hat, "snare": soft})["hi-hat"]
    beside_loud = kinds_of_voices({"hi-hat": hat, "snare": loud})["hi-hat"]

    assert [n for n, kind in enumerate(beside_soft) if kind.dynamic is ACCENT] == [3, 6, 11]
    assert dynamics(beside_loud) == [NORMAL] * 16


def bar_of(first: int, *levels: float) -> list[Place]:
    """Places of one stroke each, a sixteenth apart from the place numbered ``first`` on."""
    return [
        Place(bar=0, at=Fraction(n, 16), into=Fraction(n % 4, 16), levels=(level, level + 1.0))
        for n, level in enumerate(levels, first)
    ]


def test_a_fill_goes_on_over_the_toms_as_it_began_on_the_snare() -> None:
    beat = (-2.0, -13.0, -12.0, -14.0)
    plain = (-3.0, -3.5, -2.5, -3.0)
    toms = {"high-tom": bar_of(4, *beat), "floor-tom": bar_of(8, *beat)}

    led = kinds_of_voices({"snare": bar_of(0, *beat), **toms})
    alone = kinds_of_voices({"snare": bar_of(0, *plain), **toms})

    assert dynamics(led["high-tom"]) == dynamics(led["floor-tom"]) == [ACCENT, *[NORMAL] * 3]
    assert dynamics(alone["high-tom"]) == dynamics(alone["floor-tom"]) == [NORMAL] * 4


def test_toms_under_a_snare_with_accents_are_no_fill() -> None:
    snare = [
        one for one in bar_of(0, *([-2.0, -12.0] * 8)) if one.at in (Fraction(1, 4),) or one.into
    ]
    toms = bar_of(0, *([-6.0, -11.0, -12.0, -11.0] * 4))

    together = kinds_of_voices({"snare": snare, "floor-tom": toms})
    led = kinds_of("floor-tom", toms, led=np.arange(16) % 4 == 0)

    assert dynamics(together["floor-tom"]) == [NORMAL] * 16
    assert dynamics(led) == [ACCENT, NORMAL, NORMAL, NORMAL] * 4


def test_toms_do_not_lean_on_the_beats_as_a_hi_hat_does() -> None:
    levels = [-2.0, -11.0, -12.0, -11.5] * 4

    hat = kinds_of("hi-hat", bar_of(0, *levels))
    toms = kinds_of("floor-tom", bar_of(0, *levels))

    assert dynamics(hat) == [NORMAL] * 16
    assert dynamics(toms) == [ACCENT, NORMAL, NORMAL, NORMAL] * 4


def test_what_is_loud_on_back_beats_alone_is_an_accent() -> None:
    def snare(*back: bool) -> list[Place]:
        where = [(0, 1), (0, 3), (1, 1), (1, 3), (2, 1), (2, 3), (3, 1), (3, 2), (3, 3)]
        return [
            Place(bar=bar, at=Fraction(beat, 4), into=Fraction(0), back=own, levels=(level,))
            for (bar, beat), own, level in zip(
                where, back, (-1.0, -0.5, 0.0, -4.0, -2.0, -0.5, -0.5, -7.8, -8.5), strict=True
            )
        ]

    told = kinds_of("snare", snare(*[True] * 7, False, False))
    not_told = kinds_of("snare", snare(*[False] * 9))

    assert dynamics(told) == [ACCENT] * 7 + [NORMAL] * 2
    assert dynamics(not_told) == [NORMAL] * 9


def test_what_lies_between_two_kinds_is_unsure() -> None:
    found = kinds_of(
        "snare", places((-2, -3), (-26, -27), (-3, -2), (-27, -25), (-2, -3), (-14.5, -14.5))
    )

    assert [kind.sure for kind in found] == [True] * 5 + [False]


def test_many_strokes_at_each_place_tell_accents_that_few_cannot() -> None:
    strays = (-4.0, 4.0, -3.5, 3.5, -4.0, 4.0, -3.5, 3.5)
    plain, accents = (-9.5, -8.7, -10.3, -9.1), (-2.3, -2.8)
    often = [tuple(at + off for off in strays) for at in (*plain, *accents)]

    found = kinds_of("snare", places(*often))

    assert dynamics(found) == [NORMAL] * 4 + [ACCENT] * 2


def test_one_stroke_that_breaks_a_rule_is_a_slip_where_the_rule_is_long() -> None:
    def bars(many: int) -> list[Place]:
        levels = [-2.0 if n % 4 == 0 else -11.0 for n in range(16 * many)]
        levels[7] = -5.6
        return [
            Place(
                bar=n // 16,
                at=Fraction(n % 16, 16),
                into=Fraction(n % 4, 16),
                levels=(level + (0.8 if n % 3 else -1.6),),
            )
            for n, level in enumerate(levels)
        ]

    found = kinds_of("snare", bars(4))

    assert [n for n, kind in enumerate(found) if kind.dynamic is ACCENT] == list(range(0, 64, 4))


def test_ghost_notes_under_accents_alone_are_ghost_notes() -> None:
    levels = [(-1.0, -2.0) if n in (2, 6) else (-14.0, -27.0) for n in range(8)]

    found = kinds_of("snare", places(*levels))

    assert set(dynamics(found)) == {GHOST, NORMAL}


def test_feathered_kicks_are_of_one_kind_however_far_they_spread() -> None:
    spread = np.array([-34.0, -20.0, -31.0, -22.0, -19.0, -33.0, -21.0, -30.0])

    assert border("kick", spread) is None
    assert border("snare", spread) is not None
