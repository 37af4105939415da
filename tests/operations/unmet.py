"""One way for each condition of a release to be unmet, all others being met."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence

from flightlog.logbook.book import Draft, Logbook
from flightlog.logbook.entry import (
    CITES,
    CORRECTS,
    ENDS,
    PERMITS,
    Effect,
    Entry,
    Relation,
    Signer,
    write_utc,
)
from flightlog.operations.all_conditions import conditions, facts_of, rests_on
from flightlog.operations.baseline import Parameters
from flightlog.operations.check_drafts import begun_draft
from flightlog.operations.checks import About, checklist_in_force
from flightlog.operations.desk import Desk
from flightlog.operations.release_conditions import LASTS
from tests.logbook.made import public_of
from tests.operations.made import SAMPLES, HillFarm
from tests.operations.released import (
    PLAN,
    checked,
    expected,
    loaded,
    parameters_read,
    released,
    stated_fit,
    walked,
)


def corrected(farm: HillFarm, entry: Entry | None) -> None:
    """Have a person say that an entry was wrong; it is out of the reckoning then."""
    assert entry is not None
    farm.add(
        "correction",
        {"text": "entered by mistake"},
        ("pilot", "stated"),
        relations=[(CORRECTS, entry)],
    )


def _files(farm: HillFarm) -> None:
    place = farm.folder.path / "aircraft" / "pannier.toml"
    text = place.read_text(encoding="utf-8")
    place.write_text(text.replace("at_most = 24.0", "at_most = 30.0"), encoding="utf-8")


def _fitness(farm: HillFarm) -> None:
    stated_fit(farm, days=5 / 24 / 60)
    farm.clock.later(minutes=6)


def _daily_list(farm: HillFarm) -> None:
    farm.add("event", {"event": "storage", "aircraft": "pannier"})


def _flight_list(farm: HillFarm) -> None:
    check = farm.desk.ledger.last("check", item="papers-dates")
    corrected(farm, check)


def _event_lists(farm: HillFarm) -> None:
    farm.add("event", {"event": "transport", "aircraft": "pannier"})
    walked(farm, "daily", About("pannier"))
    walked(farm, "pre-flight", About("pannier", "pack-a"))


def _acceptances(farm: HillFarm) -> None:
    begun = farm.desk.append(begun_draft(farm.desk, "post-flight", About("pannier")))
    items = checklist_in_force(farm.desk, "post-flight").items
    item = next(i for i in items if i.kind == "check" and i.block == "blocks" and not i.second)
    checked(farm, begun, item, "fail")


DEFECT = {
    "aircraft": "pannier",
    "part": "hatch",
    "group": "payload",
    "severity": "deferrable",
    "text": "the latch is worn",
}


def _defects(farm: HillFarm) -> None:
    farm.add("defect", DEFECT)


def _deferrals(farm: HillFarm) -> None:
    defect = farm.add("defect", DEFECT)
    content = {
        "reason": "spare on order",
        "risk": "it may open",
        "limitation": "tape over it",
        "until": write_utc(farm.clock.later(minutes=5)),
    }
    signers = ("pilot", "accepted", "pilot"), ("mechanic", "accepted", "safety")
    farm.clock.later(minutes=-4)
    farm.add("deferral", content, *signers, relations=[(ENDS, defect)])
    farm.clock.later(minutes=9)


def _service(farm: HillFarm) -> None:
    stopped = farm.add(
        "out-of-service",
        {"pack": "pack-a", "reason": "dropped"},
        effect=("restricts", "pack:pack-a"),
    )
    signers = ("pilot", "released", "battery"), ("mechanic", "released", "mechanic")
    farm.add("return-to-service", {"text": "fine"}, *signers, relations=[(ENDS, stopped)])


def _inspections(farm: HillFarm) -> None:
    corrected(farm, farm.desk.ledger.last("task-done", task="linkages"))


def _life(farm: HillFarm) -> None:
    text = (SAMPLES / "pack_a.toml").read_text(encoding="utf-8")
    farm.enter("pack", "pack-a", text.replace("cycles = 200", "cycles = 20").encode())


def _pack(farm: HillFarm) -> None:
    corrected(farm, farm.desk.ledger.last("charge", pack="pack-a"))


def _weighing(farm: HillFarm) -> None:
    corrected(farm, farm.desk.ledger.last("weighing", aircraft="pannier"))


def _load(farm: HillFarm) -> None:
    loaded(farm, type(PLAN)("pannier", "pack-b"))
    expected(farm)


def _weather(farm: HillFarm) -> None:
    farm.clock.later(minutes=61)


def _limits(farm: HillFarm) -> None:
    expected(farm, value="39.0", std="2.0")


def _parameters(farm: HillFarm) -> None:
    parameters_read(farm, parameters=Parameters({"RATE_ROLL": 0.3}, "plane 4.5", "sample"))


def _no_open_release(farm: HillFarm) -> None:
    released(farm)


def _record(farm: HillFarm) -> None:
    """Put the folder back by one entry, which this laptop remembers."""
    root = farm.folder.path.parent
    shutil.copytree(farm.folder.path, root / "older")
    farm.add("remark", {"text": "the last one"})
    farm.book.close()
    shutil.rmtree(farm.folder.path)
    (root / "older").rename(farm.folder.path)
    farm.book = Logbook.open(farm.folder.logbook, profile=root / "profile", clock=farm.clock)
    farm.desk = Desk(farm.folder, farm.book, farm.desk.names)


UNMET: dict[str, Callable[[HillFarm], None]] = {
    "files": _files,
    "fitness": _fitness,
    "daily-list": _daily_list,
    "flight-list": _flight_list,
    "event-lists": _event_lists,
    "acceptances": _acceptances,
    "defects": _defects,
    "deferrals": _deferrals,
    "service": _service,
    "inspections": _inspections,
    "life": _life,
    "pack": _pack,
    "weighing": _weighing,
    "load": _load,
    "weather": _weather,
    "limits": _limits,
    "parameters": _parameters,
    "no-open-release": _no_open_release,
    "record": _record,
}
"""Name of a condition -> what makes it unmet."""
ALSO = {"weighing": {"load"}}
"""What can't be unmet alone: a load sheet starts from its weighing."""


def made_unmet(farm: HillFarm, name: str) -> None:
    UNMET[name](farm)
    farm.desk.refresh()


SIGNERS = (("pilot", "accepted", "pilot"), ("mechanic", "released", "safety"))


def forged(
    farm: HillFarm,
    *,
    leave_out: str = "",
    signers: Sequence[tuple[str, str, str]] = SIGNERS,
    **other: object,
) -> Entry:
    """Write a release as a program of somebody's own would: well signed, no condition asked.

    ``other`` stands in its content; what is None there is left out.
    """
    content = {
        **facts_of(farm.desk, PLAN),
        "landings": 1,
        "until": write_utc(farm.book.now() + LASTS),
        "conditions": [{"condition": "all", "says": "fine"}],
        **other,
    }
    cited = [e for e in rests_on(conditions(farm.desk, PLAN)) if e.body.kind != leave_out]
    draft = Draft(
        "release",
        {key: value for key, value in content.items() if value is not None},
        [Signer(public_of(s[0]), *s[1:]) for s in signers],
        relations=[Relation(CITES, e.hash) for e in cited],
        effect=Effect(PERMITS, "aircraft:pannier"),
    )
    return farm.sign(draft, *(s[0] for s in signers))
