"""Tables that are larger than their log gives are not read, whatever their receipt says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import flightlog
import flightlog.importers
from flightlog.decoded import DecodedStore
from flightlog.decoded.files import CELLS_PER_BYTE, FEWEST_CELLS
from flightlog.inputs import Inputs
from flightlog.operations.flight_making import (
    FlightTask,
    Given,
    LookTask,
    Source,
    debrief_flight,
    look,
)
from flightlog.recording import Recording
from tests.operations.made import SAMPLES

LOG = SAMPLES / "calm_transmitter.csv"


@pytest.fixture
def log():
    return flightlog.read(LOG)


@pytest.fixture
def reads(monkeypatch):
    done, read = [], flightlog.importers.read

    def reading(path, **how):
        done.append(path)
        return read(path, **how)

    monkeypatch.setattr(flightlog.importers, "read", reading)
    return done


def inflated(log):
    """Tables that say they are of this log, and of a far larger one than it is."""
    size = log.receipt.size
    rows = (FEWEST_CELLS + CELLS_PER_BYTE * size) // len(log["gps"].columns) + 1
    gps = pd.DataFrame({name: np.zeros(rows) for name in log["gps"].columns})
    receipt = replace(log.receipt, size=10 * size, rows={**log.receipt.rows, "gps": rows})
    return Recording({**{name: log[name] for name in log}, "gps": gps}, receipt)


def source(log, name):
    return Source(LOG, log.receipt.sha256, log.receipt.size, name, LOG.name)


@pytest.mark.parametrize("honest", [True, False])
def test_a_look_at_a_log_takes_only_tables_that_it_can_give(log, tmp_path, reads, honest):
    store = DecodedStore(tmp_path / "tables")
    name = store.keep(log if honest else inflated(log))
    assert store.take(name) is not None  # by its receipt alone it could be
    looked = look(LookTask(LOG, store.folder, {}, log.receipt.sha256, name))
    assert honest == looked.again == (not reads)


@pytest.mark.parametrize("honest", [True, False])
def test_a_debrief_takes_only_tables_that_its_log_can_give(log, tmp_path, reads, honest):
    store = DecodedStore(tmp_path / "tables")
    name = store.keep(log if honest else inflated(log))
    attachments = tmp_path / "attachments"
    task = FlightTask(
        logs=(source(log, name),),
        under=(),
        given={"": Given(Inputs())},
        attachments=attachments,
        tables=store.folder,
        number=0,
    )
    assert debrief_flight(task).receipt.size == log.receipt.size
    assert honest == (not reads)
