"""The charts of a ground test, by its kind."""

from __future__ import annotations

from importlib import import_module

from flightlog.groundtests.answer import GroundAnswer
from flightlog.reports.chart import Chart


def charts_of(word: str, answer: GroundAnswer) -> tuple[Chart, ...]:
    """Give the charts of a test; none where it has nothing to draw.

    Parameters
    ----------
    word : str
        Kind of test.
    answer : GroundAnswer
        What its reduction gave.
    """
    if answer.detail is None:
        return ()
    drawn = import_module(f"flightlog.reports.ground_{word}_chart").chart(answer)
    return (drawn,)
