"""Modes, arming, texts, parameters and firmware of ULog files."""

from __future__ import annotations

import pytest

from flightlog.recording import OWN_ID
from tests.importers.ulog_writer import Writer, started


def test_modes_and_arming_stand_where_they_change(recorded):
    writer = started("vehicle_status", "vehicle_attitude")
    for i in range(40):
        t = 1_000_000 + 100_000 * i
        writer.row("vehicle_attitude", t, 1.0, 0.0, 0.0, 0.0)
        writer.row("vehicle_status", t, 0 if i < 10 else 17 if i < 20 else 6, 2 if i >= 5 else 1)
    log = recorded(writer)

    assert log["modes"]["mode"].tolist() == ["MANUAL", "AUTO_TAKEOFF", "mode 6"]
    assert log["modes"]["time_s"].tolist() == pytest.approx([1.0, 2.0, 3.0])
    assert log["arming"]["armed"].tolist() == [0.0, 1.0]
    assert log["arming"]["time_s"].tolist() == pytest.approx([1.0, 1.5])


def test_a_state_from_before_logging_holds_from_its_start(recorded):
    writer = started("actuator_armed", "vehicle_attitude", start_us=100_000_000)
    writer.row("actuator_armed", 2_000_000, True)
    for i in range(40):
        writer.row("vehicle_attitude", 100_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
    writer.row("actuator_armed", 103_900_000, False)
    log = recorded(writer)

    assert log["arming"]["time_s"].tolist() == pytest.approx([100.0, 103.9])
    assert log["arming"]["armed"].tolist() == [1.0, 0.0]
    assert log.receipt.duration_s == pytest.approx(3.9)


def test_texts_and_tagged_texts_in_their_order_without_control_codes(recorded):
    writer = started("vehicle_attitude")
    for i in range(40):
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
        if i == 10:
            writer.text(2_000_000, "\x1b[32mready\x1b[0m\t")
            writer.text(2_000_100, "tagged", level=3, tag=7)
            writer.text(2_000_200, "last", level=4)
    messages = recorded(writer)["messages"]

    assert messages["text"].tolist() == ["ready", "tagged", "last"]
    assert messages["severity"].tolist() == [6, 3, 4]
    assert messages["time_s"].tolist() == pytest.approx([2.0, 2.0001, 2.0002])


def test_parameters_changes_and_defaults(recorded):
    writer = Writer().flags().declare("vehicle_attitude", "uint64_t timestamp;float[4] q")
    writer.parameter("A_WHOLE", -7).parameter("A_FRACTION", 0.5)
    writer.default(0b11, "A_WHOLE", 3).default(0b10, "A_FRACTION", 1.5)
    writer.topic("vehicle_attitude")
    for i in range(40):
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
        if i == 20:
            writer.parameter("A_FRACTION", 0.75)
    log = recorded(writer)
    parameters = log["parameters"]

    assert parameters["name"].tolist() == ["A_WHOLE", "A_FRACTION", "A_FRACTION"]
    assert parameters["value"].tolist() == [-7.0, 0.5, 0.75]
    assert parameters["time_s"].tolist() == pytest.approx([1.0, 1.0, 3.0])
    defaults = log.raw["parameter_default"]
    rows = zip(defaults["kind"], defaults["name"], defaults["value"], strict=True)
    assert sorted(rows) == [(0, "A_WHOLE", 3.0), (1, "A_FRACTION", 1.5), (1, "A_WHOLE", 3.0)]


def test_firmware_is_system_release_revision_and_board(recorded):
    writer = Writer().flags()
    writer.info("char[4] sys_name", b"Hill").info("char[5] ver_hw", b"BOARD")
    writer.info("char[12] ver_sw", b"0123456789ab").info(
        "uint32_t ver_sw_release", b"\xff\x02\x0b\x01"
    )
    writer.declare("vehicle_attitude", "uint64_t timestamp;float[4] q").topic("vehicle_attitude")
    writer.row("vehicle_attitude", 1_000_000, 1.0, 0.0, 0.0, 0.0)

    assert recorded(writer).receipt.firmware == "Hill v1.11.2 0123456789 on BOARD"


def test_what_the_autopilot_calls_itself_is_kept(recorded):
    writer = Writer().flags().info("char[8] sys_uuid", b"0035002b")
    writer.declare("vehicle_attitude", "uint64_t timestamp;float[4] q").topic("vehicle_attitude")
    writer.row("vehicle_attitude", 1_000_000, 1.0, 0.0, 0.0, 0.0)

    assert f"{OWN_ID}0035002b" in recorded(writer).receipt.notes
