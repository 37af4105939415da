"""Files of test points: what loads, what is refused."""

from __future__ import annotations

import pytest

from flightlog.errors import TeamFileError, UsageError
from flightlog.operations.point_files import chosen_points, find_points, load_points
from flightlog.resources import data_path

GOOD = """\
schema = "flightlog.testcard/1"
id = "circuits"
title = "Circuits"
[[point]]
name = "first"
setup = "no payload"
measure = "lap time"
stop = "pack at 3.6 V a cell"
[[point]]
name = "second"
setup = "four units"
measure = "lap time"
stop = "pack at 3.6 V a cell"
"""


def written(tmp_path, text):
    path = tmp_path / "circuits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_says_what_it_says(tmp_path):
    file = load_points(written(tmp_path, GOOD))

    assert ("circuits", "Circuits") == (file.id, file.title)
    assert [("first", "no payload"), ("second", "four units")] == [
        (p.name, p.setup) for p in file.points
    ]
    assert "lap time" == file.points[0].measure
    assert "pack at 3.6 V a cell" == file.points[0].stop
    assert 64 == len(file.sha256)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("flightlog.testcard/1", "flightlog.checklist/1", "give a testcard file"),
        ('stop = "pack at 3.6 V a cell"\n[[', "[[", "stop"),
        ('name = "second"', 'name = "first"', "there twice"),
        ('name = "second"', 'name = "no good"', "letters"),
        ("measure", "measured", "'measure'"),
        ('setup = "no payload"', 'setup = ""', "setup"),
        ('title = "Circuits"', "title = 3", "title"),
    ],
)
def test_faults_are_told(tmp_path, old, new, said):
    text = GOOD.replace(old, new, 1)
    assert text != GOOD
    with pytest.raises(TeamFileError) as caught:
        load_points(written(tmp_path, text))

    assert said in caught.value.sentence()


def test_points_are_chosen_by_name(tmp_path):
    file = load_points(written(tmp_path, GOOD))

    assert file == chosen_points(file, [])
    assert ["second"] == [p.name for p in chosen_points(file, ["second"]).points]
    with pytest.raises(UsageError, match="Did you mean 'second'"):
        chosen_points(file, ["secnd"])


@pytest.mark.parametrize(
    "path", sorted(data_path("checklists", "test_cards").glob("*.toml")), ids=lambda p: p.stem
)
def test_what_ships_loads_and_is_found_by_its_id(path):
    assert path.stem == find_points(path.stem).id
    assert load_points(path) == find_points(str(path))


def test_there_is_one_that_ships():
    assert "takeoff-build-up" == find_points("takeoff-build-up").id
    with pytest.raises(TeamFileError, match="takeoff-build-up"):
        find_points("takeof-build-up")
