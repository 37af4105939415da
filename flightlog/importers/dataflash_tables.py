"""DataFlash logs: raw tables to the house's tables, receipt and findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.columns import TABLES
from flightlog.constants import ZERO_CELSIUS_K
from flightlog.importers import dataflash_special as special
from flightlog.importers.clock import LONGEST_S, Clock
from flightlog.importers.common import (
    BoolArray,
    FloatArray,
    Notes,
    distinct,
    gps_unix_s,
    make_receipt,
    note_repeated_fixes,
    repeated_rows,
    unrolled_weeks,
    utc_relation,
)
from flightlog.importers.dataflash_formats import Messages
from flightlog.importers.dataflash_mapping import (
    boot_clock,
    field_of,
    instances,
    is_number,
    mapping,
    numbers,
    unit_of,
)
from flightlog.importers.house import choose_instances, house_table, is_stuck
from flightlog.importers.registry import Progress
from flightlog.recording import ColumnSource, Recording, UtcRelation

if TYPE_CHECKING:
    import pandas as pd

IntArray = npt.NDArray[np.int64]
Columns = dict[str, npt.NDArray[Any]]

CLOCK = (
    "the logger's boot clock (TimeUS, else TimeMS; T in position messages of the first years); "
    "rows without one have the time of the row before them"
)


def finish_recording(
    path: Path,
    log: Mapping[str, Messages],
    *,
    records: int,
    size: int,
    sha256: str,
    format: str,
    notes: Notes,
    firmware: str = "",
    tell: Callable[[Notes], None] = lambda notes: None,
    progress: Progress | None = None,
) -> Recording:
    """Make the recording of a decoded log, binary or text.

    Parameters
    ----------
    path : Path
        The file.
    log : mapping of str to Messages
        The raw tables, by name of message.
    records : int
        All records of the file.
    size, sha256, format : int, str, str
        For the receipt.
    notes : Notes
        What was noticed so far.
    firmware : str
        What the file says of the firmware outside its messages.
    tell : callable, optional
        Called when the tables stand, to tell what was noticed while columns were decoded.
    progress : callable, optional
        Called with the fraction done, from 0.5 on, and a text.
    """
    builder = Builder.of(log, records, notes, path.stat().st_mtime)
    tables = builder.tables(progress)
    tell(notes)
    chosen = choose_instances(tables)
    receipt = make_receipt(
        path=path,
        size=size,
        sha256=sha256,
        format=format,
        importer_version=int(mapping()["version"]),
        tables=tables,
        message_counts={name: len(log[name]) for name in sorted(log)},
        notes=notes,
        firmware=special.firmware(log) or firmware,
        utc=utc_of(tables, chosen, builder.clock),
        seams=builder.clock.seams,
        chosen_instances=chosen,
        clock=CLOCK,
    )
    if progress is not None:
        progress(1.0, "done")
    return Recording(tables, receipt, raw=log, findings=tuple(notes.findings))


@dataclass(slots=True)
class Builder:
    """Makes the tables of one log.

    Attributes
    ----------
    log : mapping of str to Messages
        The raw tables.
    notes : Notes
        Receives what is noticed.
    clock : Clock
        Of the whole log.
    boot_s : array
        Boot clock at every record of the file; the last one before it where the record
        carries none. [s]
    file_unix_s : float
        When the file was last written. [s]
    """

    log: Mapping[str, Messages]
    notes: Notes
    clock: Clock
    boot_s: FloatArray
    file_unix_s: float

    @classmethod
    def of(
        cls, log: Mapping[str, Messages], records: int, notes: Notes, file_unix_s: float
    ) -> Builder:
        """Fit the clock of a log of so many records."""
        boot_s = np.full(records, np.nan)
        for table in log.values():
            seconds = boot_clock(table)
            if seconds is not None:
                boot_s[table.rows] = seconds
        clock = Clock.fit(np.arange(len(boot_s)), boot_s)
        clock.tell(notes)
        timeless = np.flatnonzero(~np.isfinite(boot_s))
        if len(timeless):
            believed = np.flatnonzero((boot_s >= 0) & (boot_s <= LONGEST_S))
            before = np.searchsorted(believed, timeless) - 1
            start = clock.sessions[0].low_s if clock.sessions else 0.0
            boot_s[timeless] = start
            if len(believed):
                boot_s[timeless] = np.where(before >= 0, boot_s[believed[before]], start)
        return cls(log, notes, clock, boot_s, file_unix_s)

    def tables(self, progress: Progress | None = None) -> dict[str, pd.DataFrame]:
        """Build every table that the log has messages for."""
        makers: dict[str, Callable[[], Columns | None]] = {
            "gps": self._gps,
            "battery": self._battery,
            "outputs": lambda: special.channels(self, "outputs"),
            "inputs": lambda: special.channels(self, "inputs"),
            "modes": lambda: special.modes(self),
            "messages": lambda: special.messages(self),
            "parameters": lambda: special.parameters(self),
            "arming": lambda: special.arming(self),
        }
        tables: dict[str, pd.DataFrame] = {}
        for done, name in enumerate(TABLES):
            if progress is not None:
                progress(0.5 + 0.5 * done / len(TABLES), f"table {name}")
            columns = makers[name]() if name in makers else self._columns(name)
            if columns is not None and len(columns["time_s"]):
                tables[name] = house_table(name, columns, self.notes)
        return tables

    def timed(
        self, table: Messages, name: str, instance: IntArray | None = None
    ) -> tuple[FloatArray, BoolArray]:
        """Give a message's rows on the log's clock, and which of them to keep."""
        time_s, keep = self.clock.apply(table.rows, self.boot_s[table.rows], instance)
        lost = int(np.count_nonzero(~keep))
        if lost:
            self.notes.drop(f"{name}: time runs backwards or is impossible", lost)
            where = float(time_s[keep][0]) if keep.any() else None
            self.notes.find(
                "clock-backwards" if keep.any() else "clock-unbelievable",
                f"{lost} of {len(keep)} rows of {table.format.name} carry a time that runs "
                "backwards or can't be; they were left out.",
                evidence={"rows": lost, "message": table.format.name},
                start_s=where,
            )
        return time_s, keep

    def _columns(self, name: str) -> Columns | None:
        """Columns of a table from all its messages of the best rank."""
        sources = [s for s in mapping()[name] if s["message"] in self.log and self._feeds(s)]
        if not sources:
            return None
        rank = min(s.get("rank", 0) for s in sources)
        parts = [self._part(name, s) for s in sources if s.get("rank", 0) == rank]
        if len(parts) == 1:
            return parts[0]
        every = {key for part in parts for key in part}
        rows = [len(part["time_s"]) for part in parts]
        return {
            key: np.concatenate(
                [p.get(key, np.full(n, np.nan)) for p, n in zip(parts, rows, strict=True)]
            )
            for key in every
        }

    def _feeds(self, source: Mapping[str, Any]) -> bool:
        """Whether the message has at least one of the fields."""
        table = self.log[source["message"]]
        wanted = [spec["field"] for spec in source["columns"].values()]
        names = [n for field in wanted for n in (field if isinstance(field, list) else [field])]
        return any(is_number(table, name) for name in names)

    def _part(self, name: str, source: Mapping[str, Any]) -> Columns:
        """Columns of a table from one message and those joined to it."""
        table = self.log[source["message"]]
        instance = instances(table, source.get("instance", 0))
        time_s, keep = self.timed(table, name, instance)
        columns: Columns = {"time_s": time_s, "instance": instance}
        for column, spec in source["columns"].items():
            values = numbers(table, spec)
            if values is not None:
                finite = np.isfinite(values)
                columns[column] = values if finite.all() else np.where(finite, values, np.nan)
                self._note_source(name, column, table, spec)
        if name == "gps":
            columns["time_utc"] = self._unix_s(table)
            columns["(week time)"] = self._week_time_s(table)
        for join in source.get("join", ()):
            if join["message"] in self.log:
                columns |= self._joined(name, table, instance, join, source.get("instance", 0))
        if name == "battery":
            cells = special.cell_voltages(self, table, instance)
            if cells is not None:
                columns["cell_voltages"] = cells
        if not keep.all():
            columns = {key: values[keep] for key, values in columns.items()}
        return columns

    def _note_source(
        self, name: str, column: str, table: Messages, spec: Mapping[str, Any]
    ) -> None:
        """Note where a column came from, for the receipt."""
        field = field_of(table, spec)
        if field is not None:
            source = f"{table.format.name}.{field}"
            unit, why = unit_of(table, field, spec)
            self.notes.sources.append(ColumnSource(name, column, source, unit, why))

    def _joined(
        self, name: str, table: Messages, instance: IntArray, join: Mapping[str, Any], base: int
    ) -> Columns:
        """Columns of another message, each row beside the nearest of its instance."""
        other = self.log[join["message"]]
        at = self.nearest(table, instance, other, instances(other, base), join["within_s"])
        columns: Columns = {}
        for column, spec in join["columns"].items():
            values = numbers(other, spec)
            if values is not None:
                columns[column] = np.where((at >= 0) & np.isfinite(values[at]), values[at], np.nan)
                self._note_source(name, column, other, spec)
        return columns

    def nearest(
        self,
        table: Messages,
        instance: IntArray,
        other: Messages,
        other_instance: IntArray,
        within_s: float,
    ) -> IntArray:
        """Row of another message that is nearest in time to each row; -1 where none is near.

        Only the last one before it in the file and the first one after it are looked at, so
        a restart of the clock does no harm.
        """
        found = np.full(len(table), -1, dtype=np.int64)
        for one in distinct(instance):
            mine, theirs = np.flatnonzero(instance == one), np.flatnonzero(other_instance == one)
            if not len(theirs):
                continue
            after = np.searchsorted(other.rows[theirs], table.rows[mine])
            options = np.stack([np.maximum(after - 1, 0), np.minimum(after, len(theirs) - 1)])
            away = np.abs(self.boot_s[other.rows[theirs]][options] - self.boot_s[table.rows[mine]])
            best = np.argmin(away, axis=0)
            pick = np.arange(len(mine))
            near = away[best, pick] <= within_s
            found[mine[near]] = theirs[options[best, pick]][near]
        return found

    def _week_time_s(self, table: Messages) -> FloatArray:
        """Time of week of position rows [s]; NaN where the file has none."""
        week = mapping()["week"]
        field = next((f for f in week["milliseconds"] if is_number(table, f)), None)
        return np.full(len(table), np.nan) if field is None else table[field] / 1e3

    def _unix_s(self, table: Messages) -> FloatArray:
        """Unix seconds of position rows by the receiver's clock; NaN where it had none."""
        field = next((f for f in mapping()["week"]["week"] if is_number(table, f)), None)
        if field is None:
            return np.full(len(table), np.nan)
        weeks = unrolled_weeks(table[field].astype(np.float64), self.file_unix_s, self.notes)
        return gps_unix_s(weeks, self._week_time_s(table))

    def _gps(self) -> Columns | None:
        """Position rows without repeats; no place where the receiver had none."""
        columns = self._columns("gps")
        if columns is None or not {"latitude_deg", "longitude_deg"} <= set(columns):
            return None
        week_time_s = columns.pop("(week time)")
        latitude, longitude = columns["latitude_deg"], columns["longitude_deg"]
        nowhere = (latitude == 0) & (longitude == 0)
        if "fix" in columns:
            nowhere |= columns["fix"] < 2
        if nowhere.any():
            count = int(nowhere.sum())
            self.notes.find(
                "values-missing",
                f"In {count} of {len(nowhere)} position rows the receiver had no position (fix 0 "
                "or 1, or latitude 0 and longitude 0).",
                evidence={"rows": count, "table": "gps"},
                remedy="Wait for a position before the flight.",
            )
            kept = {"time_s", "instance", "fix", "satellites", "hdop", "time_utc"}
            for name in set(columns) - kept:
                columns[name] = np.where(nowhere, np.nan, columns[name])
        speed = columns.get("ground_speed_m_s", np.zeros(len(latitude)))
        seen = [latitude, longitude, speed, week_time_s, nowhere]
        same = repeated_rows(seen, columns["instance"]) & ~nowhere
        note_repeated_fixes(same, columns["time_s"], self.notes)
        return {name: values[~same] for name, values in columns.items()} if same.any() else columns

    def _battery(self) -> Columns | None:
        """Pack rows without the values that stand for "not measured"."""
        columns = self._columns("battery")
        if columns is None:
            return None
        for one in distinct(columns["instance"]):
            self._battery_sentinels(columns, np.flatnonzero(columns["instance"] == one), one)
        return columns

    def _battery_sentinels(self, columns: Columns, rows: IntArray, instance: int) -> None:
        """Set what one pack's monitor did not measure to NaN."""
        missing: dict[str, int] = {}
        for name, sentinel in (("voltage_v", 0.0), ("current_a", -1.0)):
            if name in columns:
                bad = rows[columns[name][rows] == sentinel]
                columns[name][bad] = np.nan
                if len(bad):
                    missing[name] = len(bad)
        current = columns.get("current_a")
        if current is not None and is_stuck(current[rows], 0.0, 0.01, -0.01):
            self.notes.find(
                "current-not-measured",
                f"Pack {instance}: the current reads {current[rows][0]:.2f} A in all {len(rows)} "
                "rows; only the voltage is measured.",
                evidence={"instance": instance, "rows": len(rows)},
            )
            for name in {"current_a", "charge_used_coulomb", "energy_used_j"} & set(columns):
                columns[name][rows] = np.nan
        # Most packs have no temperature sensor: a line in the receipt, not a finding.
        if "temperature_k" in columns and is_stuck(columns["temperature_k"][rows], ZERO_CELSIUS_K):
            columns["temperature_k"][rows] = np.nan
            self.notes.lines.append(
                f"pack {instance}: no temperature, the log holds 0 °C throughout"
            )
        if missing:
            what = ", ".join(f"{n} {name}" for name, n in missing.items())
            self.notes.find(
                "values-missing",
                f"Pack {instance}: of {len(rows)} rows {what} hold the value that stands for "
                "'not measured'.",
                evidence={"instance": instance, **missing},
            )


def utc_of(
    tables: Mapping[str, pd.DataFrame], chosen: Mapping[str, int], clock: Clock
) -> UtcRelation:
    """Relation to UTC by the chosen receiver's rows of the first session."""
    table = tables.get("gps")
    if table is None:
        return UtcRelation()
    instance = chosen.get("gps", int(table["instance"].min()))
    good = (table["instance"] == instance) & (table["fix"] >= 3)
    if clock.seams:
        good &= table["time_s"] < clock.seams[0]
    rows = table.loc[good]
    return utc_relation(
        rows["time_s"].to_numpy(), rows["time_utc"].to_numpy(), "week and time of week of the fixes"
    )
