from __future__ import annotations

import pandas as pd
import pytest

from flightlog.errors import UsageError
from flightlog.operations.autopilot import asked, other_craft, whose
from flightlog.recording import OWN_ID, Receipt, Recording
from tests.operations.made import FILES


def log(*messages, firmware="", notes=()):
    table = pd.DataFrame({"time_s": 0.0, "severity": 6, "text": list(messages)})
    receipt = Receipt("a.bin", 1, "ab" * 32, "dataflash", 1, firmware=firmware, notes=notes)
    return Recording({"messages": table}, receipt)


def second(farm, id_="drover", autopilot="Drover DR-01"):
    text = FILES["aircraft", "pannier"].read_text(encoding="utf-8")
    text = text.replace('id = "pannier"', f'id = "{id_}"').replace("Pannier PN-01", autopilot)
    farm.enter("aircraft", id_, text.encode())


@pytest.mark.parametrize(
    "recording",
    [
        log("Motor armed", "Pannier PN-01"),
        log("welcome aboard PANNIER PN-01."),
        log(firmware="plane 4.5 Pannier PN-01"),
        log(notes=[f"{OWN_ID}Pannier PN-01"]),
    ],
)
def test_an_aircraft_is_found_by_what_the_log_says_of_itself(farm, recording):
    second(farm)
    found = whose(farm.desk, recording)

    assert "pannier" == found.aircraft
    assert "pannier pn-01" in found.autopilot.casefold()


@pytest.mark.parametrize(
    "recording",
    [log(), log("Pannier PN-011"), log("Pannier"), log(notes=["Pannier PN-01 was left out"])],
)
def test_nothing_else_is_taken_for_it(farm, recording):
    assert "" == whose(farm.desk, recording).aircraft


def test_an_id_within_a_longer_one_is_not_meant(farm):
    second(farm, "spare", "Pannier PN-01 spare")

    assert "spare" == whose(farm.desk, log("Pannier PN-01 spare")).aircraft
    assert "pannier" == whose(farm.desk, log("Pannier PN-01")).aircraft


def test_two_aircraft_of_one_id_are_not_told_apart(farm):
    second(farm, "drover", "Pannier PN-01")
    found = whose(farm.desk, log("Pannier PN-01"))

    assert "" == found.aircraft
    assert "fits drover and pannier" in found.says
    assert (
        "drover (Pannier PN-01), pannier (Pannier PN-01)"
        in asked(farm.desk, "a.bin", found).sentence()
    )


def test_what_a_person_names_stands_above_the_log_which_is_kept(farm):
    second(farm)
    found = whose(farm.desk, log("Pannier PN-01"), "drover")

    assert ("drover", "Pannier PN-01") == (found.aircraft, found.autopilot)
    with pytest.raises(UsageError, match="no aircraft file"):
        whose(farm.desk, log(), "nobody")


def parameters(*names, firmware=""):
    table = pd.DataFrame({"time_s": 0.0, "name": list(names), "value": 1.0})
    receipt = Receipt("a.bin", 1, "ab" * 32, "dataflash", 1, firmware=firmware)
    return Recording({"parameters": table}, receipt)


@pytest.mark.parametrize(
    ("recording", "craft"),
    [
        (log(firmware="ArduCopter V4.5.1 (abc)"), "multicopters"),
        (log(firmware="ArduRover V4.5.1"), "ground vehicles"),
        (log(firmware="ArduPlane V4.5.1"), ""),
        (log(), ""),
        (parameters("GPS_TYPE", "PILOT_VELZ_MAX"), "multicopters"),
        # An aeroplane that takes off vertically, and one whose firmware says what it is.
        (parameters("Q_M_SPIN_ARM", "Q_FRAME_CLASS"), ""),
        (parameters("PILOT_VELZ_MAX", firmware="ArduPlane V4.5.1"), ""),
    ],
)
def test_what_has_no_wing_is_told_by_its_firmware_or_its_parameters(recording, craft):
    assert craft == other_craft(recording)
