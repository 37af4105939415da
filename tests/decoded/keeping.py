"""Keeps the same recording in two processes at once; each must import this module."""

from __future__ import annotations

from multiprocessing.synchronize import Barrier
from pathlib import Path

import flightlog
from flightlog.decoded import DecodedStore


def keep_often(folder: Path, log: Path, times: int, together: Barrier, said: object) -> None:
    recording = flightlog.read(log)
    names = []
    for _ in range(times):
        together.wait(30)
        names.append(DecodedStore(folder).keep(recording))
    said.send(names)
