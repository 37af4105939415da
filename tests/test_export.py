from __future__ import annotations

import json
from pathlib import Path
from typing import ClassVar

import numpy as np
import pandas as pd
import pytest

from flightlog.errors import OutputError
from flightlog.export import write_tables
from flightlog.findings import make_finding
from flightlog.recording import Receipt, Recording


class Raw:
    """Two columns of a made-up message type."""

    columns = ("TimeUS", "Samples", "Text")
    units: ClassVar = {"TimeUS": "s"}

    def __len__(self) -> int:
        return 2

    def __getitem__(self, column):
        return {
            "TimeUS": np.array([1, 2**64 - 1], dtype=np.uint64),
            "Samples": np.arange(64, dtype=np.int16).reshape(2, 32),
            "Text": np.array(["a", "é"], dtype=object),
        }[column]


@pytest.fixture
def recording() -> Recording:
    cells = pd.Series([None, [4.0, 4.1, float("nan")]], dtype=object)
    tables = {
        "battery": pd.DataFrame(
            {"time_s": [0.1, 1 / 3], "voltage_v": [24.0, np.nan], "cell_voltages": cells}
        ),
        "messages": pd.DataFrame({"time_s": [0.5], "text": ["Höhe, „ok“\n"]}),
    }
    receipt = Receipt(
        file="a.bin", size=3, sha256="00", format="dataflash", importer_version=1,
        rows={"battery": 2}, duration_s=float("nan"),
    )  # fmt: skip
    finding = make_finding("damaged-bytes", "3 bytes.", evidence={"bytes": np.int64(3)})
    raw = {"ACC": Raw(), "acc": Raw(), "../CON\x1b": Raw()}
    return Recording(tables, receipt, raw=raw, findings=(finding,))


@pytest.mark.parametrize("kind", ["parquet", "csv"])
def test_the_tables_come_back_as_they_were(recording, tmp_path, kind):
    written = write_tables(recording, tmp_path / "out", kind)

    assert [p.name for p in written] == [f"battery.{kind}", f"messages.{kind}", "receipt.json"]
    load = pd.read_parquet if kind == "parquet" else pd.read_csv
    battery = load(written[0])
    assert battery["time_s"].tolist() == [0.1, 1 / 3], "every digit"
    assert battery["voltage_v"].isna().tolist() == [False, True]
    assert load(written[1])["text"].tolist() == ["Höhe, „ok“\n"]


def test_lists_in_cells(recording, tmp_path):
    write_tables(recording, tmp_path / "p", "parquet")
    write_tables(recording, tmp_path / "c", "csv")

    cells = pd.read_parquet(tmp_path / "p" / "battery.parquet")["cell_voltages"]
    assert cells.iloc[0] is None
    assert list(cells.iloc[1])[:2] == [4.0, 4.1]
    text = (tmp_path / "c" / "battery.csv").read_text(encoding="utf-8")
    assert text.splitlines()[2].endswith(",4.0 4.1 nan")


def test_the_receipt_is_plain_json_and_says_what_columns_mean(recording, tmp_path):
    write_tables(recording, tmp_path, "csv")
    text = (tmp_path / "receipt.json").read_text(encoding="utf-8")
    receipt = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))

    assert receipt["schema"] == "flightlog.receipt/1"
    assert receipt["receipt"]["file"] == "a.bin"
    assert receipt["receipt"]["duration_s"] is None
    assert receipt["findings"][0]["evidence"] == {"bytes": 3}
    assert receipt["tables"]["battery"]["columns"]["voltage_v"]["unit"] == "V"


@pytest.mark.parametrize("kind", ["parquet", "csv"])
def test_raw_types_get_safe_names_of_their_own(recording, tmp_path, kind):
    written = write_tables(recording, tmp_path, kind, raw=True)

    assert [p.name for p in written[2:5]] == [
        f"raw-ACC.{kind}", f"raw-acc-2.{kind}", f"raw-.._CON_.{kind}",
    ]  # fmt: skip
    assert all(p.parent == tmp_path for p in written)
    load = pd.read_parquet if kind == "parquet" else pd.read_csv
    assert load(written[2])["TimeUS"].tolist() == [1, 2**64 - 1]


@pytest.mark.parametrize("name", ["messages.csv", "receipt.json"])
def test_nothing_is_overwritten_and_nothing_left_half_done(recording, tmp_path, name):
    (tmp_path / name).write_text("mine", encoding="utf-8")

    with pytest.raises(OutputError, match="is there already; nothing was written") as caught:
        write_tables(recording, tmp_path, "csv")
    assert caught.value.fix
    assert [p.name for p in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


def test_a_folder_that_is_a_file(recording, tmp_path):
    place = tmp_path / "out"
    place.write_text("mine", encoding="utf-8")

    with pytest.raises(OutputError):
        write_tables(recording, place, "csv")
    assert place.read_text(encoding="utf-8") == "mine"


def test_a_full_disk_leaves_no_halves(recording, tmp_path, monkeypatch):
    def full(*_args: object, **_kwargs: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_csv", full)
    with pytest.raises(OutputError, match="No space left"):
        write_tables(recording, tmp_path, "csv")
    assert list(Path(tmp_path).iterdir()) == []
