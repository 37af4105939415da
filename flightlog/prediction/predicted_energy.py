"""What a flight will need of its battery, as a distribution."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class PredictedEnergy:
    """Distribution of the energy that a flight will need, as equally likely values.

    Parameters
    ----------
    values_wh : array, shape (n,)
        [Wh]
    """

    def __init__(self, values_wh: Array) -> None:
        self._values = np.sort(values_wh)
        self._levels = (np.arange(len(values_wh)) + 0.5) / len(values_wh)
        self.expected_wh = float(np.mean(values_wh))
        self.std_wh = float(np.std(values_wh))

    def at_most(self, bound_wh: float, bound_std_wh: float = 0.0) -> float:
        """Give the probability that a flight needs at most what there is.

        Parameters
        ----------
        bound_wh, bound_std_wh : float
            What there is, and its standard uncertainty. [Wh]
        """
        if bound_std_wh > 0:
            from scipy.special import ndtr

            return float(np.mean(ndtr((bound_wh - self._values) / bound_std_wh)))
        return float(np.interp(bound_wh, self._values, self._levels, left=0.0, right=1.0))

    def quantile(self, probability: float) -> float:
        """Energy that is not exceeded with a probability between 0 and 1. [Wh]"""
        if not 0.0 < probability < 1.0:
            raise ValueError(f"a probability between 0 and 1 is needed, got {probability!r}")
        return float(np.interp(probability, self._levels, self._values))
