"""The log's clock against UTC: leap seconds, and dates that can't be."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from flightlog.constants import GPS_ERA_S
from flightlog.recording import Recording, UtcRelation
from flightlog.screening.dates import impossible_date, utc_steps
from tests.screening.made import as_format, changed, debrief, flown, told, view


def unix(day: str) -> float:
    return datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp()


NOW = unix("2026-06-01")

# --- leap seconds


def with_utc(recording: Recording, utc_s: np.ndarray, offset_s: float) -> Recording:
    gps = recording["gps"].assign(time_utc=utc_s)
    return as_format(
        changed(recording, gps=gps), "dataflash", utc=UtcRelation(offset_s, 0.2, "the fixes")
    )


@pytest.mark.parametrize(("share", "wrong"), [(0.3, False), (0.8, True)])
def test_leap_seconds_that_arrive_in_flight(share, wrong):
    t = flown()["gps"]["time_s"].to_numpy()
    base = unix("2026-05-02")
    at = t[int(share * len(t))]
    utc = t + base + np.where(t < at, 2.0, 0.0)  # before it knew, the receiver was 2 s ahead
    offset = float(np.median(utc - t))
    recording = with_utc(flown(), utc, offset)
    (finding,) = told(recording, "utc-leap-seconds")

    assert (finding.severity, finding.affects) == ("note", ())
    assert finding.evidence["step_s"] == -2
    assert finding.evidence["at_s"] == pytest.approx(at, abs=0.01)
    assert "jumps by -2 s" in finding.message
    assert ("2 s off" in finding.message) == wrong
    assert set(debrief(recording).sorties[0].figures) == set(debrief(flown()).sorties[0].figures)


def test_jitter_and_a_single_odd_fix_are_no_leap_seconds():
    t = np.arange(0.0, 120.0, 0.2)
    utc = 1.7e9 + t + np.random.default_rng(5).normal(0.15, 0.05, len(t))
    utc[300] += 3.0

    assert utc_steps(t, utc) == []
    utc[400:] += 1.0
    (step,) = utc_steps(t, utc)
    assert (step.seconds, step.time_s) == (1, pytest.approx(80.0))


# --- dates that can't be


def dated(day: str, format: str = "dataflash"):
    return view(as_format(flown(), format, utc=UtcRelation(unix(day), 0.2, "the fixes")))


def test_a_date_before_the_format_is_a_week_counter_that_ran_over():
    """2026-05-02 less 1024 weeks is 2006-09-16, before any such log was written."""
    (finding,) = impossible_date(dated("2006-09-16"), NOW)

    assert (finding.code, finding.severity) == ("gps-week-rollover", "note")
    assert finding.evidence["weeks_off"] == 1024
    assert "2026-05-02" in finding.message
    assert told(dated("2006-09-16").recording, "gps-week-rollover")


def test_a_date_an_era_ahead():
    ahead = as_format(flown(), "gpx", utc=UtcRelation(NOW - 30 * 86400 + GPS_ERA_S, 0.2, "x"))
    (finding,) = impossible_date(view(ahead), NOW)

    assert finding.evidence["weeks_off"] == -1024


@pytest.mark.parametrize(
    ("day", "format"),
    [("2013-11-29", "dataflash"), ("2026-05-31", "ulog"), ("2027-03-02", "dataflash"),
     ("1996-07-01", "igc"), ("1999-01-01", "delimited")],
)  # fmt: skip
def test_dates_that_can_be(day, format):
    assert list(impossible_date(dated(day, format), NOW)) == []


def test_a_log_without_a_date():
    assert list(impossible_date(view(flown()), NOW)) == []


def test_a_clean_log_has_none_of_these():
    clean = as_format(flown(), flown().receipt.format, utc=UtcRelation(NOW, 0.2, "the fixes"))

    assert not told(clean, "utc-leap-seconds")
    assert not told(clean, "gps-week-rollover")
