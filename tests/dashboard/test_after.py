"""The page after a flight: the answer, what it was flown under, and what the log lacked."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta

import pytest

from flightlog.dashboard import dropped, shell, taking, views
from flightlog.errors import FlightlogError
from flightlog.operations.by_hand import Flown, draft_sortie
from flightlog.operations.importing import Told
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from flightlog.operations.taking_in import take_in
from flightlog.team.files import Versions
from tests.dashboard.before_page import farm_of
from tests.dashboard.screens import texts
from tests.logbook.made import public_of
from tests.operations.made import SAMPLES

EVENING = datetime(2027, 3, 15, 18, 0, tzinfo=UTC)


@pytest.fixture
def evening(farm_screen):
    farm_screen.clock.now = EVENING
    views._KEPT.clear()
    return farm_screen


def flown(screen, *names, aircraft=""):
    """Put the logs of a flight into the record, and give the names of its flights."""
    with farm_of(screen) as farm:
        found = take_in(farm.desk, [SAMPLES / name for name in names], Told(aircraft))
        (one,) = found.taken
        return [named(flight.entry) for flight in one.imported.flights]


def lies_in(screen, folder):
    """Let cards be put in at a folder."""
    place = screen.team / "team.toml"
    text = place.read_text(encoding="utf-8")
    place.write_text(f"{text}card = '{folder}'\n", encoding="utf-8")


def test_without_a_flight_it_says_what_to_do(evening):
    page = evening.page("after")

    assert "No flight is in the record yet." in texts(page)
    assert page.button(key="after-newest").disabled


def test_the_answer_leads_and_each_limit_is_a_strip(evening):
    flown(evening, "calm.bin")

    said = texts(evening.page("after"))

    assert "Ground roll 28.1 m" in said
    assert said.count('class="strip"') == said.count('class="fl-picture"') >= 1
    assert "FLOWN WITHOUT A RELEASE" in said
    assert "95 % interval" in said


def test_charts_are_drawn_and_a_missing_sensor_is_named(evening):
    (name,) = flown(evening, "position_1hz_only.bin")

    page = evening.page("after")

    assert 4 == len(page.get("plotly_chart"))
    said = texts(page)
    assert "the log has no airspeed" in said, "what is withheld, and why"
    assert "What is wearing out" in said
    page.segmented_control(key=f"after-wear-{name}").set_value("Vibration").run()
    assert "log the IMU" in texts(page), "a chart that lacks its sensor says which"
    assert 3 == len(page.get("plotly_chart"))
    assert name in page.selectbox[0].options[0]


def test_the_flight_that_was_chosen_elsewhere_is_shown(evening):
    first, second = flown(evening, "two_flights.bin")
    page = evening.page("after")
    assert second == page.selectbox[0].value, "the last one stands first"

    page.session_state["sortie"] = first
    page.run()

    assert first == page.selectbox[0].value


def test_a_flight_without_a_log_says_so(evening):
    with farm_of(evening) as farm:
        told = Flown("pannier", "pack-a", EVENING - timedelta(hours=2), timedelta(minutes=4), 1)
        draft, _ = draft_sortie(farm.desk, told, public_of("pilot"))
        farm.sign(draft, "pilot")

    page = evening.page("after")

    assert "no log says what this flight did" in texts(page)
    assert "What is wearing out" not in texts(page)
    assert not page.get("plotly_chart")


def test_a_kept_log_that_was_damaged_is_told_and_the_numbers_stay(evening):
    flown(evening, "calm.bin")
    log = max((evening.team / "logbook").rglob("*"), key=lambda p: p.stat().st_size * p.is_file())
    whole = log.read_bytes()
    log.chmod(0o600)
    log.write_bytes(whole[: 1 << 20])

    page = evening.page("after")

    said = texts(page)
    assert "Ground roll 28.1 m" in said
    assert "the kept log" in said
    log.write_bytes(whole)  # as a merge with another copy of the folder does
    assert "the kept log" not in texts(page.run())


def test_the_newest_log_of_the_card_is_taken_at_one_press(evening, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(SAMPLES / "calm.bin", card)
    lies_in(evening, card)

    page = evening.page("after")
    page.button(key="after-newest").click().run()

    assert "Ground roll 28.1 m" in texts(page)
    assert "Recorded as" in texts(page)


def test_no_other_answer_stands_below_a_log_that_is_asked_about(evening, tmp_path):
    flown(evening, "calm.bin")
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(SAMPLES / "calm_transmitter.csv", card)
    lies_in(evening, card)
    page = evening.page("after")
    assert "Ground roll 28.1 m" in texts(page)

    page.button(key="after-newest").click().run()

    assert "of which aircraft it is" in texts(page)
    assert "Ground roll" not in texts(page)


def test_below_a_log_that_was_refused_it_says_that_another_flight_stands(evening, tmp_path):
    flown(evening, "calm.bin")
    card = tmp_path / "card"
    card.mkdir()
    (card / "junk.bin").write_bytes(b"no log at all" * 99)
    lies_in(evening, card)
    page = evening.page("after")

    page.button(key="after-newest").click().run()

    assert 'role="alert"' in texts(page)
    assert "Below stands another flight: 2027-03-15" in texts(page)


def test_without_an_aircraft_the_way_out_is_told(evening, tmp_path, monkeypatch):
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(SAMPLES / "calm_transmitter.csv", card)
    lies_in(evening, card)
    page = evening.page("after")
    monkeypatch.setattr(Versions, "ids", lambda self, kind: ())

    page.button(key="after-newest").click().run()

    assert "flightlog team enter aircraft/" in texts(page)
    assert not [b for b in page.button if b.key == "after-whose-said"]


def test_a_log_of_nobody_is_asked_about_and_taken_when_that_is_answered(evening, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(SAMPLES / "calm_transmitter.csv", card)
    lies_in(evening, card)
    page = evening.page("after")

    page.button(key="after-newest").click().run()
    assert "of which aircraft it is" in texts(page)
    assert "No flight is in the record yet." in texts(page)
    page.button(key="after-whose-said").click().run()

    assert "of which aircraft it is" not in texts(page)
    assert "Recorded as" in texts(page)


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), ZeroDivisionError()])
def test_a_log_that_is_at_fault_does_not_come_back(evening, tmp_path, monkeypatch, error):
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(SAMPLES / "calm.bin", card)
    lies_in(evening, card)
    monkeypatch.setattr(shell, "fault_of", lambda error: FlightlogError(type(error).__name__))
    page = evening.page("after")

    def at_fault(*_):
        raise error

    monkeypatch.setattr(taking, "take_in", at_fault)
    page.button(key="after-newest").click().run()
    assert "No space" in texts(page) or "ZeroDivisionError" in texts(page)

    page.run()
    assert "No flight is in the record yet." in texts(page)
    assert "ZeroDivisionError" not in texts(page)


def test_an_empty_card_is_told(evening, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    lies_in(evening, card)

    page = evening.page("after")
    page.button(key="after-newest").click().run()

    assert 'role="alert"' in texts(page)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("calm.bin", "calm.bin"),
        ("../../../etc/passwd", "passwd"),
        ("C:\\logs\\a.bin", "a.bin"),
        ("..", "log"),
        ("", "log"),
        ("a\x00b\u202e.bin", "ab.bin"),
        ("x" * 400 + ".bin", "x" * 116 + ".bin"),
        ("飛" * 120 + ".bin", "飛" * 38 + ".bin"),
        ("a" + "." * 117 + "b", "a" + "." * 117 + "b"),
        ("a" * 9 + " ." + "x" * 118, "x" * 118),
    ],
)
def test_a_dropped_file_keeps_the_last_part_of_its_name(given, kept):
    assert kept == dropped.name_of(given)


def test_only_a_few_flights_are_kept_in_memory(evening):
    flown(evening, "two_flights.bin")
    with farm_of(evening) as farm:
        for flight in sorties(farm.desk):
            assert views.view(farm.desk, flight) is views.view(farm.desk, flight)
    assert len(views._KEPT) <= views._MOST
