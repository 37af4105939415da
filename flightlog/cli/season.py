"""The sample season: a team folder with its signed record, worked through day by day.

Everything goes the way that a team goes, through the same rules, with a clock that is set to the
days of the sample flights. Only the measured numbers of the lists are drawn, from a stated seed.
"""

from __future__ import annotations

import math
import random
import shutil
import tomllib
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.errors import TeamFileError

if TYPE_CHECKING:
    from flightlog.logbook.book import Draft
    from flightlog.logbook.entry import Entry
    from flightlog.logbook.unlocking import Unlocked
    from flightlog.operations.checklists import Item
    from flightlog.operations.desk import Desk
    from flightlog.operations.plan import Plan
    from flightlog.operations.sorties import SortieRecord

SEED = 20270313
PASSPHRASE = "soil probes to far fields"
"""Of all persons of the sample season; keys that everybody can read sign nothing of worth."""
CREW = {
    "pilot": ("pilot", "inspector", "battery", "ground-station"),
    "mechanic": ("mechanic", "inspector", "safety", "engineer"),
    "observer": ("inspector", "safety", "engineer"),
}
_SCHEMA = "flightlog.season/1"
_LIST = "sample season"
_QUICK = 2**12
"""These keys open cheaply: everybody can read their passphrase."""
_FILES = {
    "pannier.toml": "aircraft/pannier.toml",
    "pack_a.toml": "packs/pack-a.toml",
    "pack_b.toml": "packs/pack-b.toml",
    "propeller_1.toml": "components/propeller-1.toml",
    "site.toml": "sites/top-field.toml",
}
_SCALES = ("nose=0.06,0=0.935", "left=0.537,-0.25=2.030", "right=0.537,0.25=2.035")
_LAPS, _POINTS, _POINT = 3, "takeoff-build-up", "once-more"
"""What flight cards of the season are for."""
_BEFORE = timedelta(minutes=100)
"""The crew begins so long before the log does."""

Tell = Callable[[float, str], None]


@dataclass
class _Clock:
    now: datetime

    def __call__(self) -> tuple[datetime, str]:
        return self.now, "clock of the sample season"

    def on(self, seconds: float) -> None:
        self.now += timedelta(seconds=max(1.0, seconds))


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the season, as its file has it."""

    date: date
    pack: str
    units: int
    wind: tuple[str, str, str]
    temperature: str
    file: str = ""
    roll: tuple[str, str] | None = None
    found: str = ""
    attempt: bool = False


@dataclass
class Season:
    """The desk of the sample season with its crew, whose keys are unlocked."""

    desk: Desk
    clock: _Clock
    keys: dict[str, Unlocked]
    site: str
    rules: str
    chance: random.Random = field(default_factory=lambda: random.Random(SEED))

    def key(self, name: str) -> str:
        """Give a person's public key."""
        return self.keys[name].key

    def sign(self, draft: Draft, seconds: float = 20.0) -> Entry:
        """Let a draft be signed by those whom it names, a little later."""
        self.clock.on(seconds)
        by_key = {unlocked.key: unlocked for unlocked in self.keys.values()}
        shown = self.desk.book.show(draft, self.desk.names) if draft.signers else None
        unlocked = tuple(by_key[signer.key] for signer in draft.signers)
        return self.desk.append(draft, unlocked, shown=shown, list_name=_LIST)


def read_days() -> tuple[dict[str, str], list[Day]]:
    """Read the season's file: team, site and rule book, and its days.

    Raises
    ------
    TeamFileError
        If it is missing or not one of ours.
    """
    from flightlog.resources import data_path

    place = data_path("sample_flights", "season.toml")
    try:
        table = tomllib.loads(place.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise TeamFileError(
            f"the sample season can't be read ({error})",
            where=str(place),
            fix="Install the program again.",
        ) from error
    if table.get("schema") != _SCHEMA:
        raise TeamFileError("is no season", where=str(place), fix="Install the program again.")
    days = [_day(day) for day in table["day"]]
    return {key: table[key] for key in ("team", "site", "rules")}, days


def _day(said: dict[str, Any]) -> Day:
    mean, gust, origin = (f"{v:g}" for v in said["wind"])
    roll = said.get("roll")
    return Day(
        said["date"],
        said["pack"],
        said["units"],
        (mean, gust, origin),
        f"{said['temperature']:g}",
        said.get("file", ""),
        (f"{roll[0]:g}", f"{roll[1]:g}") if roll else None,
        said.get("found", ""),
        said.get("attempt", False),
    )


def build_season(
    folder: Path, logs: Path, tell: Tell, *, only: Sequence[str] | None = None
) -> tuple[Path, list[str]]:
    """Make a team folder with the sample season in a folder.

    Parameters
    ----------
    folder : Path
        Gets ``team``, ``keys`` and ``profile``; exists, and holds none of them.
    logs : Path
        Folder of the sample logs.
    tell : callable
        Told how much is done, 0 to 1, and what.
    only : sequence of str, optional
        Only the days with these files, for tests.

    Returns
    -------
    team : Path
        The team folder.
    told : list of str
        What happened, a line for each day.
    """
    from flightlog.cli.season_bench import measure_on_bench
    from flightlog.logbook.book import Founder, Logbook, founding
    from flightlog.logbook.keyfile import Cost
    from flightlog.logbook.keys import KeyFolder, Passphrase
    from flightlog.logbook.names import Names
    from flightlog.operations.desk import Desk
    from flightlog.resources import data_path
    from flightlog.team.folder import TeamFolder

    head, days = read_days()
    days = [d for d in days if only is None or d.file in only]
    clock = _Clock(_morning(days[0].date) - timedelta(days=1))
    made = TeamFolder.create(folder / "team", head["team"])
    keys = KeyFolder(folder / "keys", cost=Cost(n=_QUICK), not_in=[made.path])
    told = []
    with ExitStack() as held:
        names, unlocked = Names(), {}
        for name in CREW:
            info = keys.create(Passphrase(PASSPHRASE))
            names = names.with_name(info.key, name)
            unlocked[name] = held.enter_context(
                keys.unlock(info.key, Passphrase(PASSPHRASE), _LIST)
            )
        draft = founding([Founder(unlocked[n].key, roles) for n, roles in CREW.items()])
        founders = [keys.unlock(u.key, Passphrase(PASSPHRASE)) for u in unlocked.values()]
        book = held.enter_context(
            Logbook.found(made.logbook, draft, founders, profile=folder / "profile", clock=clock)
        )
        names.write(made.names)
        season = Season(Desk(made, book, names), clock, unlocked, head["site"], head["rules"])
        _begin(season, logs)
        for number, day in enumerate(days):
            tell((number + 0.5) / (len(days) + 1), f"{day.date}")
            told.append(_live(season, day, logs))
        if only is None:
            told.append(measure_on_bench(season, data_path("sample_flights", "bench")))
    return made.path, told


def _morning(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 7, 30, tzinfo=UTC)


# --- before the season


def _begin(season: Season, logs: Path) -> None:
    """Enter the files, weigh, do what is due, sign the baseline and the fitness statement."""
    from flightlog.logbook.book import Draft
    from flightlog.logbook.entry import Signer
    from flightlog.logbook.flying_kinds import FITTING, TASK_DONE
    from flightlog.operations.baseline import baseline_draft, read_parameters
    from flightlog.operations.fitness import draft_fitness
    from flightlog.operations.weighing import weighing_draft
    from flightlog.operations.working_copies import NEW, version_draft, working_copies
    from flightlog.resources import data_path

    desk = season.desk
    for name, place in _FILES.items():
        shutil.copyfile(data_path("sample_flights", name), desk.folder.path / place)
    rules = data_path("checklists", "club_trial_2027.toml")
    shutil.copyfile(rules, desk.folder.path / "rules" / f"{season.rules}.toml")
    both = [season.key("mechanic"), season.key("observer")]
    for copy in working_copies(desk):
        if copy.state == NEW:
            season.sign(version_draft(desk, copy, both))
    performed = Signer(season.key("mechanic"), "performed", "engineer")
    inspected = Signer(season.key("pilot"), "inspected", "inspector")
    season.sign(
        weighing_draft(
            desk,
            "pannier",
            _SCALES,
            reading_std="0.005",
            arm_std="0.001",
            instrument="SC-1 to SC-3",
            state="level, on its wheels, without pack and payload",
            signers=[performed, inspected],
        )
    )
    mechanic = Signer(season.key("mechanic"), "performed", "mechanic")
    fitting = {"component": "propeller-1", "aircraft": "pannier", "position": "nose"}
    season.sign(Draft(FITTING, {**fitting, "done": "fitted"}, [mechanic, inspected]))
    things = {"aircraft": ("pannier",), "pack": ("pack-a", "pack-b")}
    for thing, ids in things.items():
        for id_ in ids:
            file: Any = getattr(desk, thing)(id_)
            for task in file.tasks:
                season.sign(Draft(TASK_DONE, {"task": task.id, thing: id_}, [mechanic, inspected]))
    parameters = read_parameters(logs / "calm.bin")
    baseline = baseline_draft(
        desk, "pannier", parameters, season.key("mechanic"), season.key("pilot")
    )
    season.sign(baseline)
    season.sign(_fitness(season, draft_fitness, "Winter inspection, all tasks done, weighed anew."))


def _fitness(season: Season, draft: Callable[..., Draft], work: str) -> Draft:
    until = season.desk.book.now() + timedelta(days=29)
    by = [season.key("observer")]
    return draft(season.desk, "pannier", work=work, until=until, by=by, landings=40)


# --- a day


def _live(season: Season, day: Day, logs: Path) -> str:
    """Go through a day: lists, load, weather, release, flight, lists."""
    from flightlog.importers import read
    from flightlog.operations.plan import Plan

    log = logs / day.file
    recording = read(log) if day.file else None
    begin = _morning(day.date)
    if recording is not None and recording.receipt.utc.unix_offset_s is not None:
        begin = datetime.fromtimestamp(recording.receipt.utc.unix_offset_s, UTC) - _BEFORE
    season.clock.now = begin.replace(microsecond=0)
    plan = Plan("pannier", day.pack, season.rules, season.site, purpose="trial flight")
    _prepare(season, day, plan)
    if recording is None or day.roll is None:
        return f"{day.date}  {_hold(season, plan)}"
    release = _release(season, day, plan, day.roll)
    season.clock.now += _BEFORE - (season.clock.now - begin)
    season.clock.on(recording.receipt.duration_s + 600)
    text = _fly(season, day, recording, log, release)
    return f"{day.date}  {text}"


def _prepare(season: Season, day: Day, plan: Plan) -> None:
    """Charge, change the pack, measure, load, and walk through the lists."""
    from flightlog.logbook.book import Draft
    from flightlog.logbook.canonical import quantity
    from flightlog.logbook.entry import Signer
    from flightlog.logbook.flying_kinds import CHARGE
    from flightlog.operations.baseline import note_parameters, read_parameters
    from flightlog.operations.load_sheet import sheet_draft
    from flightlog.operations.service import event_draft
    from flightlog.resources import data_path

    desk = season.desk
    if any(f.release is not None for f in _flown(desk)):
        _mend_fitness(season)
    battery = Signer(season.key("pilot"), "performed", "battery")
    volts = f"{25.05 + season.chance.uniform(0, 0.12):.2f}"
    charge = {
        "pack": day.pack,
        "voltage": quantity(volts, "V"),
        "charge": quantity(f"{season.chance.uniform(2.2, 3.1):.2f}", "Ah"),
    }
    season.sign(Draft(CHARGE, charge, [battery]))
    season.sign(event_draft(desk, "battery-change", aircraft="pannier", pack=day.pack))
    # As they stood in the autopilot that morning, saved by the ground station.
    told = read_parameters(data_path("sample_flights", "calm.bin"))
    note_parameters(desk, "pannier", type(told)(told.values, told.firmware, "bench"))
    _weather(season, day)
    engineer = Signer(season.key("mechanic"), "performed", "engineer")
    season.sign(sheet_draft(desk, "pannier", day.pack, day.units, [engineer]))
    _walk(season, "daily", plan)
    _walk(season, "pre-flight", plan)
    _weather(season, day)  # once more, right before the release


def _flown(desk: Desk) -> Sequence[Any]:
    from flightlog.operations.sorties import sorties

    return sorties(desk, "pannier")


def _mend_fitness(season: Season) -> None:
    """State fitness anew where what happened since then voided it."""
    from flightlog.operations.fitness import draft_fitness, fitness_state

    if not fitness_state(season.desk, "pannier").holds:
        season.sign(_fitness(season, draft_fitness, "After work and deferrals since the last one."))


def _weather(season: Season, day: Day) -> None:
    from flightlog.operations.weather import weather_draft

    mean, gust, origin = day.wind
    numbers = {
        "mast_height": "2",
        "averaged": "120",
        "wind_mean": mean,
        "wind_gust": gust,
        "wind_from": origin,
        "pressure": "1009.4",
        "temperature": day.temperature,
        "humidity": "62",
    }
    season.sign(weather_draft(season.site, "AM-1", numbers, season.key("mechanic")))


def _walk(season: Season, list_id: str, plan: Plan) -> None:
    """Walk through a list: first looks, then the second ones, each in its own turn."""
    from flightlog.operations.check_drafts import begun_draft, check_draft, for_person
    from flightlog.operations.checks import About, list_state

    desk, about = season.desk, About(plan.aircraft, plan.pack)
    begun = desk.append(begun_draft(desk, list_id, about))
    for name in ("mechanic", "pilot", "mechanic"):
        for item in for_person(desk, list_state(desk, list_id, about), season.key(name)):
            seconds = math.exp(season.chance.gauss(2.0, 0.5))
            answer = _answer(season, item, f"{seconds:.1f}")
            season.sign(check_draft(desk, begun, item.id, answer, season.key(name)), seconds)


def _answer(season: Season, item: Item, seconds: str) -> Any:
    """Draw what is measured: somewhere within the limits."""
    from flightlog.operations.check_drafts import Answer

    if item.kind == "choice":
        return Answer("", choice=item.passing[0], seconds=seconds)
    if item.kind != "measurement":
        return Answer("pass", seconds=seconds)
    low = item.at_least if item.at_least is not None else 0.1 * (item.at_most or 0.0)
    high = item.at_most if item.at_most is not None else 1.6 * low
    value = season.chance.uniform(low + 0.1 * (high - low), high - 0.1 * (high - low))
    digits = 3 if high - low < 0.1 else 2 if high - low < 3 else 0
    instrument = "MM-2" if item.instrument else ""
    return Answer("", value=f"{value:.{digits}f}", instrument=instrument, seconds=seconds)


def _hold(season: Season, plan: Plan) -> str:
    """Ask for a release on a day when it is held, and note why."""
    from flightlog.operations.all_conditions import conditions
    from flightlog.operations.release import draft_hold

    reasons = [c for c in conditions(season.desk, plan) if not c.holds]
    season.desk.append(draft_hold(plan.aircraft, reasons))
    return f"held: {reasons[0].name}: {reasons[0].says}"


def _release(season: Season, day: Day, plan: Plan, roll: tuple[str, str]) -> Entry:
    from flightlog.operations.expected import draft_expectation
    from flightlog.operations.release import draft_release

    desk = season.desk
    method = "last flights, corrected for mass and wind by hand"
    by = season.key("mechanic")
    expected = _card(season, day, plan)
    if expected is None:
        expected = draft_expectation(desk, "pannier", "takeoff.ground_roll", *roll, method, by)
    season.sign(expected)
    return season.sign(draft_release(desk, plan, season.key("pilot"), season.key("mechanic")))


def _card(season: Season, day: Day, plan: Plan) -> Draft | None:
    """Draft a flight card; None where the flights before say too little, or that it is too long."""
    from flightlog.errors import NotEnoughDataError
    from flightlog.operations.cards import draft_card
    from flightlog.operations.load_today import load_answer
    from flightlog.operations.point_files import chosen_points, find_points

    try:
        answer = load_answer(season.desk, plan, laps=_LAPS, most_units=day.units)
    except NotEnoughDataError:
        return None
    choice = answer.choice(day.units)
    if answer.withheld or choice is None or not answer.keeps(choice):
        return None
    points = chosen_points(find_points(_POINTS), [_POINT])
    by = {"computed_by": season.key("mechanic"), "accepted_by": season.key("pilot")}
    return draft_card(season.desk, answer, day.units, points, **by)


def _fly(season: Season, day: Day, recording: Any, log: Path, release: Entry) -> str:
    """After the landing: the log, what was called, the list, and what was found."""
    from flightlog.operations.calls import Call, draft_calls
    from flightlog.operations.checks import checklist_in_force
    from flightlog.operations.importing import Told, import_recording
    from flightlog.operations.plan import Plan
    from flightlog.operations.service import event_draft

    desk = season.desk
    if day.attempt:
        season.sign(event_draft(desk, "attempt", aircraft="pannier", text="throttle was late"))
    imported = import_recording(desk, recording, [log], Told("pannier"))
    answers = {
        item.id: Call(a.result, a.value, item.role)
        for item in checklist_in_force(desk, "calls").items
        for a in (_answer(season, item, "1"),)
    }
    season.sign(draft_calls(desk, release, answers, [season.key("pilot"), season.key("mechanic")]))
    _walk(season, "post-flight", Plan("pannier", day.pack))
    _card_done(season, release, imported.flights)
    text = f"{day.file}: {len(imported.flights)} flown, pack {day.pack}"
    if day.found:
        _put_off(season, day.found)
        text += f"; found: {day.found}, deferred"
    return text


def _card_done(season: Season, release: Entry, flights: Sequence[SortieRecord]) -> None:
    """Say what became of the points of the flight card, where there was one."""
    from flightlog.logbook.flying_kinds import FLIGHT_CARD, POINT_FLOWN
    from flightlog.operations.card_points import draft_done

    desk = season.desk
    cards = desk.ledger.named(release, kind=FLIGHT_CARD)
    if cards and flights:
        told = {_POINT: (POINT_FLOWN, "")}
        season.sign(draft_done(desk, cards[0], flights[0], told, season.key("pilot")))


def _put_off(season: Season, found: str) -> None:
    """Report a defect, and defer it."""
    from flightlog.logbook.entry import Signer
    from flightlog.operations.defects import defect_draft, deferral_draft

    desk = season.desk
    defect = season.sign(
        defect_draft(
            desk,
            part="bay hatch",
            group="payload",
            severity="deferrable",
            text=found,
            aircraft="pannier",
            signers=[Signer(season.key("mechanic"), "reported")],
        )
    )
    season.sign(
        deferral_draft(
            desk,
            defect,
            reason="the seal is on order",
            risk="water in the bay",
            limitation="not in rain, bay looked at after each flight",
            pilot=season.key("pilot"),
            safety=season.key("observer"),
            until=desk.book.now() + timedelta(days=28),
        )
    )
