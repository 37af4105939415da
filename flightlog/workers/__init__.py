"""Who does the work: this process, processes of this machine, or an existing cluster.

The work is a function of one task, both of which can be pickled. What it needs lies in the task
and in the folders that the task names, so that it does not matter where it is done.
"""

from __future__ import annotations

from flightlog.workers.tasks import Finished, Here, Workers

__all__ = ["Finished", "Here", "Workers"]
