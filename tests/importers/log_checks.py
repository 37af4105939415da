"""What all importers promise, and how their tests read bytes."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from hypothesis import strategies as st

from flightlog.columns import TABLES
from flightlog.errors import LogFileError
from flightlog.findings import Finding
from flightlog.recording import Recording

DAY_S = 1803945600.0
"""2027-03-02T00:00:00Z: 20,819 days from 1970 to 2027 (57 years, 14 leap days), 60 more to
2 March, times 86,400."""

Load = Callable[[Path], Recording]


def read_text(load: Load, text: str | bytes, name: str = "track") -> Recording:
    content = text.encode("utf-8") if isinstance(text, str) else text
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        return load(path)


def codes(recording: Recording) -> list[str]:
    return [finding.code for finding in recording.findings]


def told(recording: Recording, code: str) -> Finding:
    """The first finding of a kind."""
    return next(finding for finding in recording.findings if finding.code == code)


def keeps_promises(load: Load, content: bytes) -> Recording | None:
    """Read anything: a recording as every recording is, or the error for bad files."""
    try:
        recording = read_text(load, content)
    except LogFileError as error:
        if not (error.where == "track" and error.fix):
            raise AssertionError("it must say where, and what to do") from error
        return None
    for name in recording:
        times = recording[name]["time_s"].to_numpy()
        assert np.isfinite(times).all()
        assert (np.diff(times) >= 0).all()
        for column in TABLES[name]:
            if column.low is not None and column.high is not None:
                values = recording[name][column.name].dropna()
                assert values.between(column.low, column.high).all(), column
    for table in recording.raw.values():
        assert all(len(table[column]) == len(table) for column in table.columns)
    return recording


def fixes(recording: Recording) -> set[tuple[float, ...]]:
    """Give the fixes without their times, which count from the first one."""
    columns = ["latitude_deg", "longitude_deg", "altitude_msl_m", "ground_speed_m_s", "course_deg"]
    return set(map(tuple, recording["gps"][columns].fillna(-9e9).to_numpy().tolist()))


@st.composite
def damaged(draw: st.DrawFn, content: bytes) -> bytes:
    """Give the content with a few places overwritten, cut out, doubled or put in."""
    changed = bytearray(content)
    for _ in range(draw(st.integers(1, 6))):
        if not changed:
            break
        place = draw(st.integers(0, len(changed) - 1))
        length = draw(st.integers(1, 40))
        how = draw(st.sampled_from(("put", "over", "cut", "double")))
        litter = draw(st.binary(min_size=1, max_size=8) | st.text(max_size=6).map(str.encode))
        if how == "put":
            changed[place:place] = litter
        elif how == "over":
            changed[place : place + len(litter)] = litter
        elif how == "cut":
            del changed[place : place + length]
        else:
            changed[place:place] = changed[place : place + length]
    return bytes(changed)
