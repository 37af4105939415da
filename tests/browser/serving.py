"""Serves the pages of a folder with a clock of its own, in a process without a network.

Run as ``python -m tests.browser.serving ROOT PORT TIME``: ROOT holds the folders ``team``,
``stick`` and ``profile``. The clock begins at TIME and goes on.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

PATIENCE_S = 60
NOT_OURS = "left the laptop"


@contextmanager
def served(root: Path, now: datetime) -> Iterator[str]:
    """Serve a folder and give the address; the process may not have tried to leave."""
    port = free_port()
    command = [sys.executable, "-m", "tests.browser.serving", str(root), str(port), now.isoformat()]
    with (root / "server.txt").open("w+", encoding="utf-8") as told:
        process = subprocess.Popen(command, stdout=told, stderr=subprocess.STDOUT)
        try:
            _wait(process, port, root)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(PATIENCE_S)
    said = (root / "server.txt").read_text(encoding="utf-8")
    assert NOT_OURS not in said, said
    assert "Traceback" not in said, said


def free_port() -> int:
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        return int(tried.getsockname()[1])


def _wait(process: subprocess.Popen[bytes], port: int, root: Path) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and process.poll() is None:
        if "ready" in (root / "server.txt").read_text(encoding="utf-8"):
            return
        time.sleep(0.1)
    raise AssertionError((root / "server.txt").read_text(encoding="utf-8"))


def cut_network() -> None:
    """Let no socket of this process lead anywhere but to this laptop itself."""

    def watched(way: Any) -> Any:
        def connect(self: socket.socket, address: Any) -> Any:
            if self.family in (socket.AF_INET, socket.AF_INET6) and address[0] != "127.0.0.1":
                print(NOT_OURS, address, flush=True)
                raise OSError(f"the network is cut: {address}")
            return way(self, address)

        return connect

    socket.socket.connect = watched(socket.socket.connect)  # type: ignore[method-assign]
    socket.socket.connect_ex = watched(socket.socket.connect_ex)  # type: ignore[method-assign]


def main(root: Path, port: int, begins: datetime) -> None:
    from flightlog.dashboard.server import serve
    from flightlog.dashboard.setup import Setup

    os.environ["FLIGHTLOG_PROFILE"] = str(root / "profile")
    cut_network()
    started = time.monotonic()

    def clock() -> tuple[datetime, str]:
        return begins + timedelta(seconds=time.monotonic() - started), "laptop clock"

    team = root / "team"
    given = Setup(team if team.exists() else None, (root / "stick",), clock)
    serve(given, port, lambda address: print("ready", address, flush=True))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), datetime.fromisoformat(sys.argv[3]))
