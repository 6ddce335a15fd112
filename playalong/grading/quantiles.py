"""Quantiles of few values, linear between ranks: what ``numpy.percentile`` gives, sooner."""

import numpy as np
from numpy.typing import NDArray


def quantiles(values: NDArray[np.float64], *shares: float) -> list[float]:
    """The value under which each of ``shares`` (0 to 1) of ``values`` (at least one) lies."""
    order = np.sort(values)
    last, found = len(order) - 1, []
    for share in shares:
        at = share * last
        low = int(at)
        high = min(low + 1, last)
        found.append(float(order[low] + (at - low) * (order[high] - order[low])))
    return found


def median(values: NDArray[np.float64]) -> float:
    """The median of ``values``, at least one."""
    return quantiles(values, 0.5)[0]
