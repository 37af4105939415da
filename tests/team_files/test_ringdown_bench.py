"""A bench file of a ring-down, from the file to the verdict."""

import numpy as np
import pytest

from flightlog.errors import TeamFileError
from flightlog.operations.ground_test import run_ground_test
from flightlog.team_files.bench_file import read_bench_file
from tests.groundtests.rings import Truth, recording

BENCH = """
schema = "flightlog.bench/1"
id = "wing-left"
kind = "ringdown"

[columns.time]
header = "t"
unit = "ms"
[columns.acceleration]
header = "z"
unit = "g"

[ringdown]
most_modes = 2
mains_hz = 50.0
mass_kg = 7.9
windows_s = [[3.1, 6.0]]
baseline.first = { frequency_hz = 7.0, frequency_std_hz = 0.02, mass_kg = 7.9 }
"""


def test_file_and_bench_file_give_figures_and_the_verdict(tmp_path):
    t, y, _ = recording([[Truth(6.5, 0.018)]], ring_s=4.0, rate_hz=100.0)
    rows = "\n".join(f"{1000 * a:.0f},{b / 9.80665:.6f}" for a, b in zip(t, y, strict=True))
    (tmp_path / "ring.csv").write_text("t,z\n" + rows, encoding="utf-8")
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    test = run_ground_test("ringdown", [tmp_path / "ring.csv"], tmp_path / "bench.toml")
    found = test.answer.figures["ringdown.first.frequency"].quantity
    assert found.value == pytest.approx(6.5, abs=3 * found.std)
    # 1 m/s² at 6.5 Hz is 0.6 mm; the fit rests on what is left after some cycles.
    assert 0.15 < test.answer.figures["ringdown.first.amplitude"].quantity.value < 0.4
    assert "structure-changed" in [f.code for f in test.answer.findings]
    assert np.isclose(test.answer.tables[0].rows[0][2], 3.1, atol=0.02)


@pytest.mark.parametrize(
    "line",
    [
        "most_modes = 9",
        "lowest_hz = 0.0",
        "windows_s = [[1.0]]",
        "baseline.fifth = { frequency_hz = 7.0 }",
        "baseline.first = { frequency_hz = -7.0 }",
        "mains_hz = 5000.0",
    ],
)
def test_what_can_not_be_is_refused(tmp_path, line):
    head = BENCH.partition("[ringdown]")[0]
    (tmp_path / "bench.toml").write_text(f"{head}[ringdown]\n{line}\n", encoding="utf-8")
    with pytest.raises(TeamFileError):
        read_bench_file(tmp_path / "bench.toml")
