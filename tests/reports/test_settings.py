"""How the settings of two logs differ, in words."""

from __future__ import annotations

import pandas as pd

from flightlog.recording import Receipt, Recording
from flightlog.reports.settings import settings_lines


def log(file: str, *rows: tuple[float, str, float], firmware: str = "Made-up V1.0") -> Recording:
    receipt = Receipt(file, 9, "ab" * 32, "dataflash", 1, firmware=firmware)
    if not rows:
        return Recording({}, receipt)
    table = pd.DataFrame(rows, columns=["time_s", "name", "value"])
    return Recording({"parameters": table}, receipt)


def text(*logs: Recording) -> str:
    return "\n".join(settings_lines(*logs))


def row(shown: str, name: str) -> list[str]:
    (line,) = (line for line in shown.splitlines() if line.split()[:1] == [name])
    return line.split()


def test_a_parameter_that_differs_is_named_with_both_values():
    shown = text(
        log("a.bin", (1.0, "ROLL_P", 0.5), (1.0, "PITCH_P", 0.25)),
        log("b.bin", (1.0, "ROLL_P", 0.75), (1.0, "PITCH_P", 0.25)),
    )

    assert "a.bin (here) beside b.bin (there)" in shown
    assert row(shown, "ROLL_P") == ["ROLL_P", "0.5", "0.75"]
    assert "PITCH_P" not in shown
    assert "parameters: 1 of the 2 in both logs differ at the end of each" in shown


def test_the_values_are_those_at_the_end_of_each_log():
    shown = text(
        log("a.bin", (1.0, "ROLL_P", 0.5), (90.0, "ROLL_P", 0.6)),
        log("b.bin", (1.0, "ROLL_P", 0.5)),
    )

    assert row(shown, "ROLL_P") == ["ROLL_P", "0.6", "0.5"]


def test_parameters_of_one_log_are_counted_and_the_first_named():
    many = [(1.0, f"NEW_{n:02}", 1.0) for n in range(20)]
    shown = text(
        log("a.bin", (1.0, "ROLL_P", 0.5), *many),
        log("b.bin", (1.0, "ROLL_P", 0.5), (1.0, "OLD", 2.0)),
    )

    assert "only here: 20, NEW_00, NEW_01, NEW_02, NEW_03, NEW_04, NEW_05 and 14 more" in " ".join(
        shown.split()
    )
    assert "only there: 1, OLD" in shown


def test_a_log_without_parameters_is_not_compared():
    shown = text(log("a.bin", (1.0, "ROLL_P", 0.5)), log("card.csv", firmware=""))

    assert "no parameters in card.csv" in shown
    assert "no parameters in a.bin" not in shown
    assert "only here" not in shown
    assert "differ" not in shown


def test_the_firmware_of_both_is_shown_where_it_differs():
    rows = ((1.0, "ROLL_P", 0.5),)
    differs = text(log("a.bin", *rows), log("b.bin", *rows, firmware="Made-up V1.1"))
    unknown = text(log("a.bin", *rows), log("b.bin", *rows, firmware=""))
    same = text(log("a.bin", *rows), log("b.bin", *rows))

    assert "firmware differs\n  here   Made-up V1.0\n  there  Made-up V1.1" in differs
    assert "firmware can't be compared" in unknown
    assert "there  the log does not tell" in unknown
    assert "firmware: the same, Made-up V1.0" in same


def test_values_taken_at_rest_stand_apart_and_counters_are_left_out():
    shown = text(
        log("a.bin", (1.0, "ARSPD_OFFSET", 2013.0), (1.0, "STAT_RUNTIME", 5.0), (1.0, "Z", 1.0)),
        log("b.bin", (1.0, "ARSPD_OFFSET", 2014.0), (1.0, "STAT_RUNTIME", 9.0), (1.0, "Z", 2.0)),
    )

    assert "STAT_RUNTIME" not in shown
    assert shown.index("Z  ") < shown.index("of them zeroed") < shown.index("ARSPD_OFFSET")


def test_values_that_differ_never_look_the_same():
    # 2 490 378 and 2 490 379 are alike to six digits; so are the two offsets
    shown = text(
        log("a.bin", (1.0, "SENSOR_ID", 2490378.0), (1.0, "OFFSET", 0.12345674)),
        log("b.bin", (1.0, "SENSOR_ID", 2490379.0), (1.0, "OFFSET", 0.12345712)),
    )

    assert row(shown, "SENSOR_ID") == ["SENSOR_ID", "2490378", "2490379"]
    assert row(shown, "OFFSET") == ["OFFSET", "0.12345674", "0.12345712"]


def test_lines_fit_the_screen_and_names_from_a_log_forge_none():
    hostile = "\x1b[31mname\nfirmware: forged" + "x" * 200
    lines = settings_lines(
        log(hostile, (1.0, hostile, 0.123456789), firmware=hostile),
        log("b.bin", (1.0, hostile, -1e-30), (1.0, hostile + "2", 1.0)),
        width=80,
    )

    assert all(line.isprintable() and len(line) <= 80 for line in lines)
    assert not any(line.startswith("firmware: forged") for line in lines)
