"""Hand-made recordings and paths whose truth is known in closed form."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from flightlog.analyses.phases import Sortie
from flightlog.estimation.frames import LocalFrame
from flightlog.estimation.path import FlightPath
from flightlog.recording import Receipt, Recording

Shape = Callable[[np.ndarray], np.ndarray]


def recording(**tables: pd.DataFrame) -> Recording:
    return Recording(tables, Receipt("made.bin", 0, "", "made", 1))


def battery(
    t: np.ndarray, volts: np.ndarray | float, amps: np.ndarray | float, **more: np.ndarray | int
) -> pd.DataFrame:
    one = np.ones(t.size)
    return pd.DataFrame(
        {
            "time_s": t,
            "instance": more.pop("instance", 0),
            "voltage_v": volts * one,
            "current_a": amps * one,
            **more,
        }
    )


def sortie(
    start: float = 20.0,
    end: float = 200.0,
    *,
    liftoff: float | None = 25.0,
    touchdown: float | None = 190.0,
    launch: str = "runway",
    starts: str = "rest",
    ends: str = "standstill",
) -> Sortie:
    return Sortie(
        1,
        launch,  # type: ignore[arg-type]
        starts,  # type: ignore[arg-type]
        ends,  # type: ignore[arg-type]
        start,
        liftoff,
        touchdown,
        end,
        (start - 15, start + 15),
    )


def path(
    t: np.ndarray,
    height: Shape | None = None,
    east: Shape | None = None,
    *,
    height_std: float = 0.1,
    gaps: tuple[tuple[float, float], ...] = (),
) -> FlightPath:
    zero = np.zeros(t.size)
    x = zero if east is None else east(t)
    h = None if height is None else height(t)
    return FlightPath(
        LocalFrame(0.0, 0.0),
        t,
        x,
        zero,
        np.gradient(x, t),
        zero,
        zero + 0.3,
        zero + 0.1,
        h,
        None if h is None else zero + height_std,
        None if h is None else np.gradient(h, t),
        None if h is None else zero + 0.1,
        1.5,
        50.0,
        0.15,
        0.03,
        gaps,
    )


def baro(t: np.ndarray, height: Shape) -> pd.DataFrame:
    return pd.DataFrame({"time_s": t, "instance": 0, "height_m": height(t)})
