"""Discharge of a pack: what it holds down to the cut-off, and what it loses inside.

Charge and energy are trapezoids over all rows from the load on, with the zero of the current taken
off by the rests; the cut-off is found where a line through the last rows meets it. What all rows
share, such as the scale of the current sensor, widens the whole integral and no repeat makes it
less. The resistance is that of flights, at the 1 s scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from flightlog.constants import COULOMB_PER_AH, JOULE_PER_WH, ZERO_CELSIUS_K
from flightlog.estimation.pack_temperature import AIR_IS_PACK_STD, at_25c, law_std, sensor_std
from flightlog.findings import Finding
from flightlog.groundtests import discharge_checks as checks
from flightlog.groundtests.answer import GroundAnswer, GroundFigure
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.discharge_cells import cells_at, warmth
from flightlog.groundtests.discharge_detail import DischargeDetail, drawn_line
from flightlog.groundtests.discharge_drawn import MOST_BLIND
from flightlog.groundtests.discharge_rows import Rows, read_rows
from flightlog.groundtests.discharge_run import Drawn, Run
from flightlog.groundtests.discharge_runs import find_runs
from flightlog.groundtests.discharge_setup import (
    CAPACITY,
    CELL_STD_V,
    CURRENT_SCALE_STD,
    ENERGY,
    EVERY,
    MASS_STD,
    MEAN_V,
    OHM,
    OHM_25C,
    PER_KG,
    RATE,
    RISE,
    SHARE,
    SPREAD,
    TEMPERATURE_STD_K,
    USABLE,
    VOLTAGE_SCALE_STD,
    Setup,
    assumed,
)
from flightlog.groundtests.discharge_steps import (
    LEAST_STATE,
    SLOWEST_S,
    StepResistance,
    joined,
    resistances,
    steps_of,
)
from flightlog.groundtests.discharge_tables import result_tables
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.uncertain import Uncertain

__all__ = ["EVERY", "Setup", "pack_keys", "reduce"]

FULL_SHORT_V = 0.06
"""A rested full cell stands at most so far below the voltage to which it was charged. [V]"""

FIRST_SECOND_STD, FIRST_SECOND_STD_PER_S = 0.025, 0.06
"""Of a resistance at the 1 s scale for what happens within the second, and more for each second
between rows: by simulated cells whose quick part settles in 0.3 to 6 s. [-], [1/s]"""

LIKE_RATE = 1.2
"""Discharges whose currents differ by a larger factor are no repeats of each other. [-]"""


@dataclass(frozen=True, slots=True)
class _Scales:
    """Standard uncertainties of the scales of current and voltage, stated or assumed. [-]"""

    current: float
    voltage: float


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one test of one pack.

    Parameters
    ----------
    tables : sequence of BenchTable
        Each with one discharge or several.
    setup : Setup
        The pack and the instruments.
    """
    scales = _Scales(
        CURRENT_SCALE_STD if setup.current_scale_std is None else setup.current_scale_std,
        VOLTAGE_SCALE_STD if setup.voltage_scale_std is None else setup.voltage_scale_std,
    )
    slack = 2 * scales.voltage * (setup.cutoff_v or 0.0)
    findings: list[Finding] = []
    runs: list[Run] = []
    every: list[Rows] = []
    for table in tables:
        if not table.has("time", "voltage", "current"):
            continue
        rows, found = read_rows(table, setup.current_zero_std_a)
        findings += found
        if rows is not None:
            every.append(rows)
            runs += find_runs(rows, setup.cutoff_v, slack)
    if not runs:
        return GroundAnswer(
            withheld=dict.fromkeys(EVERY, _nothing(tables, every)), findings=tuple(findings)
        )
    findings += [f for rows in every for f in checks.of_rows(rows)]
    findings += [f for run in runs for f in checks.of_run(run, setup.cutoff_cell_v)]
    work = _Work(setup, scales, runs)
    work.charge_and_energy()
    work.means()
    work.resistance()
    work.cells_and_warmth()
    findings += checks.of_steps(work.steps, [len(steps_of(run)) for run in runs])
    findings += checks.assumed(assumed(setup, every, work.figures))
    findings += checks.against_nominal(
        work.figures[SHARE].quantity if SHARE in work.figures else None
    )
    detail = DischargeDetail(
        tuple(drawn_line(run, f"discharge {k + 1}") for k, run in enumerate(runs)),
        tuple(work.steps),
        setup.cells,
        setup.cutoff_v,
    )
    return GroundAnswer(
        work.figures, work.withheld, tuple(findings), result_tables(runs, work.steps), detail
    )


def _nothing(tables: Sequence[BenchTable], every: Sequence[Rows]) -> str:
    """Say why there is no discharge at all."""
    if not any(table.has("current") for table in tables):
        return "the file has no current; log it beside the voltage"
    if not every:
        return "the file holds fewer than four rows with time, voltage and current"
    if any(rows.charging.any() for rows in every):
        return "the file shows the pack being charged only; name the file of its discharge"
    return "no load is found in the file: the current stays at rest; log the discharge as well"


class _Work:
    """Figures of the discharges of one pack, and what is withheld of them."""

    def __init__(self, setup: Setup, scales: _Scales, runs: Sequence[Run]) -> None:
        self.setup, self.scales, self.runs = setup, scales, runs
        self.figures: dict[str, GroundFigure] = {}
        self.withheld: dict[str, str] = {}
        self.steps: list[StepResistance] = []
        self.whole: list[Run] = []

    def give(self, id_: str, quantity: Uncertain, method: str, sources: str) -> None:
        self.figures[id_] = GroundFigure(id_, quantity, method, tuple(sources.split()))

    # --- charge and energy

    def charge_and_energy(self) -> None:
        """Capacity and energy down to the cut-off, and what follows from them."""
        self.whole = [run for run in self.runs if not self._why_not_whole(run)]
        why = "" if self.whole else self._why_not_whole(self.runs[-1])
        rates = [run.mean_a for run in self.whole]
        if rates and max(rates) > LIKE_RATE * min(rates):
            why = (
                f"the discharges were made at {min(rates):.1f} to {max(rates):.1f} A, and are no "
                "repeats of each other; reduce the files of one current at a time"
            )
        if why:
            self.withheld |= dict.fromkeys((CAPACITY, ENERGY, SHARE, PER_KG, USABLE), why)
            return
        capacity = self._mean(
            [self._with_scales(run, run.charge, COULOMB_PER_AH, "Ah") for run in self.whole]
        )
        energy = self._mean(
            [self._with_scales(run, run.energy, JOULE_PER_WH, "Wh") for run in self.whole]
        )
        count = f"; mean of {len(self.whole)} discharges" if len(self.whole) > 1 else ""
        how = (
            f"trapezoids from the load on until {self.setup.cutoff_cell_v:.2f} V per cell under "
            f"{self.whole[0].mean_a:.1f} A{count}"
        )
        self.give(CAPACITY, capacity, how, "time current voltage")
        self.give(ENERGY, energy, how, "time current voltage")
        self._follow(capacity, energy)

    def _follow(self, capacity: Uncertain, energy: Uncertain) -> None:
        setup = self.setup
        if setup.nominal_capacity_ah is not None:
            share = capacity.scaled(100 / setup.nominal_capacity_ah, "%")
            how = f"discharge.capacity over {setup.nominal_capacity_ah:g} Ah as printed"
            self.give(SHARE, share, how, "time current voltage declared")
        else:
            self.withheld[SHARE] = (
                "nothing says what is printed on the pack; write nominal_capacity_ah"
            )
        if setup.mass_kg is not None:
            std = MASS_STD * setup.mass_kg if setup.mass_std_kg is None else setup.mass_std_kg
            per_kg = energy.scaled(1 / setup.mass_kg, "Wh/kg")
            per_kg = per_kg.widened(per_kg.value * std / setup.mass_kg, "mass")
            how = f"discharge.energy over {setup.mass_kg:g} kg"
            self.give(PER_KG, per_kg, how, "time current voltage declared")
        else:
            self.withheld[PER_KG] = "the mass of the pack is not known; write mass_kg"
        if setup.reserve_share is not None:
            usable = energy.scaled(1 - setup.reserve_share, "Wh")
            how = f"discharge.energy less a reserve of {100 * setup.reserve_share:g} %"
            self.give(USABLE, usable, how, "time current voltage declared")
        else:
            self.withheld[USABLE] = (
                "nothing says what stays in the pack at landing; write reserve_share"
            )

    def _why_not_whole(self, run: Run) -> str:
        """Say why a discharge is none from full to the cut-off; "" where it is one."""
        setup, rows = self.setup, run.rows
        drawn = f"at least {run.charge.value / COULOMB_PER_AH:.2f} Ah"
        if setup.cutoff_v is None:
            return (
                "nothing says where the discharge ends; write cells and cutoff_cell_v, the "
                f"maker's cut-off under load (drawn here: {drawn})"
            )
        if setup.charged_cell_v is None:
            return (
                "nothing says that the pack was full; write charged_cell_v, the voltage per cell "
                f"to which it was charged (drawn here: {drawn})"
            )
        cells = setup.cells or 1
        if run.before_v is not None:
            low = setup.charged_cell_v - FULL_SHORT_V - run.before_v / cells
            if low > 2 * self.scales.voltage * setup.charged_cell_v:
                return (
                    f"the pack was not full: {run.before_v / cells:.2f} V per cell at rest before "
                    f"the load, charged to {setup.charged_cell_v:.2f} V (it holds {drawn})"
                )
        if not run.reached:
            level = float(rows.volts[run.load_off]) / cells
            return (
                f"the cut-off of {setup.cutoff_cell_v:.2f} V per cell was not reached: the load "
                f"ended at {level:.2f} V (it holds {drawn})"
            )
        missing = run.blind_s / max(run.end_s - float(rows.time_s[run.load_on]), 1e-9)
        if missing > MOST_BLIND:
            return (
                f"rows are missing for {run.blind_s:.0f} s, {100 * missing:.0f} % of the "
                "discharge, and no counter bridges them; log it again without a break"
            )
        return ""

    def _with_scales(self, run: Run, drawn: Drawn, per: float, unit: str) -> Uncertain:
        """Add what the scales of the sensors make of an integral, the cut-off included."""
        sources = dict(drawn.sources)
        sources["current scale"] = self.scales.current * drawn.value
        # The end was looked for at two standard deviations to either side.
        of_volts = run.unclear_c / 2 if run.reached else 0.0
        if unit == "Wh":
            cutoff = self.setup.cutoff_v or 0.0
            of_volts = of_volts * cutoff + self.scales.voltage * drawn.value
        sources["voltage scale"] = of_volts
        return Uncertain(drawn.value / per, {n: e / per for n, e in sources.items()}, unit)

    def _mean(self, repeats: Sequence[Uncertain]) -> Uncertain:
        """Mean of discharges: as wide as they scatter, and what they share beside it."""
        if len(repeats) == 1:
            return repeats[0]
        shared = ("current scale", "voltage scale", "current steps")
        common = {
            name: sum(r.sources.get(name, 0.0) for r in repeats) / len(repeats) for name in shared
        }
        own = [
            math.sqrt(sum(e**2 for n, e in r.sources.items() if n not in shared)) for r in repeats
        ]
        unit = repeats[0].unit
        mean = mean_of_repeats([r.value for r in repeats], unit, source="repeats")
        least = math.sqrt(sum(s**2 for s in own)) / len(own)
        return Uncertain(mean.value, {"repeats": max(mean.std, least), **common}, unit)

    # --- means

    def means(self) -> None:
        """Mean voltage and rate of the last discharge, or the mean of the whole ones."""
        run = (self.whole or list(self.runs))[-1]
        if not run.charge.value > 0 or run.blind_s > MOST_BLIND * max(run.load_s, 1.0):
            why = "rows are missing for too much of the discharge; log it again without a break"
            self.withheld |= dict.fromkeys((MEAN_V, RATE), why)
            return
        volts = run.energy.value / run.charge.value
        if not 0 < volts <= float(run.rows.volts.max()) * (1 + 1e-9):
            why = "the current goes forth and back too much to be that of a discharge"
            self.withheld |= dict.fromkeys((MEAN_V, RATE), why)
            return
        # Errors of the current act on both alike; what is left are those that come and go.
        sources = {
            name: (run.energy.sources[name] - volts * run.charge.sources[name]) / run.charge.value
            for name in run.energy.sources
        }
        # An end that is unclear moves the mean towards the voltage at the end, or away from it.
        moved = run.unclear_c / 2 if run.reached else 0.0
        left = max(run.charge.value - moved, 0.5 * run.charge.value)
        sources["end"] = (float(run.rows.volts[run.load_off]) - volts) * moved / left
        quantity = Uncertain(volts, {**sources, "voltage scale": self.scales.voltage * volts}, "V")
        self.give(MEAN_V, quantity, "energy over charge, of the pack", "time current voltage")
        nominal = self.setup.nominal_capacity_ah
        if nominal is None:
            self.withheld[RATE] = (
                "nothing says what is printed on the pack; write nominal_capacity_ah"
            )
            return
        effects = {n: e / run.load_s / nominal for n, e in run.charge.sources.items()}
        effects["current scale"] = self.scales.current * run.mean_a / nominal
        rate = Uncertain(run.mean_a / nominal, effects, "1/h")
        how = f"mean of {run.mean_a:.1f} A under load over {nominal:g} Ah as printed"
        self.give(RATE, rate, how, "time current declared")

    # --- resistance

    def resistance(self) -> None:
        """At the 1 s scale, over the steps above 30 % of charge."""
        holds = self._holds_c()
        for run in self.runs:
            self.steps += resistances(run, *self._counted_back(run, holds))
        used = [s for s in self.steps if s.state is None or s.state >= LEAST_STATE]
        if not used:
            self.withheld |= dict.fromkeys((OHM, OHM_25C), self._why_no_ohm())
            return
        value, std = joined(used, [s.ohm for s in used])
        known = "above 30 % of charge" if used[0].state is not None else (
            "at any charge, since nothing says how much the pack holds"
        )  # fmt: skip
        how = (
            "voltage lost in the first second after a step of the current, slow parts fitted "
            f"beside it; {_count(len(used), 'stretch', 'stretches')} with steps, {known}"
        )
        self.give(OHM, self._scaled_ohm(value, std), how, "time current voltage")
        self._at_25c(used, value, std, how)

    def _at_25c(self, used: list[StepResistance], value: float, std: float, how: str) -> None:
        warm = [s for s in used if s.temperature_k is not None]
        if warm:
            value, std = joined(warm, [s.ohm_25c or s.ohm for s in warm])
            kelvin = sum(s.temperature_k or 0.0 for s in warm) / len(warm)
            quantity = self._scaled_ohm(value, std)
            quantity = quantity.widened(law_std(kelvin) * value, "temperature law")
            quantity = quantity.widened(sensor_std(kelvin) * value, "pack temperature")
            how = f"{how}; pack at {kelvin - ZERO_CELSIUS_K:.0f} °C by its own sensor"
            self.give(OHM_25C, quantity, how, "time current voltage temperature")
            return
        if self.setup.ambient_c is None:
            self.withheld[OHM_25C] = (
                "the temperature of the pack is not known; log it, or write ambient_c of the room "
                "in which it had lain"
            )
            return
        factor = at_25c(1.0, self.setup.ambient_c + ZERO_CELSIUS_K)
        quantity = self._scaled_ohm(factor * value, factor * std)
        quantity = quantity.widened(AIR_IS_PACK_STD * quantity.value, "pack temperature")
        how = (
            f"{how}; pack taken to be as warm as the room, {self.setup.ambient_c:.0f} °C: 20 % "
            "(1 sigma) allowed"
        )
        self.give(OHM_25C, quantity, how, "time current voltage declared")

    def _scaled_ohm(self, ohm: float, std: float) -> Uncertain:
        slowest = max(r.rows.step_s for r in self.runs if r.rows.step_s <= SLOWEST_S)
        sources = {
            "fit": std,
            "first second": ohm * math.hypot(FIRST_SECOND_STD, FIRST_SECOND_STD_PER_S * slowest),
            "current scale": -self.scales.current * ohm,
            "voltage scale": self.scales.voltage * ohm,
        }
        return Uncertain(ohm, sources, "ohm")

    def _holds_c(self) -> float | None:
        """Charge of the full pack: measured, else as printed. [C]"""
        if self.whole:
            return sum(run.charge.value for run in self.whole) / len(self.whole)
        nominal = self.setup.nominal_capacity_ah
        return None if nominal is None else nominal * COULOMB_PER_AH

    def _counted_back(self, run: Run, holds: float | None) -> tuple[float | None, float | None]:
        """What the pack holds [C], and its state of charge at the end of a run [-]."""
        if holds is None:
            return None, None
        if run.reached:
            return holds, 0.0
        setup = self.setup
        if setup.charged_cell_v is None or run.before_v is None or setup.cells is None:
            return None, None
        full = run.before_v / setup.cells >= setup.charged_cell_v - FULL_SHORT_V
        return (holds, 1.0 - run.charge.value / holds) if full else (None, None)

    def _why_no_ohm(self) -> str:
        slow = max(run.rows.step_s for run in self.runs)
        if slow > SLOWEST_S:
            return f"the rows are {slow:.1f} s apart; log at 5 Hz, for the first second after steps"
        if self.steps:
            return (
                "all steps of the current are below 30 % of charge; begin the log at rest, or "
                "pulse the load along the discharge"
            )
        if not any(len(steps_of(run)) for run in self.runs):
            return (
                "the current has no step; begin the log 10 s before the load goes on, and pulse "
                "the load along the discharge"
            )
        return (
            "no step of the current tells a resistance to 10 %; log a minute about each step, at "
            "5 Hz, current and voltage by the same instrument"
        )

    # --- cells and temperature

    def cells_and_warmth(self) -> None:
        """Spread of the cells at the end, and how much the pack warmed."""
        run = (self.whole or list(self.runs))[-1]
        found = cells_at(run, min(run.end_s, float(run.rows.time_s[run.load_off])))
        if found is None:
            self.withheld[SPREAD] = "the file has no single cells; log them by the balance plug"
        else:
            own = self.setup.cell_std_v
            cell = CELL_STD_V if own is None else own
            sources = {"cells": math.sqrt(2) * cell, "noise": math.sqrt(2) * found.std_v}
            where = "at the cut-off" if run.reached else "when the load ended"
            count, cells = len(found.volts), self.setup.cells or 0
            which = f"{count} of the {cells} cells" if count < cells else f"{count} cells"
            how = f"highest less lowest of {which} under load, {where}"
            self.give(SPREAD, Uncertain(found.spread_v, sources, "V"), how, "time cell")
        warm = warmth(run)
        if warm is None:
            self.withheld[RISE] = "the file has no temperature of the pack; log it"
            return
        own = self.setup.temperature_std_k
        sources = {"sensor": TEMPERATURE_STD_K if own is None else own, "noise": warm.std_k}
        rise = Uncertain(warm.most_k - warm.start_k, sources, "K")
        how = f"from {warm.start_k - ZERO_CELSIUS_K:.1f} °C, until 10 min after the end"
        self.give(RISE, rise, how, "time temperature")


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def pack_keys(answer: GroundAnswer) -> dict[str, float]:
    """Give what a test of a new pack says for its pack file, by the file's keys.

    The resistance is that at 25 °C where it could be had, since that is what later ones are
    compared with.
    """
    for id_ in (OHM_25C, OHM):
        if id_ in answer.figures:
            return {"resistance_ohm": float(answer.figures[id_].quantity.value)}
    return {}
