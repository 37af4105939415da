"""The command line: thin commands that fetch, call one function and show.

``run`` is the entry point. One wall (`flightlog.cli.wall`) turns errors into exit codes.
"""

from __future__ import annotations

from collections.abc import Sequence


def run(argv: Sequence[str] | None = None) -> None:
    """Run the command line and leave the process with its exit code.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process when not given.
    """
    import os
    import sys

    # Matrices are small here: a second thread costs several times what it saves, the more so on a
    # laptop that is busy otherwise. Read when numpy is loaded, which is later.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from flightlog.cli.app import main

        code = main(argv)
    except KeyboardInterrupt:  # while the program was still loading, or already ending
        code = 130
    sys.exit(code)
