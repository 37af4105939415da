from __future__ import annotations

from datetime import timedelta

import pytest

from tests.cli.measured import MORNING, added_weather, entry_of, kept_team, measuring
from tests.operations.meters import written

__all__ = ["kept_team", "measuring"]  # fixtures


def test_weather_is_entered_signed_and_shown_against_the_limits(measuring):
    assert 0 == added_weather(measuring), measuring.err
    assert "wind_mean: 3.3 m/s" in measuring.out
    measuring.at(MORNING + timedelta(minutes=12))
    assert 0 == measuring.run("weather", "show", "--site", "top-field"), measuring.err

    assert "top-field, 12 min ago" in measuring.out
    assert "wind 3.3 m/s from 70 deg, gusts 4.6 m/s, 2 m above the ground" in measuring.out
    assert "1009.5 hPa at the strip" in measuring.out
    # 3.3 m/s from 2 degrees to the right of the runway.
    assert (
        "headwind 3.3 m/s, crosswind 0.1 m/s from the right; in gusts 4.6 and 0.2" in measuring.out
    )
    # 0.10 % of pressure, and 2 K of 290 K with the vapour that goes with them, twice.
    assert "air density 1.207 kg/m³ ± 0.018" in measuring.out
    assert "pannier: within: gusts 4.6 m/s, at most 11 m/s" in measuring.out


def test_what_is_beyond_a_limit_or_too_old_is_said(measuring):
    assert 0 == added_weather(measuring, wind="4.0@160", gust="11.5"), measuring.err
    assert "pannier: BEYOND: gusts 11.5 m/s, at most 11 m/s" in measuring.out
    assert "pannier: BEYOND: crosswind in gusts 11.49 m/s" not in measuring.out
    assert "pannier: BEYOND: crosswind in gusts 11.5 m/s, at most 4 m/s" in measuring.out

    measuring.at(MORNING + timedelta(minutes=61))
    assert 0 == measuring.run("weather", "show")
    assert "pannier: TOO OLD: it holds for 60 min" in measuring.out
    measuring.at(MORNING - timedelta(hours=2))
    assert 0 == measuring.run("weather", "show")
    assert "top-field, AHEAD of this laptop's clock by 2 h" in measuring.out


def test_a_correction_takes_the_place_of_what_it_corrects(measuring):
    assert 0 == added_weather(measuring, gust="14.6")
    wrong = entry_of(measuring)
    measuring.at(MORNING + timedelta(minutes=1))

    assert 0 == added_weather(measuring, gust="4.6", corrects=wrong), measuring.err

    assert 0 == measuring.run("weather", "show")
    assert "gusts 4.6 m/s" in measuring.out
    # A correction is of the same kind.
    assert 5 == added_weather(measuring, corrects="1." + "0" * 5)


@pytest.mark.parametrize(
    ("changed", "code", "says"),
    [
        ({"wind": "3.3"}, 2, "has no '@'"),
        ({"pressure": "100950"}, 2, "It looks like Pa"),
        ({"gust": "3.0"}, 2, "below the mean"),
        ({"by": "pilot"}, 5, "holds none of the roles that sign this: engineer"),
        ({"by": "nobody"}, 2, "nobody"),
        ({"occurred": "2027-03-15T06:00:00Z"}, 2, "belongs with --reason"),
    ],
)
def test_what_is_typed_wrong_is_told_and_nothing_is_signed(measuring, changed, code, says):
    assert code == added_weather(measuring, **changed)
    assert says in measuring.err
    assert 0 == measuring.run("weather", "show")
    assert "Nobody measured it" in measuring.out


def test_a_meter_s_file_is_read_kept_and_counts_from_its_own_end(measuring, tmp_path):
    file, map_file = written(tmp_path)
    words = ("weather", "read", str(file), "--place", "top-field", "--mast-height", "2")

    # It ends at 06:58:59 UTC.
    assert 0 == measuring.signs(*words, "--map", "pole-meter", "--by", "mechanic", by=["mechanic"])
    assert "top-field, 1 min 1 s ago" in measuring.out
    assert "AM-1, mean of 120 rows" in measuring.out
    assert "gusts 6.00 m/s" in measuring.out
    assert "meter.csv" in measuring.out  # attached
    assert "read from the meter's file" in measuring.out

    code = measuring.signs(*words, "--map", str(map_file), "--by", "mechanic", by=["mechanic"])
    assert 0 == code, measuring.err
    twice = (*words, "--map", "pole-meter", "--pressure", "1009", "--by", "mechanic")
    assert 2 == measuring.signs(*twice, by=["mechanic"])
    assert "the file has it too" in measuring.err
    measuring.at(MORNING - timedelta(minutes=30))
    assert 2 == measuring.signs(*words, "--map", "pole-meter", "--by", "mechanic", by=["mechanic"])
    assert "29 min ahead of this laptop's clock" in measuring.err


def test_a_meter_s_file_at_fault_is_told_by_its_name(measuring, tmp_path):
    words = ("weather", "read", str(tmp_path / "no.csv"), "--map", str(tmp_path / "no.toml"))

    code = measuring.signs(
        *words, "--place", "x", "--mast-height", "2", "--by", "mechanic", by=["mechanic"]
    )

    assert 3 == code
    assert "no.toml: no such file" in measuring.err
