"""A flying day at the command line, from the first check to the signed post-flight list."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from flightlog.operations.checklists import Item, load_checklist
from tests.cli.teams import passphrase_of, terminal
from tests.operations.made import FILES, ROOT

__all__ = ["terminal"]  # a fixture

SAMPLES = ROOT / "sample_flights"
TAKEOFF = datetime(2027, 3, 15, 9, 14, 54, tzinfo=UTC)
PILOT = "pilot,inspector,battery,ground-station"
MECHANIC = "mechanic,inspector,safety,engineer"
ABOUT = ("--aircraft", "pannier", "--pack", "pack-a")
A_PERSON_TYPES_S = 8.0
"""For one answer of a person who looks at the thing and types a sign or a number."""
A_PASSPHRASE_S = 10.0


class Farm:
    """The hill farm at its laptop: what is typed, and how many passphrases that took."""

    def __init__(self, terminal) -> None:
        self.terminal = terminal
        self.now = TAKEOFF - timedelta(hours=3)
        self.passphrases = 0
        self.answers = 0

    def types(self, *words: str, by: tuple[str, ...] = (), code: int = 0) -> str:
        self.now += timedelta(seconds=20)
        self.terminal.at(self.now)
        self.passphrases += len(by)
        found = self.terminal.run(*words, types=[passphrase_of(name) for name in by])
        assert code == found, (words, "\n" + self.terminal.out[:1500], self.terminal.err)
        return self.terminal.out

    def walk(self, list_id: str, *, code: int = 0) -> str:
        """Walk a list by two persons, one passphrase each."""
        lines = answers(list_id)
        self.answers += len(lines)
        path = self.terminal.root / f"{list_id}-{self.now:%H%M%S}.jsonl"
        path.write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
        about = ABOUT if list_id != "daily" else ABOUT[:2]
        both = ("--by", "mechanic", "--by", "pilot")
        return self.types(
            *("checks", "walk", list_id, *about, *both, "--answers", str(path)),
            by=("mechanic", "pilot"),
            code=code,
        )

    def weather(self) -> None:
        self.types(
            *("weather", "add", "--place", "top-field", "--mast-height", "2", "--wind", "0.4@70"),
            *("--gust", "0.9", "--pressure", "1009.5", "--temperature", "17", "--humidity", "60"),
            *("--instrument", "AM-1", "--by", "mechanic"),
            by=("mechanic",),
        )

    def load(self) -> None:
        self.types(
            *("balance", "sheet", *ABOUT, "--units", "8", "--by", "mechanic"), by=("mechanic",)
        )

    def expect(self) -> None:
        self.types(
            *("release", "expect", "takeoff.ground_roll", "29.0", "--std", "2.5"),
            *("--aircraft", "pannier", "--method", "last flights", "--by", "mechanic"),
            by=("mechanic",),
        )

    def charge(self) -> None:
        self.types(
            *("team", "charge", "pack-a", "--voltage", "25.1", "--charge", "2.4", "--by", "pilot"),
            by=("pilot",),
        )

    def release(self, code: int = 0) -> str:
        return self.types(
            *("release", "sign", *ABOUT, "--accepted-by", "pilot", "--released-by", "mechanic"),
            by=("pilot", "mechanic") if code == 0 else (),
            code=code,
        )


def answers(list_id: str) -> list[dict[str, str]]:
    """What two persons answer: the mechanic first, then the pilot, then the mechanic again."""
    items = load_checklist(ROOT / "checklists" / f"{list_id}.toml").items
    roles = {"mechanic": MECHANIC.split(","), "pilot": PILOT.split(",")}
    first = {i.id: "mechanic" if i.role in roles["mechanic"] else "pilot" for i in items}
    lines = []
    for turn, name in enumerate(("mechanic", "pilot", "mechanic")):
        for item in items:
            if first[item.id] == name and turn < 2:
                lines.append({"item": item.id, "by": name, **passing(item)})
            elif item.second and first[item.id] != name and turn > 0:
                lines.append({"item": item.id, "by": name, "result": "pass"})
    # A second person measures, too.
    measured = {item.id: item for item in items if item.kind == "measurement"}
    return [
        {**line, **passing(measured[line["item"]])} if line["item"] in measured else line
        for line in lines
    ]


def passing(item: Item) -> dict[str, str]:
    said = {"instrument": "MM-2"} if item.instrument else {}
    if item.kind == "measurement":
        value = item.at_least if item.at_least is not None else item.at_most
        return {**said, "value": f"{value:g}"}
    if item.kind == "choice":
        return {**said, "choice": item.passing[0]}
    return {**said, "result": "pass"}


@pytest.fixture
def farm(terminal):
    """A team with its files, weighing, baseline and fitness statement."""
    farm = Farm(terminal)
    crew = ("--person", "pilot", "--roles", PILOT, "--person", "mechanic", "--roles", MECHANIC)
    two = ("pilot", "mechanic")
    farm.types(*("team", "new", str(terminal.team), "--name", "Hill farm", *crew), by=(*two, *two))
    places = []
    for (kind, id_), source in FILES.items():
        folder = {"aircraft": "aircraft", "rules": "rules"}.get(kind, f"{kind}s")
        place = Path(folder) / f"{id_}.toml"
        shutil.copyfile(source, terminal.team / place)
        places.append(str(terminal.team / place))
    farm.types(
        "team", "enter", *places, "--by", "mechanic", "--by", "pilot", by=("mechanic", "pilot")
    )
    log = str(SAMPLES / "calm.bin")
    farm.types(
        *("team", "baseline", log, "--aircraft", "pannier", "--by", "mechanic", "--by", "pilot"),
        by=("mechanic", "pilot"),
    )
    scales = ("nose=0.06,0=0.935", "left=0.537,-0.25=2.030", "right=0.537,0.25=2.035")
    farm.types(
        *("balance", "weigh", "--aircraft", "pannier"),
        *[word for scale in scales for word in ("--scale", scale)],
        *("--reading-std", "0.005", "--arm-std", "0.001", "--instrument", "SC-1"),
        *("--state", "level, no pack", "--by", "mechanic"),
        by=("mechanic",),
    )
    farm.types(
        *("team", "done", "linkages", "--aircraft", "pannier", "--by", "mechanic"),
        *("--inspected-by", "pilot"),
        by=("mechanic", "pilot"),
    )
    farm.types("team", "done", "capacity", "--pack", "pack-a", "--by", "mechanic", by=("mechanic",))
    farm.types(
        *("fitness", "sign", "--aircraft", "pannier", "--work", "winter inspection"),
        *("--until", "14", "--by", "pilot"),
        by=("pilot",),
    )
    return farm


def ready(farm: Farm) -> None:
    parameters = farm.terminal.root / "today.param"
    text = "# firmware: Simulated autopilot 1.0\n" + "".join(
        f"{name},{value}\n"
        for name, value in (
            ("SERVO1_FUNCTION", 4), ("SERVO2_FUNCTION", 19), ("SERVO3_FUNCTION", 70),
            ("SERVO4_FUNCTION", 21), ("SERVO3_MIN", 1000), ("SERVO3_MAX", 1950),
            ("BATT_CAPACITY", 4000), ("GPS_POS1_X", 0.035),
        )
    )  # fmt: skip
    parameters.write_text(text, encoding="utf-8")
    farm.charge()
    farm.types("team", "parameters", str(parameters), "--aircraft", "pannier")
    farm.walk("daily")
    farm.walk("pre-flight")


def test_a_day_from_the_first_check_to_the_signed_post_flight_list(farm):
    said = farm.types("release", "check", *ABOUT, code=5)
    assert said.startswith("held")
    assert "To clear" in said
    ready(farm)
    farm.now = TAKEOFF - timedelta(minutes=25)
    farm.weather()
    farm.load()
    farm.expect()
    farm.types("release", "check", *ABOUT)
    said = farm.release()
    assert "released" in said
    assert "no certificate" in said
    farm.types("release", "state", "--aircraft", "pannier")

    # Landed: the card is put in, and nothing but --newest is typed.
    farm.now = TAKEOFF + timedelta(minutes=8)
    card = farm.terminal.root / "card"
    card.mkdir()
    shutil.copyfile(SAMPLES / "calm.bin", card / "00000017.bin")
    team_file = farm.terminal.team / "team.toml"
    text = team_file.read_text(encoding="utf-8")
    team_file.write_text(f"{text}card = {json.dumps(str(card))}\n", encoding="utf-8")
    said = farm.types("import", "--newest")
    assert "Ground roll 28.1 m" in said
    assert "limit is met" in said

    farm.types("release", "state", "--aircraft", "pannier", code=5)
    flights = json.loads(farm.types("sortie", "list", "--json"))
    (flight,) = flights["sorties"] if isinstance(flights, dict) else flights
    text = json.dumps(flight)
    assert "flown without" not in text

    release = next(
        line.split()[0]
        for line in farm.types("logbook", "show", "--last", "400").splitlines()
        if " release by " in line or "release by" in line
    )
    calls = farm.terminal.root / "calls.jsonl"
    items = load_checklist(ROOT / "checklists" / "calls.toml").items
    calls.write_text(
        "\n".join(json.dumps({"item": i.id, **passing(i)}) for i in items), encoding="utf-8"
    )
    farm.types(
        *("release", "calls", release, "--answers", str(calls), "--by", "pilot"), by=("pilot",)
    )
    farm.walk("post-flight")
    farm.types("logbook", "check")


def test_the_turn_around_takes_two_persons_four_passphrases_and_four_minutes(farm):
    ready(farm)
    farm.now = TAKEOFF - timedelta(minutes=25)
    farm.weather()
    farm.load()
    farm.expect()
    farm.release()
    farm.now = TAKEOFF + timedelta(minutes=8)
    farm.types("import", str(SAMPLES / "calm.bin"))
    farm.types("event", "battery-change", *ABOUT)
    farm.charge()
    farm.weather()
    farm.load()
    farm.expect()
    said = farm.types("release", "check", *ABOUT, code=5)
    assert "flight-list" in said

    farm.passphrases = farm.answers = 0
    farm.walk("turn-around")
    farm.release()

    items = load_checklist(ROOT / "checklists" / "turn-around.toml").items
    assert 15 >= len(items)
    assert 4 >= farm.passphrases
    assert 240 > A_PERSON_TYPES_S * farm.answers + A_PASSPHRASE_S * farm.passphrases
