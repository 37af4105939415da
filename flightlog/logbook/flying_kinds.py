"""The kinds of entries about aircraft, checks and flights: the form of each, and nothing else.

What they mean to the team is read out in ``team`` and ``operations``. Three things hold for all:

* what is said about an aircraft, a pack or a component names it by its id; the subject of an
  effect is ``aircraft:ID``, ``pack:ID`` or ``component:ID``;
* numbers that somebody read off are quantities, as decimal text with the unit of the field's
  instruments; whatever can be computed again from them is there for the reader's sake only;
* what an entry rests on it ``cites``: a release its fitness statement, lists, load sheet and
  weather; a check the list that it belongs to.
"""

from __future__ import annotations

from flightlog.logbook.entry import CITES, ENDS, INSPECTS
from flightlog.logbook.forms import (
    Field,
    Kind,
    flag,
    hexed,
    ident,
    integer,
    listed,
    moment,
    optional,
    quantity,
    records,
    text,
    word,
)

FILE_VERSION = "file-version"
BASELINE = "baseline"
PARAMETERS_READ = "parameters-read"
WEIGHING = "weighing"
WEATHER = "weather"
LOAD_SHEET = "load-sheet"
LIST_BEGUN = "list-begun"
CHECK = "check"
ACCEPTANCE = "acceptance"
HOLD = "hold"
EVENT = "event"
DEFECT = "defect"
DEFERRAL = "deferral"
RECTIFICATION = "rectification"
INSPECTION = "inspection"
DEFECT_CLOSED = "defect-closed"
FITTING = "fitting"
TASK_DONE = "task-done"
CHARGE = "charge"
OUT_OF_SERVICE = "out-of-service"
RETURN_TO_SERVICE = "return-to-service"
EXPECTATION = "expectation"
FLIGHT_CARD = "flight-card"
FLIGHT_CARD_DONE = "flight-card-done"
FITNESS = "fitness"
RELEASE = "release"
RELEASE_WITHDRAWN = "release-withdrawn"
CALLS = "calls"
RECORDING = "recording"
SORTIE = "sortie"
PAIRING = "pairing"
MEASUREMENT = "measurement"
INCIDENT = "incident"
CLAUSE_EVIDENCE = "clause-evidence"
GROUND_TEST = "ground-test"
COPY = "copy"

FILE_KINDS = ("aircraft", "pack", "component", "site", "rules", "checklist", "meter")
"""Kinds of team files whose versions the record holds."""

PASS, FAIL, NOT_APPLICABLE, DEFERRED = "pass", "fail", "not-applicable", "deferred"
RESULTS = (PASS, FAIL, NOT_APPLICABLE, DEFERRED)

BLOCKING, DEFERRABLE, COSMETIC = "blocking", "deferrable", "cosmetic"
SEVERITIES = (BLOCKING, DEFERRABLE, COSMETIC)

GROUPS = (
    "flight-controls",
    "primary-structure",
    "propulsion-mounting",
    "radio-fail-safe",
    "propulsion",
    "battery",
    "landing-gear",
    "payload",
    "avionics",
    "other",
)
"""What a component belongs to; a defect of one of the first four is never deferred."""
NEVER_DEFERRED = GROUPS[:4]

GROUND_TESTS = ("thrust", "discharge", "ringdown", "stiffness", "weighing", "linkage")
"""Kinds of tests on the ground."""
MOST_GROUND_FIGURES = 64
"""Figures of one ground test that stand in its entry; the attached result holds all."""


def _short(label: str = "") -> Field:
    return text(label, most=200)


MOST_POINTS = 40
"""Test points of one flight card."""
POINT_FLOWN, POINT_AGAIN, POINT_DROPPED = "flown", "to-repeat", "dropped"
"""What became of a test point."""

_ABOUT = {
    "aircraft": optional(ident()),
    "pack": optional(ident()),
    "component": optional(ident()),
}
"""What an entry is about: one or more of these."""

FLYING_KINDS: tuple[Kind, ...] = (
    Kind(
        FILE_VERSION,
        "Version of a team file",
        content={
            "kind": word(*FILE_KINDS),
            "id": ident(),
            "sha256": hexed(),
            "before": optional(hexed(label="the version before, by its SHA-256")),
            "limit_changed": flag("a limit differs from the version before"),
            "changes": records(
                {"key": _short(), "before": optional(_short()), "after": optional(_short())},
                least=0,
                most=200,
            ),
        },
        meanings=("entered", "agreed"),
        signers=1,
        note="A file that the team edits enters the record by its content, which is attached.",
    ),
    Kind(
        BASELINE,
        "Parameter baseline",
        content={
            "aircraft": ident(),
            "firmware": _short(),
            "parameters": hexed(label="SHA-256 of the attached parameters"),
            "count": integer(),
        },
        meanings=("performed", "inspected"),
        signers=2,
        note="Firmware and parameters with which the aircraft is released, attached as a list.",
    ),
    Kind(
        PARAMETERS_READ,
        "Parameters read",
        content={
            "aircraft": ident(),
            "firmware": optional(_short()),
            "parameters": hexed(label="SHA-256 of the attached parameters"),
            "count": integer(),
            "source": _short(),
            "at": optional(moment("when they stood in the autopilot, by its log")),
        },
        note="What stood in the autopilot, read from a log or a parameter file.",
    ),
    Kind(
        WEIGHING,
        "Weighing",
        content={
            "aircraft": ident(),
            "configuration": _short(),
            "state": _short("what was on board, and how the aircraft stood"),
            "instrument": _short(),
            "scales": records(
                {
                    "name": _short(),
                    "arm": quantity("m"),
                    "side": quantity("m"),
                    "reading": quantity("kg"),
                },
                "scales, each with its place: aft of the datum, to the right",
                least=2,
                most=16,
                repeats=True,
            ),
            "reading_std": quantity("kg"),
            "arm_std": quantity("m"),
            "with_pack": optional(ident("the pack that was on board, at its mark")),
            "pack_mass": optional(quantity("kg", "of that pack")),
        },
        meanings=("performed", "inspected"),
        signers=1,
        note="The empty aircraft on scales; the same scale may be read more than once.",
    ),
    Kind(
        WEATHER,
        "Weather",
        content={
            "place": _short(),
            "mast_height": quantity("m"),
            "instrument": _short(),
            "source": word("read-off", "meter-file"),
            "averaged": optional(quantity("s")),
            "wind_mean": quantity("m/s"),
            "wind_gust": quantity("m/s"),
            "wind_from": quantity("deg"),
            "pressure": quantity("hPa"),
            "temperature": quantity("°C"),
            "humidity": quantity("%"),
        },
        meanings=("measured",),
        signers=1,
        note="Wind and air as somebody measured them; the time is that of the entry, or earlier "
        "where it says so.",
    ),
    Kind(
        LOAD_SHEET,
        "Load sheet",
        content={
            "aircraft": ident(),
            "configuration": _short(),
            "aircraft_file": hexed(),
            "pack": ident(),
            "units": integer("payload units", most=10_000),
            "items": records(
                {
                    "item": _short(),
                    "count": integer(least=1, most=10_000),
                    "mass": quantity("kg", "mass of one"),
                    "mass_std": quantity("kg"),
                    "station": _short(),
                },
                least=0,
                most=64,
            ),
            "mass": quantity("kg"),
            "mass_std": quantity("kg"),
            "arm": quantity("m", "aft of the datum"),
            "arm_std": quantity("m"),
            "balance": quantity("%", "of the mean aerodynamic chord"),
            "balance_std": quantity("%"),
            "inside": flag("the worst corner lies within the envelope"),
        },
        meanings=("performed", "inspected"),
        signers=1,
        relation=CITES,
        note="What is on board and where; cites the weighing that it starts from.",
    ),
    Kind(
        LIST_BEGUN,
        "Check list begun",
        content={
            "list": ident(),
            "checklist": hexed(label="SHA-256 of the version of the list"),
            **_ABOUT,
            "configuration": optional(_short()),
            "source": word("screen", "paper"),
        },
        meanings=(),
        note="A check list is taken in hand; checks cite it.",
    ),
    Kind(
        CHECK,
        "Check",
        content={
            "item": ident(),
            "result": word(*RESULTS),
            "value": optional(quantity()),
            "choice": optional(_short()),
            "instrument": optional(_short()),
            "reason": optional(text()),
            "remark": optional(text()),
            "seconds": optional(quantity("s", "time that the item was before the person")),
        },
        meanings=("performed", "inspected"),
        signers=1,
        relation=CITES,
        note="One item of a list, by one person; an independent one inspects the check before it.",
    ),
    Kind(
        ACCEPTANCE,
        "Acceptance of a failed item",
        content={"reason": text()},
        meanings=("accepted",),
        signers=2,
        relation=CITES,
        note="Pilot and safety officer fly with an item that failed, where its list allows that.",
    ),
    Kind(
        HOLD,
        "Held",
        content={
            "aircraft": ident(),
            "reasons": records({"condition": word(), "says": text()}, most=40),
        },
        note="A flight was not released; what did not hold.",
    ),
    Kind(
        EVENT,
        "Event",
        content={"event": word(), **_ABOUT, "text": optional(text())},
        note="Something that reopens checks: a battery change, a hard landing, transport, rain.",
    ),
    Kind(
        DEFECT,
        "Defect",
        content={
            **_ABOUT,
            "part": _short(),
            "group": word(*GROUPS),
            "severity": word(*SEVERITIES),
            "text": text(),
        },
        note="Something is not as it should be; blocking and deferrable ones restrict.",
    ),
    Kind(
        DEFERRAL,
        "Deferral",
        content={
            "reason": text(),
            "risk": text("what can come of it"),
            "limitation": text(),
            "until": optional(moment()),
            "flights": optional(integer(least=1, most=1000)),
        },
        meanings=("accepted",),
        signers=2,
        relation=ENDS,
        note="A deferrable defect is flown with, within a limitation, until a date or for flights.",
    ),
    Kind(
        RECTIFICATION,
        "Rectification",
        content={
            "action": text(),
            "parts": optional(text("parts and batch")),
            "data": optional(text("drawing, instruction or data used")),
        },
        meanings=("performed",),
        signers=1,
        relation=CITES,
        note="What was done about a defect.",
    ),
    Kind(
        INSPECTION,
        "Independent inspection",
        content={"result": word(PASS, FAIL), "text": text()},
        meanings=("inspected",),
        signers=1,
        relation=INSPECTS,
        note="Somebody who did not do the work looks at it afresh.",
    ),
    Kind(
        DEFECT_CLOSED,
        "Closing of a defect",
        content={"text": text()},
        meanings=("closed",),
        signers=1,
        relation=ENDS,
        note="A defect is put right; cites the rectification, and its inspection where needed.",
    ),
    Kind(
        FITTING,
        "Fitting",
        content={
            "component": ident(),
            "aircraft": ident(),
            "position": _short(),
            "done": word("fitted", "removed"),
        },
        meanings=("performed", "inspected"),
        signers=1,
        note="A component goes into an aircraft or out of it; its hours go with it.",
    ),
    Kind(
        TASK_DONE,
        "Periodic task done",
        content={"task": ident(), **_ABOUT, "text": optional(text())},
        meanings=("performed", "inspected"),
        signers=1,
        note="An inspection that comes back by hours, landings, cycles or days was done.",
    ),
    Kind(
        CHARGE,
        "Charge",
        content={
            "pack": ident(),
            "charge": optional(quantity("Ah", "put back by the charger")),
            "voltage": quantity("V"),
            "spread": optional(quantity("V", "between the cells")),
            "resistance": optional(quantity("ohm")),
            "temperature": optional(quantity("°C")),
        },
        meanings=("performed",),
        signers=1,
        note="A pack was charged; the charge is what the charger put back.",
    ),
    Kind(
        OUT_OF_SERVICE,
        "Out of service",
        content={**_ABOUT, "reason": text()},
        note="It is not to be used; the effect restricts.",
    ),
    Kind(
        RETURN_TO_SERVICE,
        "Return to service",
        content={"text": text()},
        meanings=("released",),
        signers=2,
        relation=ENDS,
        note="What an event or an incident stopped may be used again.",
    ),
    Kind(
        EXPECTATION,
        "Expected figure",
        content={
            "aircraft": ident(),
            "figure": ident(),
            "value": quantity(),
            "std": quantity(),
            "method": text(),
        },
        meanings=("computed",),
        signers=1,
        note="What is expected of the next flight, for a limit that is judged before it.",
    ),
    Kind(
        FLIGHT_CARD,
        "Flight card",
        content={
            "aircraft": ident(),
            "pack": ident(),
            "rules": optional(ident()),
            "site": optional(ident()),
            "units": integer("payload units", most=10_000),
            "mass": quantity("kg", "take-off mass"),
            "headwind": quantity("m/s", "along the runway, negative for a tailwind"),
            "density": quantity("kg/m³", "of the air"),
            "roll": quantity("m", "ground roll, median"),
            "roll_low": quantity("m", "lower end of the central 95 %"),
            "roll_high": quantity("m", "upper end of the central 95 %"),
            "bound": quantity("m", "roll that is not exceeded with the probability needed"),
            "needed": quantity("", "probability that the limit asks for before the flight"),
            "quantiles": text("of the roll: probability=metres, with a space between"),
            "limits": records(
                {
                    "limit": _short(),
                    "at_most": quantity("m"),
                    "required": quantity(),
                    "probability": quantity(),
                },
                "limits on the ground roll, and the probability that each holds",
                least=0,
                most=4,
            ),
            "pack_state": optional(_short("how full the pack was taken to be, and by what")),
            "fails": optional(
                records(
                    {"what": _short(), "says": text(most=400)},
                    "what else binds and does not hold with this load",
                    least=0,
                    most=10,
                )
            ),
            "judged_longer": optional(quantity("m", "by which tape or judge read a roll longer")),
            "abort": optional(quantity("m", "from the start line; not airborne there: give up")),
            "climb": optional(quantity("m/s", "best climb, median")),
            "climb_low": optional(quantity("m/s", "lower end of the central 95 %")),
            "climb_high": optional(quantity("m/s", "upper end of the central 95 %")),
            "laps": optional(integer("planned", most=10_000)),
            "energy": optional(quantity("Wh", "of the planned laps, expected")),
            "energy_bound": optional(quantity("Wh", "95 of 100 such flights need at most this")),
            "model": _short("what predicted, and from how many flights"),
            "beyond": optional(text("what was not flown yet, and asks for a build-up")),
            "test_card": optional(_short("from which file the test points come")),
            "points": records(
                {
                    "point": _short(),
                    "setup": text(most=1000),
                    "measure": text(most=1000),
                    "stop": text(most=1000),
                },
                "test points: what to fly, what to measure, when to stop",
                least=0,
                most=MOST_POINTS,
            ),
        },
        meanings=("computed", "accepted"),
        signers=2,
        relation=CITES,
        note="What is expected of one flight, before it, and its test points; cites the load "
        "sheet and the weather that it rests on.",
    ),
    Kind(
        FLIGHT_CARD_DONE,
        "Flight card done",
        content={
            "points": records(
                {
                    "point": _short(),
                    "result": word(POINT_FLOWN, POINT_AGAIN, POINT_DROPPED),
                    "text": optional(text(most=1000)),
                },
                least=0,
                most=MOST_POINTS,
            ),
            "text": optional(text()),
        },
        meanings=("stated",),
        signers=1,
        relation=CITES,
        note="What became of the test points of a flight card; cites the card and the sortie.",
    ),
    Kind(
        FITNESS,
        "Fitness statement",
        content={
            "aircraft": ident(),
            "configuration": _short(),
            "aircraft_file": hexed(),
            "work": text("work and inspection that it follows"),
            "deferrals": optional(text("open deferrals")),
            "statement": optional(text("what is stated, in full", most=12_000)),
            "until": moment(),
            "hours": optional(quantity("h", "flight hours from now")),
            "landings": optional(integer("landings from now", least=1, most=100_000)),
        },
        meanings=("released",),
        signers=1,
        note="This aircraft, in this configuration, is fit for flight until it ends or is void.",
    ),
    Kind(
        RELEASE,
        "Release for one flight",
        content={
            "aircraft": ident(),
            "configuration": _short(),
            "aircraft_file": hexed(),
            "rules": optional(hexed()),
            "site": optional(ident()),
            "pack": ident(),
            "mass": quantity("kg"),
            "units": integer(most=10_000),
            "landings": integer("landings declared", least=1, most=100),
            "until": moment(),
            "purpose": optional(text()),
            "conditions": records({"condition": word(), "says": text()}, most=40),
        },
        meanings=("accepted", "released"),
        signers=2,
        relation=CITES,
        note="For one flight: every condition held when it was signed.",
    ),
    Kind(
        RELEASE_WITHDRAWN,
        "Withdrawal of a release",
        content={"reason": text()},
        meanings=("withdrawn",),
        signers=1,
        relation=ENDS,
        note="A release is taken back; any person of the team may do that.",
    ),
    Kind(
        CALLS,
        "Calls",
        content={
            "checklist": hexed(),
            "items": records(
                {
                    "item": ident(),
                    "result": word(PASS, FAIL, NOT_APPLICABLE),
                    "value": optional(quantity()),
                    "role": word(),
                    "reason": optional(text()),
                },
                most=64,
            ),
        },
        meanings=("spoken",),
        signers=1,
        relation=CITES,
        note="Pre-arm and take-off calls, spoken after the release, written down after landing.",
    ),
    Kind(
        RECORDING,
        "Recording",
        content={
            "file": text(most=255),
            "sha256": hexed(),
            "format": _short(),
            "analyses": integer("version of the analyses"),
            "reading": optional(
                integer("version of the importers; the first where it is not said")
            ),
            "sorties": integer(most=10_000),
            "attempts": integer(most=10_000),
            "aircraft": optional(ident()),
            "autopilot": optional(_short()),
            "start": optional(moment("first row, by the log's own UTC")),
            "clock": optional(_short()),
            "clock_std": optional(quantity("s", "standard uncertainty of the log's UTC")),
            "clocks_apart": optional(quantity("s", "allowed between the log's and a laptop's")),
            "tables": optional(hexed(label="name of the tables that it was debriefed from")),
            "changed": optional(integer("what is not as the debrief before had it")),
            "changes": optional(listed(_short(), "what changed, the first of it", most=24)),
        },
        note="A log file, kept by its hash; the debrief is attached. One of the same log that came "
        "later is its debrief computed anew.",
    ),
    Kind(
        SORTIE,
        "Sortie",
        content={
            "aircraft": optional(ident()),
            "number": integer("of the recording", least=1, most=10_000),
            "source": word("log", "hand"),
            "start": optional(moment()),
            "liftoff": optional(moment()),
            "touchdown": optional(moment()),
            "flown": optional(quantity("s", "lift-off to touchdown")),
            "landings": integer(most=1000),
            "attempts": integer("rolls given up before it", most=1000),
            "pack": optional(ident()),
            "paired": _short("how its release was found, or why there is none"),
            "text": optional(text()),
        },
        note="A flight; spends the release under which it was flown, where there was one.",
    ),
    Kind(
        PAIRING,
        "Pairing",
        content={
            "aircraft": optional(ident()),
            "pack": optional(ident()),
            "without_release": optional(flag()),
            "reason": text(),
        },
        meanings=("stated",),
        signers=1,
        relation=CITES,
        note="A person says to which aircraft, pack or release a flight belongs.",
    ),
    Kind(
        MEASUREMENT,
        "Independent measurement",
        content={
            "figure": ident(),
            "value": quantity(),
            "std": optional(quantity()),
            "method": _short(),
            "lap": optional(integer(least=1, most=10_000)),
        },
        meanings=("measured",),
        signers=1,
        relation=CITES,
        note="A tape, a judge or an official clock said it; stands beside the figure of the log.",
    ),
    Kind(
        INCIDENT,
        "Incident",
        content={
            "aircraft": optional(ident()),
            "packs": listed(ident(), least=0),
            "at": optional(moment()),
            "place": optional(_short()),
            "facts": text("what was seen, without causes"),
        },
        note="Something went wrong; all sources are attached as they were found.",
    ),
    Kind(
        CLAUSE_EVIDENCE,
        "Evidence for a clause",
        content={
            "rules": ident(),
            "rules_file": hexed(),
            "clause": _short(),
            "aircraft": ident(),
            "how": word("measured", "declared", "tested", "photo"),
            "state": word("shown", "not-shown"),
            "text": text(),
        },
        meanings=("stated", "inspected"),
        signers=1,
        note="How a clause of the rule book is shown, by whom, and where the evidence is.",
    ),
    Kind(
        GROUND_TEST,
        "Ground test",
        content={
            "test": word(*GROUND_TESTS),
            **_ABOUT,
            "serial": optional(_short("of what was tested, by its file in force")),
            "part": optional(_short("what of it")),
            "configuration": optional(_short()),
            "instrument": optional(_short()),
            "files": records(
                {"file": text(most=255), "sha256": hexed()}, "files from the bench", most=40
            ),
            "bench": optional(hexed(label="SHA-256 of the attached bench file")),
            "result": hexed(label="SHA-256 of the attached result"),
            "reductions": integer("version of the reductions"),
            "figures": records(
                {
                    "figure": ident(),
                    "value": quantity(),
                    "low": quantity(label="lower end of the 95 % interval"),
                    "high": quantity(label="upper end of it"),
                },
                least=0,
                most=MOST_GROUND_FIGURES,
            ),
            "limits": records(
                {"limit": ident(), "outcome": word()},
                "limits of the bench file, and whether they were met",
                least=0,
                most=MOST_GROUND_FIGURES,
            ),
            "text": optional(text()),
        },
        meanings=("performed", "inspected"),
        signers=1,
        note="Something was measured on the bench; its files, bench file and result are attached, "
        "and it cites the earlier test that it was compared with.",
    ),
    Kind(
        COPY,
        "Second copy",
        content={
            "to": _short(),
            "entries": integer(),
            "files": integer(),
            "head": hexed(),
        },
        note="The team folder was copied and the copy verified.",
    ),
)
