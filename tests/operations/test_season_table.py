"""The table of a season says what the stored debriefs say, flight by flight."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from flightlog.operations import sorties as sorties_module
from flightlog.operations.season_table import (
    DENSITY,
    WITH,
    WITHOUT,
    Wanted,
    in_year,
    season_rows,
    sums_of,
    wanted,
    years_of,
)
from flightlog.operations.sorties import debrief_of, sorties
from tests.operations.flown import flown
from tests.operations.logs import imported, release
from tests.operations.released import WIND

NINE = datetime(2027, 3, 15, 9, tzinfo=UTC)
ROLL = {"value": 28.9, "unit": "m", "low": 27.8, "high": 30.1, "level": 0.95, "method": "made",
        "sources": ["gps"]}  # fmt: skip
OVER = {"limit": "takeoff-roll", "kind": "rule", "figure": "takeoff.ground_roll",
        "definition": None, "value": 28.9, "low": 27.8, "high": 30.1, "unit": "m",
        "outcome": "not met", "probability": 0.0, "bound": {"op": "<=", "value": 20.0, "unit": "m"},
        "required_probability": 0.95, "source": "clause 4.2"}  # fmt: skip
WITH_ROLL = {"figures": {"takeoff.ground_roll": ROLL}, "outcomes": [OVER]}


def weather(farm, **numbers):
    content = {"place": "top-field", "instrument": "AM-1", "source": "read-off"}
    units = {"mast_height": "m", "wind_mean": "m/s", "wind_gust": "m/s", "wind_from": "deg",
             "pressure": "hPa", "temperature": "°C", "humidity": "%"}  # fmt: skip
    said = {**WIND, **numbers}
    content |= {name: {"value": said[name], "unit": unit} for name, unit in units.items()}
    return farm.add("weather", content, ("mechanic", "measured", "engineer"))


def test_every_number_is_that_of_the_stored_debrief(farm):
    release(farm, NINE - timedelta(minutes=10))
    imported(farm, NINE, each=WITH_ROLL)

    (row,), (flight,) = season_rows(farm.desk), sorties(farm.desk)
    stored = debrief_of(farm.desk, flight)
    number = row.figures["takeoff.ground_roll"]
    assert (28.9, 27.8, 30.1) == (number.value, number.low, number.high)
    assert set(row.figures) - {DENSITY} == set(stored["figures"])
    assert dict(stored["withheld"]).items() <= dict(row.withheld).items()
    assert ["not met"] == [verdict.word for verdict in row.verdicts]
    assert WITH == row.released
    assert () == row.contradictions


def test_density_is_that_of_the_weather_the_release_cites(farm):
    entry = weather(farm, pressure="1000.0", temperature="20.0", humidity="50")
    release(farm, NINE - timedelta(minutes=10), cites=[entry])
    imported(farm, NINE)

    (row,) = season_rows(farm.desk)
    # CIPM-2007 gives 1.1833 kg/m³ at 1000 hPa, 20 °C, 50 % (dry air 1.1884, less the vapour).
    assert 1.1833 == pytest.approx(row.figures[DENSITY].value, abs=0.001)
    assert row.figures[DENSITY].low < row.figures[DENSITY].value < row.figures[DENSITY].high


def test_a_flight_without_a_release_has_no_density_and_says_why(farm):
    imported(farm, NINE)

    (row,) = season_rows(farm.desk)
    assert WITHOUT == row.released
    assert "no release" in row.why_lacking(DENSITY)
    assert ["without-release"] == [one.code for one in row.contradictions]


def test_a_flight_by_hand_has_no_figure_and_says_what_to_do(farm):
    flown(farm, source="hand")

    (row,) = season_rows(farm.desk)
    assert "import its log" in row.why_lacking("takeoff.ground_roll")


def test_a_damaged_debrief_gives_no_figures(farm):
    (flight,) = imported(farm, NINE, each=WITH_ROLL)
    for attachment in flight.recording.body.attachments:
        path = farm.book.attachments.path(attachment.sha256)
        path.chmod(0o644)
        path.write_bytes(b"{}")
    farm.desk.refresh()

    (row,) = season_rows(farm.desk)
    assert "missing or damaged" in row.why_lacking("takeoff.ground_roll")


def test_rows_stand_until_an_entry_comes(farm):
    imported(farm, NINE)
    before = season_rows(farm.desk)
    farm.desk.refresh()
    assert season_rows(farm.desk) is before

    imported(farm, NINE + timedelta(hours=2), file="second.bin")
    assert 2 == len(season_rows(farm.desk))


def test_what_a_later_entry_says_of_a_flight_is_in_its_row(farm):
    (flight,) = imported(farm, NINE)
    assert "pack-b" not in season_rows(farm.desk)[0].words
    said = {"reason": "the label said so", "pack": "pack-b"}
    farm.add("pairing", said, ("pilot", "stated"), cites=[flight.entry])

    (row,) = season_rows(farm.desk)
    assert "pack-b" == row.record.pack
    assert "the label said so" in row.words


@pytest.fixture
def three(farm):
    release(farm, NINE - timedelta(minutes=10))
    imported(farm, NINE, each=WITH_ROLL)
    imported(farm, NINE + timedelta(days=1), file="second.bin", pack="pack-b")
    imported(farm, datetime(2028, 5, 1, 9, tzinfo=UTC), file="third.bin", aircraft=None)
    return season_rows(farm.desk)


@pytest.mark.parametrize(
    ("which", "places"),
    [
        (Wanted(), [0, 1, 2]),
        (Wanted(aircraft="pannier"), [0, 1]),
        (Wanted(pack="pack-b"), [1]),
        (Wanted(first=date(2027, 3, 16)), [1, 2]),
        (Wanted(last=date(2027, 3, 16)), [0, 1]),
        (Wanted(first=date(2027, 3, 16), last=date(2027, 3, 16)), [1]),
        (Wanted(released=WITH), [0]),
        (Wanted(outcome="not met"), [0]),
        (Wanted(outcome="met"), []),
        (Wanted(text="SECOND.bin"), [1]),
        (Wanted(text="  without-release "), [1]),
        (Wanted(aircraft="drover"), []),
    ],
)
def test_filters_let_through_what_they_say(three, which, places):
    assert [three[k] for k in places] == list(wanted(three, which))


def test_a_year_is_a_season_and_sums_are_of_its_flights(three):
    assert (2028, 2027) == years_of(three)
    sums = sums_of(in_year(three, 2027))
    assert (2, 2, 1) == (sums.flights, sums.landings, sums.without_release)
    assert sums.hours == pytest.approx(2 * 240 / 3600, rel=1e-6)  # 240 s each
    assert three == in_year(three, None)


def test_a_flight_without_a_time_is_counted_and_told(farm):
    flown(farm, None, source="hand")

    sums = sums_of(season_rows(farm.desk))
    assert (1, 0.0, 1) == (sums.flights, sums.hours, sums.untimed)


@pytest.mark.parametrize(("largest", "times"), [(10**6, 1), (10, 2)])
def test_a_stored_debrief_is_read_once_unless_it_is_large(farm, monkeypatch, largest, times):
    (flight,) = imported(farm, NINE)
    read = []
    inner = sorties_module._json
    monkeypatch.setattr(sorties_module, "_json", lambda path: read.append(path) or inner(path))
    monkeypatch.setattr(sorties_module, "LARGEST_KEPT", largest)
    farm.desk.lasting.clear()

    assert debrief_of(farm.desk, flight) == debrief_of(farm.desk, flight)
    assert times == len(read)
