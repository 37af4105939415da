"""Charge, energy and what follows from them, against closed forms."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import settled
from flightlog.groundtests.discharge import EVERY, Setup, pack_keys, reduce
from flightlog.groundtests.discharge_detail import DischargeDetail
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.team_files.bench_tables import DischargeBench

from .packs import table

SETUP = Setup(
    cells=6,
    cutoff_cell_v=3.3,
    charged_cell_v=4.2,
    nominal_capacity_ah=5.0,
    mass_kg=0.65,
    mass_std_kg=0.001,
    reserve_share=0.2,
    current_scale_std=0.01,
    voltage_scale_std=0.002,
)
AMPS, REST_S, LOAD_S = 20.0, 20.0, 800.0


def straight(
    amps=AMPS, load_s=LOAD_S, rate=1.0, start_v=24.0, end_v=19.8, after=True, ohm=0.02, **columns
):
    """A constant current between rests; the voltage falls straight to the cut-off at its end."""
    t = np.arange(0.5, REST_S + load_s + (30.0 if after else 0.0), 1 / rate)
    on = (t >= REST_S) & (t < REST_S + load_s)
    current = np.where(on, amps, 0.0)
    loaded = start_v + (end_v - start_v) * (t - REST_S) / load_s
    volts = np.where(on, loaded, np.where(t < REST_S, 25.1, end_v + ohm * amps))
    return table(time=t, voltage=volts, current=current, **columns)


def value(answer, name):
    return answer.figures[f"discharge.{name}"].quantity.value


def std(answer, name):
    return answer.figures[f"discharge.{name}"].quantity.std


def codes(answer):
    return {finding.code for finding in answer.findings}


def test_a_constant_current_gives_current_times_time():
    """20 A for 800 s are 16,000 As, 4.444 Ah; the load goes on and off halfway between rows."""
    answer = reduce([straight()], SETUP)

    assert value(answer, "capacity") == pytest.approx(16000 / 3600, rel=1e-9)
    assert value(answer, "nominal_share") == pytest.approx(100 * 16000 / 18000, rel=1e-9)
    assert value(answer, "rate") == pytest.approx(20.0 / 5.0, rel=1e-3)


def test_energy_is_that_of_the_straight_line():
    """20 A times the mean of 24 and 19.8 V for 800 s; the trapezoids of the two edges differ."""
    answer = reduce([straight(rate=10.0)], SETUP)

    whole = 20 * 21.9 * 800 / 3600
    assert value(answer, "energy") == pytest.approx(whole, rel=2e-4)
    assert value(answer, "mean_voltage") == pytest.approx(21.9, rel=2e-4)
    assert value(answer, "energy_per_kg") == pytest.approx(value(answer, "energy") / 0.65)
    assert value(answer, "usable_energy") == pytest.approx(0.8 * value(answer, "energy"))


def test_the_discharge_ends_where_the_voltage_meets_the_cutoff():
    """The line goes on to 19.0 V: it meets 19.8 V after 4.2 of 5 parts of 800 s, at 672 s."""
    answer = reduce([straight(end_v=19.0)], SETUP)

    assert value(answer, "capacity") == pytest.approx(20 * 672 / 3600, rel=1e-9)


def test_a_scale_error_widens_the_whole_integral():
    """1 % of 4.444 Ah, and what 0.2 % of 19.8 V moves the end: 39.6 mV at 5.25 mV/s, 7.5 s."""
    answer = reduce([straight(end_v=19.0)], SETUP)
    sources = answer.figures["discharge.capacity"].quantity.sources

    assert sources["current scale"] == pytest.approx(0.01 * 20 * 672 / 3600)
    assert sources["voltage scale"] == pytest.approx(20 * 0.0396 / 0.00625 / 3600, rel=0.02)


def test_a_switch_between_two_rows_is_as_unsure_as_their_spacing():
    """Twice, a uniform error of 10 s: 20 A times 10 s over the root of 12."""
    answer = reduce([straight(rate=0.1)], SETUP)

    sampling = answer.figures["discharge.capacity"].quantity.sources["sampling"]
    assert sampling == pytest.approx(2**0.5 * 20 * 10 / 12**0.5 / 3600, rel=0.01)


def test_a_zero_that_the_rest_shows_is_taken_off():
    moved = straight()
    moved = replace(moved, columns={**moved.columns, "current": moved.columns["current"] + 0.3})
    answer = reduce([moved], SETUP)

    assert value(answer, "capacity") == pytest.approx(16000 / 3600, rel=1e-9)
    assert "discharge-current-zero" in codes(answer)


def test_without_a_rest_the_zero_is_not_known():
    one = straight(after=False)
    columns = {name: column[20:] for name, column in one.columns.items()}
    answer = reduce([replace(one, columns=columns, lines=one.lines[20:])], SETUP)

    zero = answer.figures["discharge.capacity"].quantity.sources["current zero"]
    assert zero == pytest.approx(0.3 * 799 / 3600, rel=1e-6)
    assert {"discharge-starts-loaded", "sensor-uncertainty-assumed"} <= codes(answer)


@pytest.mark.parametrize(
    ("setup", "table_", "why"),
    [
        (SETUP, straight(end_v=21.0), "was not reached: the load ended at 3.50 V"),
        (replace(SETUP, charged_cell_v=4.35), straight(), "was not full: 4.18 V per cell"),
        (replace(SETUP, charged_cell_v=None), straight(), "write charged_cell_v"),
        (replace(SETUP, cells=None), straight(), "write cells and cutoff_cell_v"),
    ],
)
def test_capacity_is_withheld_and_the_least_is_told(setup, table_, why):
    answer = reduce([table_], setup)

    for name in ("capacity", "energy", "nominal_share", "energy_per_kg", "usable_energy"):
        assert why in answer.withheld[f"discharge.{name}"]
    assert "at least 4.44 Ah" in answer.withheld["discharge.capacity"]
    assert value(answer, "mean_voltage") > 20


def test_every_figure_is_given_or_withheld():
    for tables in (
        [],
        [straight()],
        [table(time=np.arange(3.0), voltage=np.ones(3), current=np.ones(3))],
        [table(time=np.arange(50.0), voltage=np.full(50, 25.0))],
    ):
        answer = reduce(tables, SETUP)
        assert set(EVERY) == set(answer.figures) | set(answer.withheld)
        assert not set(answer.figures) & set(answer.withheld)
        settled(answer)
    known = {id_ for id_ in GROUND_FIGURES if id_.startswith("discharge.")}
    assert known == set(EVERY)


def test_instruments_that_are_not_stated_make_wide_intervals_and_a_finding():
    stated = reduce([straight()], SETUP)
    bare = reduce([straight()], replace(SETUP, current_scale_std=None, voltage_scale_std=None))

    assert std(bare, "capacity") > 2.4 * std(stated, "capacity")
    told = next(f for f in bare.findings if f.code == "sensor-uncertainty-assumed")
    assert "scale of the current: 2.5 %" in told.message
    assert "discharge.capacity" in told.affects


def test_repeats_are_as_wide_as_they_scatter_and_what_they_share_stays():
    tables = [straight(load_s=load_s) for load_s in (790.0, 800.0, 810.0)]
    answer = reduce(tables, SETUP)

    sources = answer.figures["discharge.capacity"].quantity.sources
    ah = [20 * s / 3600 for s in (790.0, 800.0, 810.0)]
    assert value(answer, "capacity") == pytest.approx(ah[1])
    assert sources["repeats"] == pytest.approx(mean_of_repeats(ah, "Ah").std, rel=1e-6)
    assert sources["current scale"] == pytest.approx(0.01 * ah[1])


def test_discharges_at_other_currents_are_no_repeats():
    answer = reduce([straight(), straight(amps=10.0, load_s=1600.0)], SETUP)

    assert "10.0 to 20.0 A" in answer.withheld["discharge.capacity"]
    assert len(answer.tables[0].rows) == 2


def test_charging_ends_a_discharge_and_is_left_out():
    one, again = straight(), straight()
    end = one.columns["time"][-1]
    charge_t = end + np.arange(1.0, 401.0)
    parts = {
        "time": [one.columns["time"], charge_t, again.columns["time"] + end + 410],
        "voltage": [one.columns["voltage"], np.linspace(21, 25.2, 400), again.columns["voltage"]],
        "current": [one.columns["current"], np.full(400, -40.0), again.columns["current"]],
    }
    answer = reduce([table(**{n: np.concatenate(p) for n, p in parts.items()})], SETUP)

    assert len(answer.tables[0].rows) == 2
    assert value(answer, "capacity") == pytest.approx(16000 / 3600, rel=1e-3)
    message = next(f for f in answer.findings if f.code == "discharge-charging-left-out").message
    assert "400 rows" in message
    assert "4.4" in message


def test_a_pack_charged_while_nobody_logged_is_another_discharge():
    one, again = straight(), straight()
    later = again.columns["time"] + one.columns["time"][-1] + 3600
    joined = {n: np.concatenate([one.columns[n], again.columns[n]]) for n in one.columns}
    joined["time"] = np.concatenate([one.columns["time"], later])
    answer = reduce([table(**joined)], SETUP)

    assert len(answer.tables[0].rows) == 2
    assert value(answer, "capacity") == pytest.approx(16000 / 3600, rel=1e-9)


def test_missing_rows_widen_or_withhold():
    one = straight()
    t = one.columns["time"]

    def without(start, end):
        keep = (t < start) | (t > end)
        columns = {n: c[keep] for n, c in one.columns.items()}
        return reduce([replace(one, columns=columns, lines=one.lines[keep])], SETUP)

    short, long = without(300, 320), without(300, 400)
    lost = short.figures["discharge.capacity"].quantity.sources["missing rows"]
    assert lost == pytest.approx(0.25 * 20 * 21 / 3600, rel=0.01)
    assert "discharge-rows-missing" in codes(short)
    assert "rows are missing for 101 s" in long.withheld["discharge.capacity"]


def test_the_loggers_counter_bridges_missing_rows():
    """In the hole the load was off for 50 s, which only the counter knows."""
    t = np.arange(0.5, 850.0)
    on = (t >= 20) & (t < 820) & ~((t > 300) & (t < 350))
    amps = np.where(on, 20.0, 0.0)
    charge = np.cumsum(amps)
    volts = np.where(t < 20, 25.1, np.clip(24 - 4.2 * (t - 20) / 800, 19.8, 24.0))
    keep = (t < 300) | (t > 350)
    columns = {"time": t, "voltage": volts, "current": amps, "charge": charge}
    answer = reduce([table(**{n: c[keep] for n, c in columns.items()})], SETUP)

    assert value(answer, "capacity") == pytest.approx(15000 / 3600, rel=2e-3)


@pytest.mark.parametrize(("factor", "told"), [(1.0, False), (1.004, False), (1.05, True)])
def test_a_counter_that_disagrees_is_told(factor, told):
    one = straight()
    charge = factor * np.cumsum(one.columns["current"])
    answer = reduce([table(**one.columns, charge=charge)], SETUP)

    assert told == ("discharge-counter-disagrees" in codes(answer))
    wide = settled(answer).figures["discharge.capacity"].quantity.std
    assert (wide > 1.5 * std(answer, "capacity")) == told


def test_a_worn_pack_is_told_only_when_it_is_sure():
    sure = reduce([straight(load_s=600.0)], SETUP)
    unsure = reduce([straight(load_s=715.0)], replace(SETUP, current_scale_std=0.05))

    assert "discharge-capacity-low" in codes(sure)
    assert value(unsure, "nominal_share") < 80
    assert "discharge-capacity-low" not in codes(unsure)


def test_cells_and_temperature():
    """Cell 2 stands 0.1 V below the others; the pack warms by 12 K and one reading is wild."""
    one = straight()
    t, volts = one.columns["time"], one.columns["voltage"]
    cell = volts / 6
    columns = {f"cell_{k}": cell + 0.02 for k in (1, 3, 4, 5, 6)}
    warm = 293.15 + 12.0 * np.clip((t - REST_S) / LOAD_S, 0, 1)
    warm[400] = 390.0
    answer = reduce([table(**one.columns, **columns, cell_2=cell - 0.1, temperature=warm)], SETUP)

    assert value(answer, "cell_spread") == pytest.approx(0.12, abs=1e-9)
    assert value(answer, "temperature_rise") == pytest.approx(12.0, abs=0.3)
    assert {"discharge-cells-apart", "discharge-cell-below-cutoff"} <= codes(answer)
    below = next(f for f in answer.findings if f.code == "discharge-cell-below-cutoff")
    assert below.message.startswith("Cell 2 fell below 3.30 V")
    # 0.1 V of a cell that falls by 0.7 V in 800 s.
    assert below.evidence["seconds"] == pytest.approx(0.1 / 0.7 * 800, abs=2)


def test_a_pulse_at_the_cutoff_makes_the_end_unclear():
    """A pulse goes 20 mV below the cut-off: 0.2 % of the voltage decides if that is the end."""
    one = straight()
    t, volts = one.columns["time"], one.columns["voltage"].copy()
    volts[(t > 600) & (t < 610)] = 19.78
    answer = reduce([table(time=t, voltage=volts, current=one.columns["current"])], SETUP)

    low, high = answer.figures["discharge.capacity"].quantity.interval()
    assert "discharge-end-unclear" in codes(answer)
    assert low < 20 * 580 / 3600
    assert high == pytest.approx(16000 / 3600, rel=0.01)


def test_the_bench_file_has_the_keys_of_the_setup():
    assert set(DischargeBench.model_fields) == {field.name for field in fields(Setup)}


def test_the_detail_is_thin():
    answer = reduce([straight(rate=50.0)], SETUP)

    assert isinstance(answer.detail, DischargeDetail)
    assert answer.detail.lines[0].drawn_ah.size <= 4000
    assert (np.diff(answer.detail.lines[0].drawn_ah) >= 0).all()


def test_a_pack_file_gets_nothing_that_was_not_measured():
    assert pack_keys(reduce([], SETUP)) == {}


def test_a_pack_that_holds_far_more_than_is_printed_is_a_wrong_unit():
    """2 A written as 2000 mA under a header of amperes, by a pack of 0.444 Ah."""
    one = straight(amps=2000.0, ohm=2e-4)
    answer = settled(reduce([one], replace(SETUP, nominal_capacity_ah=0.5)))

    assert "discharge.capacity" in answer.withheld
    assert "discharge-beyond-nominal" in codes(answer)
    assert "discharge.mean_voltage" in answer.figures


def test_the_mean_voltage_holds_either_end_of_a_discharge_whose_end_is_unclear():
    """A pulse meets the cut-off to a millivolt; without it the load goes on far beyond."""
    t = np.arange(0.0, 900.0)
    on = (t >= 20) & (t < 820)
    volts = np.where(on, 24.0 - 4.2 * (t - 20) / 800, 25.1)
    pulse = (t >= 500) & (t < 512)
    amps = np.where(on, 20.0, 0.0) + np.where(pulse, 20.0, 0.0)
    means = []
    for level in (19.79, 19.81):
        read = table(time=t, voltage=np.where(pulse, level, volts), current=amps)
        means.append(reduce([read], SETUP).figures["discharge.mean_voltage"].quantity)

    true = [q.value for q in means]
    assert abs(true[1] - true[0]) > 0.5
    assert all(q.interval()[0] < min(true) and max(true) < q.interval()[1] for q in means)


def test_a_lead_that_is_not_plugged_in_is_no_low_cell():
    one = straight()
    cells = {f"cell_{k}": one.columns["voltage"] / 6 + 0.1 for k in (2, 3)}
    answer = reduce([table(**one.columns, cell_1=np.zeros(len(one)), **cells)], SETUP)

    assert "discharge-cell-below-cutoff" not in codes(answer)
    assert "2 of the 6 cells" in answer.figures["discharge.cell_spread"].method
