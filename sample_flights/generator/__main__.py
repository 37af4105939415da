"""``python -m sample_flights.generator --to DIR`` makes all sample flights again."""

from __future__ import annotations

import argparse
from pathlib import Path

from .bench import write_bench
from .flights import SAMPLES, write_samples, write_takeoff_files


def main() -> None:
    """Read the options and write."""
    parser = argparse.ArgumentParser(prog="python -m sample_flights.generator",
                                     description="Simulate the sample flights.")  # fmt: skip
    parser.add_argument("--to", type=Path, required=True, metavar="DIR", help="where to write")
    parser.add_argument("--only", nargs="*", default=[], choices=[s.name for s in SAMPLES],
                        metavar="NAME", help="these samples only")  # fmt: skip
    parser.add_argument("--takeoffs", type=int, default=0, metavar="N",
                        help="instead, N random take-offs as files")  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="of the random take-offs")
    parser.add_argument("--bench", action="store_true", help="instead, the files from the bench")
    options = parser.parse_args()
    if options.bench:
        written = write_bench(options.to)
    elif options.takeoffs:
        written = write_takeoff_files(options.takeoffs, options.seed, options.to)
    else:
        written = write_samples(options.to, tuple(options.only))
    for path in written:
        print(f"{path.stat().st_size / 1e6:6.2f} MB  {path.name}")


if __name__ == "__main__":
    main()
