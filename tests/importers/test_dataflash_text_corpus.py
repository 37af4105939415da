"""Real DataFlash logs as text: an independent decoder's values, and the binary's tables."""

from __future__ import annotations

import contextlib
import io
import os
from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from flightlog.importers import read
from flightlog.recording import Recording
from tests.importers.dataflash_as_text import assert_same_tables, six_decimals, text_of

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
pytestmark = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")

FLIGHT = "dataflash/electric_hand_launch_2013"


@cache
def recording(name: str) -> Recording:
    return read(Path(CORPUS, name))


def reference(path: Path) -> dict[str, dict[str, list[Any]]]:
    """Every field of every line as the other decoder gives it."""
    from pymavlink.DFReader import DFReader_text

    tables: dict[str, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        reader = DFReader_text(str(path))
        while (message := reader.recv_msg()) is not None:
            for name in message.get_fieldnames():
                tables[message.get_type()][name].append(getattr(message, name))
        reader.filehandle.close()
    return tables


def test_every_value_is_the_one_of_the_other_decoder():
    ours, theirs = recording(f"{FLIGHT}.log").raw, reference(Path(CORPUS, f"{FLIGHT}.log"))

    assert set(ours) == set(theirs)
    values = 0
    for name, columns in theirs.items():
        assert ours[name].columns == tuple(columns), name
        for column, expected in columns.items():
            assert ours[name][column].tolist() == expected, (name, column)
            values += len(expected)
    assert values > 590_000


def test_text_and_binary_hold_the_same_numbers():
    """Floats are printed with 7 digits, so that they round to the same single; parameters with 6.

    Two columns differ: modes are printed by name, and one loop time of the logger is larger
    than its field of 16 bits in the binary file can hold.
    """
    text, binary = recording(f"{FLIGHT}.log").raw, recording(f"{FLIGHT}.bin").raw

    assert set(text) == set(binary)
    for name, table in binary.items():
        for column in table.columns:
            found, expected = text[name][column], table[column]
            if (name, column) == ("MODE", "Mode"):
                assert set(zip(expected.tolist(), found, strict=True)) == {
                    (0, "MANUAL"), (5, "FBWA"), (10, "AUTO"), (11, "RTL"),
                }  # fmt: skip
            elif (name, column) == ("PM", "gDt"):
                assert np.minimum(found, 65535).tolist() == expected.tolist()
            elif (name, column) == ("PARM", "Value"):
                digits = [float(f"{value:.6g}") for value in expected]
                assert found.tolist() == pytest.approx(digits, rel=1e-15)
            elif expected.dtype.kind == "f":
                assert (found.astype(np.float32) == expected.astype(np.float32)).all()
            else:
                assert found.tolist() == expected.tolist(), (name, column)


def test_text_and_binary_of_one_flight_give_the_same_tables():
    text, binary = recording(f"{FLIGHT}.log"), recording(f"{FLIGHT}.bin")

    assert list(text) == list(binary)
    assert text.receipt.rows == binary.receipt.rows
    assert text.receipt.message_counts == binary.receipt.message_counts
    assert text.receipt.dropped == binary.receipt.dropped
    assert text.receipt.utc == binary.receipt.utc
    assert [(f.code, f.message) for f in text.findings] == [
        (f.code, f.message) for f in binary.findings
    ]
    for name in binary:
        # Six digits of parameters, seven of everything else; clocks and integers are exact.
        rtol = 3e-6 if name == "parameters" else 1.2e-7
        pd.testing.assert_frame_equal(text[name], binary[name], rtol=rtol, atol=0, obj=name)
        assert (text[name]["time_s"] == binary[name]["time_s"]).all()


def test_positions_stand_on_the_boot_clock():
    """Time of week in TimeMS, boot clock in T."""
    gps = recording(f"{FLIGHT}.log")["gps"]

    assert gps["time_s"].iloc[0] == 13.341
    assert gps["time_s"].iloc[-1] == 626.28


@pytest.mark.parametrize(
    "name", ["copter_starts_in_air", "plane_ground_only_a", "plane_ground_only_b"]
)
def test_a_binary_log_printed_as_text_gives_the_same_tables(name, tmp_path):
    binary = Path(CORPUS, "dataflash", f"{name}.bin")
    path = tmp_path / "printed.log"
    path.write_text("\r\n".join(text_of(binary)) + "\r\n", encoding="utf-8", newline="")
    text = read(path)

    assert_same_tables(text, recording(f"dataflash/{name}.bin"))
    assert text.receipt.dropped == {}


def test_a_text_with_the_usual_decimals_differs_by_half_of_the_last(tmp_path):
    binary = Path(CORPUS, "dataflash", "copter_starts_in_air.bin")
    path = tmp_path / "printed.log"
    path.write_text("\n".join(text_of(binary, six_decimals)) + "\n", encoding="utf-8")
    text, theirs = read(path), recording("dataflash/copter_starts_in_air.bin")

    assert text.receipt.rows == theirs.receipt.rows
    for name, table in theirs.raw.items():
        for column in table.columns:
            expected = table[column]
            if expected.dtype.kind == "f":
                found = text.raw[name][column]
                np.testing.assert_allclose(found, expected, rtol=1e-15, atol=0.501e-6)
