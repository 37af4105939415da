"""What a debrief takes beside the log: the pack as it was when the flight was released."""

from __future__ import annotations

from datetime import timedelta

from flightlog.operations.flown_under import flown_under
from tests.operations.logs import load_sheet, release, weather
from tests.operations.made import FILES, MORNING

NINE = MORNING + timedelta(hours=2)


def entered_anew(farm):
    """Enter a version of pack-a that allows less."""
    text = FILES["pack", "pack-a"].read_text(encoding="utf-8")
    farm.enter("pack", "pack-a", text.replace("at_most = 0.045", "at_most = 0.030").encode())


def bound(pack):
    return pack.limits["battery.resistance"]["at_most"]


def test_the_released_pack_is_taken_as_its_file_was_then(farm):
    signed = release(farm, NINE, cites=[load_sheet(farm), weather(farm)])
    entered_anew(farm)

    inputs = flown_under(farm.desk, "pannier", signed).inputs

    assert ("pack-a", 0.045) == (inputs.pack.id, bound(inputs.pack))
    assert 0.030 == bound(farm.desk.pack("pack-a"))


def test_the_pack_that_somebody_names_comes_before_the_released_one(farm):
    signed = release(farm, NINE, cites=[load_sheet(farm), weather(farm)])

    assert "pack-b" == flown_under(farm.desk, "pannier", signed, "pack-b").inputs.pack.id


def test_without_a_release_only_a_pack_that_somebody_names_is_taken(farm):
    entered_anew(farm)

    assert flown_under(farm.desk, "pannier", None).inputs.pack is None
    named = flown_under(farm.desk, "pannier", None, "pack-a")
    assert (0.030, ()) == (bound(named.inputs.pack), named.lacking)


def test_a_pack_without_a_file_is_said(farm):
    under = flown_under(farm.desk, "pannier", None, "pack-x")

    assert under.inputs.pack is None
    assert ("no file of the pack pack-x is in the record",) == under.lacking
