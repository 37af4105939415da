"""What was measured on the ground stands on its page; a new test is reduced, signed and shown."""

from __future__ import annotations

import pytest

from flightlog.dashboard import ground_drop, shell
from flightlog.errors import FlightlogError
from flightlog.operations import ground_test
from flightlog.operations.positions import named
from tests.dashboard.before_page import farm_of as farm_at
from tests.dashboard.before_page import kept, length, press, typed
from tests.dashboard.screens import passphrase_of, texts
from tests.dashboard.test_season import farm_of
from tests.logbook.made import public_of
from tests.operations.made import SAMPLES
from tests.operations.released import baseline, charged, weighed

SECTIONS = (
    "Weighings",
    "Charges of packs",
    "Parameter baselines",
    "Clauses measured",
    "Inspections and service",
)
BENCH = SAMPLES / "bench"
WEIGHED = ("weighing.toml", "weighing.csv")
ROWS = b"scale,arm (m),reading (kg)\nnose,0.1,0.65\nleft,0.4,2.175\nright,0.4,2.175\n"


def sample(name):
    return (name, (BENCH / name).read_bytes(), "text/csv")


def dropped(page, *files):
    """Drop files, named or as (name, bytes, type), and draw the page."""
    page.file_uploader[0].set_value([sample(f) if isinstance(f, str) else f for f in files])
    page.run()
    assert not page.exception, page.exception
    return page


@pytest.fixture
def page(farm_screen):
    page = farm_screen.page("ground_tests")
    assert not page.exception
    return page


# --- what is in the record


@pytest.mark.parametrize("name", SECTIONS)
def test_each_section_says_what_to_do_first(farm_screen, name):
    page = farm_screen.page("ground_tests")
    page.button_group("ground-section").set_value(name).run()

    assert not page.exception
    assert 'class="fl-empty"' in texts(page)
    assert "flightlog " in texts(page)


def test_without_a_measurement_it_says_what_to_do(page):
    assert "Nothing was measured on the ground yet." in texts(page)
    assert "flightlog groundtest" in texts(page)


@pytest.mark.parametrize(
    ("name", "enter", "serial", "who"),
    [
        ("Weighings", weighed, "PN-01", "observer"),
        ("Charges of packs", charged, "PK-01", "pilot"),
        ("Parameter baselines", baseline, "PN-01", "pilot"),
    ],
)
def test_what_was_entered_is_shown_with_its_signature(farm_screen, name, enter, serial, who):
    farm = farm_of(farm_screen)
    entry = enter(farm)
    farm.close()
    page = farm_screen.page("ground_tests")
    assert f"<td>{named(entry)}</td>" in texts(page), "measured last"
    page.button_group("ground-section").set_value(name).run()

    shown = texts(page)
    assert named(entry) in shown
    assert f"<td>{serial}</td>" in shown
    assert f"<td>{who} (" in shown


# --- dropping


def test_a_file_of_no_known_kind_asks_for_it_and_stays(page):
    dropped(page, ("steps.csv", ROWS, "text/csv"))
    assert "Nobody said which kind of test it is" in texts(page)

    page.selectbox(key="ground-kind").set_value("weighing").run()

    assert "Nobody said" not in texts(page)
    assert "Weighing:" in texts(page)
    assert 1 == len(page.file_uploader[0].value)


def test_a_bench_file_says_the_kind_and_asks_for_the_numbers(page):
    dropped(page, WEIGHED[0])
    assert "holds no numbers" in texts(page)

    dropped(page, *WEIGHED)

    assert "fl-answer" in texts(page)
    assert "95 % interval" in texts(page)
    assert page.get("plotly_chart")


def test_what_is_at_fault_is_told_in_place_by_the_names_of_the_files(page):
    dropped(page, WEIGHED[0], "thrust_a.toml", WEIGHED[1])
    assert "weighing.toml and thrust_a.toml: are two bench files" in texts(page)

    dropped(page, WEIGHED[0], ("../../evil\x00<b>.csv", b"no table at all", "text/csv"))
    said = texts(page)
    assert 'role="alert"' in said
    assert "flightlog-drop" not in said, "no way to where it lies"
    assert "<b>" not in said

    dropped(page, ("b.toml", b"kind = [", "text/plain"), WEIGHED[1])
    assert "b.toml" in texts(page)
    assert "In the record" in texts(page), "the page goes on"

    dropped(page, *WEIGHED)
    assert 'role="alert"' not in texts(page)


def test_a_fault_of_ours_is_told_and_the_page_goes_on(page, monkeypatch):
    def at_fault(*_):
        raise ZeroDivisionError

    monkeypatch.setattr(shell, "fault_of", lambda error: FlightlogError(type(error).__name__))
    monkeypatch.setattr(ground_drop, "run_ground_test", at_fault)
    dropped(page, *WEIGHED)
    assert "ZeroDivisionError" in texts(page)

    page.run()

    assert "led to a fault of this program" in texts(page)
    assert "In the record" in texts(page)


def test_files_are_reduced_once_and_stay_until_they_are_put_away(page, monkeypatch):
    counted = []

    def counting(*asked):
        counted.append(asked)
        return ground_test.run_ground_test(*asked)

    monkeypatch.setattr(ground_drop, "run_ground_test", counting)
    dropped(page, *WEIGHED)
    page.run()
    page.button_group("ground-section").set_value("Weighings").run()
    place = page.session_state["ground-files"].shelf.path
    assert 1 == len(counted)
    assert place.is_dir()

    page.button(key="ground-away").click().run()

    assert "fl-answer" not in texts(page)
    assert not place.exists()
    assert [] == page.file_uploader[0].value


def test_without_a_bench_file_one_to_begin_with_is_offered(page):
    page.selectbox(key="ground-kind").set_value("weighing").run()
    dropped(page, ("steps.csv", ROWS, "text/csv"))

    assert [b for b in page.get("download_button") if "ground-bench" in b.proto.id]
    assert "What was tested?" in [box.label for box in page.selectbox]
    assert not [b for b in page.button if b.key == "ground-look"], "nobody knows of what"


# --- entering


def entered(page, who="mechanic"):
    page.selectbox(key="ground-by").set_value(public_of(who))
    page.button(key="ground-look").click().run()
    assert "performed" in texts(page)
    return press(typed(page, passphrase_of(who)), "ground-sign")


def test_a_test_is_signed_as_it_stands_and_shown_in_its_history(farm_screen, page):
    dropped(page, *WEIGHED)
    before = length(farm_screen)

    entered(page)

    assert not page.exception
    said = texts(page)
    assert "Signed and added: the test is" in said
    assert before + 1 == length(farm_screen)
    assert "fl-answer" not in said, "the files are put away"
    assert "aircraft pannier" == page.selectbox(key="ground-history-of").value
    assert "one test only" in said
    assert passphrase_of("mechanic") not in kept(page)
    with farm_at(farm_screen) as farm:
        (entry,) = farm.desk.ledger.of("ground-test")
        assert {*WEIGHED, "ground-test.json"} == {a.name for a in entry.body.attachments}

    dropped(page, *WEIGHED)
    assert f"in the record already, as {named(entry)}" in texts(page)


def test_a_second_test_is_put_beside_the_first(farm_screen, page):
    dropped(page, *WEIGHED)
    entered(page)
    farm_screen.clock.later(days=3)
    again = (BENCH / WEIGHED[1]).read_bytes() + b"\n"
    dropped(page, WEIGHED[0], ("again.csv", again, "text/csv"))
    assert "Against " in texts(page)
    entered(page)

    said = texts(page)
    assert "Days since the first test, 2027-03-15" in str(page.get("plotly_chart")[0].proto)
    assert "<td>2</td>" in said or '<td class="number">2</td>' in said
    assert "not shown" in said, "the same numbers twice"


def test_a_wrong_passphrase_enters_nothing_and_loses_nothing(farm_screen, page):
    dropped(page, *WEIGHED)
    before = length(farm_screen)
    page.button(key="ground-look").click().run()
    press(typed(page, "not the right words"), "ground-sign")

    assert "passphrase" in texts(page)
    assert "fl-answer" in texts(page)
    assert before == length(farm_screen)


def test_what_the_record_does_not_hold_can_be_looked_at_and_not_entered(page):
    text = (BENCH / WEIGHED[0]).read_text(encoding="utf-8").replace('"pannier"', '"heron"')
    dropped(page, ("other.toml", text.encode(), "text/plain"), WEIGHED[1])

    said = texts(page)
    assert "fl-answer" in said
    assert "It can&#x27;t be entered" in said or "It can't be entered" in said
    assert not [b for b in page.button if b.key == "ground-look"]


def test_a_weighing_of_the_empty_aircraft_is_signed_for_load_sheets_too(farm_screen, page):
    text = (BENCH / WEIGHED[0]).read_text(encoding="utf-8") + "\nempty = true\n"
    dropped(page, ("empty.toml", text.encode(), "text/plain"), WEIGHED[1])
    before = length(farm_screen)
    entered(page)
    assert "The weighing of the empty aircraft" in texts(page)

    press(typed(page, passphrase_of("mechanic")), "ground-weighing-sign")

    assert "load sheets start from it" in texts(page)
    assert before + 2 == length(farm_screen)
    with farm_at(farm_screen) as farm:
        (weighing,) = farm.desk.ledger.of("weighing")
        assert "ground test" in weighing.body.content["state"]


def test_the_weighing_can_be_left_out(farm_screen, page):
    text = (BENCH / WEIGHED[0]).read_text(encoding="utf-8") + "\nempty = true\n"
    dropped(page, ("empty.toml", text.encode(), "text/plain"), WEIGHED[1])
    entered(page)
    before = length(farm_screen)

    page.button(key="ground-weighing-out").click().run()

    assert "The weighing of the empty aircraft" not in texts(page)
    assert before == length(farm_screen)


def test_limits_of_the_bench_file_are_strips(farm_screen, page):
    text = (BENCH / WEIGHED[0]).read_text(encoding="utf-8")
    limit = text + '\n[limits]\n"weighing.mass" = { at_most = 1.0, unit = "kg" }\n'
    dropped(page, ("limit.toml", limit.encode(), "text/plain"), WEIGHED[1])

    said = texts(page)
    assert said.count('class="strip"') == said.count('class="fl-picture"') >= 1
    assert "A limit is NOT met." in said
    assert "not met" in said
