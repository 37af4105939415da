"""How often something happened, where it is not sure: a count as a quantity."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.uncertain import Posterior, Uncertain

NEGLIGIBLE = 1e-3
"""Below this probability something is taken not to have happened, and above one less it, for sure.
[-]"""

_COPIES = 200


def weights_of(chances: Iterable[float]) -> Array:
    """Probabilities of 0, 1, 2 … things that each happened with a chance of its own.

    Parameters
    ----------
    chances : iterable of float
        Probability of each, independent of the others; what is negligible is left out. [-]
    """
    weight = np.array([1.0])
    for chance in chances:
        if chance >= NEGLIGIBLE:
            p = 1.0 if chance > 1 - NEGLIGIBLE else chance
            weight = np.convolve(weight, [1 - p, p])
    return weight


def count_of(weight: Array) -> Uncertain | Posterior:
    """Give a number of things from the probabilities of 0, 1, 2 …; exact where one has all.

    Ends of its interval are whole numbers: each number is in the sample many times, so that a
    quantile between two of them is one of both.
    """
    number = np.arange(weight.size, dtype=float)
    if np.count_nonzero(weight) == 1:
        return Uncertain(float(number[int(weight.argmax())]), {}, "")
    many = np.repeat(weight / _COPIES, _COPIES)
    return Posterior.from_samples(np.repeat(number, _COPIES), many, "")
