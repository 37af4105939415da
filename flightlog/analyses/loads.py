"""How hard the aircraft was flown: airspeed, load factor, bank, stall margin.

Load factor is that of a 0.2 s mean, which passes manoeuvres and gusts up to about 2 Hz and
leaves the motor's vibration out. What is shorter is not in the figure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.extremes import largest, smallest
from flightlog.analyses.heights import Heights
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import Window
from flightlog.analyses.wind import NO_AIRSPEED
from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array
from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

LOAD_MEAN_S = 0.2
"""Length of the mean that a load factor is taken from. [s]"""

AIRSPEED_MEAN_S = 1.0
"""Length of the mean that an airspeed is taken from. [s]"""

AIRSPEED_SCALE_STD = 0.03
"""Standard uncertainty of an airspeed's scale: pitot position and sensor. [-]"""

STALL_SPEED_STD = 0.03
"""Standard uncertainty of the stall speed in an aircraft file. [-]"""

CLEAR_HEIGHT_M = 2.0
"""Height above which the stall margin is watched: flare and lift-off are meant to be slow. [m]"""

_LOAD_SCALE_STD = 0.005
_ZERO_STD = 0.005
_ZERO_UNKNOWN_STD = 0.03
_OFF_CENTRE_STD = 0.02
_BANK_STD_DEG = 1.5
_SLOW_IMU_S = 0.05
_SLOW_ATTITUDE_S = 0.25
_NO_IMU = "the log has no accelerations; log the inertial sensors"
_NO_ATTITUDE = "the log has no attitude; log it"


@dataclass(frozen=True, slots=True)
class Series:
    """A signal while airborne: short means and their noise.

    Attributes
    ----------
    time_s, value : array
        Centres [s] and means.
    noise_std, step_s : float
        White noise of a mean, and spacing of the samples [s].
    """

    time_s: Array
    value: Array
    noise_std: float
    step_s: float


def load_figures(
    recording: Recording,
    sortie: Sortie,
    window: Window,
    inputs: Inputs,
    heights: Heights | None = None,
) -> Answer:
    """Give greatest airspeed, load factors, bank and least stall margin.

    Parameters
    ----------
    recording : Recording
        The log.
    sortie : Sortie
        Its rest before the roll shows the accelerometer's zero.
    window : Window
        Airborne part.
    inputs : Inputs
        Aircraft file and mass, for the stall margin.
    heights : Heights, optional
        Keep flare and lift-off out of the stall margin.
    """
    seen = f"; over the seen part only: {window.missing}" if window.missing else ""
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    speed = airspeed(recording, window)
    load, zero_std = load_factor(recording, sortie, window)
    _add_airspeed(speed, seen, figures, withheld)
    _add_loads(load, zero_std, seen, figures, withheld)
    _add_bank(recording, window, seen, figures, withheld)
    margin = stall_margin(speed, load, window, inputs, heights)
    if isinstance(margin, str):
        withheld["flight.min_stall_margin"] = margin
    else:
        figures["flight.min_stall_margin"] = Figure(
            "flight.min_stall_margin",
            margin,
            f"airspeed over the declared stall speed, scaled with load factor and mass, "
            f"{'above 2 m' if heights is not None else 'without the first and last 5 s'}{seen}",
            ("airspeed", "imu", "declared"),
        )
    return Answer(figures, withheld)


def _airborne(table: pd.DataFrame, column: str, window: Window) -> tuple[Array, Array]:
    """Finite samples well inside the airborne part, so that no wheel load is among them."""
    t = table["time_s"].to_numpy(dtype=float)
    x = table[column].to_numpy(dtype=float, na_value=np.nan)
    inside = (t >= window.start_s + 2 * window.start_std_s) & (
        t <= window.end_s - 2 * window.end_std_s
    )
    good = inside & np.isfinite(x)
    return t[good], x[good]


def _means(t: Array, x: Array, width_s: float) -> Series | None:
    """Means over a width, by samples; None when there are too few."""
    if t.size < 4:
        return None
    step = float(np.median(np.diff(t)))
    n = max(1, round(width_s / step)) if step > 0 else 1
    if t.size < 2 * n:
        return None
    total = np.concatenate([[0.0], np.cumsum(x)])
    mean = (total[n:] - total[:-n]) / n
    centre = 0.5 * (t[: t.size - n + 1] + t[n - 1 :])
    # A mean across a hole is none.
    whole = t[n - 1 :] - t[: t.size - n + 1] <= 1.5 * n * step
    noise = 1.4826 * float(np.median(np.abs(np.diff(x, 2)))) / math.sqrt(6 * n)
    return Series(centre[whole], mean[whole], noise, step) if whole.any() else None


def airspeed(recording: Recording, window: Window) -> Series | str:
    """Airspeed as logged in `AIRSPEED_MEAN_S` means, or why there is none."""
    table = recording.one("airspeed")
    if table is None or "airspeed_m_s" not in table:
        return NO_AIRSPEED
    t, v = _airborne(table, "airspeed_m_s", window)
    series = _means(t, v, AIRSPEED_MEAN_S)
    if series is None:
        return "too few airspeed samples while airborne; log them at 2 Hz or faster"
    if float(np.ptp(series.value)) < 0.1 or float(np.median(series.value)) < 1.0:
        level = float(np.median(series.value))
        return f"airspeed stands at {level:.1f} m/s in flight; check the pitot tube and its hoses"
    return series


def load_factor(recording: Recording, sortie: Sortie, window: Window) -> tuple[Series | str, float]:
    """Load factor in `LOAD_MEAN_S` means with the uncertainty of its zero, or why there is none.

    Positive upwards through the aircraft: ``-f_z / g``, 1 at rest.
    """
    table = recording.one("imu")
    if table is None or "accel_z_m_s2" not in table:
        return _NO_IMU, 0.0
    t, f = _airborne(table, "accel_z_m_s2", window)
    series = _means(t, -f / G0_M_S2, LOAD_MEAN_S)
    if series is None:
        return "too few accelerations while airborne; log them at 20 Hz or faster", 0.0
    bias = _load_zero(recording, table, sortie)
    if bias is None:
        return series, _ZERO_UNKNOWN_STD
    return Series(series.time_s, series.value - bias, series.noise_std, series.step_s), _ZERO_STD


def _load_zero(recording: Recording, imu: pd.DataFrame, sortie: Sortie) -> float | None:
    """Load factor at rest before the roll, less what the attitude there explains."""
    if sortie.starts != "rest":
        return None
    attitude = recording.get("attitude")
    start, end = sortie.search_s[0], sortie.start_s - 1.0
    t = imu["time_s"].to_numpy(dtype=float)
    f = imu["accel_z_m_s2"].to_numpy(dtype=float, na_value=np.nan)
    rest = (t >= start) & (t <= end) & np.isfinite(f)
    if rest.sum() < 10 or attitude is None:
        return None
    at = attitude["time_s"].to_numpy(dtype=float)
    roll = attitude["roll_rad"].to_numpy(dtype=float, na_value=np.nan)
    pitch = attitude["pitch_rad"].to_numpy(dtype=float, na_value=np.nan)
    rows = (at >= start) & (at <= end) & np.isfinite(roll) & np.isfinite(pitch)
    if not rows.any():
        return None
    expected = float(np.median(np.cos(roll[rows]) * np.cos(pitch[rows])))
    level = float(np.median(-f[rest])) / G0_M_S2
    # More than a tenth is no bias: the aircraft was moved, or the axes are wrong.
    return level - expected if abs(level - expected) < 0.1 else None


def _add_airspeed(
    speed: Series | str, seen: str, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    if isinstance(speed, str):
        withheld["flight.max_airspeed"] = speed
        return
    top = largest(speed.time_s, speed.value, speed.noise_std, AIRSPEED_MEAN_S / 2)
    sources = {"airspeed noise": top.std, "airspeed scale": AIRSPEED_SCALE_STD * top.value}
    figures["flight.max_airspeed"] = Figure(
        "flight.max_airspeed",
        Uncertain(top.value, sources, "m/s"),
        f"greatest 1 s mean of the airspeed as logged{seen}",
        ("airspeed",),
    )


def _add_loads(
    load: Series | str,
    zero_std: float,
    seen: str,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    ids = ("flight.max_load_factor", "flight.min_load_factor")
    if isinstance(load, str):
        withheld |= dict.fromkeys(ids, load)
        return
    if load.step_s > _SLOW_IMU_S:
        note = f"; more is possible, samples come only {1 / load.step_s:.0f} times a second"
    elif zero_std == _ZERO_STD:
        note = ", zero from the rest before the roll"
    else:
        note = ", zero not checked"
    for id_, pick, word in zip(ids, (largest, smallest), ("greatest", "least"), strict=True):
        found = pick(load.time_s, load.value, load.noise_std, LOAD_MEAN_S / 2)
        sources = {
            "acceleration noise": found.std,
            "acceleration zero": zero_std,
            "acceleration scale": _LOAD_SCALE_STD * found.value,
            "sensor off the centre of gravity": _OFF_CENTRE_STD,
        }
        figures[id_] = Figure(
            id_,
            Uncertain(found.value, sources, ""),
            f"{word} {LOAD_MEAN_S} s mean (up to 2 Hz){note}{seen}",
            ("imu",),
        )


def _add_bank(
    recording: Recording,
    window: Window,
    seen: str,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    table = recording.get("attitude")
    if table is None or "roll_rad" not in table:
        withheld["flight.max_bank"] = _NO_ATTITUDE
        return
    t, roll = _airborne(table, "roll_rad", window)
    if t.size < 4:
        withheld["flight.max_bank"] = "too few attitudes while airborne; log them at 4 Hz or faster"
        return
    bank = np.degrees(np.abs(roll))
    noise = 1.4826 * float(np.median(np.abs(np.diff(bank, 2)))) / math.sqrt(6)
    top = largest(t, bank, noise, 0.0)
    slow = float(np.median(np.diff(t))) > _SLOW_ATTITUDE_S
    figures["flight.max_bank"] = Figure(
        "flight.max_bank",
        Uncertain(top.value, {"bank noise": top.std, "attitude": _BANK_STD_DEG}, "deg"),
        f"the autopilot's own attitude{'; more is possible between samples' if slow else ''}{seen}",
        ("attitude",),
    )


def stall_margin(
    speed: Series | str,
    load: Series | str,
    window: Window,
    inputs: Inputs,
    heights: Heights | None,
) -> Uncertain | str:
    """Least airspeed over stall speed at the load factor and mass flown, or why not. [-]

    The stall speed grows with the root of load factor times mass.
    """
    aircraft = inputs.aircraft
    if aircraft is None or aircraft.stall_speed_m_s is None:
        return "needs the aircraft file with [wing] stall_speed_m_s"
    if aircraft.reference_kg is None:
        return "needs the aircraft file with [mass] reference_kg, which the stall speed belongs to"
    if inputs.mass is None:
        return "needs the take-off mass; give --mass KG"
    if isinstance(speed, str):
        return speed
    if isinstance(load, str):
        return load
    n = np.interp(speed.time_s, load.time_s, load.value)
    stall = aircraft.stall_speed_m_s * np.sqrt(
        np.clip(n, 0.05, None) * inputs.mass.kg / aircraft.reference_kg
    )
    clear = _clear(speed.time_s, window, heights)
    if not clear.any():
        return "too little flight clear of the ground"
    margin = (speed.value / stall)[clear]
    relative = math.hypot(
        speed.noise_std / float(np.median(speed.value)),
        0.5 * load.noise_std / max(0.05, float(np.median(n))),
    )
    low = smallest(speed.time_s[clear], margin, relative * margin, AIRSPEED_MEAN_S / 2)
    return Uncertain(
        low.value,
        {
            "margin noise": low.std,
            "airspeed scale": AIRSPEED_SCALE_STD * low.value,
            "stall speed": STALL_SPEED_STD * low.value,
            "mass": 0.5 * inputs.mass.std_kg / inputs.mass.kg * low.value,
        },
        "",
    )


def _clear(t: Array, window: Window, heights: Heights | None) -> NDArray[np.bool_]:
    """Rows that are clear of the ground."""
    if heights is None:
        return np.asarray((t >= window.start_s + 5) & (t <= window.end_s - 5))
    high = np.interp(t, heights.time_s, heights.height_m) > CLEAR_HEIGHT_M
    return np.asarray(high & (t >= window.start_s) & (t <= window.end_s))
