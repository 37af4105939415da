from __future__ import annotations

from tests.logbook.kill import run


def test_nothing_acknowledged_is_lost_by_killing_signing_and_merging(tmp_path):
    kills = run(25, seed=20270302, root=tmp_path)

    assert [] == kills.failures
    assert 25 == kills.killed
    # Else the children had nothing to lose.
    assert kills.acknowledged > 100
    assert kills.while_merging > 0
