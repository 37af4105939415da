"""What a flight is debriefed with: the files and the load that held when it was released.

Later versions of a file say nothing of an earlier flight: its limits stay what they were when it
was released. Without a release only the aircraft's own file is used, and that of the pack where
somebody said which one it was; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.inputs import (
    STRONGEST_WIND_M_S,
    Aircraft,
    GivenAir,
    GivenWind,
    Inputs,
    Mass,
    Pack,
    Site,
    load_aircraft,
    load_pack,
    load_site,
)
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import LOAD_SHEET, WEATHER
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named, newest
from flightlog.rules.book import RuleBook, load_rules
from flightlog.team.histories import Version


@dataclass(frozen=True, slots=True)
class FlownUnder:
    """What a debrief takes beside the log, and what was not there to be taken."""

    inputs: Inputs
    rules: RuleBook | None
    lacking: tuple[str, ...] = ()


def flown_under(desk: Desk, aircraft: str, release: Entry | None, pack: str = "") -> FlownUnder:
    """Gather what a flight is debriefed with.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file; empty where it is not known.
    release : Entry or None
        Under which it was flown.
    pack : str
        The pack, where somebody said it; else the one that was released.

    Raises
    ------
    TeamFileError
        If the bytes of a version are not what this program reads.
    """
    if release is None:
        version = desk.versions.in_force("aircraft", aircraft) if aircraft else None
        known = desk.loaded(version, load_aircraft) if version is not None else None
        without: list[str] = []
        flown = _pack(desk, pack, None, without)
        return FlownUnder(Inputs(aircraft=known, pack=flown), None, tuple(without))
    said = release.body.content
    lacking: list[str] = []
    sheet = _last(desk, release, LOAD_SHEET)
    weather = _last(desk, release, WEATHER)
    if sheet is None:
        lacking.append("no load sheet: the mass is not known")
    inputs = Inputs(
        site=_site(desk, release, lacking),
        aircraft=_aircraft(desk, said, lacking),
        pack=_pack(desk, pack or said["pack"], release, lacking),
        mass=_mass(sheet) if sheet is not None else None,
        wind=_wind(weather.body.content) if weather is not None else None,
        air=_air(weather.body.content) if weather is not None else None,
        payload_units=sheet.body.content["units"] if sheet is not None else None,
    )
    return FlownUnder(inputs, _rules(desk, said, lacking), tuple(lacking))


def _last(desk: Desk, release: Entry, kind: str) -> Entry | None:
    """Give what a release cites of a kind; the newest where it cites several."""
    found = newest(desk.ledger, desk.ledger.named(release, CITES, kind))
    return found[-1] if found else None


def _aircraft(desk: Desk, said: Mapping[str, Any], lacking: list[str]) -> Aircraft | None:
    version = desk.versions.by_hash(said["aircraft_file"])
    if version is None:
        lacking.append("the version of the aircraft's file that was released is not in the record")
        return None
    return desk.loaded(version, load_aircraft)


def _rules(desk: Desk, said: Mapping[str, Any], lacking: list[str]) -> RuleBook | None:
    if "rules" not in said:
        return None
    version = desk.versions.by_hash(said["rules"])
    if version is None:
        lacking.append("the version of the rules that it was released under is not in the record")
        return None
    return desk.loaded(version, load_rules)


def _site(desk: Desk, release: Entry, lacking: list[str]) -> Site | None:
    """Give the site as its file was when the release was signed."""
    id_ = release.body.content.get("site")
    if id_ is None:
        return None
    version = _seen(desk, "site", id_, release, lacking)
    return desk.loaded(version, load_site) if version is not None else None


def _pack(desk: Desk, id_: str, release: Entry | None, lacking: list[str]) -> Pack | None:
    """Give the pack as its file was when the release was signed, without one as it is now."""
    if not id_:
        return None
    if release is not None:
        version = _seen(desk, "pack", id_, release, lacking)
    else:
        version = desk.versions.in_force("pack", id_)
        if version is None:
            lacking.append(f"no file of the pack {id_} is in the record")
    return desk.loaded(version, load_pack) if version is not None else None


def _seen(
    desk: Desk, kind: Literal["site", "pack"], id_: str, release: Entry, lacking: list[str]
) -> Version | None:
    """Give the last version of a file that was there when the release was signed."""
    seen = [
        version
        for version in desk.versions.history(kind, id_)
        if desk.ledger.has_seen(release, version.entry)
    ]
    if not seen:
        lacking.append(f"no file of the {kind} {id_} was in force")
        return None
    return seen[-1]


def _mass(sheet: Entry) -> Mass:
    mass, std = sheet.body.content["mass"], sheet.body.content["mass_std"]
    return Mass(float(mass["value"]), float(std["value"]), f"load sheet {named(sheet)}")


def _wind(said: Mapping[str, Any]) -> GivenWind | None:
    """Give the mean wind; how sure it is nobody writes down, so that of a wind sock is taken."""
    speed = float(said["wind_mean"]["value"])
    return (
        GivenWind(speed, float(said["wind_from"]["value"]) % 360.0)
        if 0.0 <= speed <= STRONGEST_WIND_M_S
        else None
    )


def _air(said: Mapping[str, Any]) -> GivenAir:
    return GivenAir(float(said["temperature"]["value"]) + ZERO_CELSIUS_K)
