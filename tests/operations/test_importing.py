from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

import flightlog
import flightlog.importers
from flightlog.errors import LogbookError, LogFileError, NotWritableError, UsageError
from flightlog.findings import make_finding
from flightlog.logbook.entry import CITES, SPENDS
from flightlog.operations.importing import (
    Told,
    decoded_of,
    finish,
    flights_of_recording,
    import_recording,
    recording_with,
)
from flightlog.operations.season_import import SeasonImport
from flightlog.operations.sortie_drafts import enter_sorties
from flightlog.operations.sorties import recording_debrief, sorties
from flightlog.recording import Partner, Recording
from tests.operations.logs import (
    imported,
    load_sheet,
    recording,
    release,
    stored_debrief,
    weather,
)
from tests.operations.made import FILES, MORNING, SAMPLES
from tests.operations.remembered import remembered

__all__ = ["remembered"]  # a fixture

CALM_BEGAN = datetime(2027, 3, 15, 9, 14, 23, tzinfo=UTC)
"""Start of roll of the calm flight, by its truth file: 49.9 s after the zero of its clock."""


def taken(farm, name, told=None, files=None):
    """Import one of the sample logs."""
    log = SAMPLES / name
    return import_recording(farm.desk, flightlog.read(log), files or [log], told)


def released_for(farm, began, **more):
    farm.clock.now = began - timedelta(minutes=20)
    cites = load_sheet(farm), weather(farm)
    return release(farm, began - timedelta(minutes=10), cites=cites, **more)


def test_a_log_is_kept_debriefed_with_what_it_was_released_with_and_spends_its_release(farm):
    signed = released_for(farm, CALM_BEGAN)
    text = FILES["aircraft", "pannier"].read_text(encoding="utf-8")
    farm.enter("aircraft", "pannier", text.replace("at_most = 24.0", "at_most = 12.0").encode())

    done = taken(farm, "calm.bin")

    said = done.recording.body.content
    assert ("pannier", "Pannier PN-01") == (said["aircraft"], said["autopilot"])
    raw = done.recording.body.attachments[0]
    assert (SAMPLES / "calm.bin").read_bytes() == farm.book.attachments.path(
        raw.sha256
    ).read_bytes()
    (flight,) = done.flights
    assert signed == flight.release
    assert (signed.hash,) == flight.entry.body.related(SPENDS)
    assert not farm.desk.ledger.standing.permit(signed).holds
    assert abs(flight.start - CALM_BEGAN) <= timedelta(seconds=1)
    assert ("pack-a", 1, 0) == (flight.pack, flight.landings, flight.attempts)

    stored = recording_debrief(farm.desk, done.recording)
    inputs = stored["inputs"]
    assert 8.0 == inputs["mass"]["value"]
    assert inputs["mass"]["source"].startswith("load sheet ")
    assert 8 == inputs["payload_units"]
    assert "top-field" == inputs["site"]["id"]
    assert "club-trial-2027" == inputs["rules"]["id"]
    assert 3.3 == inputs["weather"]["wind_speed"]["value"]
    # Old releases keep old limits: 24 m/s was in force when it was signed, 12 m/s is now.
    bounds = {o["figure"]: o["bound"]["value"] for o in stored["sorties"][0]["outcomes"]
              if o["kind"] == "aircraft"}  # fmt: skip
    assert 24.0 == bounds["flight.max_airspeed"]
    # The pack that was released is judged too.
    assert "pack-a" == inputs["pack"]["id"]
    assert 0.045 == bounds["battery.resistance"]


def test_without_a_release_nothing_but_the_aircraft_is_taken(farm):
    farm.clock.now = CALM_BEGAN + timedelta(minutes=30)

    done = taken(farm, "calm.bin")

    (flight,) = done.flights
    assert flight.release is None
    assert () == flight.entry.body.related(SPENDS)
    inputs = recording_debrief(farm.desk, done.recording)["inputs"]
    assert "pannier" == inputs["aircraft"]["id"]
    assert not any(inputs[key] for key in ("site", "rules", "mass", "weather", "payload_units"))


def test_of_two_flights_in_one_log_the_second_has_no_release_and_is_judged_without_its_load(farm):
    released_for(farm, datetime(2027, 3, 19, 9, 14, 23, tzinfo=UTC))

    first, second = taken(farm, "two_flights.bin").flights

    assert first.release is not None
    assert second.release is None
    assert "is for one flight" in second.paired
    stored = recording_debrief(farm.desk, first.recording)
    assert 8.0 == stored["inputs"]["mass"]["value"]
    assert "inputs" not in stored["sorties"][0]
    assert stored["sorties"][1]["inputs"]["mass"] is None
    assert "mass.takeoff" not in stored["sorties"][1]["figures"]


def test_a_roll_that_was_given_up_is_an_event_of_the_device_and_spends_nothing_by_itself(farm):
    done = taken(farm, "attempt_then_takeoff.bin")

    (event,) = farm.desk.ledger.of("event", event="attempt", aircraft="pannier")
    assert () == event.body.signers
    assert (done.recording.hash,) == event.body.related(CITES)
    assert "2027-03-18T09:14:2" in event.body.content["text"]
    assert 1 == done.flights[0].attempts
    assert () == finish(farm.desk, done.recording).added


def test_whose_log_it_is_is_asked_for_and_nothing_is_entered_or_kept(farm):
    text = FILES["aircraft", "pannier"].read_text(encoding="utf-8")
    farm.enter("aircraft", "pannier", text.replace("Pannier PN-01", "Pannier PN-02").encode())
    before = len(farm.book.order), sorted(farm.book.attachments.folder.rglob("*"))

    with pytest.raises(UsageError, match=r"--aircraft ID, one of: pannier \(Pannier PN-02\)"):
        taken(farm, "calm_transmitter.csv")
    assert before == (len(farm.book.order), sorted(farm.book.attachments.folder.rglob("*")))


def test_a_log_without_utc_goes_by_order_of_import_and_says_so(farm):
    signed = released_for(farm, CALM_BEGAN)

    done = taken(farm, "calm_transmitter.csv", Told(aircraft="pannier"))

    assert signed == done.flights[0].release
    assert "local time of an unknown zone" in done.flights[0].paired
    assert done.flights[0].start is None


def test_what_is_kept_has_to_be_what_was_read(farm, tmp_path):
    log = tmp_path / "calm.bin"
    shutil.copyfile(SAMPLES / "calm.bin", log)
    read = flightlog.read(log)
    log.write_bytes(log.read_bytes()[:-1000])

    with pytest.raises(LogFileError, match="changed while it was read"):
        import_recording(farm.desk, read, [log])
    assert () == farm.desk.ledger.of("recording")


# --- which tables are noted as those of a log


def test_what_was_imported_alone_is_not_read_again_beside_others(farm, tmp_path, monkeypatch):
    farm.clock.later(days=60)
    names = ["headwind.bin", "position_1hz_only.bin"]
    logs = [tmp_path / name for name in names]
    for log in logs:
        shutil.copyfile(SAMPLES / log.name, log)
    import_recording(farm.desk, flightlog.read(logs[0]), [logs[0]], Told("pannier"))
    read, seen = flightlog.importers.read, []

    def reading(path, **how):
        seen.append(path.name)
        return read(path, **how)

    monkeypatch.setattr(flightlog.importers, "read", reading)

    known, new = SeasonImport(farm.desk, Told("pannier")).take(logs)

    assert (True, False) == (known.known, new.known)
    assert names[1:] == seen


@pytest.mark.parametrize(
    "partner", ["calm_transmitter.csv", "headwind.bin"], ids=["joined", "of another flight"]
)
def test_tables_of_logs_that_were_joined_are_no_logs_own(farm, partner):
    farm.clock.later(days=60)
    logs = [SAMPLES / "calm.bin", SAMPLES / partner]
    joined, *alone = flightlog.join(map(flightlog.read, logs))
    files = logs[: len(logs) - len(alone)]

    import_recording(farm.desk, joined, files, Told("pannier"))

    name = decoded_of(farm.desk).name_of(joined.receipt.sha256)
    assert bool(name) == bool(alone)


@pytest.mark.parametrize("by", ["finding", "partner"])
def test_tables_of_a_log_that_gained_or_lost_by_another_one_are_not_its_own(farm, remembered, by):
    """A log of which a part is told elsewhere has no partner, and yet is not as it was read."""
    farm.clock.later(days=60)
    log = SAMPLES / "headwind.bin"
    read = flightlog.read(log)
    told = make_finding("partner-recording", "What it holds from 1 s to 2 s is left out here.")
    partner = Partner("b.csv", "12" * 32, "transmitter", 33.0, 0.3, "speed", ("battery",))
    findings = (*read.findings, told) if by == "finding" else read.findings
    partners = (partner,) if by == "partner" else ()
    receipt = replace(read.receipt, partners=partners)

    part = Recording({n: read[n] for n in read}, receipt, findings=findings)
    import_recording(farm.desk, part, [log], Told("pannier"))

    assert "" == decoded_of(farm.desk).name_of(read.receipt.sha256)


# --- interrupted, and twice; with debriefs that are made up


class _Full:
    """A disk that is full after so many entries."""

    def __init__(self, desk, entries):
        self.desk, self.left, self.append = desk, entries, desk.append

    def __call__(self, draft, *more, **named):
        if not self.left:
            raise NotWritableError("the disk is full")
        self.left -= 1
        return self.append(draft, *more, **named)


@pytest.mark.parametrize("entries", [0, 1, 2])
def test_what_an_interruption_left_out_is_entered_by_the_next_import(farm, monkeypatch, entries):
    body = stored_debrief(MORNING, sorties=2, attempts=1, each={"outcomes": [OVERSPEED]})
    entry = recording(farm, body)
    with monkeypatch.context() as patch:
        patch.setattr(farm.desk, "append", _Full(farm.desk, entries))
        with pytest.raises(NotWritableError):
            finish(farm.desk, entry)

    added = finish(farm.desk, entry).added

    # Two sorties, one attempt, two flights that were too fast.
    assert 5 - entries == len(added)
    assert [1, 2] == [f.number for f in sorties(farm.desk)]
    assert () == finish(farm.desk, entry).added


OVERSPEED = {
    "limit": "airspeed",
    "kind": "aircraft",
    "figure": "flight.max_airspeed",
    "value": 26.0,
    "unit": "m/s",
    "outcome": "not met",
    "bound": {"op": "<=", "value": 24.0, "unit": "m/s"},
}


def test_a_limit_of_the_aircraft_that_was_surely_exceeded_grounds_it_after_the_flight(farm):
    signed = release(farm, MORNING + timedelta(hours=1))
    (flight,) = imported(farm, MORNING + timedelta(hours=2), each={"outcomes": [OVERSPEED]})

    (event,) = farm.desk.ledger.of("event", event="overspeed")
    assert (event,) == farm.desk.ledger.standing.open_restrictions("aircraft:pannier")
    assert (
        "flight.max_airspeed was 26 m/s, the aircraft's limit is <= 24 m/s"
        in (event.body.content["text"])
    )
    # The flight came first: its release held when it was spent.
    assert farm.desk.ledger.has_seen(event, flight.entry)
    assert signed == flight.release
    assert () == farm.desk.ledger.standing.contradictions


@pytest.mark.parametrize("word", ["met", "not shown", "not assessable"])
def test_a_limit_that_was_not_surely_exceeded_grounds_nothing(farm, word):
    imported(farm, MORNING, each={"outcomes": [{**OVERSPEED, "outcome": word}]})

    assert () == farm.desk.ledger.of("event")


RESISTANCE = {
    "limit": "battery.resistance",
    "kind": "aircraft",
    "source": 'pack file pack-a: [limits] "battery.resistance"',
    "figure": "battery.resistance",
    "value": 0.051,
    "unit": "ohm",
    "outcome": "not met",
    "bound": {"op": "<=", "value": 0.045, "unit": "ohm"},
}


def test_a_pack_beyond_a_limit_of_its_own_is_grounded_and_not_the_aircraft(farm):
    release(farm, MORNING + timedelta(hours=1))
    imported(farm, MORNING + timedelta(hours=2), each={"outcomes": [RESISTANCE]})

    (event,) = farm.desk.ledger.of("event", event="pack-limit")
    assert (event,) == farm.desk.ledger.standing.open_restrictions("pack:pack-a")
    assert () == farm.desk.ledger.standing.open_restrictions("aircraft:pannier")
    assert "the pack's limit is <= 0.045 ohm" in event.body.content["text"]


def test_what_an_old_debrief_holds_of_wear_is_no_event(farm):
    held = {"outcomes": [RESISTANCE, OVERSPEED], "findings": [fault("surface-sense")]}
    body = stored_debrief(MORNING, each=held)
    body["tool"]["analyses"] = 3
    farm.clock.now = MORNING + timedelta(hours=1)

    finish(farm.desk, recording(farm, body))

    assert ["overspeed"] == [e.body.content["event"] for e in farm.desk.ledger.of("event")]


@pytest.mark.parametrize("change", [{"source": "aircraft file"}, {"figure": "battery.sag"}])
def test_a_limit_of_the_aircrafts_file_grounds_no_pack(farm, change):
    own = {**RESISTANCE, **change}
    release(farm, MORNING + timedelta(hours=1))
    imported(farm, MORNING + timedelta(hours=2), each={"outcomes": [own]})

    grounded = farm.desk.ledger.standing.open_restrictions("pack:pack-a")
    assert bool(grounded) == ("pack file" in own["source"])


def test_a_pack_that_nobody_knows_is_not_grounded_nor_its_aircraft(farm):
    imported(farm, MORNING, each={"findings": [fault("cell-low")]})

    assert () == farm.desk.ledger.of("event")


def test_one_hard_landing_in_two_logs_is_one_event(farm):
    hard = {"findings": [fault("hard-landing")]}
    imported(farm, MORNING, each=hard)
    (flight,) = imported(farm, MORNING, each=hard, file="radio.tlog")

    assert flight.others, "two logs of one flight"
    assert 1 == len(farm.desk.ledger.of("event", event="hard-landing"))


def fault(code: str) -> dict[str, object]:
    return {"code": code, "severity": "note", "message": "It was seen.", "affects": []}


@pytest.mark.parametrize(
    ("code", "word", "grounded"),
    [
        ("hard-landing", "hard-landing", True),
        ("surface-sense", "surface-sense", True),
        ("surface-play", "surface-play", False),
        ("propeller-vibration", "vibration", False),
    ],
)
def test_a_fault_that_a_log_shows_is_an_event(farm, code, word, grounded):
    imported(farm, MORNING, each={"findings": [fault(code)]})

    (event,) = farm.desk.ledger.of("event")
    assert event.body.content["event"] == word
    assert event.body.content["text"] == "By the log, sortie 1: It was seen"
    assert grounded == bool(farm.desk.ledger.standing.open_restrictions("aircraft:pannier"))


def test_a_fault_that_an_exceeded_limit_tells_as_well_is_entered_once(farm):
    landing = {**OVERSPEED, "figure": "landing.sink_rate", "unit": "m/s"}
    imported(farm, MORNING, each={"outcomes": [landing], "findings": [fault("hard-landing")]})

    assert 1 == len(farm.desk.ledger.of("event", event="hard-landing"))


def test_an_event_is_told_once_though_the_flight_has_another_number_in_another_log(farm):
    hard = {"each": {"findings": [fault("hard-landing")]}}
    imported(farm, MORNING, sorties=2, file="both.bin", **hard)
    assert 2 == len(farm.desk.ledger.of("event", event="hard-landing"))

    imported(farm, MORNING + timedelta(minutes=15), file="second.tlog", **hard)

    assert 2 == len(sorties(farm.desk))
    assert 2 == len(farm.desk.ledger.of("event", event="hard-landing"))


def test_an_event_that_an_interruption_left_out_is_entered_though_figures_are_computed_anew(farm):
    body = stored_debrief(MORNING, each={"findings": [fault("hard-landing")]})
    farm.clock.now = MORNING + timedelta(hours=1)
    enter_sorties(farm.desk, recording(farm, body))  # and then somebody pulled the plug
    anew = recording(farm, stored_debrief(MORNING), changed=0)

    (event,) = finish(farm.desk, anew).added

    assert "hard-landing" == event.body.content["event"]
    assert () == finish(farm.desk, anew).added


def test_a_finding_of_another_kind_is_no_event(farm):
    imported(farm, MORNING, each={"findings": [fault("weak-aspect")]})

    assert () == farm.desk.ledger.of("event")


def test_a_limit_of_the_rules_grounds_nothing(farm):
    imported(farm, MORNING, each={"outcomes": [{**OVERSPEED, "kind": "rule"}]})

    assert () == farm.desk.ledger.of("event")


def test_a_defect_that_was_found_after_landing_makes_no_misuse_of_the_release(farm):
    signed = release(farm, MORNING + timedelta(hours=1))
    farm.clock.now = MORNING + timedelta(hours=2, minutes=20)
    defect = {"part": "left wheel", "group": "landing-gear", "severity": "blocking",
              "text": "loose", "aircraft": "pannier"}  # fmt: skip
    farm.add("defect", defect, ("pilot", "found"), effect=("restricts", "aircraft:pannier"))
    (flight,) = imported(farm, MORNING + timedelta(hours=2))

    assert signed == flight.release
    assert () == farm.desk.ledger.standing.contradictions
    assert not farm.desk.ledger.standing.permit(signed).holds
    (other,) = imported(farm, MORNING + timedelta(hours=3), file="other.bin")
    assert other.release is None
    assert f"was spent by {flight.entry.body.number}." in other.paired


def test_a_log_whose_logger_restarted_in_the_air_is_one_flight_under_one_release(farm):
    signed = release(farm, MORNING + timedelta(hours=1))
    body = stored_debrief(MORNING + timedelta(hours=2), sorties=2, apart_min=5)
    first, second = body["sorties"]
    first |= {"ends": "air", "touchdown_s": None}
    second |= {"starts": "air", "liftoff_s": None}

    one, two = finish(farm.desk, recording(farm, body)).flights

    assert (signed, signed) == (one.release, two.release)
    assert (0, 1) == (one.landings, two.landings)
    assert two.paired.startswith("goes on after a restart")
    assert 1 == len(farm.desk.ledger.standing.permit(signed).spent_by)


def test_touchings_between_are_landings(farm):
    finding = {"code": "touch-and-go", "evidence": {"contacts": 2}}
    (flight,) = imported(farm, MORNING, each={"findings": [finding]})

    assert 3 == flight.landings


def test_a_flight_that_was_entered_by_hand_keeps_its_release_and_does_not_spend_it_again(farm):
    signed = release(farm, MORNING + timedelta(hours=1))
    start = MORNING + timedelta(hours=2)
    farm.clock.now = start + timedelta(minutes=20)
    content = {
        "aircraft": "pannier", "number": 1, "source": "hand", "landings": 1, "attempts": 0,
        "start": f"{start:%Y-%m-%dT%H:%M:%SZ}", "flown": {"value": "240", "unit": "s"},
        "paired": "by time",
    }  # fmt: skip
    spends = [("spends", signed)]
    hand = farm.add("sortie", content, ("pilot", "entered"), relations=spends)

    (flight,) = imported(farm, start)

    assert (signed, hand) == (flight.release, flight.by_hand)
    assert (hand,) == farm.desk.ledger.standing.permit(signed).spent_by


def test_a_log_that_was_imported_before_is_one_with_the_log_that_it_is_joined_with_later(farm):
    signed = release(farm, MORNING + timedelta(hours=1))
    start = MORNING + timedelta(hours=2)
    card = stored_debrief(start, file="partner.csv", zone_known=False)
    (by_card,) = finish(farm.desk, recording(farm, card)).flights
    assert by_card.start is None

    imported(farm, start, file="log.bin", partners=[b"partner.csv"])

    (flight,) = sorties(farm.desk)
    assert "log.bin" == flight.recording.body.content["file"]
    assert signed == flight.release
    assert 1 == len(farm.desk.ledger.standing.permit(signed).spent_by)


def test_a_recording_is_found_by_any_of_its_files(farm):
    entry = recording(farm, stored_debrief(MORNING, file="a.bin"), partners=[b"card"])
    files = [a.sha256 for a in entry.body.attachments[:2]]

    assert entry == recording_with(farm.desk, files) == recording_with(farm.desk, files[1:])
    assert recording_with(farm.desk, [*files, "ab" * 32]) is None


def test_a_flight_that_was_corrected_away_does_not_come_back(farm):
    entry = recording(farm, stored_debrief(MORNING))
    (flight,) = finish(farm.desk, entry).flights
    farm.add("correction", {"text": "the car"}, ("pilot", "entered"),
             relations=[("corrects", flight.entry)])  # fmt: skip

    assert () == finish(farm.desk, entry).added
    assert () == flights_of_recording(farm.desk, entry)


def test_flights_can_not_be_made_from_a_damaged_debrief(farm):
    entry = recording(farm, stored_debrief(MORNING))
    stored = entry.body.attachments[-1]
    farm.book.attachments.path(stored.sha256).write_text("{}", encoding="utf-8")

    with pytest.raises(LogbookError, match="missing or damaged"):
        finish(farm.desk, entry)
