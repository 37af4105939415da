"""How fresh the record is of what other laptops wrote, as far as entries can tell."""

from __future__ import annotations

import shutil

from flightlog.logbook.book import Logbook
from flightlog.logbook.merge import merge
from flightlog.operations.desk import Desk
from flightlog.operations.service import note_event
from flightlog.reports.ages import clock_line, merge_line
from tests.operations.made import HillFarm


def _elsewhere(farm, root):
    """Somebody's copy of the folder, gone on with at another laptop."""
    shutil.copytree(farm.folder.path, root / "copy")
    book = Logbook.open(root / "copy" / "logbook", profile=root / "other", clock=farm.clock)
    return Desk(farm.folder, book)


def test_a_record_of_one_laptop_was_never_merged(tmp_path):
    farm = HillFarm(tmp_path)
    assert "all entries here are of one laptop" in merge_line(farm.desk)
    farm.close()


def test_each_laptop_is_told_with_the_age_of_its_last_entry(tmp_path):
    farm = HillFarm(tmp_path)
    farm.enter_files({k: v for k, v in _one_aircraft().items()})
    other = _elsewhere(farm, tmp_path)
    farm.clock.later(minutes=30)
    note_event(other, "transport", aircraft="pannier")
    other.book.close()
    farm.clock.later(hours=2)
    merge(farm.book, tmp_path / "copy" / "logbook")
    note_event(farm.desk, "assembly", aircraft="pannier")
    farm.desk.refresh()

    line = merge_line(farm.desk)

    assert "of 2 laptops" in line
    assert "2 h ago" in line
    assert "just now" in line
    assert "when is not written down" in line
    assert "NOT KNOWN" not in line
    farm.close()


def test_what_the_latest_entry_does_not_know_is_told(tmp_path):
    farm = HillFarm(tmp_path)
    farm.enter_files(_one_aircraft())
    other = _elsewhere(farm, tmp_path)
    note_event(other, "transport", aircraft="pannier")
    other.book.close()
    farm.clock.later(minutes=5)
    note_event(farm.desk, "assembly", aircraft="pannier")
    merge(farm.book, tmp_path / "copy" / "logbook")
    farm.desk.refresh()

    assert "NOT KNOWN to the latest entry" in merge_line(farm.desk)
    farm.close()


def _one_aircraft():
    from tests.operations.made import FILES

    return {("aircraft", "pannier"): FILES["aircraft", "pannier"]}


def test_a_clock_that_is_behind_the_record_is_told(tmp_path):
    farm = HillFarm(tmp_path)
    assert "" == clock_line(farm.desk)

    farm.clock.later(minutes=-50)
    farm.desk.refresh()
    assert "" == clock_line(farm.desk), "another laptop may be a little ahead"
    farm.clock.later(days=-2)
    farm.desk.refresh()

    assert "2 d" in clock_line(farm.desk)
    assert "behind the record" in clock_line(farm.desk)
    farm.close()
