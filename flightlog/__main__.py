"""``python -m flightlog``."""

from __future__ import annotations

from flightlog.cli import run

if __name__ == "__main__":
    run()
