"""How fast the DataFlash decoder is beside pymavlink and SHA-256, and how much memory it takes.

Run: ``python tests/benchmarks/decode_dataflash.py [LOG]`` (default: the simulated runway
flight in the folder that FLIGHTLOG_CORPUS names). Both decoders read the same file in this
one run: pymavlink iterates over all messages (fields untouched), ours reads the file and
decodes every column of every message. Our time is the median of seven, theirs is one pass,
between two halves of ours so that a busy machine slows both; the file's hash is taken after each
of ours, from memory. The peak of memory is measured in processes of their own, against one that
only imports.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

TARGET_RATIO = 80.0
TARGET_HASHES = 8.0
TARGET_MEMORY = 6.0

PEAK = """
import sys
from pathlib import Path
import numpy, pandas
import flightlog.importers.dataflash_tables
path = Path(sys.argv[1])
if sys.argv[2] == "decode":
    from flightlog.importers.dataflash import decode_file
    log = decode_file(path)
    for table in log.values():
        for column in table.columns:
            table[column]
elif sys.argv[2] == "read":
    from flightlog.importers import read
    recording = read(path)
if sys.platform == "linux":
    # ru_maxrss would carry the parent's peak over.
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    print(int(status.split("VmHWM:")[1].split()[0]) * 1024)
elif sys.platform == "win32":
    import psutil
    print(psutil.Process().memory_info().peak_wset)
else:
    import resource
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def ours(path: Path) -> tuple[float, int]:
    """Seconds to read the file and touch every column, and messages read."""
    from flightlog.importers.dataflash import decode_file

    start = time.perf_counter()
    log = decode_file(path)
    for table in log.values():
        for column in table.columns:
            table[column]
    return time.perf_counter() - start, len(log.starts)


def hashing(content: bytes) -> float:
    """Seconds to hash the content."""
    start = time.perf_counter()
    hashlib.sha256(content).hexdigest()
    return time.perf_counter() - start


def theirs(path: Path) -> tuple[float, int]:
    """Seconds to iterate over the file with pymavlink, and messages read."""
    from pymavlink.DFReader import DFReader_binary

    start = time.perf_counter()
    messages = 0
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        reader = DFReader_binary(str(path))
        while reader.recv_msg() is not None:
            messages += 1
    return time.perf_counter() - start, messages


def peak(path: Path, what: str) -> int:
    """Peak of resident memory of a process that does one thing [bytes]."""
    command = [sys.executable, "-c", PEAK, str(path), what]
    return int(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def whole_read(path: Path) -> float:
    """Seconds for `flightlog.read`: decoding, tables, hash, receipt."""
    from flightlog.importers import read

    start = time.perf_counter()
    read(path)
    return time.perf_counter() - start


def main(arguments: list[str]) -> int:
    """Measure and print; 1 when a target is missed."""
    if arguments:
        path = Path(arguments[0])
    elif root := os.environ.get("FLIGHTLOG_CORPUS"):
        path = Path(root, "dataflash", "runway_simulated.bin")
    else:
        print("Name a DataFlash file, or set FLIGHTLOG_CORPUS.", file=sys.stderr)
        return 2
    content = path.read_bytes()
    size = len(content)
    first = ours(path)[0]
    pairs = [(ours(path)[0], hashing(content)) for _ in range(4)]
    reference, reference_messages = theirs(path)
    pairs += [(ours(path)[0], hashing(content)) for _ in range(3)]
    _, messages = ours(path)
    times = [decoded for decoded, _ in pairs]
    typical = statistics.median(times)
    hashed = statistics.median(hashed for _, hashed in pairs)
    ratio, hashes = reference / typical, typical / hashed
    print(f"{path.name}: {size / 1e6:.1f} MB, {messages} messages (pymavlink {reference_messages})")
    print(f"pymavlink iteration      {reference:8.3f} s")
    print(f"SHA-256 of the file      {hashed:8.3f} s")
    print(f"ours, every column       {typical:8.3f} s   (first {first:.3f}, best {min(times):.3f})")
    print(f"pymavlink / ours         {ratio:8.1f}     target at least {TARGET_RATIO:.0f}")
    print(f"ours / SHA-256           {hashes:8.1f}     target at most {TARGET_HASHES:.0f}")
    print(
        f"read with tables         {statistics.median(whole_read(path) for _ in range(3)):8.3f} s"
    )
    idle = peak(path, "nothing")
    memory = {what: (peak(path, what) - idle) / size for what in ("decode", "read")}
    for what, times_size in memory.items():
        print(f"peak memory, {what:11s} {times_size:8.2f} x the file   target {TARGET_MEMORY:.0f}")
    missed = ratio < TARGET_RATIO or hashes > TARGET_HASHES or max(memory.values()) > TARGET_MEMORY
    return int(missed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
