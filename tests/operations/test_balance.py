from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.groundtests.scale_arithmetic import Scale, shares, weigh
from flightlog.inputs import Balance
from flightlog.operations.balance import Added, judge, load, percent
from flightlog.operations.polygon import within

ENVELOPE = ((4.8, 30.0), (4.8, 44.0), (8.0, 44.0), (10.0, 42.0), (10.0, 32.0), (8.0, 30.0))
CHORD = Balance("tip of the nose", 0.26, 0.35, ENVELOPE)

# A worked example: three scales, computed outside of this program at full precision.
SCALES = (
    Scale("nose", -0.020, 0.0, (1.480,)),
    Scale("left", 0.560, -0.25, (3.215,)),
    Scale("right", 0.560, 0.25, (3.305,)),
)
WEIGHED = weigh(SCALES, 0.005, 0.001)
PAYLOAD = Added("payload unit", 5, 0.3, 0.005, "payload", 0.47, 0.002, 0.03, 0.03)


def near(value):
    return pytest.approx(value, rel=1e-12, abs=1e-15)


def test_three_scales_give_mass_arm_and_side():
    assert near(8.0) == WEIGHED.mass.value
    assert near(3.6216) == WEIGHED.moment.value
    assert near(0.4527) == WEIGHED.arm.value
    assert near(0.0006802050098821312) == WEIGHED.arm.std
    assert near(0.0028125000000000094) == WEIGHED.side.value
    assert near(0.185) == shares(SCALES)["nose"]
    # Three scales of 5 g each.
    assert near(0.005 * math.sqrt(3)) == WEIGHED.mass.std


def test_the_side_has_the_same_uncertainty_by_the_same_formula():
    sides, masses, y = (0.0, -0.25, 0.25), (1.480, 3.215, 3.305), 0.0028125
    by_hand = math.sqrt(
        sum(((s - y) / 8 * 0.005) ** 2 for s in sides) + sum((w / 8 * 0.001) ** 2 for w in masses)
    )

    assert near(by_hand) == WEIGHED.side.std


def test_balance_in_per_cent_of_the_chord_carries_the_errors_of_the_chord():
    assert pytest.approx(39.5, rel=1e-12) == percent(WEIGHED.arm, CHORD).value
    assert near(0.26161731149312734) == percent(WEIGHED.arm, CHORD).std
    with_edge = percent(WEIGHED.arm, Balance("", 0.26, 0.35, ENVELOPE, 0.0, 0.001))
    # 1 mm of 260 mm is 0.385 %, beside it.
    assert near(math.hypot(0.26161731149312734, 100 * 0.001 / 0.26)) == with_edge.std
    with_length = percent(WEIGHED.arm, Balance("", 0.26, 0.35, ENVELOPE, 0.001, 0.0))
    assert near(math.hypot(0.26161731149312734, 39.5 * 0.001 / 0.26)) == with_length.std


def test_payload_moves_the_centre_of_gravity_and_so_does_its_slip():
    verdict = judge(WEIGHED, [PAYLOAD], CHORD)

    assert near(9.5) == verdict.loaded.mass.value
    assert near(0.4554315789473684) == verdict.loaded.arm.value
    assert pytest.approx(40.550607287449395, rel=1e-12) == verdict.balance.value
    assert pytest.approx(0.004736842105263157, rel=1e-10) == verdict.aft_m
    assert pytest.approx(0.004736842105263157, rel=1e-10) == verdict.forward_m
    assert pytest.approx(1.8218623481781375, rel=1e-10) == 100 * verdict.aft_m / 0.26


# --- scales


@pytest.mark.parametrize(
    "scales",
    [
        (
            Scale("left", 0.4, -0.3, (2.0,)), Scale("right", 0.4, 0.3, (2.0,)),
            Scale("tail", 1.4, 0, (1.0,)),
        ),
        (Scale("front", 0.4, 0, (4.0,)), Scale("rear", 1.4, 0, (1.0,))),
        (
            Scale("a", 0.2, -0.3, (1.5,)), Scale("b", 0.2, 0.3, (1.5,)),
            Scale("c", 1.2, -0.3, (1.0,)), Scale("d", 1.2, 0.3, (1.0,)),
        ),
    ],
    ids=["tail wheel", "two", "four"],
)  # fmt: skip
def test_any_set_of_scales_gives_the_same_centre(scales):
    body = weigh(scales, 0.005, 0.001)

    # (4·0.4 + 1·1.4) / 5, and (3·0.2 + 2·1.2) / 5.
    assert near(0.6) == body.arm.value
    assert near(5.0) == body.mass.value
    assert near(0.0) == body.side.value


def test_repeats_add_how_they_scatter_and_take_nothing_from_the_scale():
    repeated = (
        Scale("nose", 0.0, 0.0, (1.00, 1.02, 1.04)),
        Scale("left", 0.5, -0.2, (2.00, 2.02)),
        Scale("right", 0.5, 0.2, (2.00,)),
    )

    body = weigh(repeated, 0.005, 1e-9)

    # Sums of squares 0.0008 and 0.0002 on 2 + 1 degrees of freedom, over all scales; Student's
    # 97.5 % quantile for three is 3.1824, the Gaussian's 1.9600.
    one = math.sqrt(0.0010 / 3) * 3.1824463052842638 / 1.959963984540054
    of_scales = [math.hypot(0.005, one / math.sqrt(n)) for n in (3, 2, 1)]
    assert near(1.02 + 2.01 + 2.00) == body.mass.value
    assert pytest.approx(math.sqrt(sum(u**2 for u in of_scales)), rel=1e-6) == body.mass.std
    same = (Scale("nose", 0.0, 0.0, (1.0,) * 9), *SCALES[1:])
    assert near(0.005 * math.sqrt(3)) == weigh(same, 0.005, 0.001).mass.std


@pytest.mark.parametrize(
    ("scales", "why"),
    [
        (SCALES[:1], "two scales"),
        (SCALES[1:], "at one arm"),
        ((Scale("nose", -0.02, 0.0, (0.0, 0.0)), *SCALES[1:]), "'nose' bears nothing"),
        ((Scale("nose", -0.02, 0.0, (-1.0,)), *SCALES[1:]), "'nose' bears nothing"),
    ],
)
def test_scales_from_which_no_balance_follows_are_refused(scales, why):
    with pytest.raises(ValueError, match=why):
        weigh(scales, 0.005, 0.001)


# --- correlation


def test_units_of_one_mass_share_its_error_and_so_don_t_average_it_away():
    ten = load(WEIGHED, [Added("unit", 10, 0.3, 0.005, "payload", 0.4527, 1e-9)])
    one = load(WEIGHED, [Added("unit", 1, 0.3, 0.005, "payload", 0.4527, 1e-9)])
    base = WEIGHED.mass.std

    assert near(math.hypot(base, 0.050)) == ten.mass.std
    assert near(math.hypot(base, 0.005)) == one.mass.std


def test_what_is_at_one_station_shares_the_error_of_its_place():
    def spread(second_station):
        added = [
            Added("unit", 1, 1.0, 1e-9, "bay", 0.4527, 0.01),
            Added("camera", 1, 1.0, 1e-9, second_station, 0.4527, 0.01),
        ]
        return load(WEIGHED, added).arm

    together, apart = spread("bay"), spread("shelf")

    own = (8.0 / 10.0 * WEIGHED.arm.std) ** 2
    # 2 kg of 10 kg misplaced by 10 mm together: 2 mm; apart 1 mm twice.
    assert pytest.approx(math.sqrt(own + 0.002**2), rel=1e-9) == together.std
    assert pytest.approx(math.sqrt(own + 2 * 0.001**2), rel=1e-9) == apart.std


def test_mass_and_moment_of_a_weighing_are_not_taken_as_independent():
    """The readings are in both: loading has to give what all scales and loads in one sum give."""
    loaded = load(WEIGHED, [Added("ballast", 1, 2.0, 0.01, "bay", 0.2, 0.003)])
    masses, arms = (1.480, 3.215, 3.305, 2.0), (-0.02, 0.56, 0.56, 0.2)
    x = sum(w * a for w, a in zip(masses, arms, strict=True)) / 10.0
    by_hand = sum(
        ((a - x) / 10 * u) ** 2 for a, u in zip(arms, (0.005, 0.005, 0.005, 0.01), strict=True)
    ) + sum((w / 10 * u) ** 2 for w, u in zip(masses, (0.001, 0.001, 0.001, 0.003), strict=True))

    assert near(x) == loaded.arm.value
    assert near(math.sqrt(by_hand)) == loaded.arm.std


def test_taking_a_pack_off_and_putting_it_on_again_changes_nothing():
    pack = ("pack", 0.6, 0.005, "battery", 0.38, 0.002)

    off = load(WEIGHED, [Added(pack[0], -1, *pack[1:])])
    again = load(off, [Added(pack[0], 1, *pack[1:])])

    assert near(7.4) == off.mass.value
    assert WEIGHED.mass.std < off.mass.std
    assert near(WEIGHED.arm.value) == again.arm.value
    assert near(WEIGHED.arm.std) == again.arm.std
    with pytest.raises(ValueError, match="taken out"):
        load(WEIGHED, [Added("pack", -1, 9.0, 0.005, "battery", 0.38, 0.002)])


def test_stated_uncertainty_covers_the_truth():
    """Scales, places, a unit's mass and a station's place drawn anew a thousand times."""
    rng = np.random.default_rng(20270315)
    trials, masses, arms = 4000, np.array([0.65, 2.15, 2.20]), np.array([0.10, 0.50, 0.50])
    unit, station, count = 0.30, 0.47, 8
    z_mass, z_arm = [], []
    for _ in range(trials):
        readings = masses + rng.normal(0, 0.005, 3)
        truly_at = arms + rng.normal(0, 0.002, 3)
        unit_read, placed = unit + rng.normal(0, 0.005), station + rng.normal(0, 0.004)
        scales = [
            Scale(name, arm, side, (reading,))
            for name, arm, side, reading in zip(
                "abc", arms, (0, -0.25, 0.25), readings, strict=True
            )
        ]
        body = load(
            weigh(scales, 0.005, 0.002),
            [Added("unit", count, unit_read, 0.005, "payload", station, 0.004)],
        )
        whole = masses.sum() + count * unit
        truth = (masses @ truly_at + count * unit * placed) / whole
        z_mass.append((body.mass.value - whole) / body.mass.std)
        z_arm.append((body.arm.value - truth) / body.arm.std)

    for z in (np.array(z_mass), np.array(z_arm)):
        # The standard deviation of a sample of 4000 has itself one of 1.1 %.
        assert abs(z.std() - 1) < 0.04
        assert abs(z.mean()) < 0.05
        assert abs((np.abs(z) <= 2).mean() - 0.9545) < 0.012


# --- laws

kilograms = st.floats(0.05, 20)
metres = st.floats(-3, 3)


@st.composite
def scale_sets(draw):
    n = draw(st.integers(2, 4))
    first = draw(metres)
    arms = [first, *(first + draw(st.floats(0.05, 2)) for _ in range(n - 1))]
    return [
        Scale(f"s{k}", arm, draw(metres), tuple(draw(st.lists(kilograms, min_size=1, max_size=3))))
        for k, arm in enumerate(arms)
    ]


@st.composite
def loads(draw):
    number = draw(st.integers(0, 4))
    return [
        Added(
            f"item {k % 3}", draw(st.integers(1, 6)), draw(kilograms), draw(st.floats(1e-4, 0.1)),
            f"station {k % 2}", draw(metres), draw(st.floats(1e-4, 0.05)),
        )
        for k in range(number)
    ]  # fmt: skip


@given(scale_sets(), kilograms)
def test_what_is_added_at_the_centre_of_gravity_does_not_move_it(scales, kg):
    body = weigh(scales, 0.005, 0.001)
    added = Added("there", 1, kg, 0.005, "there", body.arm.value, 0.001)

    assert load(body, [added]).arm.value == pytest.approx(body.arm.value, abs=1e-9)


@given(scale_sets(), loads(), metres)
def test_moving_everything_moves_the_centre_of_gravity_and_no_uncertainty(scales, added, d):
    moved_scales = [Scale(s.name, s.arm_m + d, s.side_m, s.readings_kg) for s in scales]
    moved = [
        Added(a.name, a.count, a.kg, a.kg_std, a.station, a.arm_m + d, a.arm_std_m) for a in added
    ]

    here = load(weigh(scales, 0.005, 0.001), added)
    there = load(weigh(moved_scales, 0.005, 0.001), moved)

    assert there.arm.value == pytest.approx(here.arm.value + d, abs=1e-9)
    assert there.arm.std == pytest.approx(here.arm.std, rel=1e-6)
    assert there.mass.std == here.mass.std


@given(scale_sets(), loads(), st.randoms())
def test_the_order_of_loading_does_not_matter(scales, added, chance):
    body, other = weigh(scales, 0.005, 0.001), list(added)
    chance.shuffle(other)
    at_once, one_by_one = load(body, added), body
    for one in other:
        one_by_one = load(one_by_one, [one])

    assert one_by_one.arm.value == pytest.approx(at_once.arm.value, rel=1e-9, abs=1e-9)
    assert one_by_one.arm.std == pytest.approx(at_once.arm.std, rel=1e-9)
    assert one_by_one.mass.std == pytest.approx(at_once.mass.std, rel=1e-9)


@given(scale_sets(), loads())
def test_the_centre_of_gravity_lies_between_what_is_weighed(scales, added):
    arms = [s.arm_m for s in scales] + [a.arm_m for a in added]
    found = load(weigh(scales, 0.005, 0.001), added).arm.value

    assert min(arms) - 1e-9 <= found <= max(arms) + 1e-9


# --- the envelope


def test_the_corners_are_two_standard_uncertainties_out_with_everything_moved_either_way():
    added = [
        Added("pack", 1, 0.6, 0.005, "battery", 0.38, 0.002, forward_m=0.02, aft_m=0.05),
        Added("unit", 5, 0.3, 0.005, "payload", 0.47, 0.002, forward_m=0.01, aft_m=0.01),
    ]

    verdict = judge(WEIGHED, added, CHORD)

    whole = 10.1
    forward = (8 * 0.4527 + 0.6 * 0.36 + 1.5 * 0.46) / whole
    aft = (8 * 0.4527 + 0.6 * 0.43 + 1.5 * 0.48) / whole
    mass_std = math.sqrt(3 * 0.005**2 + 0.005**2 + 0.025**2)
    assert near(whole - 2 * mass_std) == verdict.low[0]
    assert near(whole + 2 * mass_std) == verdict.high[0]
    # Its own uncertainty differs a little where things are moved; a thousandth of it is enough.
    std = verdict.balance.std
    assert pytest.approx(100 * (forward - 0.35) / 0.26 - 2 * std, abs=0.004) == verdict.low[1]
    assert pytest.approx(100 * (aft - 0.35) / 0.26 + 2 * std, abs=0.004) == verdict.high[1]
    assert 4 == len(set(verdict.corners))
    # 10.1 kg and more are above the envelope.
    assert not verdict.inside
    assert verdict.worst[0] == verdict.high[0]


@pytest.mark.parametrize(
    ("moves", "inside"),
    [
        ({}, True),
        # 0.9 kg of 8.9 kg moves the centre by a tenth: 80 mm make 3.1 %, 110 mm make 4.3 %.
        ({"forward_m": 0.08}, True),
        ({"forward_m": 0.11}, False),
        ({"aft_m": 0.08}, True),
        ({"aft_m": 0.11}, False),
    ],
)
def test_a_load_has_to_lie_inside_with_everything_that_can_move_at_either_end(moves, inside):
    added = [Added("unit", 3, 0.3, 0.005, "payload", 0.40, 0.002, **moves)]
    # Its balance is 37.45 % ± 0.5.
    narrow = Balance("", 0.26, 0.35, ((7.0, 33.5), (7.0, 41.5), (9.5, 41.5), (9.5, 33.5)))

    assert inside == judge(WEIGHED, added, narrow).inside


def test_a_notch_between_corners_that_are_inside_is_found():
    # Mass and balance are 8.00 kg ± 0.02 and 39.5 % ± 0.5; a wedge reaches in to 8.00 kg.
    square = ((7.0, 20.0), (7.0, 60.0), (9.0, 60.0), (9.0, 20.0))
    wedge = ((9.0, 39.8), (8.0, 39.5), (9.0, 39.2))
    notched = (*square[:3], *wedge, square[3])

    verdict = judge(WEIGHED, [], Balance("", 0.26, 0.35, notched))
    without = judge(WEIGHED, [], Balance("", 0.26, 0.35, square))

    assert without.inside
    assert all(within(corner, notched) for corner in verdict.corners)
    assert not verdict.inside


def test_the_worst_corner_of_a_load_inside_is_the_one_nearest_to_an_edge():
    # Balance 39.5 % ± 0.5: nearer to 41 than to 30, and 8 kg nearer to 9 than to 5.
    box = Balance("", 0.26, 0.35, ((5.0, 30.0), (5.0, 41.0), (9.0, 41.0), (9.0, 30.0)))
    verdict = judge(WEIGHED, [], box)

    assert verdict.inside
    assert verdict.worst[1] == verdict.high[1]
