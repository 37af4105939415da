"""``flightlog card`` as it is typed, with the answer of ``flightlog load`` behind it."""

from __future__ import annotations

import json
import re

import pytest

from flightlog.reports.cautions import CAUTIONS
from tests.cli.ready import settled
from tests.cli.teams import terminal
from tests.operations.carded import flown_after, released_by_card
from tests.operations.conftest import farm_place
from tests.operations.released import charged, copied, keep, loaded, ready_place, wind

__all__ = ["farm_place", "ready_place", "terminal"]  # fixtures

ABOUT = ("--aircraft", "pannier", "--pack", "pack-a")
CREW = ("--computed-by", "observer", "--accepted-by", "pilot")
SIGN = ("card", "sign", *ABOUT, "--units", "4", *CREW)
FLOWN = {
    "takeoff.liftoff_ground_speed": 10.5,
    "climb.best_rate": 3.2,
    "mass.takeoff": 6.85,
}


@pytest.fixture(scope="session")
def flown_place(ready_place, tmp_path_factory):
    """A farm with four flights, and load, weather and a full pack for the fifth."""
    farm = copied(ready_place[0], tmp_path_factory.mktemp("made"), ready_place[1])
    for n, roll_m in enumerate((17.0, 18.1, 16.6, 17.4)):
        charged(farm)
        wind(farm)
        released_by_card(farm)
        flown_after(farm, n, roll_m, **FLOWN)
    charged(farm)
    wind(farm)
    loaded(farm)
    place = tmp_path_factory.mktemp("kept")
    now = keep(farm, place)
    farm.close()
    return place, now


@pytest.fixture
def flown(terminal, flown_place):
    return settled(terminal, *flown_place)


def signed(terminal, *more):
    """Sign a card, and name it as commands take it."""
    code = terminal.signs(*SIGN, *more, by=["observer", "pilot"])
    assert 0 == code, terminal.err
    return re.search(r"head (\S+)", terminal.out)[1].partition("/")[0]


def card_of(terminal):
    assert 0 == terminal.run("card", "show", "--json"), terminal.err
    (card,) = json.loads(terminal.out)["cards"]
    return card


def test_a_card_is_signed_shown_and_judges_the_release(flown):
    signed(flown)
    card = card_of(flown)

    assert ("in force", None, 4) == (card["state"], card["why"], card["units"])
    assert 14 < card["roll"]["value"] < 22
    assert card["roll_low"]["value"] < card["roll"]["value"] < card["roll_high"]["value"]
    assert ["takeoff-roll"] == [one["limit"] for one in card["limits"]]
    assert 3.2 == pytest.approx(card["climb"]["value"], abs=0.3)
    assert len(card["quantiles"]["roll_m"]) == len(card["quantiles"]["probability"])

    flown.run("release", "check", *ABOUT)
    assert f"the flight card {card['card']} has" in flown.out
    assert 0 == flown.run("card", "show", card["card"]), flown.err
    assert "in force for the next flight." in flown.out
    assert "computed as engineer by observer" in flown.out
    for caution in CAUTIONS:
        assert caution.split(".")[0][:40] in flown.out
    assert 0 == flown.run("card", "show"), flown.err
    assert f"{card['card']}  " in flown.out


def test_points_come_from_a_file_and_end_up_on_paper(flown, tmp_path):
    points = ("--points", "takeoff-build-up", "--point", "half-way", "--point", "light")
    signed(flown, *points)
    card = card_of(flown)
    page = tmp_path / "card.html"

    assert ["light", "half-way"] == [p["point"] for p in card["points"]]
    assert 0 == flown.run("card", "print", card["card"], "--html", str(page)), flown.err
    text = page.read_text(encoding="utf-8")
    assert "half-way" in text
    assert "is not airborne at the abort point" in text
    assert "What was measured" in text
    for caution in CAUTIONS:
        assert caution[:30] in text
    assert not re.search(r"https?://", text)


def test_after_the_flight_each_point_is_told(flown, flown_place):
    signed(flown, "--points", "takeoff-build-up", "--point", "half-way")
    card = card_of(flown)["card"]
    shown = flown.run("sortie", "list", "--json")
    assert 0 == shown
    sortie = json.loads(flown.out)["sorties"][-1]["sortie"]
    done = ("card", "done", card, sortie, "--point", "half-way=flown: calm", "--by", "pilot")

    # The flights of this record were there before the card: none of them was flown by it.
    assert 0 != flown.signs(*done, by=["pilot"])
    assert "was in the record before the card" in flown.err


@pytest.mark.parametrize(
    ("point", "said"),
    [("half-way", "says no result"), ("=flown", "says no result"), ("a=", "says no result")],
)
def test_slips_in_a_result_are_told(flown, point, said):
    code = flown.run("card", "done", "1.AAAAA", "2027-03-15", "--point", point, "--by", "pilot")

    assert 2 == code
    assert said in flown.err


def test_a_point_without_a_file_is_a_slip(flown):
    assert 2 == flown.run(*SIGN, "--point", "light")
    assert "belongs with --points" in flown.err


def test_a_load_that_is_not_on_the_sheet_is_refused(flown):
    assert 0 != flown.run("card", "sign", *ABOUT, "--units", "3", *CREW)
    assert "is for 4 units with pack-a, and the card would be for 3" in flown.err


def test_calibration_without_cards_says_so_and_shows_the_baselines(flown):
    assert 0 == flown.run("card", "calibration", "--aircraft", "pannier"), flown.err
    assert "nothing can be said" in flown.out
    assert 1 == flown.out.count("no flight card of this aircraft")
    assert 0 == flown.run("card", "calibration", "--aircraft", "pannier", "--json"), flown.err
    body = json.loads(flown.out)

    assert "flightlog.calibration/1" == body["schema"]
    assert [17.0, 18.1, 16.6, 17.4] == pytest.approx([f["roll_m"] for f in body["flights"]])
    assert [0, 1, 0] == [m["flights"] for m in body["methods"]]


def test_without_weather_there_is_no_card(terminal, farm_place):
    settled(terminal, *farm_place)

    assert 0 != terminal.run(*SIGN)
    assert "" == terminal.out
