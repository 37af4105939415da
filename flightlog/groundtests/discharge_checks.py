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
from flightlog.groundtests.discharge_steps import StepResistance, steps_of
from flightlog.uncertain import NORMAL_95, Quantity

RETIRE_SHARE = 80.0
"""Share of what is printed, in per cent, below which packs are usually retired. [%]"""

MOST_SHARE = 150.0
"""No pack holds so much more than what is printed on it. [%]"""

CELLS_APART_V = 0.080
"""Cells under load at half of the charge are usually no farther apart. [V]"""

RISE_SHARE = 0.08
"""Under an unbroken load no pack's voltage rises so much by warming. [-]"""

UNCLEAR_SHARE = 0.03
"""An end that is unclear by more of the charge is told. [-]"""

COUNTER_SHARE = 0.01
"""The logger's counter and the rows may differ by so much of the charge. [-]"""

LATE_S, LATE_WIDEN = 0.1, 0.08
"""Current and voltage so far apart in time, or more, make resistances wrong by such a share, as
simulated for 0.3 s and for a current smoothed over 1 s. [s], [-]"""

_BLOCKS = 200
_LEAST_LATE = 4


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
    findings += _rises(run)
    findings += _late(run)
    findings += _counter(run)
    findings += _cells(run, cutoff_cell_v)
    return findings


def _rises(run: Run) -> list[Finding]:
    """Tell a charge that is written without its sign: the voltage goes on rising under load."""
    rows = run.rows
    span = np.arange(run.load_on, run.load_off + 1)
    blocks = np.array_split(span, min(_BLOCKS, span.size))
    t, volts, amps = (
        np.array([c[b].mean() for b in blocks]) for c in (rows.time_s, rows.volts, rows.amps)
    )
    pauses = np.append(0, np.cumsum(~rows.loaded[span]))
    ends = np.array([b[-1] - span[0] + 1 for b in blocks])
    starts = np.array([b[0] - span[0] for b in blocks])
    unbroken = pauses[ends][None, :] == pauses[starts][:, None]
    risen = (volts[None, :] > (1 + RISE_SHARE) * volts[:, None]) & unbroken
    risen &= (amps[None, :] > 0.95 * amps[:, None]) & (t[None, :] > t[:, None] + 60.0)
    if not risen.any():
        return []
    first, then = (int(i[0]) for i in np.nonzero(risen))
    return [
        ground_finding(
            "discharge-rises",
            f"{rows.name}: from {t[first]:.0f} s to {t[then]:.0f} s the voltage rises from "
            f"{volts[first]:.1f} V to {volts[then]:.1f} V though the load is on: this is charging, "
            "written without its sign.",
            start_s=float(t[first]),
            end_s=float(t[then]),
        )
    ]


def _late(run: Run) -> list[Finding]:
    """Tell a current that is read, or smoothed, later than the voltage: by where both jump."""
    rows, apart = run.rows, []
    for at in steps_of(run).tolist():
        low, high = np.searchsorted(rows.time_s, rows.time_s[at] + np.array([-1.0, 1.0]))
        jumps_v = np.abs(np.diff(rows.volts[low : high + 1]))
        jumps_a = np.abs(np.diff(rows.amps[low : high + 1]))
        if jumps_v.size and jumps_v.max() > max(8 * rows.noise_v, 3 * rows.grain_v):
            apart.append(float(np.argmax(jumps_a) - np.argmax(jumps_v)))
    if len(apart) < _LEAST_LATE:
        return []
    median = float(np.median(apart))
    if abs(median) < 2 or abs(median) * rows.step_s < LATE_S:
        return []
    return [
        ground_finding(
            "discharge-current-late",
            f"{rows.name}: at {len(apart)} steps the current changes about "
            f"{abs(median) * rows.step_s:.1f} s {'later' if median > 0 else 'earlier'} than the "
            "voltage.",
            evidence={"seconds": median * rows.step_s},
            widen=LATE_WIDEN,
        )
    ]


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
