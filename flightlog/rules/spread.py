"""What a quantity's distribution says: exact at the edges, and draws that keep shared errors."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import NormalDist
from typing import TYPE_CHECKING

from flightlog.uncertain import Posterior, Quantity, Uncertain

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]


def is_exact(quantity: Quantity) -> bool:
    """Whether it is one number without any spread."""
    if isinstance(quantity, Posterior):
        # Its std may be 1e-16 instead of zero, because the weights are rounded.
        return bool(quantity.samples[0] == quantity.samples[-1])
    return quantity.std == 0


def is_counted(quantity: Quantity) -> bool:
    """Whether it is a sample of whole numbers, which have no values in between."""
    if not isinstance(quantity, Posterior):
        return False
    import numpy as np

    return bool((quantity.samples == np.round(quantity.samples)).all())


def probability_at_most(quantity: Quantity, bound: float) -> float:
    """Probability that the truth is at or below ``bound``; an exact number at it counts."""
    if is_exact(quantity):
        return 1.0 if quantity.value <= bound else 0.0
    if isinstance(quantity, Posterior) and is_counted(quantity):
        return _capped(quantity.weights[quantity.samples <= bound])
    return quantity.probability_below(bound)


def probability_at_least(quantity: Quantity, bound: float) -> float:
    """Probability that the truth is at or above ``bound``; an exact number at it counts."""
    if is_exact(quantity):
        return 1.0 if quantity.value >= bound else 0.0
    if isinstance(quantity, Posterior) and is_counted(quantity):
        return _capped(quantity.weights[quantity.samples >= bound])
    # Mirrored instead of 1 - P(below): several samples at the bound then count this way too.
    return quantity.scaled(-1.0, quantity.unit).probability_below(-bound)


def _capped(weights: Array) -> float:
    # Rounded weights may add up to 1 + 2e-16.
    return min(1.0, float(weights.sum()))


def draw(quantities: Mapping[str, Quantity], n: int, seed: int) -> dict[str, Array]:
    """Draw from several quantities at once.

    Each error takes the n evenly spread levels of its distribution, in an order of its own
    (a Latin hypercube): less chance in the result than with free draws.

    Parameters
    ----------
    quantities : mapping of str to Quantity
        Gaussians that share a named error source share its draws; samples are independent.
    n : int
        Number of draws.
    seed : int
        The same seed gives the same draws, in whatever order the quantities come.

    Returns
    -------
    dict of str to array, shape (n,)
        In the units of the quantities.
    """
    import numpy as np

    rng = np.random.default_rng(seed)
    gaussians = {k: q for k, q in quantities.items() if isinstance(q, Uncertain)}
    names = sorted({s for q in gaussians.values() for s in q.sources})
    levels = (np.arange(n) + 0.5) / n
    normal = np.array([NormalDist().inv_cdf(level) for level in levels.tolist()])
    errors = {name: rng.permutation(normal) for name in names}
    drawn: dict[str, Array] = {}
    for key in sorted(quantities):
        quantity = quantities[key]
        if isinstance(quantity, Uncertain):
            sources = quantity.sources.items()
            values = np.full(n, quantity.value)
            drawn[key] = sum((effect * errors[name] for name, effect in sources), values)
        elif isinstance(quantity, Posterior):
            drawn[key] = _from_sample(quantity, rng.permutation(levels))
        else:
            drawn[key] = quantity.value + quantity.std * rng.permutation(normal)
    return drawn


def _from_sample(quantity: Posterior, probability: Array) -> Array:
    import numpy as np

    cumulative = np.cumsum(quantity.weights)
    if is_counted(quantity):
        index = np.searchsorted(cumulative, probability, side="right")
        return quantity.samples[np.minimum(index, quantity.samples.size - 1)]
    middle = cumulative - 0.5 * quantity.weights
    return np.interp(probability, middle, quantity.samples)
