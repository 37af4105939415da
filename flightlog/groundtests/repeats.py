"""What repeats of a measurement say: their mean, and how sure it is with so few of them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from flightlog.uncertain import NORMAL_95, Uncertain


def mean_of_repeats(
    values: Sequence[float], unit: str, *, common_std: float = 0.0, source: str = "repeats"
) -> Uncertain:
    """Give the mean of repeats, as wide as their number allows.

    Parameters
    ----------
    values : sequence of float
        One for each repeat, independent of each other, in ``unit``; two or more.
    unit : str
        Of the values.
    common_std : float
        Standard uncertainty that all repeats share, which no repeat makes less. [unit]
    source : str
        Name of the error that repeats show; the common one is ``f"{source}, common"``.

    Returns
    -------
    Uncertain
        Its standard uncertainty is such that the Gaussian 95 % interval is Student's:
        s/√n times t(0.975, n-1) over 1.96 (JCGM 100:2008, G.3). Two repeats are worth little.

    Raises
    ------
    ValueError
        If they are fewer than two.
    """
    from scipy.special import stdtrit

    n = len(values)
    if n < 2:
        raise ValueError("one value is no repeat")
    mean = math.fsum(values) / n
    spread = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1))
    wide = float(stdtrit(n - 1, 0.975)) / NORMAL_95
    sources = {source: spread / math.sqrt(n) * wide}
    if common_std > 0:
        sources[f"{source}, common"] = common_std
    return Uncertain(mean, sources, unit)
