"""Linear regression with a prior, in closed form: normal and inverse gamma, correlated errors.

    y = X β + e,  e ~ N(0, s² R),  β | s² ~ N(m0, s² V0),  s² ~ inverse gamma(a0, b0)

What is next is then Student's t with 2a degrees of freedom, and so is the evidence of the data.
Textbook results: O'Hagan & Forster, Kendall's Advanced Theory of Statistics 2B, chapter 11; a
next value whose error is correlated with those of the data as in generalised least squares
(Goldberger 1962).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of coefficients and of the size of the errors, of d versions of the data.

    Attributes
    ----------
    mean : array, shape (k, d)
        Of the coefficients.
    shape : array, shape (k, k)
        Their covariance over s².
    a : float
        Of the inverse gamma distribution of s².
    b : array, shape (d,)
        The same.
    """

    mean: Array
    shape: Array
    a: float
    b: Array

    @classmethod
    def before(cls, mean: Array, std: Array, a: float, s: float) -> Belief:
        """Give a prior: coefficients apart from each other, and errors of about a size.

        Parameters
        ----------
        mean, std : array, shape (k,)
            Of the coefficients.
        a : float
            Above 1; the firmness with which ``s`` is believed.
        s : float
            Root of the mean of s².
        """
        return cls(mean[:, None], np.diag(std**2) / s**2, a, np.array([(a - 1) * s**2]))

    @property
    def stds(self) -> Array:
        """Standard deviation of each coefficient, shape (k, d)."""
        return np.sqrt(np.diag(self.shape)[:, None] * self.b / (self.a - 1))


@dataclass(frozen=True, slots=True)
class StudentT:
    """Student's t, shifted and stretched: centres and scales of shape (d,)."""

    centre: Array
    scale: Array
    freedoms: float

    def below(self, bound: float) -> Array:
        """Probability of at most ``bound``, shape (d,)."""
        from scipy.special import stdtr

        return np.asarray(stdtr(self.freedoms, (bound - self.centre) / self.scale))

    def quantile(self, probability: float | Array) -> Array:
        """Value that is not exceeded with a probability, shape (d,)."""
        from scipy.special import stdtrit

        return np.asarray(self.centre + self.scale * stdtrit(self.freedoms, probability))


class Regression:
    """A belief after data, and what it says of values whose errors go with those of the data.

    Parameters
    ----------
    prior : Belief
        Before the data.
    x : array, shape (n, k)
        Rows; n may be 0.
    y : array, shape (n, d)
        Values, in d versions that are worked out beside each other.
    r : array, shape (n, n)
        Covariance of the errors over s². Positive definite.

    Raises
    ------
    numpy.linalg.LinAlgError
        If it is not.
    """

    def __init__(self, prior: Belief, x: Array, y: Array, r: Array) -> None:
        self._prior, self._x, self._y, self._r = prior, x, y, r
        lower = np.linalg.cholesky(r)
        # Kept, since what is next is asked for many times; R has each row's own variance, so
        # that it is far from singular.
        self._whiten = np.linalg.inv(lower)
        self._white_x = self._whiten @ x
        white_y = self._whiten @ y
        before = np.linalg.inv(prior.shape)
        shape = np.linalg.inv(before + self._white_x.T @ self._white_x)
        shape = 0.5 * (shape + shape.T)
        mean = shape @ (before @ prior.mean + self._white_x.T @ white_y)
        a = prior.a + 0.5 * len(y)
        # As a sum of squares it can't become negative by rounding.
        self._missed, moved = white_y - self._white_x @ mean, mean - prior.mean
        squares = (self._missed**2).sum(axis=0) + (moved * (before @ moved)).sum(axis=0)
        b = prior.b + 0.5 * squares
        self.belief = Belief(mean, shape, a, b)
        self.log_evidence: Array = (
            -0.5 * len(y) * math.log(2 * math.pi)
            - np.log(np.diag(lower)).sum()
            + 0.5 * (np.linalg.slogdet(shape)[1] - np.linalg.slogdet(prior.shape)[1])
            + prior.a * np.log(prior.b)
            - a * np.log(b)
            + math.lgamma(a)
            - math.lgamma(prior.a)
        )
        """Logarithm of the density of each version of the data, shape (d,)."""

    def oddness(self) -> Array:
        """Give how likely each value is to lie so far off, or farther, by all the others.

        Returns
        -------
        array, shape (n, d)
            Two-sided probabilities. Leaving one out needs no new fit: what it is off by, and with
            what variance, stand in the inverse of the covariance of all (Sundararajan & Keerthi
            2001, Predictive approaches for choosing hyperparameters in Gaussian processes).
        """
        from scipy.special import stdtr

        inverse = np.linalg.inv(self._r + self._x @ self._prior.shape @ self._x.T)
        weighed = inverse @ (self._y - self._x @ self._prior.mean)
        variance = 1.0 / np.diag(inverse)[:, None]
        off = weighed * variance
        a = self.belief.a - 0.5
        b = self.belief.b - 0.5 * off**2 / variance
        scale = np.sqrt(np.maximum(b, 1e-300) / a * variance)
        return np.asarray(2.0 * stdtr(2.0 * a, -np.abs(off) / scale))

    def next(self, x: Array, with_data: Array, own: float) -> StudentT:
        """Give the distribution of a value that is not among the data.

        Parameters
        ----------
        x : array, shape (k,)
            Its row.
        with_data : array, shape (n,)
            Covariance of its error with those of the data, over s².
        own : float
            Variance of its own error, over s².
        """
        white = self._whiten @ with_data
        belief = self.belief
        beyond = x - self._white_x.T @ white
        centre = x @ belief.mean + white @ self._missed
        spread = own - float(white @ white) + float(beyond @ belief.shape @ beyond)
        return StudentT(centre, np.sqrt(belief.b / belief.a * spread), 2 * belief.a)
