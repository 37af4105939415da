"""Is the README's tour still what the program prints?

Run: ``python -m tests.tour``. Every ``flightlog`` command of the README that is followed by a
block of output is run beside a fresh demo folder, and each line of the block is looked for in
what it prints. Prints the lines that are not found; exit code 1 when there are any.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

README = Path(__file__).resolve().parent.parent / "README.md"
SHOWN = re.compile(r"```sh\n(flightlog [^\n]+)\n```\n\n```text\n(.*?)```", re.DOTALL)
LEFT_OUT = "[...]"


def printed(command: str, folder: Path) -> list[str]:
    """Lines of a command run in a folder, 80 characters wide."""
    done = subprocess.run(
        [sys.executable, "-m", "flightlog", *command.split()[1:]],
        cwd=folder,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "COLUMNS": "80"},
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    return done.stdout.splitlines()


def main() -> int:
    """Compare and print."""
    stale = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        printed("flightlog demo", folder)
        for command, block in SHOWN.findall(README.read_text(encoding="utf-8")):
            lines = set(printed(command, folder))
            gone = [x for x in block.splitlines() if x not in lines and x not in ("", LEFT_OUT)]
            print(f"{command.split()[1]} {command.split()[2]}: {len(gone)} lines differ")
            print("".join(f"    {line}\n" for line in gone), end="")
            stale += len(gone)
    return int(stale > 0)


if __name__ == "__main__":
    sys.exit(main())
