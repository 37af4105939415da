"""Releases, and recordings with debriefs that are made up, so that no log has to be read."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from flightlog.contract import dumps, to_json
from flightlog.figures import FIGURES
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import Entry, write_utc
from flightlog.operations.importing import finish
from flightlog.operations.sorties import SortieRecord
from tests.made_debriefs import made
from tests.operations.made import HillFarm

PILOT = ("pilot", "accepted", "pilot")
SAFETY = ("observer", "released", "safety")
AIRCRAFT = ("permits", "aircraft:pannier")


def load_sheet(farm: HillFarm, mass: str = "8.0", units: int = 8, pack: str = "pack-a") -> Entry:
    content = {
        "aircraft": "pannier",
        "configuration": "cargo-2",
        "aircraft_file": farm.desk.version("aircraft", "pannier").sha256,
        "pack": pack,
        "units": units,
        "items": [],
        "mass": quantity(mass, "kg"),
        "mass_std": quantity("0.015", "kg"),
        "arm": quantity("0.452", "m"),
        "arm_std": quantity("0.001", "m"),
        "balance": quantity("39.5", "%"),
        "balance_std": quantity("0.3", "%"),
        "inside": True,
    }
    weighing = farm.add("remark", {"text": "stands for the weighing"})
    return farm.add("load-sheet", content, ("observer", "performed"), cites=[weighing])


def weather(farm: HillFarm, wind: str = "3.3") -> Entry:
    numbers = {
        "mast_height": ("2", "m"),
        "wind_mean": (wind, "m/s"),
        "wind_gust": ("4.6", "m/s"),
        "wind_from": ("70", "deg"),
        "pressure": ("1004", "hPa"),
        "temperature": ("17", "°C"),
        "humidity": ("62", "%"),
    }
    content = {"place": "top-field", "instrument": "WM-1", "source": "read-off"}
    content |= {key: quantity(*said) for key, said in numbers.items()}
    return farm.add("weather", content, ("observer", "measured"))


def release(
    farm: HillFarm,
    at: datetime | None = None,
    *,
    aircraft: str = "pannier",
    pack: str = "pack-a",
    landings: int = 1,
    cites: Sequence[Entry] = (),
    rules: bool = True,
    **more: Any,
) -> Entry:
    """Add a release that is signed at a time, as if every condition held."""
    if at is not None:
        farm.clock.now = at - timedelta(minutes=1)
    signed = farm.clock.now + timedelta(minutes=1)
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "configuration": "cargo-2",
        "aircraft_file": farm.desk.version("aircraft", "pannier").sha256,
        "site": "top-field",
        "pack": pack,
        "mass": quantity("8.0", "kg"),
        "units": 8,
        "landings": landings,
        "until": write_utc(signed + timedelta(hours=4)),
        "conditions": [{"condition": "load", "says": "inside"}],
    }
    if rules:
        content["rules"] = farm.desk.version("rules", "club-trial-2027").sha256
    rests_on = list(cites) or [farm.add("remark", {"text": "what it rests on"}, minutes=0)]
    more.setdefault("effect", ("permits", f"aircraft:{aircraft}"))
    return farm.add("release", content, PILOT, SAFETY, cites=rests_on, **more)


def stored_debrief(
    start: datetime | None,
    *,
    sorties: int = 1,
    apart_min: float = 15.0,
    flown_s: float = 240.0,
    attempts: int = 0,
    zone_known: bool = True,
    file: str = "made.bin",
    each: Mapping[str, Any] | None = None,
    findings: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """Make the JSON of a debrief whose first flight began at a time; rolls are a minute before.

    The flights begin ``apart_min`` after each other; ``each`` is put into every one of them.
    """
    body = to_json(made(sorties=sorties, file=file))
    body["log"]["sha256"] = hashlib.sha256(file.encode()).hexdigest()
    offset = start.timestamp() - 100.0 if start is not None else None
    body["log"]["utc"] |= {"offset_s": offset, "std_s": 0.2, "zone_known": zone_known}
    for index, item in enumerate(body["sorties"]):
        start_s = 100.0 + 60.0 * apart_min * index
        times = {
            "start_s": start_s,
            "liftoff_s": start_s + 4.0,
            "touchdown_s": start_s + 4.0 + flown_s,
            "end_s": start_s + 10.0 + flown_s,
        }
        item |= times | {"findings": [], "outcomes": []} | dict(each or {})
        _complete(item)
    body["findings"] = [_FINDING | finding for finding in findings]
    speed = {"value": 6.1, "unit": "m/s", "low": 6.0, "high": 6.2}
    body["attempts"] = [
        {
            "number": n + 1,
            "start_s": 40.0 - 20.0 * n,
            "stop_s": 44.0 - 20.0 * n,
            "peak_ground_speed": speed,
            "reason": "stopped before lift-off",
        }
        for n in range(attempts)
    ]
    return body


_FIGURE = {"value": 1.0, "low": 0.9, "high": 1.1, "unit": "m", "method": "made", "sources": []}
_OUTCOME = {
    "limit": "made-up", "kind": "rule", "figure": "takeoff.ground_roll", "definition": None,
    "value": 1.0, "low": 0.9, "high": 1.1, "unit": "m", "outcome": "met", "probability": 1.0,
    "bound": {"op": "<=", "value": 40.0, "unit": "m"}, "required_probability": 0.95, "source": "",
}  # fmt: skip
_FINDING = {
    "code": "made-up", "severity": "note", "message": "made up", "evidence": {}, "affects": [],
    "remedy": "", "start_s": None, "end_s": None,
}  # fmt: skip


def _complete(item: dict[str, Any]) -> None:
    """Fill up what a test told of a sortie in part, so that it is of the shape of a debrief."""
    item["figures"] = {
        id_: _FIGURE | {"unit": FIGURES[id_].unit} | body for id_, body in item["figures"].items()
    }
    item["outcomes"] = [_OUTCOME | outcome for outcome in item["outcomes"]]
    item["findings"] = [_FINDING | finding for finding in item["findings"]]
    item["laps"] = [dict.fromkeys(("time", "energy", "distance")) | lap for lap in item["laps"]]


def recording(
    farm: HillFarm,
    body: Mapping[str, Any],
    *,
    aircraft: str | None = "pannier",
    cites: Sequence[Entry] = (),
    partners: Sequence[bytes] = (),
    **said: Any,
) -> Entry:
    """Add a recording whose debrief is made up."""
    file = body["log"]["file"]
    store = farm.book.attachments
    attached = [store.put(io.BytesIO(file.encode()), file)]
    attached += [store.put(io.BytesIO(data), "partner.csv") for data in partners]
    attached.append(store.put(io.BytesIO(dumps(body).encode()), f"{file}.debrief.json"))
    content: dict[str, Any] = {
        "file": file,
        "sha256": body["log"]["sha256"],
        "format": "dataflash",
        "analyses": 2,
        "sorties": len(body["sorties"]),
        "attempts": len(body["attempts"]),
        **said,
    }
    if aircraft is not None:
        content["aircraft"] = aircraft
    return farm.add("recording", content, attachments=attached, cites=cites)


def imported(
    farm: HillFarm, start: datetime | None, *, pack: str = "", landed: bool = True, **more: Any
) -> tuple[SortieRecord, ...]:
    """Import a log that is made up, after landing; its flights as they stand in the record then."""
    if landed and start is not None:
        last = more.get("apart_min", 15.0) * (more.get("sorties", 1) - 1)
        farm.clock.now = max(farm.clock.now, start + timedelta(minutes=last + 6))
    keys = ("aircraft", "cites", "partners", "clocks_apart", "autopilot")
    said = {key: more.pop(key) for key in keys if key in more}
    entry = recording(farm, stored_debrief(start, **more), **said)
    from flightlog.operations.importing import Told

    return finish(farm.desk, entry, Told(pack=pack)).flights
