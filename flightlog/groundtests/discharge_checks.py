"""What to know of a discharge before trusting its figures."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from flightlog.constants import COULOMB_PER_AH
from flightlog.estimation.frames import Array
from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.discharge_cells import cells_at, first_below
from flightlog.groundtests.discharge_rows import Rows
from flightlog.groundtests.discharge_run import Run
from flightlog.groundtests.discharge_steps import StepResistance
from flightlog.uncertain import NORMAL_95, Quantity

RETIRE_SHARE = 80.0
"""Share of what is printed, in per cent, below which packs are usually retired. [%]"""

MOST_SHARE = 150.0
"""No pack holds so much more than what is printed on it. [%]"""

CELLS_APART_V = 0.080
"""Cells under load at half of the charge are usually no farther apart. [V]"""

UNCLEAR_SHARE = 0.03
"""An end that is unclear by more of the charge is told. [-]"""

COUNTER_SHARE = 0.01
"""The logger's counter and the rows may differ by so much of the charge. [-]"""


def of_rows(rows: Rows) -> list[Finding]:
    """Charging that was left out."""
    count = int(rows.charging.sum())
    if count < 3:
        return []
    steps = np.diff(rows.time_s, append=rows.time_s[-1])
    charge = -float(np.sum((rows.amps * np.minimum(steps, rows.gap_s))[rows.charging]))
    return [
        ground_finding(
            "discharge-charging-left-out",
            f"{rows.name}: {count} rows with the current backwards, {charge / COULOMB_PER_AH:.2f} "
            "Ah, are charging and were left out.",
            evidence={"rows": count, "ah": charge / COULOMB_PER_AH},
        )
    ]


def of_run(run: Run, cutoff_cell_v: float | None) -> list[Finding]:
    """Check one discharge: its start, its holes, the logger's counter, its cells."""
    findings = []
    if "start" in run.charge.sources:
        findings.append(
            ground_finding(
                "discharge-starts-loaded",
                f"{run.rows.name} begins with {float(run.rows.amps[run.load_on]):.1f} A flowing: "
                "what was drawn before is not counted, and whether the pack was full is not seen.",
                start_s=float(run.rows.time_s[run.load_on]),
            )
        )
    if run.blind_s or run.counted_s:
        findings.append(
            ground_finding(
                "discharge-rows-missing",
                f"{run.rows.name}: rows are missing for {run.blind_s + run.counted_s:.0f} s of the "
                f"discharge; {run.counted_s:.0f} s were taken from the logger's counter, and "
                f"{run.blind_s:.0f} s bridged by a straight line.",
                evidence={"counted_s": run.counted_s, "bridged_s": run.blind_s},
            )
        )
    if run.reached and run.unclear_c > UNCLEAR_SHARE * run.charge.value:
        findings.append(
            ground_finding(
                "discharge-end-unclear",
                f"{run.rows.name}: within what the voltage sensor may be off the cut-off was met "
                f"at {run.early_s:.0f} s to {run.late_s:.0f} s of the log, "
                f"{run.unclear_c / COULOMB_PER_AH:.2f} Ah apart from where it was taken.",
                evidence={"ah": run.unclear_c / COULOMB_PER_AH},
                start_s=run.early_s,
                end_s=run.late_s,
            )
        )
    findings += _counter(run)
    findings += _cells(run, cutoff_cell_v)
    return findings


def _counter(run: Run) -> list[Finding]:
    """Compare the logger's own count of the charge with the rows as they were read."""
    rows = run.rows
    if rows.counter_c is None or run.counted_s or run.blind_s:
        return []
    span = np.arange(max(run.load_on - 1, run.first), min(run.load_off + 2, run.last))
    span = span[np.isfinite(rows.counter_c[span])]
    if span.size < 4:
        return []
    count = rows.counter_c[span]
    steps = np.diff(count)
    # One that starts anew, or counts down from the full pack, still tells its growth.
    up, down = float(steps[steps > 0].sum()), -float(steps[steps < 0].sum())
    counted = max(up, down)
    if min(up, down) > COUNTER_SHARE * counted:
        return []
    t, raw = rows.time_s[span], rows.raw_amps[span]
    ours = float(np.sum(0.5 * (raw[1:] + raw[:-1]) * np.diff(t)))
    positive = steps[steps > 0] if up > down else -steps[steps < 0]
    size = float(np.min(positive)) if positive.size else 0.0
    slack = 3 * abs(run.charge.sources["sampling"]) + size + COUNTER_SHARE * abs(ours)
    if not ours > 0 or abs(counted - ours) <= slack:
        return []
    apart = counted / ours - 1
    return [
        ground_finding(
            "discharge-counter-disagrees",
            f"{rows.name}: the logger counted {counted / COULOMB_PER_AH:.3f} Ah, its own rows give "
            f"{ours / COULOMB_PER_AH:.3f} Ah, {100 * apart:+.1f} %; the rows were used.",
            evidence={"counter_ah": counted / COULOMB_PER_AH, "rows_ah": ours / COULOMB_PER_AH},
            widen=min(abs(apart), 1.0) / math.sqrt(3),
        )
    ]


def _cells(run: Run, cutoff_cell_v: float | None) -> list[Finding]:
    findings = []
    half = float(np.interp(0.5 * run.charge.value, run.charge_at, _times(run)))
    middle = cells_at(run, half)
    if middle is not None and middle.spread_v > CELLS_APART_V:
        findings.append(
            ground_finding(
                "discharge-cells-apart",
                f"Halfway through, the cells under load are {1e3 * middle.spread_v:.0f} mV apart, "
                f"{middle.lowest.replace('_', ' ')} lowest; {1e3 * CELLS_APART_V:.0f} mV is the "
                "usual limit.",
                evidence={"spread_v": middle.spread_v, "lowest": middle.lowest},
                start_s=half,
            )
        )
    below = first_below(run, cutoff_cell_v) if cutoff_cell_v is not None else None
    if below is not None:
        name, at = below
        findings.append(
            ground_finding(
                "discharge-cell-below-cutoff",
                f"{name.replace('_', ' ').capitalize()} fell below {cutoff_cell_v:.2f} V "
                f"{run.end_s - at:.0f} s before the discharge ended.",
                evidence={"cell": name, "seconds": run.end_s - at},
                start_s=at,
                end_s=run.end_s,
            )
        )
    return findings


def _times(run: Run) -> Array:
    return run.rows.time_s[run.first : run.last]


def of_steps(steps: Sequence[StepResistance], met: Sequence[int]) -> list[Finding]:
    """Say where the resistance is known at too few charges to tell how it goes."""
    states = [s.state if s.state is not None else s.charge_c for s in steps]
    if not steps or not any(met):
        return []
    if len(steps) > 2 * len(met):
        return []
    at = ", ".join(f"{100 * max(s, 0.0):.0f} %" for s in states if s <= 1.0) or "unknown charge"
    return [
        ground_finding(
            "discharge-few-steps",
            f"The current has {sum(met)} steps, and the resistance is known at {at} of charge "
            "only: nothing says how it goes between.",
            evidence={"steps": sum(met), "known_at": len(steps)},
        )
    ]


def assumed(what: Sequence[tuple[str, tuple[str, ...]]]) -> list[Finding]:
    """Say what had to be assumed of the instruments."""
    if not what:
        return []
    told = "; ".join(text for text, _ in what)
    ids = dict.fromkeys(id_ for _, every in what for id_ in every)
    message = (
        "The bench file does not say how good the instruments are; taken as 1 sigma, as poor as "
        f"they usually come: {told}."
    )
    return [ground_finding("sensor-uncertainty-assumed", message, affects=tuple(ids))]


def against_nominal(share: Quantity | None) -> list[Finding]:
    """Tell a pack that surely holds less than packs are kept for."""
    if share is None:
        return []
    if share.value - NORMAL_95 * share.std > MOST_SHARE:
        return [
            ground_finding(
                "discharge-beyond-nominal",
                f"The pack would hold {share.value:.0f} % of what is printed on it, which none "
                "does.",
                evidence={"share_percent": share.value},
            )
        ]
    if not share.value + NORMAL_95 * share.std < RETIRE_SHARE:
        return []
    return [
        ground_finding(
            "discharge-capacity-low",
            f"The pack holds {share.value:.0f} % (± {NORMAL_95 * share.std:.0f} %) of what is "
            f"printed on it; packs are usually retired below {RETIRE_SHARE:.0f} %.",
            evidence={"share_percent": share.value, "std_percent": share.std},
        )
    ]
