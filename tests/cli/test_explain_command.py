"""``flightlog explain``: what was recognised, and the way from an unknown table to a debrief."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

import pytest

from flightlog.cli.app import main
from tests.importers.test_transmitter import ROWS, card

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
needs_corpus = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")


@pytest.fixture
def here(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def flight() -> str:
    """Write 200 s of a round at 15 m/s, 60 m up, as a logger with semicolons would.

    Seconds 60 to 180 are flown on a circle of 100 m; the speed stands in a column without a unit.
    """
    lines = ["Protokoll 7;;;;;", "Zeit [ms];Lat;Lon;Tempo;GPS Höhe [m];Spannung [V]"]
    angle = 0.0
    for step in range(1000):
        time_s = step / 5
        up = min(max(time_s - 60, 0), max(180 - time_s, 0), 20) / 20
        speed = 15.0 * up
        angle += speed / 100 / 5
        north, east = 100 * math.sin(angle), 100 * (1 - math.cos(angle))
        cells = [
            f"{1000 * time_s:.0f}",
            f"{0.01 + north / 111_195:.7f}",
            f"{0.01 + east / 111_195:.7f}",
            f"{3.6 * speed:.2f}",
            f"{100 + 60 * up:.1f}",
            f"{25.2 - time_s / 200:.2f}",
        ]
        lines.append(";".join(cells).replace(".", ","))
    return "\r\n".join(lines) + "\r\n"


def test_from_an_unknown_table_to_a_debrief(here, capsys):
    """The full circle: explain, one line corrected in the map, debrief."""
    log = here / "runde.csv"
    log.write_bytes(flight().encode("cp1252"))

    assert main(["debrief", "runde.csv"]) == 3
    assert "'flightlog explain FILE' shows its columns" in capsys.readouterr().err

    assert main(["explain", "runde.csv"]) == 0
    shown = capsys.readouterr().out
    assert "encoding cp1252, delimiter ';', decimal sign ','" in shown
    assert "header in line 2, 1000 rows of 6 columns" in shown
    assert "Zeit [ms]: milliseconds (the header)" in shown
    assert "Spannung [V]: 25,20" in shown
    assert "-> battery.voltage_v, V (the header)" in shown
    assert "-> gps.latitude_deg, deg (the name, and the range of the numbers)" in shown
    assert "-> not recognised: the name is not known" in shown
    assert "runde.columns.toml" in shown

    given = here / "runde.columns.toml"
    text = given.read_text(encoding="utf-8")
    old = '# [[column]]\n# header = "Tempo"\n# table = "..."\n# is = "..."\n# unit = "..."\n'
    assert text.count(old) == 1
    new = '[[column]]\nheader = "Tempo"\ntable = "gps"\nis = "ground_speed_m_s"\nunit = "km/h"\n'
    given.write_text(text.replace(old, new), encoding="utf-8")

    assert main(["debrief", "runde.csv", "--columns", "runde.columns.toml", "--json"]) == 0
    debrief = json.loads(capsys.readouterr().out)
    (sortie,) = debrief["sorties"]
    speed = sortie["figures"]["flight.max_ground_speed"]
    # flown at 15 m/s
    assert speed["value"] == pytest.approx(15.0, abs=0.3)
    assert debrief["log"]["format"] == "delimited"
    assert debrief["log"]["duration_s"] == pytest.approx(199.8)


def test_the_first_map_works_without_a_change(here, capsys):
    (here / "runde.csv").write_bytes(flight().encode("utf-8-sig"))
    main(["explain", "runde.csv", "--map", "first.toml"])
    capsys.readouterr()

    assert main(["explain", "runde.csv", "--columns", "first.toml"]) == 0
    shown = capsys.readouterr().out
    assert "battery.voltage_v <- Spannung [V], V, the column map" in shown
    assert "Columns that feed no table\n  Tempo" in shown
    assert "clock: Zeit [ms], as the file has it" in shown


def test_nothing_is_overwritten(here, capsys):
    (here / "runde.csv").write_bytes(flight().encode())
    (here / "runde.columns.toml").write_text("mine", encoding="utf-8")

    assert main(["explain", "runde.csv"]) == 0
    assert "is there already; no column map was written" in capsys.readouterr().out
    assert main(["explain", "runde.csv", "--map", "runde.columns.toml"]) == 3
    assert "is there already" in capsys.readouterr().err
    assert (here / "runde.columns.toml").read_text(encoding="utf-8") == "mine"


def test_a_place_that_can_not_be_written_is_told(here, capsys):
    (here / "runde.csv").write_bytes(flight().encode())

    assert main(["explain", "runde.csv", "--map", "none/such/map.toml"]) == 3
    assert "can't be written" in capsys.readouterr().err


def test_a_known_format_shows_the_source_of_every_column(here, capsys):
    (here / "card.csv").write_text(card(*ROWS), encoding="utf-8")

    assert main(["explain", "card.csv"]) == 0
    shown = capsys.readouterr().out
    assert "gps.ground_speed_m_s <- GSpd(kmh), km/h, the header" in shown
    assert "clock: date and time of day in Date and Time; counted from the first row" in shown
    assert "Columns that feed no table\n  RSNR(dB), TQly(%), Ptch(rad)" in shown
    assert not list(here.glob("*.toml")), "a known format needs no map"


def test_the_map_of_a_card_gives_the_cards_tables(here, capsys):
    """The way to correct what the importer of a card decides."""
    from pandas.testing import assert_frame_equal

    from flightlog import read

    (here / "card.csv").write_text(card(*ROWS), encoding="utf-8")
    assert main(["explain", "card.csv", "--map", "card.toml"]) == 0

    plain, mapped = read("card.csv"), read("card.csv", columns="card.toml")
    assert set(mapped) == set(plain)
    for name in plain:
        assert_frame_equal(mapped[name], plain[name])


def test_convert_takes_a_map(here, capsys):
    (here / "log.csv").write_text("t,v\n0,36\n1,72\n", encoding="utf-8")
    (here / "map.toml").write_text(
        'schema = "flightlog.columns/1"\n[time]\ncolumns = ["t"]\nformat = "seconds"\n[[column]]\n'
        'header = "v"\ntable = "gps"\nis = "ground_speed_m_s"\nunit = "km/h"\n',
        encoding="utf-8",
    )

    assert main(["convert", "log.csv", "--columns", "map.toml", "--to", "out", "--as", "csv"]) == 0
    assert "20.0" in (here / "out" / "gps.csv").read_text(encoding="utf-8")


def test_a_map_at_fault_ends_with_its_own_code(here, capsys):
    (here / "log.csv").write_text("t,v\n0,36\n1,72\n", encoding="utf-8")
    (here / "map.toml").write_text('schema = "flightlog.columns/1"\ntimes = 1\n', encoding="utf-8")

    assert main(["explain", "log.csv", "--columns", "map.toml"]) == 3
    assert "Did you mean 'time'?" in capsys.readouterr().err


def test_a_file_that_is_no_table_stays_an_error(here, capsys):
    (here / "notes.txt").write_text("take the blue battery\n" * 10, encoding="utf-8")

    assert main(["explain", "notes.txt"]) == 3
    assert "no known log format" in capsys.readouterr().err


def test_hostile_headers_forge_no_line(here, capsys):
    text = 't,"\x1b[31mname\u202e","a\nTime\n"\n0,1,2\n1,2,3\n2,3,4\n'
    (here / "log.csv").write_text(text, encoding="utf-8")

    main(["explain", "log.csv"])
    shown = capsys.readouterr().out
    assert all(line.isprintable() for line in shown.splitlines())


@needs_corpus
@pytest.mark.parametrize("name", ["thrust_steps_101", "thrust_steps_21", "thrust_steps_aborted"])
def test_a_thrust_stand_is_no_flight_but_its_columns_are_shown(here, capsys, name):
    log = Path(CORPUS, "bench", f"{name}.csv")

    assert main(["debrief", str(log)]) == 3
    assert "'flightlog explain FILE' shows its columns" in capsys.readouterr().err
    assert main(["explain", str(log)]) == 0
    shown = capsys.readouterr().out
    assert "Thrust (gf)" in shown
    assert "-> battery.current_a, A (the header)" in shown


def test_paths_with_spaces_are_quoted_in_what_to_type_next(here, capsys):
    (here / "my log.csv").write_bytes(flight().encode("cp1252"))

    assert main(["explain", "my log.csv"]) == 0
    shown = capsys.readouterr().out
    assert 'flightlog debrief "my log.csv" --columns "my log.columns.toml"' in shown


def test_a_map_without_a_time_is_said_to_lack_it(here, capsys):
    (here / "bare.csv").write_text("".join(f"{n},47.{n},{n + 20}.5\n" for n in range(9)))

    assert main(["explain", "bare.csv"]) == 0
    shown = capsys.readouterr().out
    assert "no header, 9 rows of 3 columns" in shown
    assert "it lacks [time]" in shown


def test_a_card_says_how_to_correct_it(here, capsys):
    (here / "card.csv").write_text(card(*ROWS), encoding="utf-8")

    assert main(["explain", "card.csv"]) == 0
    assert "flightlog explain card.csv --map card.columns.toml" in capsys.readouterr().out


def test_beside_another_log_only_the_differing_settings_are_shown(here, capsys):
    for name, gain in (("a.log", 0.5), ("b.log", 0.75)):
        (here / name).write_text(
            "FMT, 128, 89, FMT, BBnNZ, Type,Length,Name,Format,Columns\n"
            "FMT, 129, 31, PARM, QNf, TimeUS,Name,Value\n"
            "FMT, 130, 75, MSG, QZ, TimeUS,Message\n"
            "MSG, 1000000, Made-up firmware V1.0\n"
            f"PARM, 1000000, ROLL_GAIN, {gain}\n"
            "PARM, 1000000, PITCH_GAIN, 0.25\n",
            encoding="utf-8",
        )

    assert main(["explain", "a.log", "--beside", "b.log"]) == 0
    shown = capsys.readouterr().out
    row = next(line for line in shown.splitlines() if "ROLL_GAIN" in line)
    assert row.split() == ["ROLL_GAIN", "0.5", "0.75"]
    assert "PITCH_GAIN" not in shown
    assert "SHA-256" not in shown


def test_beside_a_missing_log_is_the_fault_of_that_file(here, capsys):
    (here / "card.csv").write_text(card(*ROWS), encoding="utf-8")

    assert main(["explain", "card.csv", "--beside", "gone.bin"]) == 3
    assert "gone.bin: there is no such file" in capsys.readouterr().err
    assert main(["explain", "card.csv", "--beside", "card.csv", "--map", "x.toml"]) == 2
