from __future__ import annotations

from pathlib import Path

import pytest

from flightlog.errors import NotWritableError, TeamFileError, TeamFolderError
from flightlog.resources import data_path
from flightlog.team.files import FOLDERS
from flightlog.team.folder import TEAM_FILE, TeamFolder
from flightlog.team_files.reading import table_of


def test_a_made_folder_is_found_again_with_any_name(tmp_path):
    made = TeamFolder.create(tmp_path / "team", 'Hill farm "North" \\ \u00e9')

    assert TeamFolder.read(tmp_path / "team") == made


def test_a_new_folder_has_a_place_for_each_kind_of_file_and_the_check_lists_to_edit(tmp_path):
    folder = TeamFolder.create(tmp_path / "team", "farm").path

    assert {TEAM_FILE, *FOLDERS.values()} == {place.name for place in folder.iterdir()}
    lists = {place.name: place.read_bytes() for place in (folder / "checklists").iterdir()}
    shipped = {place.name: place.read_bytes() for place in data_path("checklists").glob("*.toml")}
    left_out = {"club_trial_2027.toml"}  # a rule book is for each team to choose
    assert lists == {name: data for name, data in shipped.items() if name not in left_out}
    for name, data in lists.items():
        assert f"{table_of(data, 'checklist', folder)['id']}.toml" == name


def test_what_is_named_stands_above_the_environment_and_that_above_the_place(tmp_path):
    named, set_, here = (
        TeamFolder.create(tmp_path / name, name) for name in ("named", "environment", "here")
    )
    below = here.path / "logs" / "march"
    below.mkdir(parents=True)
    environment = {"FLIGHTLOG_TEAM": str(set_.path)}

    assert named == TeamFolder.find(named.path, environment=environment, start=below)
    assert set_ == TeamFolder.find(environment=environment, start=below)
    assert here == TeamFolder.find(environment={"FLIGHTLOG_TEAM": " "}, start=below)


def test_no_team_folder_is_said_with_all_ways_to_name_one(tmp_path):
    with pytest.raises(TeamFolderError, match=r"--team DIR, set FLIGHTLOG_TEAM.*team new"):
        TeamFolder.find(environment={}, start=tmp_path)


def test_a_folder_without_team_file_is_none(tmp_path):
    with pytest.raises(TeamFolderError, match=r"holds no team\.toml"):
        TeamFolder.read(tmp_path)


def test_nothing_is_written_over(tmp_path):
    (tmp_path / "notes.txt").write_text("kept", encoding="utf-8")

    with pytest.raises(NotWritableError, match="not empty"):
        TeamFolder.create(tmp_path, "farm")
    assert ["notes.txt"] == [p.name for p in tmp_path.iterdir()]


def test_a_place_that_can_not_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")

    with pytest.raises(NotWritableError, match="can't be used"):
        TeamFolder.create(tmp_path / "file" / "team", "farm")


@pytest.mark.parametrize("name", ["", "x" * 401])
def test_a_name_has_1_to_400_characters(tmp_path, name):
    with pytest.raises(TeamFileError, match="--name"):
        TeamFolder.create(tmp_path / "team", name)
    assert not (tmp_path / "team").exists()


def test_a_slip_in_the_team_file_is_told(tmp_path):
    (tmp_path / TEAM_FILE).write_text(
        'schema = "flightlog.team/1"\nnmae = "farm"\n', encoding="utf-8"
    )

    with pytest.raises(TeamFileError, match="nmae"):
        TeamFolder.read(tmp_path)


def test_where_cards_are_put_in_stands_in_the_team_file_and_above_it_in_the_environment(tmp_path):
    place = TeamFolder.create(tmp_path / "team", "farm").path / TEAM_FILE
    assert TeamFolder.read(place.parent).card_folder({}) is None

    place.write_text(f"{place.read_text(encoding='utf-8')}card = 'cards'\n", encoding="utf-8")
    folder = TeamFolder.read(place.parent)
    assert Path("cards") == folder.card_folder({"FLIGHTLOG_CARD": " "})
    assert Path("elsewhere") == folder.card_folder({"FLIGHTLOG_CARD": "elsewhere"})
