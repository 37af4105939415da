"""A farm of which everything is ready for a release, through the rooms' own functions."""

from __future__ import annotations

import shutil
import tempfile
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from flightlog.logbook.book import Draft, Logbook
from flightlog.logbook.entry import INSPECTS, Attachment, Entry, Signer
from flightlog.logbook.flying_kinds import CHECK
from flightlog.logbook.names import Names
from flightlog.operations.baseline import Parameters, baseline_draft, note_parameters
from flightlog.operations.check_drafts import begun_draft
from flightlog.operations.checklists import CHOICE, MEASURED, PHOTO, Item
from flightlog.operations.checks import About, checklist_in_force
from flightlog.operations.desk import Desk
from flightlog.operations.expected import draft_expectation
from flightlog.operations.fitness import draft_fitness
from flightlog.operations.load_sheet import sheet_draft
from flightlog.operations.plan import Plan
from flightlog.operations.release import draft_release
from flightlog.operations.weather import weather_draft
from flightlog.operations.weighing import weighing_draft
from flightlog.team.folder import TeamFolder
from tests.logbook.made import public_of
from tests.operations.made import CREW, HandClock, HillFarm

PLAN = Plan("pannier", "pack-a", "club-trial-2027", "top-field")
PARAMETERS = Parameters({"RATE_ROLL": 0.12, "RATE_PITCH": 0.15}, "plane 4.5", "sample")
SCALES = ("nose=0.10,0=0.65", "left=0.50,-0.25=2.175", "right=0.50,0.25=2.175")
WIND = {
    "mast_height": "2",
    "wind_mean": "3.3",
    "wind_gust": "4.6",
    "wind_from": "70",
    "pressure": "1004.0",
    "temperature": "11.5",
    "humidity": "62",
}
_STEP = 0.1
"""Minutes between the items of a list."""


ROLES = {**CREW, "observer": (*CREW["observer"], "ground-station")}
"""Some items take two persons who know the ground station."""


def person_of(role: str, *, but: str = "") -> str:
    """Name somebody of the crew who holds a role."""
    return next(name for name, roles in ROLES.items() if role in roles and name != but)


def crewed(farm: HillFarm) -> None:
    content = {"person": public_of("observer"), "roles": ["ground-station"]}
    farm.add("grant", content, ("pilot", "granted"), ("mechanic", "granted"))


def ready(farm: HillFarm, plan: Plan = PLAN) -> None:
    """Enter everything that a release of the plan rests on."""
    crewed(farm)
    upkept(farm, plan)
    baseline(farm, plan.aircraft)
    weighed(farm, plan.aircraft)
    stated_fit(farm, plan.aircraft)
    ready_today(farm, plan)


def ready_today(farm: HillFarm, plan: Plan = PLAN) -> None:
    """Enter what a release rests on that belongs to the day."""
    walked(farm, "daily", About(plan.aircraft))
    walked(farm, "pre-flight", About(plan.aircraft, plan.pack))
    parameters_read(farm, plan.aircraft)
    charged(farm, plan.pack)
    loaded(farm, plan)
    wind(farm, plan.site)
    expected(farm, plan.aircraft)


def upkept(farm: HillFarm, plan: Plan = PLAN) -> None:
    doer, looker = ("mechanic", "performed", "mechanic"), ("observer", "inspected", "inspector")
    farm.add("task-done", {"task": "linkages", "aircraft": plan.aircraft}, doer, looker)
    farm.add("task-done", {"task": "capacity", "pack": plan.pack}, doer)


def baseline(farm: HillFarm, aircraft: str = "pannier", parameters: Any = PARAMETERS) -> Entry:
    draft = baseline_draft(
        farm.desk, aircraft, parameters, public_of("pilot"), public_of("mechanic")
    )
    return _signed(farm, draft, "pilot", "mechanic")


def parameters_read(
    farm: HillFarm, aircraft: str = "pannier", parameters: Any = PARAMETERS
) -> Entry:
    farm.clock.later(minutes=1)
    return note_parameters(farm.desk, aircraft, parameters)


def weighed(farm: HillFarm, aircraft: str = "pannier") -> Entry:
    draft = weighing_draft(
        farm.desk,
        aircraft,
        SCALES,
        reading_std="0.005",
        arm_std="0.001",
        instrument="SC-1",
        state="empty, level",
        signers=[Signer(public_of("observer"), "performed", "engineer")],
    )
    return _signed(farm, draft, "observer")


def stated_fit(
    farm: HillFarm,
    aircraft: str = "pannier",
    *,
    days: float = 14,
    by: str = "observer",
    hours: str = "",
    landings: int | None = None,
) -> Entry:
    draft = draft_fitness(
        farm.desk,
        aircraft,
        work="winter inspection of the whole aircraft",
        until=farm.book.now() + timedelta(days=days),
        by=[public_of(by)],
        hours=Decimal(hours) if hours else None,
        landings=landings,
    )
    return _signed(farm, draft, by)


def charged(farm: HillFarm, pack: str = "pack-a", **more: Any) -> Entry:
    content = {"pack": pack, "voltage": {"value": "25.1", "unit": "V"}}
    return farm.add("charge", content, ("pilot", "performed", "battery"), **more)


def loaded(farm: HillFarm, plan: Plan = PLAN, units: int = 4) -> Entry:
    signers = [Signer(public_of("observer"), "performed", "engineer")]
    draft = sheet_draft(farm.desk, plan.aircraft, plan.pack, units, signers)
    return _signed(farm, draft, "observer")


def wind(farm: HillFarm, place: str = "top-field", **numbers: str) -> Entry:
    draft = weather_draft(place, "WM-1", {**WIND, **numbers}, public_of("observer"))
    return _signed(farm, draft, "observer")


def expected(
    farm: HillFarm,
    aircraft: str = "pannier",
    value: str = "30.0",
    std: str = "2.0",
    figure: str = "takeoff.ground_roll",
) -> Entry:
    draft = draft_expectation(
        farm.desk, aircraft, figure, value, std, "mean of ten flights", public_of("observer")
    )
    return _signed(farm, draft, "observer")


def walked(farm: HillFarm, list_id: str, about: About) -> Entry:
    """Work a list through, every item passing, second looks by a second person."""
    farm.clock.later(minutes=_STEP)
    begun = farm.desk.append(begun_draft(farm.desk, list_id, about))
    for item in checklist_in_force(farm.desk, list_id).items:
        checked(farm, begun, item)
    return begun


def checked(farm: HillFarm, begun: Entry, item: Item, result: str = "pass") -> Entry:
    """Enter one item of a list, and the second look at it."""
    doer = person_of(item.role)
    said: dict[str, Any] = {"item": item.id, "result": result}
    photos: list[Attachment] = []
    if item.kind == MEASURED:
        value = item.at_least if item.at_least is not None else item.at_most
        said["value"] = {"value": f"{value:g}", "unit": item.unit}
    if item.kind == CHOICE:
        said["choice"] = item.passing[0]
    if item.kind == PHOTO:
        photos.append(farm.book.attach(Path(__file__), "photo.jpg"))
    if item.instrument:
        said["instrument"] = "MM-2"
    check = farm.add(
        CHECK,
        said,
        (doer, "performed", item.role),
        cites=[begun],
        attachments=photos,
        minutes=_STEP,
    )
    if item.second:
        farm.add(
            CHECK,
            said,
            (person_of(item.second, but=doer), "inspected", item.second),
            cites=[begun],
            relations=[(INSPECTS, check)],
            minutes=_STEP,
        )
    return check


def released(
    farm: HillFarm, plan: Plan = PLAN, *, pilot: str = "pilot", by: str = "mechanic"
) -> Entry:
    """Have a release signed."""
    draft = draft_release(farm.desk, plan, public_of(pilot), public_of(by))
    return _signed(farm, draft, pilot, by)


def _signed(farm: HillFarm, draft: Draft, *names: str) -> Entry:
    farm.clock.later(minutes=1)
    farm.desk.refresh()
    return farm.sign(draft, *names)


# --- copies, so that it is made once


def new_folder(base: Path) -> Path:
    """Make a folder in that of a session."""
    return Path(tempfile.mkdtemp(dir=base))


def keep(farm: HillFarm, place: Path) -> datetime:
    """Keep a farm's folder and profile, to be copied; give the time at which it stands."""
    shutil.copytree(farm.folder.path, place / "team")
    shutil.copytree(farm.folder.path.parent / "profile", place / "profile")
    return farm.clock.now


def copied(place: Path, root: Path, now: datetime) -> HillFarm:
    """Give a copy of a farm that was kept; close it afterwards."""
    shutil.copytree(place, root, dirs_exist_ok=True)
    farm = HillFarm.__new__(HillFarm)
    farm.clock = HandClock(now)
    farm.folder = TeamFolder.read(root / "team")
    farm.book = Logbook.open(farm.folder.logbook, profile=root / "profile", clock=farm.clock)
    names = Names()
    for name in CREW:
        names = names.with_name(public_of(name), name)
    farm.desk = Desk(farm.folder, farm.book, names)
    return farm


@pytest.fixture(scope="session")
def ready_place(tmp_path_factory):
    """A folder with a ready farm, and the time at which it stands."""
    return _ready_place(tmp_path_factory.getbasetemp())


@cache  # once, though the fixture is made anew for each module that imports it
def _ready_place(base):
    farm = HillFarm(new_folder(base))
    farm.enter_files()
    ready(farm)
    place = new_folder(base)
    now = keep(farm, place)
    farm.close()
    return place, now


@pytest.fixture
def ready_farm(ready_place, tmp_path):
    """A farm of its own of which everything is ready for a release of ``PLAN``."""
    farm = copied(ready_place[0], tmp_path / "farm", ready_place[1])
    yield farm
    farm.close()


@pytest.fixture(scope="session")
def released_place(ready_place, tmp_path_factory):
    """A folder with a farm that is released, and the time at which it stands."""
    return _released_place(ready_place, tmp_path_factory.getbasetemp())


@cache
def _released_place(ready_place, base):
    farm = copied(ready_place[0], new_folder(base), ready_place[1])
    released(farm)
    place = new_folder(base)
    now = keep(farm, place)
    farm.close()
    return place, now


@pytest.fixture
def released_farm(released_place, tmp_path):
    """A farm of its own that is released for ``PLAN``."""
    farm = copied(released_place[0], tmp_path / "farm", released_place[1])
    yield farm
    farm.close()
