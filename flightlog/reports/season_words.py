"""The season in words: what it came to, its table for screens and spreadsheets, what is due."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from flightlog.figures import FIGURES
from flightlog.operations.positions import named
from flightlog.operations.season_table import (
    DENSITY,
    DENSITY_UNIT,
    WITH,
    WITHOUT,
    Number,
    SeasonRow,
    Sums,
    Verdict,
)
from flightlog.operations.upkeep import LATER, Due
from flightlog.reports.flights import WITHOUT as LOUD_WITHOUT
from flightlog.reports.look import shape
from flightlog.reports.markup import spreadsheet
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain
from flightlog.rules.outcomes import WORST_FIRST

ROLL, UNITS, MASS = "takeoff.ground_roll", "payload.units", "mass.takeoff"
CLIMB, LAP_ENERGY = "climb.best_rate", "energy.per_lap"
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Measure:
    """What can be drawn and listed: a figure of the debriefs, or the density of the air."""

    id: str
    label: str
    unit: str
    decimals: int

    @property
    def title(self) -> str:
        """Its name with its unit."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label


def _measure(id_: str) -> Measure:
    if id_ == DENSITY:
        return Measure(DENSITY, "Density of the air", DENSITY_UNIT, 3)
    kind = FIGURES[id_]
    return Measure(kind.id, kind.label, kind.unit, kind.decimals)


class _Measures(Mapping[str, Measure]):
    """Id -> what it is called. Members of a family are found like `FIGURES` finds them."""

    def __getitem__(self, id_: str) -> Measure:
        return _measure(id_)

    def __iter__(self) -> Iterator[str]:
        return iter((*FIGURES, DENSITY))

    def __len__(self) -> int:
        return len(FIGURES) + 1


MEASURES: Mapping[str, Measure] = _Measures()
"""Id -> what it is called, in which unit, with how many decimals."""


def measures_of(rows: Iterable[SeasonRow]) -> list[str]:
    """Give the ids that can be drawn of some flights: those of all aircraft, then their surfaces.

    Of a family such as the play of a surface, the members that any flight has or lacks.
    """
    seen = {id_ for row in rows for id_ in (*row.figures, *row.withheld) if id_ in FIGURES}
    return [*FIGURES.ordered((*FIGURES, *seen)), DENSITY]


HEAD = (
    "Sortie",
    "Date UTC",
    "Release",
    "Outcomes",
    "Roll m",
    "Roll m, 95 %",
    "Mass kg",
    "Units",
    "Climb m/s",
    "Wh/lap",
    "Minutes",
    "Landings",
    "Aircraft",
    "Pack",
    "Contradictions",
)
"""Columns of the table; a narrow screen cuts the last ones off, so what counts stands first."""
DECIMALS = {
    "Minutes": 1,
    "Landings": 0,
    "Units": 0,
    "Mass kg": 2,
    "Roll m": 1,
    "Climb m/s": 2,
    "Wh/lap": 2,
}
"""Columns of numbers -> their decimals."""

Cell = str | float | None


def season_cells(row: SeasonRow) -> tuple[Cell, ...]:
    """Give a flight as cells in the order of `HEAD`; numbers as numbers, so that they sort."""
    flight = row.record
    known = flight.start or flight.liftoff
    return (
        row.name,
        f"{known:%Y-%m-%d %H:%M}" if known is not None else "time not known",
        release_word(row),
        outcomes_word(row.verdicts),
        _value(row, ROLL),
        interval(row.figures.get(ROLL), MEASURES[ROLL].decimals),
        _value(row, MASS),
        _value(row, UNITS),
        _value(row, CLIMB),
        _value(row, LAP_ENERGY),
        flight.flown_s / 60 if flight.flown_s > 0 else None,
        float(flight.landings),
        plain(flight.aircraft, _LONGEST) or "not known",
        plain(flight.pack, _LONGEST) or "not known",
        contradictions_word(row),
    )


def _value(row: SeasonRow, figure: str) -> float | None:
    found = row.figures.get(figure)
    return found.value if found is not None else None


def interval(number: Number | None, decimals: int) -> str:
    """Write the 95 % interval of a number, "" where there is none or it is exact."""
    if number is None or number.low == number.high:
        return ""
    return f"{digits(number.low, decimals)} to {digits(number.high, decimals)}"


def release_word(row: SeasonRow) -> str:
    """Name the release of a flight, or say that there was none."""
    if row.released == WITH and row.record.release is not None:
        return named(row.record.release)
    return LOUD_WITHOUT if row.released == WITHOUT else row.released


def outcomes_word(verdicts: Sequence[Verdict]) -> str:
    """Write outcomes in short, the worst first: each that is not met by its name."""
    if not verdicts:
        return "no limit judged"
    parts = []
    for word in WORST_FIRST:
        limits = [plain(v.limit, 40) for v in verdicts if v.word == word]
        if limits:
            said = str(len(limits)) if word == "met" else ", ".join(limits)
            parts.append(f"{shape(word)} {word}: {said}")
    return "; ".join(parts)


def contradictions_word(row: SeasonRow) -> str:
    """Write which contradictions a flight has."""
    codes = list(dict.fromkeys(one.code for one in row.contradictions))
    return f"{len(row.contradictions)}: {', '.join(codes)}" if codes else ""


def in_order(rows: Iterable[SeasonRow], head: str, down: bool) -> tuple[SeasonRow, ...]:
    """Sort flights by a column of `HEAD`; those that have nothing there come last either way.

    Parameters
    ----------
    rows : iterable of SeasonRow
        The flights.
    head : str
        Of `HEAD`.
    down : bool
        Whether the greatest comes first.
    """
    place = HEAD.index(head)
    cells = [(season_cells(row)[place], row) for row in rows]
    known = [(cell, row) for cell, row in cells if cell not in (None, "")]
    # Numbers and texts never share a column, so that each can be compared with the others.
    known.sort(key=lambda one: one[0], reverse=down)
    return (*(row for _, row in known), *(row for cell, row in cells if cell in (None, "")))


def season_texts(row: SeasonRow) -> list[str]:
    """Give a flight as texts in the order of `HEAD`, as they are printed."""
    texts = []
    for name, value in zip(HEAD, season_cells(row), strict=True):
        texts.append(digits(value, DECIMALS[name]) if isinstance(value, float) else value or "")
    return texts


def season_csv(rows: Iterable[SeasonRow]) -> str:
    """Give the table for a spreadsheet: shown by it, never computed."""
    return spreadsheet(HEAD, map(season_texts, rows))


# --- what it came to


def sums_tiles(sums: Sums, due: Sequence[Due]) -> tuple[tuple[str, str, str], ...]:
    """Give what the season came to: (number, what, a word below), in the order of reading."""
    least = "at least " if sums.untimed or sums.cut else ""
    states = Counter(item.state for item in due)
    stopping = [f"{states[word]} {word}" for word in ("overdue", "due", "soon") if states[word]]
    released = (
        f"{sums.without_release} without a release" if sums.without_release else "all released"
    )
    return (
        (str(sums.flights), "flights", released if sums.flights else "none yet"),
        (f"{least}{digits(sums.hours, 2)}", "hours", "lift-off to touchdown"),
        (str(sums.landings), "landings", ""),
        (str(sum(item.stops for item in due)), "due now", ", ".join(stopping) or "nothing is near"),
        (str(sums.contradictions), "contradictions open", _in_flights(sums.contradicting)),
    )


def _in_flights(count: int) -> str:
    return "" if not count else "in one flight" if count == 1 else f"in {count} flights"


def due_rows(due: Iterable[Due], most: int) -> list[tuple[str, str, str, str]]:
    """Give what is due or soon, the most urgent first: state, of what, what, how it stands."""
    near = [item for item in due if item.state != LATER]
    rows = [
        (item.state, f"{item.thing} {item.id}", item.title, item.details) for item in near[:most]
    ]
    if len(near) > most:
        rows.append(("", f"and {len(near) - most} more", "see Records", ""))
    return rows


def contradiction_rows(rows: Iterable[SeasonRow]) -> list[tuple[str, str, str]]:
    """Give the flights with what does not go together in them: flight, word, both sides."""
    return [(row.name, one.code, one.says) for row in rows for one in row.contradictions]
