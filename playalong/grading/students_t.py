"""What chance alone would make.

The critical value of Student's t is the expansion of Fisher and Cornish (1960), as given in
Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5 (from memory).
"""

from functools import cache
from statistics import NormalDist

#: A difference is told where chance alone would make it less often than this.
LEVEL = 0.01


@cache
def students_t(free: float, level: float) -> float:
    """The two-sided critical value of Student's t for ``free`` degrees of freedom (3 or more)."""
    z = NormalDist().inv_cdf(1.0 - level / 2.0)
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return z + sum(term / free ** (power + 1) for power, term in enumerate(terms))


def chance_of_pair(ratio: float, below: int) -> float:
    """How often chance alone makes the ratio of two mean squares, of two degrees of freedom and of
    ``below``, as large as ``ratio`` or larger: Fisher's distribution, which is closed for two."""
    return float((1.0 + 2.0 * ratio / below) ** (-below / 2.0))
