"""Tables with their receipt."""

import numpy as np
import pandas as pd
import pytest

from flightlog.findings import make_finding
from flightlog.recording import Receipt, Recording


def receipt(**more) -> Receipt:
    return Receipt("made.bin", 1, "0" * 64, "made", 1, **more)


def gps(instances=(1, 0, 2)) -> pd.DataFrame:
    """Three receivers in turn; the speed is ten times the instance."""
    which = np.tile(instances, 5)
    return pd.DataFrame(
        {
            "time_s": np.arange(len(which)) * 0.1,
            "instance": which,
            "ground_speed_m_s": which * 10.0,
        }
    )


def test_columns_outside_the_dictionary_are_refused():
    strange = gps().assign(knots=3.0, mood="fine")
    with pytest.raises(ValueError, match=r"'gps' has columns outside .*'knots', 'mood'"):
        Recording({"gps": strange}, receipt())


def test_tables_outside_the_dictionary_are_refused():
    with pytest.raises(KeyError, match="sonar"):
        Recording({"sonar": pd.DataFrame({"time_s": [0.0]})}, receipt())


def test_a_table_of_another_name_does_not_lend_its_columns():
    with pytest.raises(ValueError, match="voltage_v"):
        Recording({"gps": pd.DataFrame({"time_s": [0.0], "voltage_v": [22.0]})}, receipt())


def test_an_empty_table_is_an_absent_sensor():
    recording = Recording({"gps": gps(), "baro": pd.DataFrame({"time_s": []})}, receipt())
    assert "baro" not in recording
    assert recording.get("baro") is None
    assert recording.one("baro") is None
    assert list(recording) == ["gps"]
    with pytest.raises(KeyError):
        recording["baro"]


def test_one_picks_the_instance_of_the_receipt():
    recording = Recording({"gps": gps()}, receipt(chosen_instances={"gps": 2}))
    rows = recording.one("gps")
    assert list(rows["ground_speed_m_s"]) == [20.0] * 5
    assert "instance" not in rows
    assert list(rows.index) == [0, 1, 2, 3, 4]
    assert rows["time_s"].to_numpy() == pytest.approx([0.2, 0.5, 0.8, 1.1, 1.4])


def test_one_picks_the_lowest_instance_where_nothing_was_chosen():
    assert set(Recording({"gps": gps()}, receipt()).one("gps")["ground_speed_m_s"]) == {0.0}
    later = Recording({"gps": gps((3, 1, 2))}, receipt(chosen_instances={"baro": 3}))
    assert set(later.one("gps")["ground_speed_m_s"]) == {10.0}


def test_one_gives_the_same_rows_again_whatever_was_done_with_the_first():
    recording = Recording({"gps": gps()}, receipt(chosen_instances={"gps": 2}))
    first = recording.one("gps")
    first["ground_speed_m_s"] = -1.0
    first["note"] = "mine"
    again = recording.one("gps")
    assert list(again.columns) == ["time_s", "ground_speed_m_s"]
    assert list(again["ground_speed_m_s"]) == [20.0] * 5


def test_one_follows_a_recording_without_tables_or_columns():
    baro = pd.DataFrame({"time_s": [0.0, 1.0], "instance": [0, 0], "height_m": [1.0, 2.0]})
    recording = Recording({"gps": gps(), "baro": baro}, receipt())
    assert list(recording.one("baro")["height_m"]) == [1.0, 2.0]
    assert set(recording.one("gps")["ground_speed_m_s"]) == {0.0}

    blank = recording.without_column("gps.ground_speed_m_s")
    assert blank.one("gps")["ground_speed_m_s"].isna().all()
    assert list(blank.one("baro")["height_m"]) == [1.0, 2.0]
    left = recording.without("gps")
    assert left.one("gps") is None
    assert list(left.one("baro")["height_m"]) == [1.0, 2.0]


def test_one_gives_a_table_without_instances_as_it_is():
    table = pd.DataFrame({"time_s": [0.0, 1.0], "roll_rad": [0.1, 0.2]})
    recording = Recording({"attitude": table}, receipt())
    assert recording.one("attitude").equals(table)


def test_a_column_that_is_left_out_measures_nothing_and_the_rest_stands():
    table = pd.DataFrame({"time_s": [0.0, 1.0], "roll_rad": [0.1, 0.2], "yaw_rad": [0.3, 0.4]})
    recording = Recording({"attitude": table}, receipt())
    left = recording.without_column("attitude.roll_rad")

    assert left["attitude"]["roll_rad"].isna().all()
    assert left["attitude"]["yaw_rad"].equals(table["yaw_rad"])
    assert recording["attitude"].equals(table)
    assert recording.without_column("attitude.pitch_rad") is recording
    assert recording.without_column("baro.height_m") is recording


def test_the_table_of_the_caller_is_not_changed():
    table = gps()
    before = table.copy(deep=True)
    recording = Recording({"gps": table}, receipt(chosen_instances={"gps": 1}))
    rows = recording.one("gps")
    rows["ground_speed_m_s"] = -1.0
    pd.testing.assert_frame_equal(table, before)
    pd.testing.assert_frame_equal(recording["gps"], before)


def test_adding_to_the_callers_mapping_does_not_reach_the_recording():
    tables = {"gps": gps()}
    recording = Recording(tables, receipt())
    tables["baro"] = pd.DataFrame({"time_s": [0.0], "height_m": [1.0]})
    assert "baro" not in recording


def test_findings_of_the_importer_come_along():
    finding = make_finding("truncated", "12 bytes at the end")
    recording = Recording({}, receipt(), findings=(finding,))
    assert recording.findings == (finding,)
    assert Recording({}, receipt()).findings == ()


def test_it_shows_what_it_holds():
    shown = repr(Recording({"gps": gps()}, receipt()))
    assert "made.bin" in shown
    assert "gps 15" in shown
