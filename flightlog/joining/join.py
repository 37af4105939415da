"""One recording of several: each table from the better source, all on one clock."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from fnmatch import filter as matching
from typing import TYPE_CHECKING

import numpy as np

from flightlog.columns import TABLES
from flightlog.estimation.clock_offset import ClockOffset, clock_offset
from flightlog.figures import FIGURES, FREE_NAME
from flightlog.findings import Finding, make_finding
from flightlog.joining.choice import why_partner
from flightlog.joining.group import MARGIN_S, Group, Grouping, Span, group
from flightlog.joining.sketch import EVENTS, full_traces, is_radio, middle_of, sketch
from flightlog.recording import ColumnSource, Partner, Receipt, Recording

if TYPE_CHECKING:
    import pandas as pd

LATE_STD_S = 0.15
"""Positions reach a logger later than its other channels, by amounts that differ, 1 sigma [s]."""

RADIO_LATE_STD_S = 0.3
"""Over a radio every channel is late by its own amount, 1 sigma, or half the time from one fix to
the next where that is longer [s]."""

RATE_SIGMAS = 3.0
"""A difference of the clocks' rates is taken out when it is so sure."""

_ABOUT_ONE_TABLE = {
    "current-not-measured": "battery",
    "missing-fixes": "gps",
    "repeated-fixes": "gps",
}
"""Findings that are void when the table comes from elsewhere."""

_IN_WORDS = {"speed": "speed", "height": "height", "north": "position", "east": "position"}


def join(recordings: Iterable[Recording]) -> list[Recording]:
    """Make one recording of each flight of several recordings.

    Parameters
    ----------
    recordings : iterable of Recording
        In any order: on-board logs, a transmitter's card, copies of either.

    Returns
    -------
    list of Recording
        One per flight, or per log where a log holds several, in the order in which they were
        given. A joined one is on the clock of its best source; its receipt names the
        ``partners`` with offset, uncertainty and tables. Copies are left out. What was
        recognised stands in the findings.
    """
    given = list(recordings)
    grouping = group([sketch(one) for one in given])
    return [join_group(one, grouping, given.__getitem__) for one in grouping.groups]


def join_group(one: Group, grouping: Grouping, load: Callable[[int], Recording]) -> Recording:
    """Make one recording of a group.

    Parameters
    ----------
    one : Group
        Of the grouping.
    grouping : Grouping
        Of all recordings.
    load : callable
        Gives a recording by its number; called once for each that is needed.
    """
    joined = without_spans(load(one.primary), one.elsewhere)
    for link in one.partners:
        joined = add_partner(joined, load(link.index), link.alignment.clock, one.elsewhere)
    told = [make_finding(c.code, c.message) for c in grouping.copies if c.of in one.members]
    for (start, end), host in zip(one.elsewhere, one.hosts, strict=True):
        told.append(
            make_finding(
                "partner-recording",
                f"What it holds from {start:.1f} s to {end:.1f} s is shown with "
                f"{grouping.files[host]} and left out here.",
                evidence={"from_s": start, "to_s": end, "with": grouping.files[host]},
            )
        )
    for other, why in one.unaligned:
        told.append(
            make_finding(
                "partner-unaligned",
                f"{grouping.files[other]} was not joined: {why}.",
                evidence={"file": grouping.files[other]},
            )
        )
    return _changed(joined, findings=(*joined.findings, *told)) if told else joined


def _changed(
    recording: Recording,
    *,
    tables: Mapping[str, pd.DataFrame] | None = None,
    receipt: Receipt | None = None,
    findings: tuple[Finding, ...] | None = None,
) -> Recording:
    return Recording(
        {n: recording[n] for n in recording} if tables is None else tables,
        receipt or recording.receipt,
        recording.raw,
        recording.findings if findings is None else findings,
    )


def without_spans(recording: Recording, spans: tuple[Span, ...]) -> Recording:
    """Leave out the rows of sensors within stretches of time."""
    if not spans:
        return recording
    tables = {
        name: recording[name] if name in EVENTS else _outside(recording[name], spans)
        for name in recording
    }
    rows = {name: len(t) for name, t in tables.items() if len(t)}
    return _changed(recording, tables=tables, receipt=replace(recording.receipt, rows=rows))


def _outside(table: pd.DataFrame, spans: tuple[Span, ...]) -> pd.DataFrame:
    keep = np.ones(len(table), dtype=bool)
    time_s = table["time_s"].to_numpy(dtype=np.float64)
    for start, end in spans:
        keep &= (time_s < start) | (time_s > end)
    return table.loc[keep].reset_index(drop=True)


# --- one partner


@dataclass(frozen=True, slots=True)
class _Clocks:
    """The partner's clock on the primary's."""

    clock: ClockOffset
    std_s: float

    @property
    def rate_ppm(self) -> float:
        """Difference of the rates that is taken out; 0 where none is sure."""
        rate, std = self.clock.rate_ppm, self.clock.rate_std_ppm
        return rate if abs(rate) > RATE_SIGMAS * std else 0.0  # NaN is not sure

    def moved(self, table: pd.DataFrame) -> pd.DataFrame:
        """The table on the primary's clock."""
        own = table["time_s"].to_numpy(dtype=np.float64)
        drift = 1e-6 * self.rate_ppm * (own - self.clock.middle_s)
        return table.assign(time_s=own + self.clock.offset_s + drift)

    def moved_s(self, time_s: float) -> float:
        """One time on the primary's clock. [s]"""
        drift = 1e-6 * self.rate_ppm * (time_s - self.clock.middle_s)
        return time_s + self.clock.offset_s + drift


def add_partner(
    mine: Recording,
    partner: Recording,
    near: ClockOffset,
    elsewhere: tuple[Span, ...] = (),
) -> Recording:
    """Take from another recording of the same flight what it has better.

    Parameters
    ----------
    mine : Recording
        Whose clock stays.
    partner : Recording
        The other one. Only its rows within ``mine`` and `MARGIN_S` around it are taken.
    near : ClockOffset
        The offset by their sketches; it is found again from every sample.
    elsewhere : tuple of (float, float)
        Stretches of ``mine`` in which nothing is taken. [s]
    """
    clocks = _clocks(mine, partner, near)
    span = _span(mine)
    tables = {name: mine[name] for name in mine}
    taken: dict[str, str] = {}
    for name in partner:
        cut = _within(_outside(clocks.moved(partner[name]), elsewhere), span)
        why = why_partner(name, mine, cut, partner) if len(cut) else ""
        if why:
            tables[name], taken[name] = cut, why
    told = _partner_finding(mine, partner, clocks, taken)
    theirs = tuple(_carried(partner, taken, clocks, span))
    ours = (f for f in mine.findings if _ABOUT_ONE_TABLE.get(f.code) not in taken)
    return _changed(
        mine,
        tables=tables,
        receipt=_receipt(mine, partner, clocks, taken, tables),
        findings=(*ours, told, *theirs),
    )


def _clocks(mine: Recording, partner: Recording, near: ClockOffset) -> _Clocks:
    """The offset by every sample, and how sure it is for channels that are not compared."""
    origin = middle_of(mine)
    exact = clock_offset(full_traces(mine, origin), full_traces(partner, origin), near.offset_s)
    clock = exact or near
    if _one_clock(mine, partner, clock):
        return _Clocks(clock, clock.std_s)
    return _Clocks(clock, math.hypot(clock.std_s, _late_std_s(mine), _late_std_s(partner)))


def _late_std_s(recording: Recording) -> float:
    """How much later the compared channels may be than the others of a recording. [s]"""
    if not is_radio(recording):
        return LATE_STD_S
    gps = recording.one("gps")
    step = float(gps["time_s"].diff().median()) if gps is not None else 0.0
    return max(RADIO_LATE_STD_S, 0.5 * step)


def _one_clock(mine: Recording, partner: Recording, clock: ClockOffset) -> bool:
    """Whether both are one logger's work: the same rows, so nothing is late in one of them."""
    from flightlog.joining.copies import has_rows_of

    one, two = sketch(mine), sketch(partner)
    return abs(clock.offset_s) < 0.01 and (has_rows_of(one, two) or has_rows_of(two, one))


def _span(recording: Recording) -> Span:
    sensors = [recording[n]["time_s"] for n in recording if n not in EVENTS]
    if not sensors:
        return 0.0, 0.0
    return min(float(t.iloc[0]) for t in sensors), max(float(t.iloc[-1]) for t in sensors)


def _within(table: pd.DataFrame, span: Span) -> pd.DataFrame:
    time_s = table["time_s"].to_numpy(dtype=np.float64)
    keep = (time_s >= span[0] - MARGIN_S) & (time_s <= span[1] + MARGIN_S)
    return table.loc[keep].reset_index(drop=True)


def _receipt(
    mine: Recording,
    partner: Recording,
    clocks: _Clocks,
    taken: Mapping[str, str],
    tables: Mapping[str, pd.DataFrame],
) -> Receipt:
    theirs, ours = partner.receipt, mine.receipt
    kept = tuple(c for c in ours.columns if c.table not in taken)
    brought = tuple(
        ColumnSource(c.table, c.column, f"{theirs.file}: {c.source}", c.unit, c.why)
        for c in theirs.columns
        if c.table in taken
    )
    chosen = {n: i for n, i in ours.chosen_instances.items() if n not in taken}
    chosen |= {n: i for n, i in theirs.chosen_instances.items() if n in taken}
    return replace(
        ours,
        rows={n: len(t) for n, t in tables.items() if len(t)},
        columns=(*kept, *brought),
        chosen_instances=chosen,
        partners=(
            *ours.partners,
            Partner(
                file=theirs.file,
                sha256=theirs.sha256,
                format=theirs.format,
                offset_s=clocks.clock.offset_s,
                offset_std_s=clocks.std_s,
                method=_method(clocks),
                tables=tuple(taken),
                rate_ppm=clocks.rate_ppm,
            ),
        ),
    )


def _method(clocks: _Clocks) -> str:
    names = dict.fromkeys(_IN_WORDS[f.name] for f in clocks.clock.fits)
    text = f"{', '.join(names)} over {clocks.clock.shared_s:.0f} s"
    if clocks.rate_ppm:
        text += f"; its clock's rate differs by {clocks.rate_ppm:+.0f} ppm, which is taken out"
    return text


# --- what is said of it


def _partner_finding(
    mine: Recording, partner: Recording, clocks: _Clocks, taken: Mapping[str, str]
) -> Finding:
    clock, file = clocks.clock, partner.receipt.file
    what = "; ".join(f"{name} ({why})" for name, why in taken.items())
    evidence: dict[str, float | int | str] = {
        "file": file,
        "offset_s": clock.offset_s,
        "offset_std_s": clocks.std_s,
        "series_std_s": clock.std_s,
        "shared_s": clock.shared_s,
        "tables": ", ".join(taken),
    }
    evidence |= {f"left_over.{fit.name}": fit.left_over for fit in clock.fits}
    if math.isfinite(clock.rate_ppm):
        evidence |= {"rate_ppm": clock.rate_ppm, "rate_std_ppm": clock.rate_std_ppm}
    return make_finding(
        "partner-recording",
        f"{file} is of the same flight: {clock.offset_s:+.2f} s on its clock, "
        f"± {1.96 * clocks.std_s:.2f} s, by {_method(clocks)}; "
        f"taken from it: {what or f'nothing, {mine.receipt.file} has all of it as good'}.",
        evidence=evidence,
    )


def _carried(
    partner: Recording, taken: Mapping[str, str], clocks: _Clocks, span: Span
) -> Iterable[Finding]:
    """What the partner's importer found and the tables that were taken suffer from."""
    every = (*FIGURES.values(), *FIGURES.families.values())
    touched = {k.id.replace(FREE_NAME, "*") for k in every if set(k.needs) & set(taken)}
    for finding in partner.findings:
        start, end = finding.start_s, finding.end_s
        if start is not None:
            start = clocks.moved_s(start)
            end = start if end is None else clocks.moved_s(end)
            if start > span[1] + MARGIN_S or end < span[0] - MARGIN_S:
                continue
        affects = tuple(
            sorted({i for pattern in finding.affects for i in matching(touched, pattern)})
        )
        about = {key.partition(".")[0] for key in finding.evidence} & set(TABLES)
        spoils_all = not finding.affects and finding.severity != "note" and not about
        if taken and (affects or about & set(taken) or spoils_all):
            yield replace(
                finding,
                message=f"{partner.receipt.file}: {finding.message}",
                affects=affects,
                start_s=start,
                end_s=end,
            )
