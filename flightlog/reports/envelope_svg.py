"""A load in its envelope as a picture: mass upwards, balance across, the same as ``picture``.

The envelope is an outline, what the load can be a hatched box in it, the load sheet a cross, the
worst corner a filled circle where it lies inside and a crossed square where it does not. Strokes
and fillings keep them apart in greys; every sign is named beside the picture.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from flightlog.inputs import Balance
from flightlog.operations.balance import Verdict
from flightlog.operations.polygon import Point
from flightlog.reports.look import FAINT, FONT, INK, PAPER
from flightlog.reports.markup import escaped

WIDTH, HEIGHT = 460.0, 360.0
"""Of the picture [px]."""
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 12.0, 12.0, 104.0
_TEXT = 16
_MARGIN = 0.06
_MOST_TICKS = 6
_STEPS = (1.0, 2.0, 5.0, 10.0)


def envelope_svg(verdict: Verdict, balance: Balance, *, name: str = "envelope") -> str:
    """Draw a load in its envelope.

    Parameters
    ----------
    verdict : Verdict
        The load, as judged.
    balance : Balance
        Of the aircraft's file.
    name : str
        Of the picture on its page, of letters and hyphens; ids begin with it.

    Returns
    -------
    str
        An ``<svg>``, with nothing from anywhere.
    """
    view = _View.of((*balance.envelope, *verdict.corners))
    middle = (verdict.loaded.mass.value, verdict.balance.value)
    says = escaped(envelope_words(verdict))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" '
        f'width="{WIDTH:g}" height="{HEIGHT:g}" role="img" aria-label="{says}" '
        f'font-family="{escaped(FONT)}" font-size="{_TEXT}" fill="{INK}">',
        _hatching(name),
        *_axes(view),
        _outline(view, balance),
        _box(view, verdict, name),
        _cross(*view.at(middle)),
        _worst(*view.at(verdict.worst), inside=verdict.inside),
        *_legend(name, inside=verdict.inside),
        "</svg>",
    ]
    return "".join(parts)


def envelope_words(verdict: Verdict) -> str:
    """Say what the picture shows."""
    word = "inside" if verdict.inside else "NOT inside"
    return (
        f"{verdict.loaded.mass.value:.3f} kg at {verdict.balance.value:.2f} % of the chord; worst "
        f"corner {verdict.worst[0]:.3f} kg at {verdict.worst[1]:.2f} %, {word} the envelope"
    )


class _View:
    """What part of the plane is drawn, and where a point of it lies on the picture."""

    def __init__(self, low: Point, high: Point) -> None:
        self.low, self.high = low, high

    @classmethod
    def of(cls, points: tuple[Point, ...]) -> _View:
        ends = [(min(p[k] for p in points), max(p[k] for p in points)) for k in (0, 1)]
        room = [_MARGIN * (last - first) or 1.0 for first, last in ends]
        return cls(
            (ends[0][0] - room[0], ends[1][0] - room[1]),
            (ends[0][1] + room[0], ends[1][1] + room[1]),
        )

    def at(self, point: Point) -> Point:
        """Give the place of a mass [kg] and balance [%] on the picture [px]."""
        wide, high = WIDTH - _LEFT - _RIGHT, HEIGHT - _TOP - _BOTTOM
        across = (point[1] - self.low[1]) / (self.high[1] - self.low[1])
        up = (point[0] - self.low[0]) / (self.high[0] - self.low[0])
        return _LEFT + across * wide, _TOP + (1 - up) * high


def _hatching(name: str) -> str:
    return (
        f'<defs><pattern id="{name}-hatching" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="7" height="7" fill="{PAPER}"/>'
        f'<line x1="0" y1="0" x2="0" y2="7" stroke="{INK}" stroke-width="2.4"/></pattern></defs>'
    )


def _axes(view: _View) -> Iterator[str]:
    """Draw the rules with their numbers: mass upwards, balance across."""
    left, bottom = _LEFT, HEIGHT - _BOTTOM
    for mass in _ticks(view.low[0], view.high[0]):
        _, y = view.at((mass, view.low[1]))
        yield _line(left, y, WIDTH - _RIGHT, y, FAINT, 1)
        yield _text(left - 8, y + 5, f"{mass:g}", "end")
    for share in _ticks(view.low[1], view.high[1]):
        x, _ = view.at((view.low[0], share))
        yield _line(x, _TOP, x, bottom, FAINT, 1)
        yield _text(x, bottom + 20, f"{share:g}", "middle")
    yield _line(left, _TOP, left, bottom, INK, 1.5)
    yield _line(left, bottom, WIDTH - _RIGHT, bottom, INK, 1.5)
    yield (
        f'<text x="16" y="{(_TOP + bottom) / 2:.1f}" text-anchor="middle" '
        f'transform="rotate(-90 16 {(_TOP + bottom) / 2:.1f})">mass in kg</text>'
    )
    yield _text((left + WIDTH - _RIGHT) / 2, bottom + 42, "balance in % of the chord", "middle")


def _ticks(low: float, high: float) -> list[float]:
    """Give round numbers between two ends, six at most."""
    rough = (high - low) / _MOST_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * s for s in _STEPS if power * s >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(n * step, 9) for n in range(first, last + 1)]


def _outline(view: _View, balance: Balance) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(view.at, balance.envelope))
    return f'<polygon points="{points}" fill="none" stroke="{INK}" stroke-width="3"/>'


def _box(view: _View, verdict: Verdict, name: str) -> str:
    left, bottom = view.at(verdict.low)
    right, top = view.at(verdict.high)
    wide, high = max(right - left, 1.0), max(bottom - top, 1.0)
    return (
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}" '
        f'fill="url(#{name}-hatching)" stroke="{INK}" stroke-width="1.5"/>'
    )


def _cross(x: float, y: float) -> str:
    """Draw the sign of the load sheet, with paper around it, so that it shows on the hatching."""
    both = f"M{x - 9:.1f} {y:.1f}H{x + 9:.1f}M{x:.1f} {y - 9:.1f}V{y + 9:.1f}"
    return (
        f'<path d="{both}" stroke="{PAPER}" stroke-width="8"/>'
        f'<path d="{both}" stroke="{INK}" stroke-width="3.5"/>'
    )


def _worst(x: float, y: float, *, inside: bool) -> str:
    if inside:
        return (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6.5" fill="{INK}" stroke="{PAPER}" '
            'stroke-width="2.5"/>'
        )
    return (
        f'<rect x="{x - 9:.1f}" y="{y - 9:.1f}" width="18" height="18" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="3"/><path d="M{x - 9:.1f} {y - 9:.1f}l18 18m0 -18l-18 18" '
        f'stroke="{INK}" stroke-width="3"/>'
    )


def _legend(name: str, *, inside: bool) -> Iterator[str]:
    first, second = HEIGHT - 34, HEIGHT - 9
    left, right = 8.0, 236.0
    yield _line(left, first - 5, left + 24, first - 5, INK, 3)
    yield _text(left + 32, first, "envelope")
    yield (
        f'<rect x="{left:g}" y="{second - 13:g}" width="24" height="14" '
        f'fill="url(#{name}-hatching)" stroke="{INK}" stroke-width="1.5"/>'
    )
    yield _text(left + 32, second, "what the load can be")
    yield _cross(right, first - 5)
    yield _text(right + 16, first, "this load")
    yield _worst(right, second - 5, inside=inside)
    yield _text(right + 16, second, f"worst corner, {'inside' if inside else 'NOT inside'}")


def _line(x1: float, y1: float, x2: float, y2: float, ink: str, wide: float) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" '
        f'stroke-width="{wide:g}"/>'
    )


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escaped(text)}</text>'
