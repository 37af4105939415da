"""What is said of work that is stopped is what becomes of it."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from flightlog.cli.importing_many import workers_of
from flightlog.workers import cluster, processes

FINISHED = "stopping; logs in work are finished first, Ctrl-C ends them too"
GIVEN_UP = "stopping; logs in work are given up"
CANCELLED = "stopping; logs that the cluster has in work are cancelled"


class Cluster:
    count = 3

    def __init__(self, address, shared, tell):
        pass

    def close(self):
        pass


@pytest.mark.parametrize(
    ("jobs", "address", "finish", "said", "done"),
    [
        (2, None, True, [FINISHED], ["close"]),
        (2, None, False, [GIVEN_UP], ["end", "close"]),
        (1, None, True, [], []),
        (None, "tcp://x:1", True, ["tcp://x:1 works on 3 logs at a time", CANCELLED], []),
        (None, "tcp://x:1", False, ["tcp://x:1 works on 3 logs at a time", CANCELLED], []),
    ],
)
def test_it_is_said_what_becomes_of_what_is_in_work(
    tmp_path, monkeypatch, jobs, address, finish, said, done
):
    desk, told, called = SimpleNamespace(folder=SimpleNamespace(tables=tmp_path)), [], []
    monkeypatch.setattr(cluster, "Cluster", Cluster)
    monkeypatch.setattr(processes.Processes, "end", lambda self: called.append("end"))
    monkeypatch.setattr(processes.Processes, "close", lambda self: called.append("close"))

    with (
        pytest.raises(KeyboardInterrupt),
        workers_of(desk, 9, jobs, address, told.append, finish=finish),
    ):
        raise KeyboardInterrupt

    assert said == told
    assert done == called
