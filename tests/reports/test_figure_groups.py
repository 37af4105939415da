"""Figures stand where a reader asks for them, and what is withheld takes few lines."""

from __future__ import annotations

import pytest

from flightlog.figures import FIGURES
from flightlog.findings import make_finding
from flightlog.reports.figure_groups import (
    FLIGHT,
    OTHERS,
    WEAR,
    apart,
    group_of,
    in_groups,
    surface_table,
    withheld_texts,
)
from tests.made_debriefs import figure, made
from tests.reports.wear import worn_figures

NO_LINK = "the log has no link data"


def members():
    """Give every figure that there is; of families that of one elevator."""
    return [*FIGURES, *(id_.replace("NAME", "elevator") for id_ in FIGURES.families)]


@pytest.mark.parametrize("id_", members())
def test_every_figure_that_is_measured_has_a_group(id_):
    declared = id_.split(".")[0] in ("mass", "payload") or id_ == "battery.nominal_energy"

    assert declared or group_of(id_) in (*FLIGHT, *WEAR)


def test_what_a_flight_used_and_what_wears_are_apart():
    assert ("Energy", "Energy") == (group_of("battery.max_current"), group_of("charge.used"))
    assert ("Battery", "Surfaces") == (group_of("battery.resistance"), group_of("supply.x"))
    assert OTHERS == group_of("never.heard_of")


def test_groups_have_one_order_whatever_that_of_the_figures():
    figures = list(reversed(worn_figures().values()))
    groups = in_groups([*figures, *made().sorties[0].figures.values()])

    order = [*FLIGHT, *WEAR, OTHERS]
    assert sorted(groups, key=order.index) == list(groups)
    assert ["motor.max_speed", "vibration.cruise"] == [f.id for f in groups["Vibration"]]
    told = [f.id for group in groups.values() for f in group]
    assert "takeoff.liftoff_time" not in told, "it stands in the line of the sortie"
    assert "mass.takeoff" not in told, "nobody measured it"


def test_surfaces_are_one_table_with_a_row_each():
    table = surface_table(worn_figures().values())

    assert ("elevator", "left aileron outer") == table.surfaces
    columns = {column.name: column for column in table.columns}
    assert ["trim", "play", "lag", "gain", "saturation", "reversals"] == list(columns)
    # 1.6 ± 1.96 x 0.2
    assert (("1.6", "1.2 to 2.0"), ("", "")) == columns["play"].cells
    assert (("0.000", "exact"), ("", "")) == columns["saturation"].cells
    assert ("", "") == columns["reversals"].cells[0]
    assert ("play, deg", "saturation") == (columns["play"].head, columns["saturation"].head)


def test_without_surfaces_there_is_no_table():
    assert surface_table([figure("supply.min_voltage", 4.9, 0.1)]) is None


def test_many_figures_of_one_reason_are_one_line():
    link = [id_ for id_ in FIGURES if id_.startswith("link.")]
    withheld = dict.fromkeys(link, NO_LINK) | {"laps.count": "no gate", "laps.best_time": "no gate"}

    assert [f"Link (all {len(link)} figures): {NO_LINK}", "Laps, Best lap: no gate"] == (
        withheld_texts(withheld)
    )
    withheld["link.margin"] = "another reason"
    assert f"Link ({len(link) - 1} figures): {NO_LINK}" in withheld_texts(withheld)


def test_what_several_surfaces_lack_is_said_once():
    names = ("aileron", "elevator", "left_tail")
    withheld = {
        f"surface.{name}.trim_shift": f'needs [baseline] "surface.{name}.trim_shift"'
        for name in names
    }

    assert (
        'Trim shift of aileron, elevator and left tail: needs [baseline] "surface.NAME.trim_shift"'
    ) == "".join(withheld_texts(withheld))


def test_a_figure_of_another_program_keeps_its_id_and_sends_no_codes():
    (text,) = withheld_texts({"sail.area\x1b[31m": "it has none"})

    assert text.isprintable()
    assert text.startswith("sail.area")


def test_what_could_not_be_seen_is_no_finding():
    seen, open_ = apart(
        [make_finding("log-gap", "a gap"), make_finding("not-excluded", "cannot be excluded")]
    )

    assert (["log-gap"], ["not-excluded"]) == ([f.code for f in seen], [f.code for f in open_])
