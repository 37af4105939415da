"""Whether the chosen pack can be flown."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.pack_ready import pack_conditions
from tests.operations.flown import flown
from tests.operations.made import SAMPLES
from tests.operations.released import PLAN, charged


def held(farm):
    farm.desk.refresh()
    found = [c for c in pack_conditions(farm.desk, PLAN) if not c.holds]
    assert all(c.clear for c in found)
    return "; ".join(c.says for c in found)


def test_it_has_to_be_charged_since_its_last_flight(farm):
    assert "no charge of pack-a" in held(farm)
    charge = charged(farm)
    assert not held(farm)
    assert (charge,) == pack_conditions(farm.desk, PLAN)[0].rests_on
    flown(farm)
    assert "not charged since its last flight" in held(farm)
    charged(farm, "pack-b")
    assert "not charged since its last flight" in held(farm)
    charged(farm)

    assert not held(farm)


def test_a_charge_counts_by_a_person_who_may_charge(farm):
    content = {"pack": "pack-a", "voltage": {"value": "25.1", "unit": "V"}}
    farm.add("charge", content, ("mechanic", "performed", "mechanic"))

    assert "no charge of pack-a" in held(farm)


def test_a_flight_with_another_pack_does_not_matter(farm):
    charged(farm)
    flown(farm, pack="pack-b")

    assert not held(farm)


@pytest.mark.parametrize(("minutes", "done"), [(-30, False), (-1, True)])
def test_a_charge_written_down_late_was_when_it_says(farm, minutes, done):
    flown(farm, 600)
    now = farm.clock.later(minutes=30)
    landed = now - timedelta(minutes=30) - timedelta(minutes=5)  # ten minutes, begun 15 before
    charged(farm, occurred=landed + timedelta(minutes=minutes + 2))

    assert done != bool(held(farm))


@pytest.mark.parametrize(
    ("file", "kind", "id_", "before", "after", "why"),
    [
        ("pack_a.toml", "pack", "pack-a", "cells = 6", "cells = 4", "has 4 cells"),
        ("pack_a.toml", "pack", "pack-a", "cells = 6\n", "", "how many cells it has"),
        ("pannier.toml", "aircraft", "pannier", "cells = 6\n", "", "its battery has"),
    ],
)
def test_its_cells_are_those_of_the_aircraft(farm, file, kind, id_, before, after, why):
    charged(farm)
    text = (SAMPLES / file).read_text(encoding="utf-8")
    farm.enter(kind, id_, text.replace(before, after).encode())

    assert why in held(farm)


def test_a_restriction_holds_it_whatever_kind_of_entry_made_it(farm):
    charged(farm)
    farm.add("swelling-seen", {"text": "by a newer program"}, effect=("restricts", "pack:pack-a"))

    assert "restricted by" in held(farm)
