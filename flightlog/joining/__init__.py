"""Several recordings: which are of one flight, which are copies, and one recording of them.

`join` does it all; `sketch`, `group` and `join_group` are its steps, for many files of which few
fit into memory at once.
"""

from __future__ import annotations

from flightlog.joining.group import Copy, Group, Grouping, Link, group, why_left_out
from flightlog.joining.join import join, join_group
from flightlog.joining.sketch import Sketch, sketch

__all__ = [
    "Copy",
    "Group",
    "Grouping",
    "Link",
    "Sketch",
    "group",
    "join",
    "join_group",
    "sketch",
    "why_left_out",
]
