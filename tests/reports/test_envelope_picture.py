from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.groundtests.scale_arithmetic import Scale, weigh
from flightlog.inputs import Balance
from flightlog.operations.balance import Added, judge
from flightlog.reports.envelope_picture import FINE, HIGH, PLAIN, WIDE, picture

ENVELOPE = ((4.8, 30.0), (4.8, 44.0), (8.0, 44.0), (10.0, 42.0), (10.0, 32.0), (8.0, 30.0))
CHORD = Balance("tip of the nose", 0.26, 0.35, ENVELOPE)
EMPTY = weigh([Scale("nose", 0.1, 0.0, (0.65,)), Scale("mains", 0.5, 0.0, (4.35,))], 0.005, 0.001)


def drawn(kg=2.4, arm_m=0.44, **more):
    added = [Added("load", 1, kg, 0.05, "bay", arm_m, 0.002, **more)]
    verdict = judge(EMPTY, added, CHORD)
    lines = picture(verdict, CHORD, PLAIN)
    cells = {
        (row, column): sign
        for row, line in enumerate(lines[:HIGH])
        for column, sign in enumerate(line.partition("|")[2])
    }
    return verdict, lines, cells


def test_mass_goes_upwards_and_balance_across():
    _, lines, _ = drawn()
    masses = [float(line.split(" kg")[0]) for line in lines[:HIGH]]

    assert sorted(masses, reverse=True) == masses
    assert masses[0] > 10.0
    assert masses[-1] < 4.8
    # The envelope is wide at the bottom and cut off at the upper corners.
    widths = [line.partition("|")[2].count(".") for line in lines[1 : HIGH - 1]]
    assert widths[0] < widths[-1]
    assert all(len(line) <= WIDE + 12 for line in lines[: HIGH + 1])
    assert "28" in lines[HIGH + 1] or "29" in lines[HIGH + 1]


def test_the_load_is_marked_once_and_its_worst_corner_beside_it():
    _, lines, cells = drawn()
    signs = list(cells.values())

    assert 1 == signs.count("+")
    assert 1 == signs.count("X")
    assert "X worst corner, inside" in lines[-1]
    assert lines[-1].isprintable()


def test_a_load_outside_is_drawn_outside():
    verdict, lines, cells = drawn(kg=7.0)
    row = next(row for (row, _), sign in cells.items() if sign == "X")

    assert not verdict.inside
    assert "NOT inside" in lines[-1]
    # 12 kg are above everything of the envelope.
    assert min(r for (r, _), sign in cells.items() if sign == ".") > row


def test_what_can_move_widens_what_the_load_can_be():
    still = list(drawn()[2].values()).count("#")
    moving = list(drawn(forward_m=0.05, aft_m=0.05)[2].values()).count("#")

    assert moving > still


def test_finer_signs_are_used_where_the_screen_can_print_them():
    verdict, _, _ = drawn()

    assert FINE[1] in "".join(picture(verdict, CHORD))
    assert "".join(picture(verdict, CHORD, PLAIN)).isascii()


@pytest.mark.parametrize("wide", [20, 56, 120])
@given(kg=st.floats(0.1, 60), arm_m=st.floats(-5, 5))
def test_any_load_can_be_drawn(wide, kg, arm_m):
    verdict = judge(EMPTY, [Added("load", 1, kg, 0.05, "bay", arm_m, 0.002)], CHORD)
    lines = picture(verdict, CHORD, PLAIN, wide=wide)

    assert HIGH + 3 == len(lines)
    assert 1 == sum(line.partition("|")[2].count("X") for line in lines[:HIGH])
