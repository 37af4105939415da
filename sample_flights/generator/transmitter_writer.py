"""What the transmitter wrote on its own card during a flight, as open radio firmware does.

The aircraft sends its sensors in turn over a slow link; the transmitter writes a row four times
a second with the last of each that came, so that most rows repeat a fix. Its clock was set by
hand: local time, some seconds off.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from .aircraft import Array
from .run import Flown
from .sensors import CHANNELS, Rng, link_table, pulses

HEADER = (
    "Date,Time,RQly(%),RxBt(V),Curr(A),Capa(mAh),Bat_(%),GPS,GSpd(kmh),Hdg(@),Alt(m),Sats,"
    "Rud,Ele,Thr,Ail,TxBat(V)"
)


@dataclass(frozen=True)
class Transmitter:
    """A transmitter, its clock and its link.

    Attributes
    ----------
    zone_s : float
        Local time minus UTC. [s]
    slow_s : float
        How far its clock is behind local time. [s]
    row_s : float
        Between rows. [s]
    fix_s, battery_s, link_s : float
        Between two transmissions of position, battery and link quality. [s]
    air_s : tuple of float
        Shortest and longest way through the link. [s]
    pack_mah : float
        Capacity from which the per cent of the pack are counted.
    starts_s, ends_s : float
        First row after the flight's first sample, last row before its last one. [s]
    """

    zone_s: float = 3600.0
    slow_s: float = 7.4
    row_s: float = 0.25
    fix_s: float = 0.44
    battery_s: float = 0.61
    link_s: float = 0.3
    air_s: tuple[float, float] = (0.05, 0.2)
    pack_mah: float = 4000.0
    starts_s: float = 2.3
    ends_s: float = 1.1

    def rows(
        self, flown: Flown, tables: dict[str, pd.DataFrame], boot: float, utc: float, rng: Rng
    ) -> list[str]:
        """Lines of the file without the header. ``utc``: Unix time at log time 0. [s]"""
        when = np.arange(self.starts_s, flown.time[-1] - self.ends_s, self.row_s)
        when = when + rng.uniform(0.0, 0.004, when.size) + boot
        gps = self._last(tables["gps"], self.fix_s, when, rng)
        power = self._last(tables["battery"], self.battery_s, when, rng)
        height = self._last(tables["baro"], self.fix_s, when, rng)["height_m"]
        link = self._last(link_table(flown, boot, rng), self.link_s, when, rng)
        sticks = _sticks(flown, boot, when)
        stamp = np.round(utc + when + self.zone_s - self.slow_s, 2)
        used_mah = power["charge_used_coulomb"].to_numpy() / 3.6
        lines = []
        for i, second in enumerate(stamp):
            moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(second))
            course = round(float(gps["course_deg"].iloc[i]) * 100.0) % 36000
            course -= 65536 * (course > 32767)  # a signed number of 16 bits
            lines.append(
                f"{moment:%Y-%m-%d,%H:%M:%S}.{moment.microsecond // 1000:03d}"
                f",{link['quality_pct'].iloc[i]:.0f}"
                f",{power['voltage_v'].iloc[i]:.1f},{power['current_a'].iloc[i]:.1f}"
                f",{used_mah[i]:.0f},{100 * (1 - used_mah[i] / self.pack_mah):.0f}"
                f",{gps['latitude_deg'].iloc[i]:.6f} {gps['longitude_deg'].iloc[i]:.6f}"
                f",{gps['ground_speed_m_s'].iloc[i] * 3.6:.1f},{course / 1000.0:.2f}"
                f",{height.iloc[i]:.0f},{gps['satellites'].iloc[i]:.0f}"
                f",{sticks['steer'][i]},{sticks['elevator'][i]},{sticks['throttle'][i]}"
                f",{sticks['aileron'][i]},7.9"
            )
        return lines

    def _last(self, table: pd.DataFrame, every_s: float, when: Array, rng: Rng) -> pd.DataFrame:
        """What each row shows of a table: the last that was sent and came before it."""
        first = float(table["time_s"].iloc[0])
        sent = np.arange(first + rng.uniform(0.0, every_s), when[-1] + every_s, every_s)
        came = sent + rng.uniform(*self.air_s, sent.size)
        known = np.searchsorted(table["time_s"].to_numpy(), sent, side="right") - 1
        shown = np.maximum(np.searchsorted(came, when, side="right") - 1, 0)
        return table.iloc[known[shown]].reset_index(drop=True)


def _sticks(flown: Flown, boot: float, when: Array) -> dict[str, list[int]]:
    """Sticks as the transmitter has them, before the link: -1024 to 1024."""
    times, out = pulses(flown, 50.0)
    sticks = {}
    for channel, name in CHANNELS.items():
        pulse = np.interp(when, times + boot, out[channel])
        sticks[name] = np.round((pulse - 1500.0) * 2.0).clip(-1024, 1024).astype(int).tolist()
    return sticks


def write_transmitter(
    path: Path,
    transmitter: Transmitter,
    flown: Flown,
    tables: dict[str, pd.DataFrame],
    *,
    boot: float,
    utc: float,
    seed: int,
) -> dict[str, Any]:
    """Write the card's file; give what is true of its clock.

    Parameters
    ----------
    path : Path
        Where to.
    transmitter : Transmitter
        Which.
    flown, tables : Flown, mapping
        The flight, and what the sensors on board made of it.
    boot, utc : float
        Log time at the flight's first sample, and Unix time at log time 0. [s]
    seed : int
        Of the link.
    """
    rng = np.random.default_rng((2027, seed, 11))
    lines = transmitter.rows(flown, tables, boot, utc, rng)
    path.write_text("\n".join([HEADER, *lines]) + "\n", encoding="utf-8", newline="\n")
    return {
        "clock_minus_utc_s": transmitter.zone_s - transmitter.slow_s,
        "utc_at_log_zero": utc,
        "rows": len(lines),
        "transmitter": asdict(transmitter),
    }
