"""What is found about the radio link, in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.link_aspect import Aspects
from flightlog.analyses.link_data import STATION_HEIGHT_M, Station, attitude_at
from flightlog.analyses.link_gaps import Silences
from flightlog.estimation.link_budget import (
    azimuth_elevation_deg,
    body_directions,
    exact_interval,
)
from flightlog.estimation.path import FlightPath
from flightlog.findings import Finding, make_finding

if TYPE_CHECKING:
    from flightlog.recording import Recording

_SIDES = (
    "the nose",
    "right of the nose",
    "the right wing",
    "right of the tail",
    "the tail",
    "left of the tail",
    "the left wing",
    "left of the nose",
)
_LEVEL_DEG = 15.0
_STEEP_DEG = 60.0


def side(azimuth_deg: float) -> str:
    """Name an azimuth from the nose to the right."""
    return _SIDES[round(azimuth_deg % 360 / 45) % 8]


def toward(azimuth_deg: float, elevation_deg: float) -> str:
    """Name a direction about the aircraft."""
    if abs(elevation_deg) > _STEEP_DEG:
        return "from straight above" if elevation_deg > 0 else "from straight below"
    if abs(elevation_deg) <= _LEVEL_DEG:
        tilt = "near the wings' plane"
    else:
        way = "above" if elevation_deg > 0 else "below"
        tilt = f"{abs(elevation_deg):.0f} deg {way} the wings' plane"
    return f"towards {side(azimuth_deg)} ({azimuth_deg % 360:.0f} deg from the nose, {tilt})"


def not_excluded(why: str) -> Finding:
    """An aerial that is weak in some direction can't be excluded, because something is missing."""
    return make_finding(
        "not-excluded",
        f"A weak direction of the aerial cannot be excluded: {why}.",
        evidence={"fault": "aerial-null"},
    )


def unseen(aspects: Aspects) -> Finding:
    """The same, because the flight did not show all directions."""
    sides = list(dict.fromkeys(side(a) for a in aspects.unseen_azimuths_deg))
    hidden = 360.0 - aspects.seen_deg
    return make_finding(
        "not-excluded",
        f"A weak direction of the aerial cannot be excluded: {hidden:.0f} deg of the circle about "
        f"the aircraft never faced the ground station for long enough, towards "
        f"{', '.join(sides)}; fly full circles both ways at some distance.",
        evidence={"fault": "aerial-null", "unseen_deg": hidden, "unseen": ", ".join(sides)},
    )


def weak_aspect(aspects: Aspects) -> Finding:
    """A direction is weak, with confidence."""
    depth, _ = aspects.weakest
    low, high = aspects.interval
    where = toward(aspects.azimuth_deg, aspects.elevation_deg)
    seconds = float(aspects.pattern.seconds[aspects.node])
    return make_finding(
        "weak-aspect",
        f"The link is {depth:.0f} dB ({low:.0f} to {high:.0f}) weaker {where} than from the median "
        "direction, distance taken out: the aerial is shaded there, or points there; what stands "
        "on the ground in that direction can look the same.",
        evidence={
            "depth_db": depth,
            "low_db": low,
            "high_db": high,
            "azimuth_deg": aspects.azimuth_deg % 360,
            "elevation_deg": aspects.elevation_deg,
            "seconds": seconds,
            "seen_deg": aspects.seen_deg,
        },
    )


def dropout(
    recording: Recording,
    silences: Silences,
    path: FlightPath | None,
    station: Station | None,
) -> Finding:
    """Drop-outs that the logger did not cause, with where the aircraft was in the longest."""
    lost = silences.lost
    longest = max(lost, key=lambda d: d.end_s - d.start_s)
    seconds = max(1, round(silences.seen_s))
    low, high = exact_interval(min(len(lost), seconds), seconds)
    evidence: dict[str, float | int | str] = {
        "count": len(lost),
        "longest_s": longest.end_s - longest.start_s,
        "lost_s": sum(d.end_s - d.start_s for d in lost),
        "kind": longest.kind,
        "per_minute": 60 * len(lost) / seconds,
        "per_minute_low": 60 * low,
        "per_minute_high": 60 * high,
    }
    evidence |= _place(recording, longest.start_s, path, station)
    where = ""
    if "distance_m" in evidence:
        where = f", {evidence['distance_m']:.0f} m away and {evidence['height_m']:.0f} m up"
    if "azimuth_deg" in evidence:
        where += f", {side(float(evidence['azimuth_deg']))} towards the ground"
    cause = {
        "link": "while the rest went on: the link was lost",
        "link or ground side": "by the copy on the ground: the link was lost, or the recorder "
        "stood still",
    }[longest.kind]
    count = "once" if len(lost) == 1 else f"{len(lost)} times"
    return make_finding(
        "link-dropout",
        f"The radio link fell silent {count} in flight, for up to "
        f"{longest.end_s - longest.start_s:.1f} s at {longest.start_s:.1f} s{where}, {cause}.",
        evidence=evidence,
        start_s=min(d.start_s for d in lost),
        end_s=max(d.end_s for d in lost),
    )


def _place(
    recording: Recording, time_s: float, path: FlightPath | None, station: Station | None
) -> dict[str, float | int | str]:
    """Where the aircraft was, and which way it faced the ground station."""
    if path is None or station is None or path.height_m is None:
        return {}
    if not path.time_s[0] <= time_s <= path.time_s[-1]:
        return {}
    at = np.array([time_s])
    east, north, height = (
        np.interp(at, path.time_s, v) for v in (path.east_m, path.north_m, path.height_m)
    )
    if not np.isfinite(height).all():
        return {}
    sight = (station.east_m - east, station.north_m - north, STATION_HEIGHT_M - height)
    found: dict[str, float | int | str] = {
        "distance_m": float(np.linalg.norm(sight)),
        "bearing_deg": math.degrees(math.atan2(-sight[0].item(), -sight[1].item())) % 360,
        "height_m": float(height[0]),
    }
    attitude = attitude_at(recording, at)
    if np.isfinite(attitude).all():
        azimuth, elevation = azimuth_elevation_deg(body_directions(*sight, attitude))
        found |= {
            "azimuth_deg": float(azimuth[0]) % 360,
            "elevation_deg": float(elevation[0]),
            "bank_deg": math.degrees(float(attitude[0, 0])),
        }
    return found
