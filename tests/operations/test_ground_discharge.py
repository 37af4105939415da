"""A discharge from its file and bench file to its figures."""

from __future__ import annotations

import pytest

from flightlog.operations.ground_test import run_ground_test
from tests.groundtests.test_discharge import straight

BENCH = """
schema = "flightlog.bench/1"
id = "pack-a"
kind = "discharge"
instrument = "load box 2, logger 1"

[subject]
pack = "pack-a"

[discharge]
cells = 6
cutoff_cell_v = 3.3
charged_cell_v = 4.2
nominal_capacity_ah = 5.0
current_scale_std = 0.01
voltage_scale_std = 0.002

[limits]
"discharge.capacity" = { at_least = 4000, unit = "mAh" }
"""


@pytest.mark.parametrize(("header", "per_s"), [("Time (ms)", 1000), ("Time (h)", 1 / 3600)])
def test_figures_from_files_in_any_unit(tmp_path, header, per_s):
    """20 A for 800 s: 4.444 Ah."""
    columns = straight().columns
    rows = zip(columns["time"], columns["voltage"], columns["current"], strict=True)
    lines = [f"{t * per_s:.9f},{1000 * u:.6f},{i:.3f}" for t, u, i in rows]
    text = "\n".join([f"{header},Voltage (mV),Current (A)", *lines])
    (tmp_path / "run.csv").write_text(text, encoding="utf-8")
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")

    test = run_ground_test("discharge", [tmp_path / "run.csv"], tmp_path / "bench.toml")

    assert test.answer.figures["discharge.capacity"].quantity.value == pytest.approx(16000 / 3600)
    assert test.outcomes[0].outcome == "met"
    assert "columns-guessed" in {f.code for f in test.answer.findings}
