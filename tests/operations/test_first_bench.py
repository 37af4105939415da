"""A first bench file: it is read as it is, and says what the file said by itself."""

from __future__ import annotations

import pytest

from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.operations.bench_reading import read_bench_table
from flightlog.operations.first_bench import first_bench_text
from flightlog.team_files.bench_file import read_bench_file

FILES = {
    "thrust": "Time (s),ESC signal (µs),Thrust (gf),Voltage (V)\n0,1000,1,8\n1,1100,2,8\n",
    "discharge": "Time (s),Voltage (V),Cell 1 (V),Cell 2 (V)\n0,8.4,4.2,4.2\n1,8.3,4.1,4.2\n",
    "ringdown": 'Time (ms);"Acc ""Z"" (g)";Accel (g)\n0;1;1\n5;2;2\n',
    "stiffness": "Mass (g),Deflection (mm)\n500,1\n1000,2\n",
    "weighing": "Scale,Arm (m),Side (m),Reading (kg)\nnose,0,0,1\nleft,1,-1,2\n",
    "linkage": "Pulse (us),Angle (deg)\n1100,-20\n1900,20\n",
}


@pytest.mark.parametrize("word", FILES)
def test_it_is_read_as_it_is_and_gives_the_same_table(tmp_path, word):
    file, bench = tmp_path / "of bench.csv", tmp_path / "bench.toml"
    file.write_text(FILES[word], encoding="utf-8")
    bench.write_text(first_bench_text(word, file), encoding="utf-8")
    kind = GROUND_KINDS[word]

    alone = read_bench_table(file, kind, None)
    stated = read_bench_table(file, kind, read_bench_file(bench))

    assert stated.table.columns.keys() == alone.table.columns.keys()
    for name, values in alone.table.columns.items():
        assert list(stated.table.columns[name]) == list(values)
    assert "columns-guessed" not in [f.code for f in stated.findings]


def test_a_unit_that_is_not_known_is_asked_for(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("Mass,Deflection (mm)\n5,1\n9,2\n", encoding="utf-8")

    text = first_bench_text("stiffness", file)

    assert 'unit = ""  # which? one of kg, g' in text


@pytest.mark.parametrize("word", GROUND_KINDS)
def test_every_key_of_the_kind_is_named(tmp_path, word):
    file = tmp_path / "a.csv"
    file.write_text(FILES[word], encoding="utf-8")

    text = first_bench_text(word, file)

    assert all(f"# {key} = " in text for key in GROUND_KINDS[word].setup().__slots__)


def test_a_clock_is_written_as_it_was_recognised(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("Time,Voltage (V)\n10:00:00,8.4\n10:00:01,8.3\n", encoding="utf-8")

    assert 'header = "Time"\nunit = "time of day"' in first_bench_text("discharge", file)


def test_headers_that_name_no_column_are_listed(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("s,V,A,Cell 1 (V)\n0,8.4,1,4.2\n", encoding="utf-8")

    assert '# Not recognised: "s", "V", "A"\n' in first_bench_text("discharge", file)


@pytest.mark.parametrize("word", GROUND_KINDS)
def test_what_is_shown_as_an_example_can_be_taken_as_it_stands(tmp_path, word):
    """Every limit, and every key whose form nobody could guess."""
    file, bench = tmp_path / "a.csv", tmp_path / "bench.toml"
    file.write_text(FILES[word], encoding="utf-8")
    lines = []
    for line in first_bench_text(word, file).splitlines():
        shown = line.removeprefix("# ").replace("NAME", "first")
        limit, nested = " at_least = " in shown, " = [" in shown or " = {" in shown
        lines.append(shown if limit or nested else line)
    bench.write_text("\n".join(lines), encoding="utf-8")

    made = read_bench_file(bench)

    ids = {limit.figure for limit in made.limits}
    kinds = [*GROUND_FIGURES, *GROUND_FIGURES.families]
    assert ids == {k.replace("NAME", "first") for k in kinds if k.startswith(f"{word}.")}


def test_a_video_has_a_first_bench_file_too(tmp_path):
    file = tmp_path / "tip.mp4"
    file.write_bytes(b"\0\0\0\x18ftypmp42" + bytes(40))

    assert "# video = { marker_px = " in first_bench_text("ringdown", file)
