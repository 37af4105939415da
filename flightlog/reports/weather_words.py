"""Weather in words: what was measured, the wind on the runway, and each aircraft's limits."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Entry
from flightlog.logbook.words import duration
from flightlog.operations.desk import Desk
from flightlog.operations.positions import CLOCKS_APART, named
from flightlog.operations.weather import air_density, impossible, said_of, wind_components
from flightlog.operations.weather_limits import Judged, against_limits, heading_of

_MINUTE_S = 60


def weather_lines(desk: Desk, entry: Entry) -> Iterator[str]:
    """Say a weather entry: what was measured, on the runway, and against each aircraft's limits."""
    age = desk.ledger.now - desk.ledger.when(entry)
    yield head_line(desk, entry)
    yield from (f"  {line}" for line in measured_lines(entry))
    density, wrong = air_density(entry), impossible(entry)
    if density is None:
        yield f"  NOT TO BE USED: {wrong}"
        return
    yield f"  {_density_line(entry)}"
    heading = runway_of(desk, str(said_of(entry)["place"]))
    yield f"  {runway_line(entry, heading)}"
    for id_ in desk.versions.ids("aircraft"):
        limits = desk.aircraft(id_).weather
        if limits is None:
            yield f"  {id_}: its file sets no limits for the weather"
            continue
        for judged in against_limits(entry, limits, heading):
            if judged.bound is not None:
                word = "within" if judged.holds else "BEYOND"
                yield f"  {id_}: {word}: {judged.says}"
        if age.total_seconds() > 60 * limits.valid_min:
            yield f"  {id_}: TOO OLD: it holds for {limits.valid_min:g} min"


def head_line(desk: Desk, entry: Entry, *, minutes: bool = False) -> str:
    """Say where and when a weather entry was measured, and with what; to whole minutes if asked."""
    said = _numbers(entry)
    age = desk.ledger.now - desk.ledger.when(entry)
    if minutes and age.total_seconds() >= _MINUTE_S:
        age -= age % timedelta(seconds=_MINUTE_S)
    return f"{said['place']}, {_ago(age)} ({named(entry)}, {said['instrument']})"


def measured_lines(entry: Entry | Draft) -> list[str]:
    """Say what was measured."""
    said = _numbers(entry)
    return [
        f"wind {said['wind_mean']} m/s from {said['wind_from']} deg, gusts {said['wind_gust']} "
        f"m/s, {said['mast_height']} m above the ground",
        f"{said['temperature']} °C, {said['humidity']} %, {said['pressure']} hPa at the strip",
    ]


def _density_line(entry: Entry | Draft) -> str:
    density = air_density(entry)
    return f"air density {density.value:.3f} kg/m³ ± {2 * density.std:.3f}" if density else ""


def _numbers(entry: Entry | Draft) -> dict[str, str]:
    return {
        name: value["value"] if isinstance(value, dict) else value
        for name, value in said_of(entry).items()
    }


def runway_of(desk: Desk, place: str) -> float | None:
    """Give the direction of take-off at a place, None where it is no site of the record [deg]."""
    known = desk.versions.in_force("site", place) is not None
    return heading_of(desk, place) if known else None


def runway_line(entry: Entry | Draft, heading: float | None) -> str:
    """Say the wind along and across a runway."""
    if heading is None:
        return "no runway known here: the whole wind counts as crosswind"
    parts = wind_components(entry, heading)
    ahead = "headwind" if parts.head >= 0 else "tailwind"
    side = "right" if parts.cross >= 0 else "left"
    return (
        f"on the runway ({heading:g} deg): {ahead} {abs(parts.head):.1f} m/s, crosswind "
        f"{abs(parts.cross):.1f} m/s from the {side}; in gusts {abs(parts.gust_head):.1f} and "
        f"{abs(parts.gust_cross):.1f} m/s"
    )


def wind_rows(entry: Entry | Draft, heading: float | None) -> list[tuple[str, str, str]]:
    """Give the wind on a runway as rows: what, mean, in gusts [m/s]."""
    parts = wind_components(entry, heading)
    if heading is None:
        return [("whole wind as crosswind", f"{parts.cross:.1f}", f"{parts.gust_cross:.1f}")]
    ahead = "headwind" if parts.head >= 0 else "tailwind"
    side = "right" if parts.cross >= 0 else "left"
    return [
        (ahead, f"{abs(parts.head):.1f}", f"{abs(parts.gust_head):.1f}"),
        (f"crosswind from the {side}", f"{abs(parts.cross):.1f}", f"{abs(parts.gust_cross):.1f}"),
    ]


def limit_rows(
    desk: Desk, aircraft: str, entry: Entry | Draft, heading: float | None
) -> list[Judged]:
    """Give the numbers of the weather beside the limits that the aircraft's file sets."""
    limits = desk.aircraft(aircraft).weather
    if limits is None:
        return []
    return [j for j in against_limits(entry, limits, heading) if j.bound is not None]


def air_line(entry: Entry | Draft) -> str:
    """Say the air density with its uncertainty, or why there is none."""
    return _density_line(entry) or f"not to be used: {impossible(entry)}"


def _ago(age: timedelta) -> str:
    if age < -CLOCKS_APART:
        return f"AHEAD of this laptop's clock by {duration(int(-age.total_seconds()))}"
    return f"{duration(max(0, int(age.total_seconds())))} ago"
