"""How long a transmitter card of 10 MB takes, and how much memory.

Run: ``python tests/benchmarks/read_transmitter.py [MB]``. The card is made from a seed: 2 Hz
rows of all usual columns, a new fix in every other row. Reading is timed in a process of its own,
without and with the start of Python and its libraries, and compared with the ``csv`` module
running over the same bytes. Memory is the peak of that process above its size before the file is
opened.
"""

from __future__ import annotations

import csv
import io
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SEED = 20270302
HEADER = (
    "Date,Time,1RSS(dB),2RSS(dB),RQly(%),RSNR(dB),ANT,RFMD,TPWR(mW),TRSS(dB),TQly(%),TSNR(dB),"
    "Ptch(rad),Roll(rad),Yaw(rad),RxBt(V),Curr(A),Capa(mAh),Bat_(%),FM,GPS,GSpd(kmh),Hdg(@),"
    "Alt(m),Sats,Rud,Ele,Thr,Ail,SA,SB,SC,SD,SE,SF,LSW,TxBat(V)"
)


def card(size: int, seed: int = SEED) -> bytes:
    """Make a card of at least some bytes."""
    rng = np.random.default_rng(seed)
    lines, length, row, place = [HEADER], len(HEADER), 0, np.zeros(2)
    while length < size:
        ms = 36_000_000 + 500 * row
        hour, minute = ms // 3_600_000 % 24, ms // 60_000 % 60
        if row % 2 == 0:
            place = place + rng.normal(0, 1e-4, 2)
        n, c = rng.integers(-1000, 1000, 6), rng.random(6)
        line = (
            f"2027-03-02,{hour:02d}:{minute:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d},"
            f"{60 + n[0] % 30},{60 + n[1] % 30},100,{n[2] % 40},4,2,25,{60 + n[3] % 30},100,30,"
            f"{c[0]:.2f},{c[1] - 0.5:.2f},{6 * c[2] - 3:.2f},{22 + c[3]:.1f},{20 * c[4]:.1f},"
            f"{row // 10},{100 - row % 100},0,{place[0]:.6f} {place[1]:.6f},{60 * c[5]:.1f},"
            f"{60 * c[0] - 30:.2f},{n[4] % 90},12,{n[0]},{n[1]},{n[2]},{n[3]},1,-1,0,-1,1,-1,"
            "0x0000000000000000,8.1"
        )
        lines.append(line)
        length += len(line) + 1
        row += 1
    return ("\n".join(lines) + "\n").encode()


_READ = """
import time
import flightlog.importers.delimited_file, pandas
from tests.benchmarks.read_transmitter import peak_bytes
from flightlog.importers import read
before = peak_bytes()
start = time.perf_counter()
read({path!r})
print(time.perf_counter() - start, peak_bytes() - before)
"""


def peak_bytes() -> int:
    """Largest size of this process so far [bytes]."""
    try:
        import resource
    except ImportError:  # Windows
        import psutil

        return int(psutil.Process().memory_info().peak_wset)
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def module_alone(content: bytes) -> float:
    """Seconds that the ``csv`` module takes for the same bytes, and does nothing with them."""
    text = content.decode()
    start = time.perf_counter()
    for _row in csv.reader(io.StringIO(text, newline="")):
        pass
    return time.perf_counter() - start


def main(arguments: list[str]) -> int:
    """Measure and print."""
    size = float(arguments[0]) * 1e6 if arguments else 10e6
    content = card(int(size))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "pannier-2027-03-02.csv")
        path.write_bytes(content)
        alone = min(module_alone(content) for _ in range(5))
        runs, whole = [], []
        for _ in range(5):
            start = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", _READ.format(path=str(path))],
                check=True,
                capture_output=True,
                text=True,
            )
            whole.append(time.perf_counter() - start)
            seconds, peak = done.stdout.split()
            runs.append((float(seconds), int(peak)))
    best, peak = min(runs)[0], max(p for _, p in runs)
    rows = content.count(b"\n") - 1
    print(f"{len(content) / 1e6:.1f} MB, {rows} rows")
    print(f"read                    best {best:6.3f} s of {len(runs)}")
    print(f"with the start of Python     {min(whole):6.3f} s")
    print(f"the csv module alone         {alone:6.3f} s, ratio {best / alone:.1f}")
    print(f"peak of memory above start   {peak / 1e6:6.0f} MB, {peak / len(content):.1f} x input")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
