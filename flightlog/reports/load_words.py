"""A load in rows: its numbers with their uncertainty, and what is on board."""

from __future__ import annotations

from flightlog.operations.load_sheet import Load


def number_rows(found: Load) -> list[tuple[str, str, str]]:
    """Give mass, balance and what can move: what, value, and two standard uncertainties."""
    verdict, empty = found.verdict, found.empty
    mass, arm, balance = verdict.loaded.mass, verdict.loaded.arm, verdict.balance
    moved = f"{1000 * verdict.forward_m:.1f} fwd, {1000 * verdict.aft_m:.1f} aft"
    return [
        ("mass, kg", f"{mass.value:.3f}", f"{2 * mass.std:.3f}"),
        ("balance, % of the chord", f"{balance.value:.2f}", f"{2 * balance.std:.2f}"),
        ("arm aft of the datum, m", f"{arm.value:.4f}", f"{2 * arm.std:.4f}"),
        ("if all that can move does, mm", moved, ""),
        ("empty, by the weighing, kg", f"{empty.mass.value:.3f}", f"{2 * empty.mass.std:.3f}"),
    ]


def added_rows(found: Load) -> list[tuple[str, str, str, str]]:
    """Give what is on board: what, mass [kg], arm [m], station."""
    return [
        (f"{a.count} x {a.name}", f"{a.whole_kg:.3f}", f"{a.arm_m:.4f}", a.station)
        for a in found.added
    ]
