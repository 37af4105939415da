"""What is kept comes back to the last bit, or not at all."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import os

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

import flightlog
from flightlog.columns import TABLES
from flightlog.contract import dumps, to_json
from flightlog.debriefing import debrief
from flightlog.decoded import files
from flightlog.errors import FlightlogError, LogFileError
from flightlog.findings import make_finding
from flightlog.joining import join
from flightlog.recording import Partner, Receipt, Recording, UtcRelation
from flightlog.resources import data_path
from tests import corpus
from tests.decoded.same import assert_same

SAMPLES = data_path("sample_flights")
LOGS = sorted(p for p in SAMPLES.iterdir() if p.suffix in {".bin", ".tlog", ".csv"})


def there_and_back(recording, folder, whole=True):
    folder.mkdir()
    name = files.write(recording, folder)
    return files.read(folder, name, recording.receipt.size if whole else None)


def receipt(**more):
    return Receipt("flight.bin", 10, "a" * 64, "dataflash", 1, **more)


def small():
    """A recording of every kind of value that tables hold."""
    return Recording(
        {
            "gps": pd.DataFrame(
                {
                    "time_s": [0.0, 0.2, 0.4],
                    "instance": np.array([0, 1, 0], dtype=np.int64),
                    "hdop": [-0.0, math.nan, math.inf],
                    "altitude_msl_m": [math.nan] * 3,
                }
            ),
            "battery": pd.DataFrame(
                {
                    "time_s": [0.1, 0.3, 0.5],
                    "cell_voltages": pd.Series([(3.9, math.nan), None, ()], dtype=object),
                }
            ),
            "messages": pd.DataFrame(
                {
                    "time_s": [0.0, 1.0, 1.0],
                    "text": pd.Series(["Weißdorn ✓ \x00\n", None, ""], dtype=object),
                }
            ),
        },
        receipt(
            duration_s=1.0,
            utc=UtcRelation(1.7e9, 0.25, "the fix", zone_known=False),
            rows={"gps": 3, "battery": 3, "messages": 3},
            dropped={"half a message": 7},
            chosen_instances={"gps": 1},
            seams=(0.5,),
            notes=("one", "two"),
            partners=(Partner("b.csv", "b" * 64, "csv", 1.5, 0.02, "by roll", ("rc",), 2e-5),),
        ),
        findings=(
            make_finding("no-flight", "nothing flew", evidence={"n": 1, "s": 1.0, "t": "1"}),
        ),
    )


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A folder, its name, and what each of its files holds."""
    folder = tmp_path_factory.mktemp("kept")
    name = files.write(small(), folder)
    return folder, name, {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.name)
def test_every_table_receipt_and_finding_of_a_sample_comes_back_to_the_last_bit(log, tmp_path):
    recording = flightlog.read(log)
    assert_same(recording, there_and_back(recording, tmp_path / "kept"))


@pytest.mark.skipif(not corpus.ROOT, reason="FLIGHTLOG_CORPUS names no folder with logs")
def test_so_does_every_log_of_the_corpus(tmp_path):
    read = 0
    for number, log in enumerate(corpus.files().values()):
        try:
            recording = flightlog.read(log)
        except FlightlogError:
            continue
        assert_same(recording, there_and_back(recording, tmp_path / str(number)))
        read += 1
    assert read > 20


def test_so_do_logs_that_were_joined(tmp_path):
    logs = SAMPLES / "calm.bin", SAMPLES / "calm_transmitter.csv"
    (joined,) = join(flightlog.read(log) for log in logs)
    assert joined.receipt.partners
    assert_same(joined, there_and_back(joined, tmp_path / "kept", whole=False))


def test_so_does_what_no_sample_holds(tmp_path):
    back = there_and_back(small(), tmp_path / "kept")
    assert_same(small(), back)
    assert ["gps", "battery", "messages"] == list(back)
    assert "-0.0" == str(back["gps"]["hdop"][0])
    assert not back.raw


def test_a_recording_without_tables_comes_back(tmp_path):
    empty = Recording({"gps": pd.DataFrame({"time_s": []})}, receipt())
    back = there_and_back(empty, tmp_path / "kept")
    assert not list(back)
    assert receipt() == back.receipt


def test_what_is_missing_is_null_in_the_files(kept):
    gps = pq.read_table(kept[0] / "gps.parquet")
    assert [False, True, False] == gps.column("hdop").is_null().to_pylist()
    assert ["double", "int64"] == [str(gps.schema.field(n).type) for n in ("hdop", "instance")]
    assert 3 == gps.column("altitude_msl_m").null_count


def test_texts_that_are_no_utf_8_come_back_with_question_marks(tmp_path):
    odd = "caf\udce9.bin"  # how Python calls a file whose name is in another encoding
    texts = pd.DataFrame({"time_s": [0.0], "text": pd.Series([odd], dtype=object)})
    finding = make_finding("no-flight", odd, evidence={odd: odd})
    recording = Recording(
        {"messages": texts},
        Receipt(
            odd,
            *(1, "a" * 64, "dataflash", 1),
            message_counts={odd: 1},
            notes=(odd,),
            rows={"messages": 1},
        ),
        findings=(finding,),
    )
    back = there_and_back(recording, tmp_path / "kept")
    plain = "caf?.bin"
    assert [plain] == back["messages"]["text"].tolist()
    assert (plain, {plain: 1}, (plain,)) == (
        back.receipt.file,
        back.receipt.message_counts,
        back.receipt.notes,
    )
    assert (plain, {plain: plain}) == (back.findings[0].message, back.findings[0].evidence)


def test_a_debrief_from_kept_tables_is_that_from_the_log(tmp_path):
    recording = flightlog.read(SAMPLES / "position_1hz_only.bin")
    back = there_and_back(recording, tmp_path / "kept")
    assert dumps(to_json(debrief(recording))) == dumps(to_json(debrief(back)))


def test_the_name_follows_from_the_content(kept, tmp_path):
    folder, name, _ = kept
    assert hashlib.sha256((folder / files.RECEIPT).read_bytes()).hexdigest() == name
    assert name == files.write(small(), tmp_path)


@given(st.data())
def test_any_byte_that_is_not_what_was_written_is_found(kept, data):
    folder, name, contents = kept
    file = data.draw(st.sampled_from(sorted(contents)))
    at = data.draw(st.integers(0, len(contents[file]) - 1))
    bits = data.draw(st.integers(1, 255))
    damaged = bytearray(contents[file])
    damaged[at] ^= bits
    (folder / file).write_bytes(damaged)
    try:
        with pytest.raises(LogFileError):
            files.read(folder, name)
    finally:
        (folder / file).write_bytes(contents[file])
    assert_same(small(), files.read(folder, name))


@pytest.mark.parametrize("file", ["receipt.json", "gps.parquet", "messages.parquet"])
@pytest.mark.parametrize("damage", ["missing", "empty", "longer", "cut", "a folder", "a pipe"])
def test_a_file_that_is_missing_or_of_another_size_or_kind_is_found(kept, file, damage):
    folder, name, contents = kept
    place = folder / file
    place.unlink()
    try:
        if damage == "a folder":
            place.mkdir()
        elif damage == "a pipe":
            if not hasattr(os, "mkfifo"):
                pytest.skip("this system has no pipes with names")
            os.mkfifo(place)
        elif damage != "missing":
            whole = contents[file]
            place.write_bytes({"empty": b"", "longer": whole + b"\0", "cut": whole[:-1]}[damage])
        with pytest.raises(LogFileError, match=file):
            files.read(folder, name)
    finally:
        if place.is_dir():
            place.rmdir()
        place.unlink(missing_ok=True)
        place.write_bytes(contents[file])


def _set(**values):
    return lambda body: {**body, **values}


def _tables(change):
    return lambda body: {**body, "tables": {**body["tables"], "gps": change(body["tables"]["gps"])}}


HOSTILE = {
    "another schema": _set(schema="flightlog.decoded/0"),
    "no schema": lambda body: {k: v for k, v in body.items() if k != "schema"},
    "a list": lambda body: [body],
    "a number": lambda body: 7,
    "no tables": _set(tables=None),
    "a table of no hash": _tables(lambda _: {"sha256": "../gps", "size": 10}),
    "a hash that is a number": _tables(lambda t: {**t, "sha256": 5}),
    "a size that is a text": _tables(lambda t: {**t, "size": "many"}),
    "a size below none": _tables(lambda t: {**t, "size": -(10**9)}),
    "a table of another place": lambda body: {
        **body,
        "order": ["../escaped"],
        "tables": {"../escaped": body["tables"]["gps"]},
    },
    "a table that is none of ours": _set(order=["gps", "wings"]),
    "a receipt of other types": _set(receipt={"file": 5}),
    "a receipt with rows of text": lambda body: {
        **body,
        "receipt": {**body["receipt"], "rows": {"gps": "many"}},
    },
    "findings of other types": _set(findings=[{"code": []}]),
    "a table of one name and another content": lambda body: {
        **body,
        "order": ["gps"],
        "tables": {"gps": body["tables"]["messages"]},
    },
}


@pytest.mark.parametrize("change", HOSTILE.values(), ids=HOSTILE)
def test_a_receipt_that_somebody_wrote_by_hand_is_refused(kept, tmp_path, change):
    contents = kept[2]
    inside = tmp_path / "inside"
    inside.mkdir()
    for name, content in contents.items():
        (inside / name).write_bytes(content)
    (inside / "wings.parquet").write_bytes(contents["gps.parquet"])
    (tmp_path / "escaped.parquet").write_bytes(contents["gps.parquet"])
    data = json.dumps(change(json.loads(contents[files.RECEIPT]))).encode()
    (inside / files.RECEIPT).write_bytes(data)
    with pytest.raises(LogFileError):
        files.read(inside, hashlib.sha256(data).hexdigest())


def test_a_receipt_that_is_no_json_or_nested_without_end_is_refused(tmp_path):
    for data in (b"", b"{", b"[" * 100_000, b"\xff\xfe", b'{"schema": 1e999}'):
        (tmp_path / files.RECEIPT).write_bytes(data)
        with pytest.raises(LogFileError):
            files.read(tmp_path, hashlib.sha256(data).hexdigest())


def test_a_table_that_is_no_parquet_is_refused(kept, tmp_path):
    for name, content in kept[2].items():
        (tmp_path / name).write_bytes(content)
    junk = b"PAR1" + bytes(100) + b"PAR1"
    (tmp_path / "gps.parquet").write_bytes(junk)
    body = json.loads(kept[2][files.RECEIPT])
    body["tables"]["gps"] = {"sha256": hashlib.sha256(junk).hexdigest(), "size": len(junk)}
    data = json.dumps(body).encode()
    (tmp_path / files.RECEIPT).write_bytes(data)
    with pytest.raises(LogFileError):
        files.read(tmp_path, hashlib.sha256(data).hexdigest())


# --- small files that would be large tables


def forged(folder, tables, size=10, rows=None):
    """Write tables of any content, each hash as it should be; give the name of the whole."""
    body = {"schema": files.SCHEMA, "order": list(tables), "findings": [], "tables": {}}
    for name, table in tables.items():
        path = folder / f"{name}.parquet"
        pq.write_table(table, path, compression="zstd")
        data = path.read_bytes()
        said = {"sha256": hashlib.sha256(data).hexdigest(), "size": len(data)}
        body["tables"][name] = said
    counted = {name: table.num_rows for name, table in tables.items()}
    said = receipt(rows=counted if rows is None else rows)
    body["receipt"] = {**dataclasses.asdict(said), "size": size}
    data = json.dumps(body).encode()
    (folder / files.RECEIPT).write_bytes(data)
    return hashlib.sha256(data).hexdigest()


class TableMadeError(BaseException):
    """A table was made that had to be known as none of ours before; the reader catches all else."""


@pytest.fixture
def unread(monkeypatch):
    def read(self, *given, **how):
        raise TableMadeError

    monkeypatch.setattr(pq.ParquetFile, "read", read)


def zeros(rows, table="gps"):
    return pa.table({c.name: np.zeros(rows) for c in TABLES[table] if not c.text})


def huge():
    rows = files.FEWEST_CELLS // len(TABLES["gps"]) + 100
    cells = pa.array([[3.7] * (files.FEWEST_CELLS + 100)])
    return {
        "rows": {"gps": zeros(rows)},
        "several tables": {"gps": zeros(rows // 2 + 1), "baro": zeros(rows // 2 * 3, "baro")},
        "numbers of a list": {"battery": pa.table({"time_s": [0.0], "cell_voltages": cells})},
    }


@pytest.mark.parametrize("which", huge())
def test_a_small_file_that_would_be_a_huge_table_is_refused_before_it_is_one(
    tmp_path, which, monkeypatch
):
    tables, made = huge()[which], []
    name = forged(tmp_path, tables, size=1_000_000)
    assert set(tables) == set(files.read(tmp_path, name))  # a log of that size may give it
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) < 100_000
    read = pq.ParquetFile.read
    monkeypatch.setattr(
        pq.ParquetFile, "read", lambda self, **how: made.append(1) or read(self, **how)
    )
    with pytest.raises(LogFileError):
        files.read(tmp_path, name, 10)  # the log is not what the receipt says
    assert len(made) == len(tables) - 1
    name = forged(tmp_path, tables)
    with pytest.raises(LogFileError):
        files.read(tmp_path, name)
    assert len(made) == 2 * (len(tables) - 1)


def test_a_receipt_of_a_larger_log_than_there_is_is_not_believed(tmp_path, unread, monkeypatch):
    monkeypatch.setattr(files, "LARGEST_LOG", 10)
    name = forged(tmp_path, huge()["rows"], size=10**12)
    with pytest.raises(LogFileError):
        files.read(tmp_path, name)


def test_a_text_that_many_rows_repeat_is_one_in_memory(tmp_path):
    text = pa.array(["x" * 30_000] * 20_000)
    name = forged(tmp_path, {"messages": pa.table({"time_s": np.zeros(20_000), "text": text})})
    texts = files.read(tmp_path, name)["messages"]["text"]
    assert {30_000} == set(texts.str.len())
    assert 1 == len({id(text) for text in texts})


OTHER_TABLES = {
    "another number of rows": (zeros(3), {"gps": 2}),
    "rows that nobody counted": (zeros(3), {}),
    "a column of another table": (pa.table({"time_s": [0.0], "text": ["a"]}), None),
    "a column twice": (pa.table([[0.0], [1.0]], names=["time_s", "time_s"]), None),
    "a list of lists": (pa.table({"time_s": [0.0], "hdop": [[[1.0]]]}), None),
    "a structure": (pa.table({"time_s": [{"a": 1.0}]}), None),
    "a time": (pa.table({"time_s": pa.array([0], pa.timestamp("us"))}), None),
}


@pytest.mark.parametrize(("table", "rows"), OTHER_TABLES.values(), ids=OTHER_TABLES)
def test_a_table_that_this_program_does_not_write_is_refused_unread(tmp_path, unread, table, rows):
    name = forged(tmp_path, {"gps": table}, rows=rows)
    with pytest.raises(LogFileError):
        files.read(tmp_path, name)
