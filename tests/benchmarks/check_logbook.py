"""How long it takes to check a logbook, and what share of that the signatures have.

Run: ``python -m tests.benchmarks.check_logbook [ENTRIES]``. The record is made from seeds: two
devices that see each other, each entry signed by its device and one person. It is checked from its
file, as ``flightlog logbook check`` does. The signatures alone are the plain library over the same
bytes, in one thread.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from flightlog.logbook.checking import check, judge_by_the_rules
from flightlog.logbook.entry import Entry, read_body
from flightlog.logbook.layout import RECORD
from flightlog.logbook.order import Order
from flightlog.logbook.store import Store
from tests.logbook.made import Maker, key_of, public_of

RUNS = 3


def record(entries: int) -> list[Entry]:
    """Make a record of so many entries."""
    maker = Maker()
    founding = maker.found("laptop")
    maker.add("tablet", "chain-start", {"reason": "first write here"}, seen=[founding])
    while len(maker.entries) < entries:
        device, other = ("laptop", "tablet") if len(maker.entries) % 2 else ("tablet", "laptop")
        maker.add(
            device,
            "remark",
            {"text": f"Item {len(maker.entries)} was looked at and found tight"},
            signers=[("mechanic", "stated", "mechanic")],
            seen=[maker.last[other]] if len(maker.entries) % 10 == 0 else [],
        )
    return maker.entries


def best_of(task: Callable[[], object]) -> float:
    """Shortest time of some runs [s]."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return min(times)


def main(arguments: list[str]) -> int:
    """Measure and print."""
    count = int(arguments[0]) if arguments else 10_000
    entries = record(count)
    keys = {public_of(n): key_of(n).public_key() for n in ("laptop", "tablet", "pilot", "mechanic")}

    def signatures() -> None:
        for entry in entries:
            device = b"flightlog.device-signature/1\n" + entry.by_device
            keys[entry.body.device].verify(entry.device_signature, device)
            for signer, signature in zip(entry.body.signers, entry.people_signatures, strict=True):
                keys[signer.key].verify(signature, b"flightlog.person-signature/1\n" + entry.data)

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Store.create(folder / RECORD) as store, store.writing() as writing:
            for entry in entries:
                writing.add(entry)

        def rows() -> list[object]:
            with Store(folder / RECORD, read_only=True) as store:
                return list(store.rows())

        report = check(folder)
        if not report.ok:
            print(f"the record is not whole: {report.first_break}")
            return 1
        whole = best_of(lambda: check(folder))
        parts = {
            "signatures, plain library, one thread": best_of(signatures),
            "reading the bodies": best_of(lambda: [read_body(e.data) for e in entries]),
            "reading the rows from the file": best_of(rows),
            "judging what counts": best_of(lambda: judge_by_the_rules(Order(entries))),
        }
    print(f"{count} entries, {sum(len(e.data) for e in entries) / count:.0f} bytes each")
    print(f"{'':40}{'s':>8}{'ratio':>8}{'µs/entry':>10}")
    for title, seconds in {"the whole check": whole, **parts}.items():
        per_entry = 1e6 * seconds / count
        print(f"{title:40}{seconds:8.2f}{seconds / whole:8.2f}{per_entry:10.0f}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
