"""A process that makes a key, signs, fails, and meets a fault; run by ``test_secrets.py``.

From standard input come, a line each: the digits of a seed, its passphrase, a wrong one. Then it
tells all that it can of itself.
"""

from __future__ import annotations

import logging
import os
import sys
from pathlib import Path

from flightlog.cli.wall import shielded
from flightlog.logbook.keys import KeyFolder, read_passphrase
from tests.logbook.hands import CHEAP, known


def main(keys: Path) -> int:
    logging.basicConfig(level=logging.DEBUG)
    randomness = known(bytes.fromhex(read_passphrase(0).reveal().decode()))
    right, wrong = read_passphrase(0), read_passphrase(0)
    folder = KeyFolder(keys, cost=CHEAP, randomness=randomness)
    made = folder.create(right)
    unlocked = folder.unlock(made.key, right, "a list")
    signed = unlocked.sign(b"{}", "a list")

    def wrong_list() -> int:
        return len(unlocked.sign(b"{}", "another list"))

    def wrong_passphrase() -> int:
        return len(folder.unlock(made.key, wrong).key)

    def none_left() -> int:
        return len(read_passphrase(0).reveal())

    def fault() -> int:
        with folder.unlock(made.key, right) as again:
            return len(again.sign("no bytes"))  # type: ignore[arg-type]

    codes = [shielded(step) for step in (wrong_list, fault, wrong_passphrase, none_left)]
    print(made, signed.hex(), codes, folder, right, wrong, unlocked)
    print(sys.argv, dict(os.environ))
    for name in ("cmdline", "environ"):
        path = Path("/proc/self", name)
        if path.exists():
            print(path.read_bytes())
    raise RuntimeError(f"nobody catches this: {unlocked} {right}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
