"""Tables of a discharge: its single discharges, its resistances, its cells."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.constants import COULOMB_PER_AH, JOULE_PER_WH, ZERO_CELSIUS_K
from flightlog.groundtests.answer import Cell, ResultColumn, ResultTable
from flightlog.groundtests.discharge_cells import cells_at
from flightlog.groundtests.discharge_run import Run
from flightlog.groundtests.discharge_steps import StepResistance

_RUNS = (
    ResultColumn("file", "File"),
    ResultColumn("start_s", "Load on", "s", 1),
    ResultColumn("end_s", "End", "s", 1),
    ResultColumn("ended_by", "Ended by"),
    ResultColumn("current_a", "Mean current", "A", 2),
    ResultColumn("charge_ah", "Charge drawn", "Ah", 3),
    ResultColumn("energy_wh", "Energy drawn", "Wh", 1),
    ResultColumn("rest_v", "Rest before", "V", 2),
)
_STEPS = (
    ResultColumn("time_s", "Time", "s", 1),
    ResultColumn("step_a", "Step", "A", 1),
    ResultColumn("state_percent", "State of charge", "%", 0),
    ResultColumn("temperature_c", "Temperature", "°C", 1),
    ResultColumn("resistance_ohm", "Resistance", "ohm", 4),
    ResultColumn("resistance_std_ohm", "1 sigma, scales left out", "ohm", 4),
    ResultColumn("resistance_25c_ohm", "at 25 °C", "ohm", 4),
)


def result_tables(runs: Sequence[Run], steps: Sequence[StepResistance]) -> tuple[ResultTable, ...]:
    """Give the tables that have rows."""
    tables = [
        ResultTable("discharges", "Discharges", _RUNS, [_run_row(run) for run in runs]),
        ResultTable("resistance", "Resistance at the 1 s scale", _STEPS, [*map(_step_row, steps)]),
        _cell_table(runs[-1]),
    ]
    return tuple(table for table in tables if table.rows)


def _run_row(run: Run) -> Sequence[Cell]:
    return (
        run.rows.name,
        float(run.rows.time_s[run.load_on]),
        run.end_s,
        "cut-off" if run.reached else "load off",
        run.mean_a,
        run.charge.value / COULOMB_PER_AH,
        run.energy.value / JOULE_PER_WH,
        run.before_v,
    )


def _step_row(step: StepResistance) -> Sequence[Cell]:
    kelvin = step.temperature_k
    return (
        step.time_s,
        step.step_a,
        None if step.state is None else 100 * step.state,
        None if kelvin is None else kelvin - ZERO_CELSIUS_K,
        step.ohm,
        step.std_ohm,
        step.ohm_25c,
    )


def _cell_table(run: Run) -> ResultTable:
    """Cells under load at each quarter of the charge and at the end."""
    import numpy as np

    times = run.rows.time_s[run.first : run.last]
    names = list(run.rows.cells)
    columns = (
        ResultColumn("drawn_percent", "Drawn", "%", 0),
        *(ResultColumn(f"{name}_v", name.replace("_", " ").capitalize(), "V", 3) for name in names),
        ResultColumn("spread_v", "Spread", "V", 3),
    )
    rows: list[Sequence[Cell]] = []
    for share in (0.25, 0.5, 0.75, 1.0):
        at = float(np.interp(share * run.charge.value, run.charge_at, times))
        found = cells_at(run, min(at, float(run.rows.time_s[run.load_off])))
        if found is not None:
            cells = (found.volts.get(name) for name in names)
            rows.append((100 * share, *cells, found.spread_v))
    return ResultTable("cells", "Cells under load", columns, rows)
