"""Ring-down: what a structure that was pulled and let go says of its frequencies and damping.

Each release is found and fitted by itself; what several releases agree on becomes figures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import GroundAnswer, GroundFigure
from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.groundtests.damped_numbers import Mode
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.groundtests.ring_baseline import with_baseline
from flightlog.groundtests.ring_reading import Release, Search, release
from flightlog.groundtests.ring_tables import Motion, tables_of
from flightlog.groundtests.ring_window import (
    Cleaning,
    Stretch,
    Window,
    stretches,
    windows,
)
from flightlog.uncertain import NORMAL_95, Uncertain

NAMES = ("first", "second", "third", "fourth")
"""Names of modes in ids of figures, by frequency."""
_NEAR_NYQUIST = 0.8
_ONE_FREQUENCY = 0.02
"""An interval wider than this on either side is of no one frequency. [-]"""
_SIGNALS = ("acceleration", "displacement", "signal")
_UNIT_OF = {"acceleration": "m/s²", "displacement": "m", "signal": ""}
_NOT_FOUND = "no release was found in which something rings freely for four cycles"


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files.

    Attributes
    ----------
    lowest_hz, highest_hz : float
        Where oscillations are looked for.
    most_modes : int
        As many are looked for, up to four.
    mains_hz : float or None
        Of the mains whose hum may be in the signal; 50 and 60 Hz are both looked for where it is
        not given.
    windows_s : sequence of (start, end)
        Where it rings freely, by the clock of the file, in place of what would be found. [s]
    mass_kg : float or None
        Of what was tested, as it was.
    baseline : mapping
        Name of a mode -> ``frequency_hz``, ``frequency_std_hz``, ``damping_percent``,
        ``damping_std_percent``, ``amplitude_mm``, ``mass_kg`` of an earlier test.
    video : mapping or None
        How a video is read; `tip_video` does it, and this module does not look at it.
    """

    lowest_hz: float = 1.0
    highest_hz: float = 100.0
    most_modes: int = 3
    mains_hz: float | None = None
    windows_s: Sequence[Sequence[float]] = ()
    mass_kg: float | None = None
    baseline: Mapping[str, Mapping[str, float | None]] = field(default_factory=dict)
    video: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class RingdownDetail:
    """What the chart of a ring-down is drawn from.

    Attributes
    ----------
    releases : tuple of Release
        In the order of files and times.
    signal : str
        "acceleration", "displacement" or "signal".
    unit : str
        Of it, in `Release`.
    """

    releases: tuple[Release, ...]
    signal: str
    unit: str


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one test.

    Parameters
    ----------
    tables : sequence of BenchTable
        Columns ``time`` and one of ``acceleration``, ``displacement`` and ``signal``; ``release``
        where a file numbers its releases. All files are of one sensor at one place.
    setup : Setup
        What has to be known besides.

    Returns
    -------
    GroundAnswer
        Figures of each mode; tables ``releases``, ``modes`` and ``spectrum``; a `RingdownDetail`.
    """
    signal = next((s for s in _SIGNALS if all(t.has("time", s) for t in tables)), "")
    if not tables or not signal:
        return _nothing(
            "the files don't all have the same column of motion: acceleration, displacement, or "
            "signal",
            (),
        )
    found: list[Release] = []
    findings: list[Finding] = []
    for table in tables:
        of_file, more = _of_file(table, signal, setup)
        found += of_file
        findings += more
    if not found:
        return with_baseline(_nothing(_NOT_FOUND, tuple(findings)), setup.baseline, setup.mass_kg)
    motion = Motion(signal, _UNIT_OF[signal])
    every = _grouped(found)
    groups = _sure(every, found)
    findings += _unsure_findings([g for g in every if not any(g is s for s in groups)], found)
    figures: dict[str, GroundFigure] = {}
    withheld: dict[str, str] = {}
    for name, group in zip(NAMES, groups, strict=False):
        figures.update(_figures(name, group, found, motion, withheld))
        findings += _mode_findings(name, group, found, motion)
    findings += _release_findings(found)
    answer = GroundAnswer(
        figures,
        withheld,
        tuple(findings),
        tables_of(found, groups, motion),
        RingdownDetail(tuple(found), signal, motion.unit),
    )
    return with_baseline(answer, setup.baseline, setup.mass_kg)


def _nothing(reason: str, findings: tuple[Finding, ...]) -> GroundAnswer:
    withheld = {f"ringdown.first.{f}": reason for f in ("frequency", "damping", "amplitude")}
    stop = ground_finding("ring-not-found", f"{reason[0].upper()}{reason[1:]}.")
    return GroundAnswer({}, withheld, (*findings, stop))


# --- releases


def _of_file(table: BenchTable, signal: str, setup: Setup) -> tuple[list[Release], list[Finding]]:
    parts, done = stretches(
        table.columns["time"], table.columns[signal], table.columns.get("release")
    )
    findings = _cleaning_findings(table.name, done)
    search = Search(setup.lowest_hz, setup.highest_hz, setup.most_modes, setup.mains_hz)
    mains = (setup.mains_hz,) if setup.mains_hz else (50.0, 60.0)
    found: list[Release] = []
    idle: list[float] = []
    for part in parts:
        places = _stated(part, setup.windows_s) if setup.windows_s else windows(part, mains)
        for place in places:
            made = release(table.name, part, place, search)
            if made is None:
                idle.append(float(part.t[place.first]))
            else:
                found.append(made)
    if idle:
        told = ", ".join(f"{at:.2f}" for at in idle[:8])
        findings.append(
            ground_finding(
                "ring-left-out",
                f"{table.name}: what moves at {told} s does not ring freely for four cycles.",
                evidence={"file": table.name, "places": len(idle)},
            )
        )
    return found, findings


def _stated(part: Stretch, places: Sequence[Sequence[float]]) -> list[Window]:
    found = []
    for start, end in places:
        first, last = np.searchsorted(part.t, [start, end], side="left")
        if last - first >= 16:
            found.append(Window(int(first), int(last), 0, 0.0))
    return found


def _cleaning_findings(name: str, done: Cleaning) -> list[Finding]:
    said = []
    if done.left_out:
        said.append(f"{done.left_out} rows without a usable number were left out")
    if done.respaced:
        said.append("times were spread evenly, as the clock counts in steps coarser than the rows")
    elif done.doubled:
        said.append(f"{done.doubled} rows that share a time with another were joined")
    if done.back:
        said.append(f"rows were put into the order of their times at {done.back} places")
    if not said:
        return []
    return [ground_finding("ring-times", f"{name}: {'; '.join(said)}.", evidence={"file": name})]


def _release_findings(found: Sequence[Release]) -> list[Finding]:
    findings = []
    for each in found:
        if each.clipped:
            findings.append(
                ground_finding(
                    "ring-clipped",
                    f"{each.file}: {each.clipped} rows before {each.start_s:.2f} s stand at the "
                    "end of the sensor's range and were left out.",
                    evidence={"rows": each.clipped},
                    start_s=each.start_s,
                    end_s=each.end_s,
                )
            )
        if each.disturbed_s is not None:
            findings.append(
                ground_finding(
                    "ring-disturbed",
                    f"{each.file}: from about {each.disturbed_s:.2f} s on it is no free ring; the "
                    "window ends there.",
                    start_s=each.start_s,
                    end_s=each.end_s,
                )
            )
        if each.ring.steady_hz:
            lines = ", ".join(f"{hz:.2f}" for hz in each.ring.steady_hz)
            findings.append(
                ground_finding(
                    "ring-steady-line",
                    f"{each.file}: what swings at {lines} Hz does not decay.",
                    start_s=each.start_s,
                    end_s=each.end_s,
                )
            )
    if len(found) < 3:
        count = "One release" if len(found) == 1 else "Two releases"
        wide = "can't show how much releases differ" if len(found) == 1 else "make wide intervals"
        findings.append(ground_finding("ring-single", f"{count} {wide}."))
    return findings


# --- modes over releases


def _grouped(found: Sequence[Release]) -> list[dict[int, Mode]]:
    """Find the modes that at least half of the releases show: index of the release -> mode."""
    pool = [(k, mode) for k, each in enumerate(found) for mode in each.ring.modes]
    # The surest first: its frequency says best where the others belong.
    pool.sort(key=lambda item: item[1].frequency_std_hz)
    groups: list[dict[int, Mode]] = []
    centres: list[Mode] = []
    for k, mode in pool:
        near = [i for i, c in enumerate(centres) if k not in groups[i] and _same(c, mode)]
        if near:
            best = min(near, key=lambda i: abs(centres[i].frequency_hz - mode.frequency_hz))
            groups[best][k] = mode
        else:
            centres.append(mode)
            groups.append({k: mode})
    kept = [group for group in groups if 2 * len(group) >= len(found)]
    kept.sort(key=lambda g: min(m.frequency_hz for m in g.values()))
    if len(kept) > len(NAMES):
        strongest = sorted(kept, key=lambda g: -max(m.amplitude for m in g.values()))
        kept = [g for g in kept if any(g is s for s in strongest[: len(NAMES)])]
    return kept


def _sure(groups: list[dict[int, Mode]], found: Sequence[Release]) -> list[dict[int, Mode]]:
    """Leave out what is weak, not seen in all releases, and not surely damped or not one frequency.

    Beside a ring whose decay is bent, as where a cable begins to touch, a fit takes side lines for
    oscillations. They would take the names of those that are.
    """
    most = max((_strength(g) for g in groups), default=0.0)
    kept = []
    for group in groups:
        modes = list(group.values())
        damping, frequency = _damping(modes), _frequency(modes)
        shown = damping.value > NORMAL_95 * damping.std
        shown &= NORMAL_95 * frequency.std < _ONE_FREQUENCY * frequency.value
        if shown or len(group) == len(found) or _strength(group) > 0.5 * most:
            kept.append(group)
    return kept


def _unsure_findings(
    groups: Sequence[Mapping[int, Mode]], found: Sequence[Release]
) -> list[Finding]:
    return [
        ground_finding(
            "ring-left-out",
            f"About {float(np.mean([m.frequency_hz for m in group.values()])):.1f} Hz something "
            f"weak shows in {len(group)} of {len(found)} releases, at no sure frequency and "
            "damping: it is given no name.",
            evidence={"releases": len(group)},
        )
        for group in groups
    ]


def _strength(group: Mapping[int, Mode]) -> float:
    return max(m.first_amplitude for m in group.values())


def _same(one: Mode, other: Mode) -> bool:
    apart = abs(one.frequency_hz - other.frequency_hz)
    std = math.hypot(one.frequency_std_hz, other.frequency_std_hz)
    return apart < max(0.03 * one.frequency_hz, min(4 * std, 0.1 * one.frequency_hz))


def together(values: FloatArray, stds: FloatArray, unit: str, common_std: float = 0.0) -> Uncertain:
    """Give one number of several releases: as sure as neither scatter nor fits deny.

    The scatter between releases holds what the fits know of and what they don't (how it was let
    go, how it was held), so it counts alone; but by chance it can be small, and then the fits do.

    Parameters
    ----------
    values, stds : array, shape (n,)
        Of each release, and what its fit says of its uncertainty. [unit]
    unit : str
        Of all.
    common_std : float
        What more releases make no smaller. [unit]
    """
    within = math.sqrt(float(np.mean(stds**2)) / stds.size)
    change = {"change along the ring": common_std} if common_std > 0 else {}
    if values.size > 1:
        repeats = mean_of_repeats([float(v) for v in values], unit, source="releases")
        if repeats.std >= within:
            return Uncertain(repeats.value, {**repeats.sources, **change}, unit)
    return Uncertain(float(values.mean()), {"fit": within, **change}, unit)


def _figures(
    name: str,
    group: Mapping[int, Mode],
    found: Sequence[Release],
    motion: Motion,
    withheld: dict[str, str],
) -> dict[str, GroundFigure]:
    modes = list(group.values())
    count = f"{len(modes)} of {len(found)} releases" if len(found) > 1 else "one release"
    method = f"damped oscillations fitted to the samples, {count}"
    frequency = _frequency(modes)
    damping = _damping(modes)
    sources = ("time", motion.signal)
    id_ = f"ringdown.{name}"
    figures = {
        f"{id_}.frequency": GroundFigure(f"{id_}.frequency", frequency, method, sources),
        f"{id_}.damping": GroundFigure(f"{id_}.damping", damping, method, sources),
    }
    if motion.unit:
        amplitude = _amplitude(modes, motion)
        figures[f"{id_}.amplitude"] = GroundFigure(
            f"{id_}.amplitude", amplitude, f"{method}{motion.how}", sources
        )
    else:
        withheld[f"{id_}.amplitude"] = (
            "the signal has no unit; name its column acceleration or displacement, with its unit"
        )
    return figures


def _frequency(modes: Sequence[Mode]) -> Uncertain:
    change = max(m.frequency_change_std_hz for m in modes)
    fits = [m.frequency_std_hz**2 - m.frequency_change_std_hz**2 for m in modes]
    values = np.array([m.frequency_hz for m in modes])
    return together(values, np.sqrt(np.maximum(fits, 0.0)), "Hz", change)


def _damping(modes: Sequence[Mode]) -> Uncertain:
    change = max(m.damping_change_std for m in modes)
    fits = [m.damping_std**2 - m.damping_change_std**2 for m in modes]
    values = np.array([m.damping for m in modes])
    return together(100 * values, 100 * np.sqrt(np.maximum(fits, 0.0)), "%", 100 * change)


def _amplitude(modes: Sequence[Mode], motion: Motion) -> Uncertain:
    sizes = np.array([motion.millimetres(m.amplitude, m.frequency_hz) for m in modes])
    stds = np.array([motion.millimetres(m.amplitude_std, m.frequency_hz) for m in modes])
    mean = float(sizes.mean())
    within = math.sqrt(float(np.mean(stds**2)) / sizes.size)
    sources = {"fit": within}
    if sizes.size > 1:
        # Releases do differ: what was averaged holds for amplitudes as wide apart as they are.
        sources["releases"] = float(sizes.std(ddof=1))
    return Uncertain(mean, sources, "mm")


def _mode_findings(
    name: str, group: Mapping[int, Mode], found: Sequence[Release], motion: Motion
) -> list[Finding]:
    findings: list[Finding] = []
    modes = list(group.values())
    id_ = f"ringdown.{name}"
    hertz = float(np.mean([m.frequency_hz for m in modes]))
    bent = [m for m in modes if m.bent and m.first_damping is not None]
    if 2 * len(bent) >= len(modes) and bent:
        first = float(np.mean([100 * (m.first_damping or 0.0) for m in bent]))
        last = float(np.mean([100 * (m.last_damping or 0.0) for m in bent]))
        size = float(np.mean([motion.shown(m.first_amplitude, m.frequency_hz) for m in bent]))
        findings.append(
            ground_finding(
                "ring-bends",
                f"At {hertz:.2f} Hz damping is {first:.2f} % at {size:.3g} {motion.shown_unit} and "
                f"{last:.2f} % at the end of the ring; the interval holds both.",
                affects=(f"{id_}.damping", f"{id_}.frequency"),
                evidence={"first_percent": first, "last_percent": last},
            )
        )
    ratio = float(np.median([m.noise_ratio for m in modes]))
    if ratio > 1.5 and not bent:
        findings.append(
            ground_finding(
                "ring-noise-coloured",
                f"About {hertz:.2f} Hz the noise is {ratio:.1f} times that of all frequencies; "
                "intervals were widened for it.",
                affects=(f"{id_}.*",),
                evidence={"ratio": ratio},
            )
        )
    rates = [1 / float(np.median(np.diff(found[k].ring.t))) for k in group]
    rate = min(rates)
    if hertz > _NEAR_NYQUIST * rate / 2:
        findings.append(
            ground_finding(
                "ring-sampling-slow",
                f"{hertz:.1f} Hz at {rate:.1f} samples a second may be the shadow of a faster "
                "oscillation.",
                affects=(f"{id_}.*",),
                evidence={"frequency_hz": hertz, "rate_hz": rate},
            )
        )
    return findings + _mains_findings(id_, hertz, rate, [found[k] for k in group])


def _mains_findings(
    id_: str, hertz: float, rate_hz: float, found: Sequence[Release]
) -> list[Finding]:
    """Say where a line of the mains, folded or not, stands within what a record can part."""
    length = min(each.end_s - each.start_s for each in found)
    for base in (50.0, 60.0):
        for k in (1, 2, 3):
            folded = abs(k * base - rate_hz * round(k * base / rate_hz))
            if abs(folded - hertz) < 1.5 / length:
                return [
                    ground_finding(
                        "ring-near-mains",
                        f"At {rate_hz:.1f} samples a second {k * base:.0f} Hz shows at "
                        f"{folded:.2f} Hz, next to the oscillation of {hertz:.2f} Hz.",
                        affects=(f"{id_}.*",),
                        widen=0.02,
                    )
                ]
    return []
