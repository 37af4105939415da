"""Where tests keep their temporary folders, how many examples a law is tried on, and on how much.

As the command does, tests compute with one thread each: matrices are small, and threads of several
workers that wait for each other cost several times the work.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when numpy is first imported
# So that all tests end within a quarter of an hour on two cores; a law that needs more says so. The
# same examples each time: what fails is what was changed. Other ones are tried by hand.
settings.register_profile("house", max_examples=25, derandomize=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))

IN_MEMORY = Path("/dev/shm")
ROOM = 4_000_000_000
"""Free room that a file system in memory needs to be used [bytes]."""


def pytest_configure() -> None:
    """Keep temporary folders in memory where the system has room for that.

    Tests of the record mostly wait for a disk otherwise. What is promised about disks is tested on
    one that forgets, in ``tests/logbook/forgetful_disk.py``.
    """
    if "PYTEST_DEBUG_TEMPROOT" in os.environ or not os.access(IN_MEMORY, os.W_OK):
        return
    if shutil.disk_usage(IN_MEMORY).free > ROOM:
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(IN_MEMORY)
