"""What chance alone would make.

The critical value of Student's t is the expansion of Fisher and Cornish (1960), as given in
Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5 (from memory). The ratio of two
variances is made normal as Paulson does it (An approximate normalization of the analysis of
variance distribution, Annals of Mathematical Statistics 13, 1942; from memory).
"""

from functools import cache
from math import sqrt
from statistics import NormalDist

import numpy as np

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


def chance_of_ratio(ratio: float, above: int, below: int) -> float:
    """How often chance alone makes the ratio of two variances, with so many degrees of freedom
    above and below, as large as ``ratio`` or larger, good to 0.003."""
    a, b, root = 2.0 / (9.0 * above), 2.0 / (9.0 * below), np.cbrt(ratio)
    return 1.0 - NormalDist().cdf(float((1.0 - b) * root - (1.0 - a)) / sqrt(b * root**2 + a))
