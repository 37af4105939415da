from __future__ import annotations

import pytest

from flightlog.joining.match import offset_windows
from flightlog.recording import UtcRelation

DAY = 1_804_464_000.0  # 2027-03-08T00:00:00Z


def allowed(offset_s: float, windows: list[tuple[float, float]] | None) -> bool:
    return windows is None or any(low <= offset_s <= high for low, high in windows)


def test_two_clocks_that_know_utc_leave_one_offset():
    # At first zero it is 10:00:00, at second zero 10:02:00: the second's zero is 120 s later.
    first = UtcRelation(DAY + 36_000.0, 0.2)
    second = UtcRelation(DAY + 36_120.0, 0.2)
    windows = offset_windows(first, second)

    assert windows is not None
    assert len(windows) == 1
    assert allowed(120.0, windows)
    assert not allowed(-120.0, windows)
    assert not allowed(140.0, windows)


@pytest.mark.parametrize("zone_h", [-12.0, -3.5, 0.0, 1.0, 5.75, 14.0])
def test_local_time_may_be_that_of_any_zone(zone_h):
    """The card's clock shows local time at its zero, which is 300 s after that of the first."""
    first = UtcRelation(DAY + 36_000.0, 0.2)
    card = UtcRelation(DAY + 36_300.0 + 3600.0 * zone_h, 60.0, zone_known=False)

    assert allowed(300.0, offset_windows(first, card))
    assert allowed(-300.0, offset_windows(card, first))


def test_no_zone_is_a_third_of_an_hour_off_or_beyond_the_date_line():
    first = UtcRelation(DAY + 36_000.0, 0.2)
    for wrong_s in (450.0, 15.0 * 3600.0, -13.0 * 3600.0):
        card = UtcRelation(DAY + 36_300.0 + wrong_s, 30.0, zone_known=False)
        assert not allowed(300.0, offset_windows(first, card))


def test_two_local_clocks_may_differ_by_zones():
    one = UtcRelation(DAY + 3600.0, 60.0, zone_known=False)
    two = UtcRelation(DAY + 7200.0 + 40.0, 60.0, zone_known=False)

    assert allowed(40.0, offset_windows(one, two))


@pytest.mark.parametrize(
    "unknown", [UtcRelation(), UtcRelation(946_684_800.0, 60.0), UtcRelation(float("nan"), 1.0)]
)
def test_a_clock_that_tells_nothing_or_was_never_set_allows_everything(unknown):
    known = UtcRelation(DAY, 0.2)

    assert offset_windows(known, unknown) is None
    assert offset_windows(unknown, known) is None
