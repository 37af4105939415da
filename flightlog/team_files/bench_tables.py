"""The tables of a bench file that one kind of test has for itself: ``[thrust]`` and the like.

The keys of a table are the fields of the ``Setup`` of its module in `flightlog.groundtests`.
"""

from __future__ import annotations

from flightlog.team_files.checking import Table

# --- thrust: thrust stand


class ThrustBench(Table):
    """``[thrust]``."""


# --- discharge: discharge of a pack


class DischargeBench(Table):
    """``[discharge]``."""


# --- ringdown: ring-down of a wing or tail


class RingdownBench(Table):
    """``[ringdown]``."""


# --- stiffness: static deflection under load


class StiffnessBench(Table):
    """``[stiffness]``."""


# --- weighing: aircraft on scales


class WeighingBench(Table):
    """``[weighing]``."""


# --- linkage: servo and linkage


class LinkageBench(Table):
    """``[linkage]``."""
