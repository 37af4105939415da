"""What of a full pack may be used: by its file, or by the newest measurement of its capacity."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.analyses.battery_left import RESERVE_SHARE
from flightlog.errors import NotEnoughDataError
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import CHECK, FAIL, LIST_BEGUN, PASS
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named, newest

CAPACITY_ITEM = "pack-capacity"
"""The item of a check list that measures a capacity, in per cent of what is printed."""
_PRINTED_STD, _MEASURED_STD = 0.05, 0.02
_LARGEST_CAPACITY = 1.3


@dataclass(frozen=True, slots=True)
class Usable:
    """What of a pack may be used.

    Attributes
    ----------
    wh, std_wh : float
        Less the reserve, and its standard uncertainty. [Wh]
    reserve_share : float
        Of the pack's energy that stays in it. [-]
    says : str
        Where it comes from. A sentence.
    """

    wh: float
    std_wh: float
    reserve_share: float
    says: str


def usable_energy(desk: Desk, pack: str) -> Usable:
    """Say what of a full pack may be used.

    Raises
    ------
    NotEnoughDataError
        If its file does not say its energy.
    """
    file = desk.pack(pack)
    if file.nominal_wh is None:
        raise NotEnoughDataError(
            f"the file of {pack} does not say its energy",
            fix="Write nominal_wh into the pack's file and enter it: 'flightlog team enter FILE'.",
        )
    share, check = _measured_share(desk, pack)
    whole = file.nominal_wh * share
    if check is not None:
        source = f"measured to be {100 * share:.0f} % of what is printed ({named(check)})"
    else:
        source = "as printed; its capacity was never measured in this record"
    reserve = file.reserve_share
    if reserve is None:
        reserve = RESERVE_SHARE
        by = "our own choice: write reserve_share into the pack's file for another one"
    else:
        by = "as the pack's file says"
    usable = whole * (1 - reserve)
    spread = _MEASURED_STD if check is not None else _PRINTED_STD
    says = (
        f"{pack} has {whole:.1f} Wh when full, {source}; {100 * reserve:.0f} % stays in it ({by}), "
        f"so {usable:.1f} Wh may be used."
    )
    return Usable(usable, spread * usable, reserve, says)


def _measured_share(desk: Desk, pack: str) -> tuple[float, Entry | None]:
    """Give the newest measured capacity over the printed one, the least of those made apart."""
    ledger = desk.ledger
    checks = [
        check
        for check in ledger.of(CHECK, item=CAPACITY_ITEM)
        if check.body.content["result"] in (PASS, FAIL)
        and check.body.content.get("value", {}).get("unit") == "%"
        and ledger.persons(check, "performed")
        and any(
            begun.body.content.get("pack") == pack
            for begun in ledger.named(check, CITES, LIST_BEGUN)
        )
    ]
    shares = [(float(c.body.content["value"]["value"]) / 100, c) for c in newest(ledger, checks)]
    likely = [(s, c) for s, c in shares if 0 < s <= _LARGEST_CAPACITY]
    return min(likely, key=lambda pair: pair[0], default=(1.0, None))
