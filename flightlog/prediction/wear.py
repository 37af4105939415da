"""What is named as wearing out, of many things at once, by whoever looks after every flight.

A season is healthy or it is not; that of thirty flights and dozens of figures one is beyond some
bound is no news. So a level for the whole season is shared out: to all figures by Holm's rule, to
all looks by `trends.LOOKS`, and a trend must be of practical size too. Healthy seasons then raise
anything at all in at most 5 of 100.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.mann_kendall import holm
from flightlog.prediction.trends import Jump, Series, Trend, jumps_of, trend_of

TREND_LEVEL, JUMP_LEVEL = 0.04, 0.01
"""How often a healthy season may have a trend named, and a flight that stands out."""
AHEAD = 10
"""So many flights are looked ahead for a limit."""
SURE = 0.9
"""Probability from which a limit is said to be crossed."""

Word = Literal[
    "beyond the limit", "will cross the limit", "wearing", "stands out", "has stepped",
    "better", "nothing shown", "too few flights",
]  # fmt: skip
BEYOND: Word = "beyond the limit"
CROSSES: Word = "will cross the limit"
WEARING: Word = "wearing"
STEPPED: Word = "has stepped"
STANDS_OUT: Word = "stands out"
BETTER: Word = "better"
NOTHING: Word = "nothing shown"
TOO_FEW: Word = "too few flights"
NAMED = (BEYOND, CROSSES, WEARING, STEPPED, STANDS_OUT)
"""The words that ask somebody to do something, the worst first."""
WORDS = (*NAMED, BETTER, NOTHING, TOO_FEW)


@dataclass(frozen=True, slots=True)
class Practical:
    """Which way is bad, and what is too small to matter.

    Attributes
    ----------
    bad : {1, -1, 0}
        Up, down, or either way.
    change : float
        A trend that came to less over what was flown is not named, in the unit of the figure or
        as a share of its first level.
    jump : float
        A flight that is off by less does not stand out; likewise.
    share : bool
        Whether both are shares of the level.
    """

    bad: int
    change: float
    jump: float
    share: bool = False


@dataclass(frozen=True, slots=True)
class Edge:
    """A limit that a figure shall keep.

    Attributes
    ----------
    op : {"<=", ">="}
        How it holds.
    value, std : float
        In the unit of the figure; ``std`` is above 0 where it was learnt from flights.
    source : str
        Whose it is, in words.
    """

    op: Literal["<=", ">="]
    value: float
    std: float
    source: str


@dataclass(frozen=True, slots=True)
class EdgeState:
    """How a figure stands to a limit.

    Attributes
    ----------
    now, ahead : float
        Probability that the line is beyond it, at the latest flight and ten flights later.
    at, earliest, latest : float or None
        Number of the flight at which the line gets there; None where it never does.
    """

    edge: Edge
    now: float
    ahead: float
    at: float | None
    earliest: float | None
    latest: float | None


@dataclass(frozen=True, slots=True)
class Watched:
    """A series that is watched.

    Attributes
    ----------
    series : Series
        Of one thing in one state.
    practical : Practical
        What is bad for it.
    edges : tuple of Edge
        Its limits.
    latest : float or None
        Number of the latest flight, which may lack the figure.
    likely : bool
        Whether it wears out for certain, as a pack does; see `judge`.
    """

    series: Series
    practical: Practical
    edges: tuple[Edge, ...] = ()
    latest: float | None = None
    likely: bool = False

    @property
    def end(self) -> float:
        """Number of the latest flight, whether it has the figure or not."""
        own = float(self.series.index[-1]) if len(self.series) else 0.0
        return max(own, self.latest) if self.latest is not None else own


@dataclass(frozen=True, slots=True)
class Judged:
    """What is said of a series.

    Attributes
    ----------
    word : str
        Of `WORDS`; the worst that holds.
    trend : Trend or None
        None where flights are too few; ``why`` says so.
    p_all : float
        Of the trend, counted for all looks and all series.
    shown : bool
        Whether the trend is shown, of whatever size and way.
    edges : tuple of EdgeState
        One for each limit.
    jumps : tuple of Jump
        Flights that stood out the bad way, earlier ones included.
    why : str
        Why nothing is said.
    """

    word: Word
    trend: Trend | None
    p_all: float
    shown: bool
    edges: tuple[EdgeState, ...]
    jumps: tuple[Jump, ...]
    why: str = ""

    @property
    def named(self) -> bool:
        """Whether somebody has to do something."""
        return self.word in NAMED


def judge(watched: Sequence[Watched]) -> list[Judged]:
    """Say of each of all series that are looked at what is named, in the given order.

    Parameters
    ----------
    watched : sequence of Watched
        All of them: what is left out here is not counted, and makes false alarms likelier. Those
        that are likely to wear share half of the level, all others the other half.
    """
    trends: list[tuple[Trend | None, str]] = [_trend(one.series) for one in watched]
    likely = sum(one.likely for one in watched)
    weights = [(len(watched) - likely or 1) / likely if one.likely else 1.0 for one in watched]
    probabilities = holm([t.p_looks if t is not None else 1.0 for t, _ in trends], weights)
    share = JUMP_LEVEL / max(1, len(watched))
    return [
        _judged(one, trend, why, p, share)
        for one, (trend, why), p in zip(watched, trends, probabilities, strict=True)
    ]


def _trend(series: Series) -> tuple[Trend | None, str]:
    try:
        return trend_of(series), ""
    except NotEnoughDataError as error:
        return None, error.found


def _judged(one: Watched, trend: Trend | None, why: str, p: float, share: float) -> Judged:
    if trend is None:
        return Judged(TOO_FEW, None, p, False, (), (), why)
    practical = one.practical
    first = abs(trend.level(trend.first).value)
    scale = first if practical.share else 1.0
    jumps = tuple(
        jump
        for jump in jumps_of(one.series, share, practical.jump * scale)
        if practical.bad == 0
        or practical.bad * (float(one.series.value[jump.place]) - jump.expected) > 0
    )
    edges = tuple(_edge(trend, one, edge) for edge in one.edges)
    shown = p <= TREND_LEVEL
    way = 1 if trend.slope.value > 0 else -1
    bad = shown and practical.bad in (0, way) and trend.slope.value != 0
    large = abs(trend.change) >= practical.change * scale
    return Judged(_word(one, trend, edges, jumps, shown, bad, large), trend, p, shown, edges, jumps)


def _edge(trend: Trend, one: Watched, edge: Edge) -> EdgeState:
    at, early, late = trend.reaches(edge.value)
    return EdgeState(
        edge,
        trend.probability_beyond(one.end, edge.op, edge.value, edge.std),
        trend.probability_beyond(one.end + AHEAD, edge.op, edge.value, edge.std),
        at,
        early,
        late,
    )


def _word(
    one: Watched,
    trend: Trend,
    edges: Sequence[EdgeState],
    jumps: Sequence[Jump],
    shown: bool,
    bad: bool,
    large: bool,
) -> Word:
    if any(edge.now >= SURE for edge in edges):
        return BEYOND
    # From few flights a line leads anywhere: where it goes is named when that it goes is shown.
    if bad and any(edge.ahead >= SURE for edge in edges):
        return CROSSES
    if bad and large:
        return WEARING
    last = jumps[-1] if jumps and jumps[-1].place == len(one.series) - 1 else None
    if last is not None:
        return STEPPED if last.in_a_row > 1 else STANDS_OUT
    return BETTER if shown and not bad and trend.slope.value else NOTHING
