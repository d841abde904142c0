"""How sure a share is that was counted on few objects."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Z_95 = 1.959964
"""The normal deviate that 95 in 100 lie within, both sides."""


def wilson(share: float, count: float, z: float = Z_95) -> tuple[float, float]:
    """Return Wilson's score interval of a share seen in ``count`` independent cases.

    ``share`` is between 0 and 1 and need not be a whole number of cases. Without any case
    nothing is known: (0, 1). E. B. Wilson, "Probable inference, the law of succession, and
    statistical inference", Journal of the American Statistical Association 22 (1927), 209-212.
    """
    if count <= 0:
        return 0.0, 1.0
    middle = share + z * z / (2 * count)
    reach = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
    scale = 1 + z * z / count
    # Rounding could leave 1 - 1e-17 or -1e-17 where the share is 1 or 0.
    return max(0.0, (middle - reach) / scale), min(1.0, (middle + reach) / scale)


def by_object(right: NDArray[np.bool_], objects: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the share of right photos of each object, in the order of the objects' numbers.

    Photos of one object are not independent, so intervals count objects.
    """
    _, place = np.unique(objects, return_inverse=True)
    shares: NDArray[np.float64] = np.bincount(place, right) / np.bincount(place)
    return shares
