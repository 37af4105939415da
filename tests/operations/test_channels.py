"""Channels within a stretch of time: what is kept of them when points are left out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.operations.channels import (
    MOST_POINTS,
    Window,
    channels_of,
    happened_in,
    thinned,
)
from flightlog.recording import Receipt, Recording

ALL = Window(0.0, 0.0, 1e10)


class Raw:
    """A message type of a log, as importers give it."""

    def __init__(self, **columns):
        self._columns = columns
        self.columns = tuple(columns)
        self.units = {"Roll": "deg"}

    def __len__(self):
        return len(next(iter(self._columns.values())))

    def __getitem__(self, name):
        return np.asarray(self._columns[name])


def recording(raw=None, seams=(), origin="boot", **tables):
    receipt = Receipt("a.bin", 1, "0" * 64, "made", 1, seams=seams, time_origin=origin)
    made = {name: pd.DataFrame(columns) for name, columns in tables.items()}
    return Recording(made, receipt, raw)


def named(found):
    return {(c.table, c.column): c for c in found}


@given(st.integers(1, 3000), st.integers(0, 50), st.integers(0, 2**32 - 1))
def test_lowest_highest_ends_and_sides_of_gaps_always_stay(count, holes, seed):
    chance = np.random.default_rng(seed)
    value = chance.normal(size=count).round(int(chance.integers(0, 5)))
    gaps = np.zeros(count, dtype=bool)
    if count > 1:
        gaps[chance.integers(1, count, holes)] = True
    kept = thinned(value, gaps)

    assert (np.diff(kept) > 0).all()
    assert {0, len(value) - 1} <= set(kept.tolist())
    assert value.max() == value[kept].max()
    assert value.min() == value[kept].min()
    for after in np.flatnonzero(gaps).tolist():
        assert {after - 1, after} <= set(kept.tolist())
    # Two of each stretch, two at the ends, two at each gap.
    assert len(kept) <= max(MOST_POINTS, MOST_POINTS + 2 + 2 * int(gaps.sum()))


def test_a_spike_of_one_sample_stays():
    value = np.zeros(100_000)
    value[54_321] = 7.0
    (channel,) = channels_of(
        recording(attitude={"time_s": np.arange(100_000) * 0.001, "roll_rad": value}), ALL
    )

    assert 54.321 == channel.time_s[channel.value.argmax()]
    assert len(channel.value) <= MOST_POINTS + 2


def test_a_gap_is_told_before_the_point_that_follows_it():
    time_s = np.concatenate([np.arange(0, 20, 0.02), np.arange(26, 50, 0.02)])
    (channel,) = channels_of(recording(attitude={"time_s": time_s, "roll_rad": time_s}), ALL)

    assert [26.0] == channel.time_s[channel.gap_before].tolist()
    # One row a second is no row of gaps.
    slow = np.arange(0.0, 50.0)
    (channel,) = channels_of(recording(attitude={"time_s": slow, "roll_rad": slow}), ALL)
    assert not channel.gap_before.any()


def test_sensors_channels_and_cells_are_channels_of_their_own():
    found = named(
        channels_of(
            recording(
                battery={
                    "time_s": [1.0, 2.0],
                    "instance": [0, 1],
                    "voltage_v": [25.0, np.nan],
                    "cell_voltages": [[4.1, 4.2], [4.0]],
                },
                outputs={"time_s": [1.0, 1.0], "channel": [1, 3], "pulse_us": [1500.0, 1100.0]},
            ),
            ALL,
        )
    )

    assert [25.0] == found["battery instance 0", "voltage_v"].value.tolist()
    assert ("battery instance 1", "voltage_v") not in found
    assert [4.2] == found["battery instance 0", "cell_voltages[1]"].value.tolist()
    assert ("battery instance 1", "cell_voltages[1]") not in found
    assert "V" == found["battery instance 0", "cell_voltages[0]"].unit
    assert [1100.0] == found["outputs channel 3", "pulse_us"].value.tolist()


def test_only_what_is_within_the_stretch_and_counted_from_zero():
    made = recording(
        attitude={"time_s": np.arange(10.0), "roll_rad": np.arange(10.0)},
        messages={"time_s": [1.0, 5.0], "severity": [6, 6], "text": ["early", "x" * 900]},
        parameters={"time_s": [6.0], "name": ["P"], "value": [2.5]},
    )
    (channel,) = channels_of(made, Window(3.0, 6.0, 8.0))

    assert [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0] == channel.time_s.tolist()
    said = happened_in(made, Window(3.0, 6.0, 8.0))
    assert [(-1.0, "messages", 300), (0.0, "parameters", 7)] == [
        (e.time_s, e.table, len(e.text)) for e in said
    ]
    assert channels_of(made, Window(100.0, 200.0, 200.0)) == []


@pytest.mark.parametrize(
    ("more", "there"),
    [
        ({}, True),
        ({"seams": (5.0,)}, False),
        ({"origin": "first row"}, False),
    ],
)
def test_fields_of_the_log_are_there_where_its_clock_is_that_of_the_tables(more, there):
    raw = {
        "ATT": Raw(TimeUS=[1_000_000, 2_000_000], Roll=[10.0, 20.0], Name=["a", "b"]),
        "ESC": Raw(TimeUS=[1_000_000, 1_000_000], Instance=[0, 1], Rpm=[5000, 5100]),
        "GPS": Raw(time_usec=[1.8e15, 1.8e15 + 1e6], lat=[1, 2]),
        "FMT": Raw(Type=[1, 2]),
    }
    found = channels_of(
        recording(raw, attitude={"time_s": [1.0, 2.0], "roll_rad": [1, 2]}, **more), ALL
    )
    logged = named([c for c in found if c.as_logged])

    assert there == bool(logged)
    if there:
        assert {("ATT", "Roll"), ("ESC 0", "Rpm"), ("ESC 1", "Rpm")} == set(logged)
        assert [1.0, 2.0] == logged["ATT", "Roll"].time_s.tolist()
        assert "deg" == logged["ATT", "Roll"].unit
