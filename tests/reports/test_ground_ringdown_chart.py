"""The chart of a ring-down."""

import numpy as np

from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.ringdown import Setup, reduce
from flightlog.reports.ground_ringdown_chart import chart
from tests.groundtests.rings import Truth, recording


def test_each_release_lies_within_its_fitted_decay():
    t, y, _ = recording([[Truth(6.5, 0.018)]] * 2)
    drawn = chart(settled(reduce([BenchTable("a", {"time": t, "displacement": y})], Setup())))
    assert [panel.unit for panel in drawn.panels] == ["mm"] * 3
    for panel in drawn.panels:
        assert len({line.stroke for line in panel.lines}) == len(panel.lines)
        assert all(np.all(np.diff(line.x) > 0) for line in panel.lines)
    signal, above, below = drawn.panels[0].lines
    high, low = (np.interp(signal.x, line.x, line.y) for line in (above, below))
    # Noise is 10 mm.
    assert np.all((signal.y < high + 60) & (signal.y > low - 60))
    assert np.abs(signal.y).max() > 0.8 * high.max()


def test_where_nothing_rings_the_chart_says_so():
    assert "nothing rings" in chart(GroundAnswer()).lacking
    nothing = settled(reduce([], Setup()))
    assert "column of motion" in chart(nothing).lacking
