"""The strip under the wheels: height of the ground along each wheel's track."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

GRID = 0.05  # m
FIRST = -260.0  # m, behind the start line
LENGTH = 760.0  # m


def make_tracks(roughness_m: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Height [m] of the ground under nose, left and right wheel, every `GRID` metres.

    The wave-number spectrum of natural ground falls about with the square of the wave
    number; waves longer than some ten metres are the strip's own shape and are left out, those
    shorter than a tyre's footprint are bridged by it.

    Parameters
    ----------
    roughness_m : float
        Standard deviation of the height that remains. [m] Mown, rolled grass has one or two
        millimetres, a rough meadow five to ten.
    rng : numpy.random.Generator
        Source of the random track.
    """
    count = int(LENGTH / GRID)
    white = rng.standard_normal((3, count))
    white[0] = 0.5 * (white[1] + white[2]) + 0.5 * white[0]  # the tracks lie side by side
    wave = np.fft.rfftfreq(count, GRID)  # 1/m
    shape = 1.0 / np.sqrt(1.0 + (wave / 0.15) ** 2)
    shape *= wave / np.sqrt(wave**2 + 0.08**2)
    shape *= np.exp(-((wave / 2.2) ** 2))
    height = np.fft.irfft(np.fft.rfft(white) * shape, count)
    height *= roughness_m / height[1:].std()
    return height.astype(np.float32)
