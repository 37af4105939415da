"""What a flight says about what is wearing out, for its sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from flightlog.figures import Figure
from flightlog.reports.chart import Chart
from flightlog.reports.figure_groups import (
    FAULTS,
    WEAR,
    WEAR_TITLE,
    apart,
    faults,
    group_of,
    in_groups,
    is_of_surface,
    surface_table,
)
from flightlog.reports.sheet_content import Band, Block, Picture, Words, beside, wide
from flightlog.reports.sheet_figures import (
    figure_rows,
    figure_table,
    surfaces_block,
    withheld_words,
)
from flightlog.reports.stored_debrief import StoredSortie
from flightlog.rules.outcomes import WORST_FIRST

_CHARTS = 2
_MOST_OPEN, _MOST_FOUND = 8, 6
NOTHING_FOUND = "No finding. What this log could not have shown stands below."
OPEN_TITLE = "Faults that this log could not have shown"


def tells_of_wear(stored: StoredSortie | None) -> bool:
    """Whether a debrief has any figure of what is wearing out."""
    return stored is not None and any(group_of(id_) in WEAR for id_ in stored.figures)


def withheld_of_wear(stored: StoredSortie) -> dict[str, str]:
    """Give what is withheld of what is wearing out."""
    return {id_: why for id_, why in stored.withheld.items() if group_of(id_) in WEAR}


def most_telling(stored: StoredSortie) -> list[str]:
    """Give the groups of what is wearing out, first those that need attention.

    That is: a fault that was found, or a limit that is not met; then those that have figures.
    """
    groups = in_groups(stored.figures.values())
    noticed = {FAULTS[f.code][0] for f in faults(stored.findings)}

    def rank(name: str) -> tuple[bool, int, bool, int]:
        words = [o.outcome for o in stored.outcomes if group_of(o.figure) == name]
        worst = min((WORST_FIRST.index(word) for word in words), default=len(WORST_FIRST))
        return name not in noticed, worst, name not in groups, WEAR.index(name)

    return sorted(WEAR, key=rank)


def wear_bands(
    stored: StoredSortie, chart: Callable[[str], Chart], picture: Callable[[Chart], Picture]
) -> Iterator[Band]:
    """Give what was found, the two most telling charts, the figures by group, and what is open.

    Parameters
    ----------
    stored : StoredSortie
        The debrief.
    chart : callable
        Gives the chart of a group; asked of as few as are drawn.
    picture : callable
        Draws it.
    """
    found = tuple(f"{f.message.rstrip('.')}. {f.remedy}".strip() for f in faults(stored.findings))
    yield wide(Words(WEAR_TITLE, found, NOTHING_FOUND, _MOST_FOUND))
    drawn: list[Block] = []
    for name in most_telling(stored):
        if len(drawn) < _CHARTS and not (made := chart(name)).lacking:
            drawn.append(picture(made))
    if drawn:
        yield beside(drawn[:1], drawn[1:]) if len(drawn) > 1 else wide(*drawn)
    groups = in_groups(stored.figures.values())
    tables = [
        figure_table(figure_rows({name: plain_ones}))
        for name in WEAR
        if (plain_ones := _without_surfaces(groups, name))
    ]
    # Battery, surfaces and landing are about as long as link and vibration.
    half = (len(tables) + 1) // 2
    if tables:
        yield beside(tables[:half], tables[half:]) if tables[half:] else wide(*tables)
    if (surfaces := surface_table(stored.figures.values())) is not None:
        yield wide(surfaces_block(surfaces))
    open_ = tuple(f"{f.message.rstrip('.')}." for f in apart(stored.findings)[1])
    told = Words(OPEN_TITLE, open_, "None that it looks for.", _MOST_OPEN)
    yield beside([withheld_words(withheld_of_wear(stored))], [told])


def _without_surfaces(groups: Mapping[str, list[Figure]], name: str) -> list[Figure]:
    return [figure for figure in groups.get(name, ()) if not is_of_surface(figure.id)]
