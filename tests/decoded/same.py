"""Are two recordings the same, to the last bit?"""

from __future__ import annotations

import dataclasses
from typing import Any

import pandas as pd

from flightlog.recording import Recording


def assert_same(one: Recording, other: Recording) -> None:
    assert list(one) == list(other)
    for name in one:
        assert list(one[name]) == list(other[name])
        pd.testing.assert_index_equal(one[name].index, other[name].index, exact=True)
        for column in one[name]:
            ours, theirs = one[name][column].to_numpy(), other[name][column].to_numpy()
            assert ours.dtype == theirs.dtype
            if ours.dtype == object:
                assert _cells(ours) == _cells(theirs), f"{name}.{column}"
            else:  # -0.0 is not 0.0 here
                assert ours.tobytes() == theirs.tobytes(), f"{name}.{column}"
    assert _told(one.receipt) == _told(other.receipt)
    assert [_told(f) for f in one.findings] == [_told(f) for f in other.findings]


def _cells(values: Any) -> list[tuple[str, str]]:
    return [(type(value).__name__, repr(value)) for value in values]


def _told(what: Any) -> str:
    """With types: 1 is not 1.0 here, and a tuple is no list."""
    fields = {f.name: getattr(what, f.name) for f in dataclasses.fields(what)}
    return repr({k: dict(v) if hasattr(v, "keys") else v for k, v in fields.items()})
