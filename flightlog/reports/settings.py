"""How the settings of two logs differ, in words."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from flightlog.analyses.settings import (
    ZEROED_AT_REST,
    SettingsDifference,
    Setup,
    compare_settings,
    setup_of,
)
from flightlog.reports.plain import plain

if TYPE_CHECKING:
    from flightlog.recording import Recording

_NAME_LIMIT = 40
_FILE_LIMIT = 60
_TEXT_LIMIT = 120
_FIRST_NAMES = 6
"""So many names of the parameters that only one log has are written out."""
_LARGEST_WHOLE = 1e12
"""Whole numbers below it are written without a power of ten."""
_MOST_ROWS = 300
"""So many differing parameters are written out; two aircraft of one firmware have fewer."""


def settings_lines(here: Recording, there: Recording, *, width: int = 80) -> list[str]:
    """Write which parameters and which firmware differ between two logs.

    The values are those at the end of each log: what was left set, with whatever was changed in
    flight. Where a log changes a parameter, its debrief says so.

    Parameters
    ----------
    here, there : Recording
        The log that is asked about, and the one beside it.
    width : int, default 80
        Characters of a line.
    """
    width = min(max(width, 50), 100)
    names = [plain(one.receipt.file, _FILE_LIMIT) for one in (here, there)]
    setups = [setup_of(one, math.inf) for one in (here, there)]
    difference = compare_settings(*setups)
    lines = [*_wrapped(f"{names[0]} (here) beside {names[1]} (there)", width), ""]
    lines += _firmware(difference, setups, width)
    missing = [name for name, setup in zip(names, setups, strict=True) if not setup.values]
    for name in dict.fromkeys(missing):
        lines += _wrapped(f"no parameters in {name}", width)
    if not missing:
        lines += _parameters(difference, setups, width)
    return [plain(line) for line in lines]


def _firmware(difference: SettingsDifference, setups: Sequence[Setup], width: int) -> list[str]:
    if difference.firmware is None:
        text = plain(setups[0].firmware, _TEXT_LIMIT)
        return _wrapped(f"firmware: {f'the same, {text}' if text else 'no log tells'}", width)
    texts = [plain(text, _TEXT_LIMIT) or "the log does not tell" for text in difference.firmware]
    word = "differs" if all(difference.firmware) else "can't be compared"
    return [
        f"firmware {word}",
        *_wrapped(f"  here   {texts[0]}", width, "         "),
        *_wrapped(f"  there  {texts[1]}", width, "         "),
    ]


def _parameters(difference: SettingsDifference, setups: Sequence[Setup], width: int) -> list[str]:
    changed = difference.changed
    both = len(set(setups[0].values) & set(setups[1].values))
    zeroed = {name for name in changed if ZEROED_AT_REST.fullmatch(name)}
    text = (
        f"parameters: {len(changed)} of the {both} in both logs differ at the end of each; those "
        "that autopilots write by themselves, as counters, are left out"
    )
    lines = _wrapped(text, width)
    lines += _rows({name: pair for name, pair in changed.items() if name not in zeroed})
    if zeroed:
        lines.append("of them zeroed by the autopilot while it stood")
        lines += _rows({name: pair for name, pair in changed.items() if name in zeroed})
    lines += _only("here", difference.only_first, width)
    lines += _only("there", difference.only_second, width)
    return lines


def _rows(changed: Mapping[str, tuple[float, float]]) -> list[str]:
    """One line for each parameter: name, value here, value there."""
    if not changed:
        return []
    shown = dict(list(changed.items())[:_MOST_ROWS])
    column = min(max(len(plain(name, _NAME_LIMIT)) for name in shown), _NAME_LIMIT)
    lines = [f"  {'':<{column}}  {'here':>14}  {'there':>14}"]
    for name, (one, other) in shown.items():
        first, second = _values(one, other)
        lines.append(f"  {plain(name, _NAME_LIMIT):<{column}}  {first:>14}  {second:>14}")
    if len(changed) > _MOST_ROWS:
        lines.append(f"  and {len(changed) - _MOST_ROWS} more")
    return lines


def _values(one: float, other: float) -> tuple[str, str]:
    """Write two values that differ with as many digits as show it."""
    for digits in (6, 9, 17):
        first, second = (_number(value, digits) for value in (one, other))
        if first != second:
            break
    return first, second


def _number(value: float, digits: int) -> str:
    whole = value.is_integer() and abs(value) < _LARGEST_WHOLE
    return f"{value:.0f}" if whole else f"{value:.{digits}g}"


def _only(where: str, names: Sequence[str], width: int) -> list[str]:
    if not names:
        return []
    some = [plain(name, _NAME_LIMIT) for name in names[:_FIRST_NAMES]]
    more = len(names) - len(some)
    text = f"only {where}: {len(names)}, {', '.join(some)}{f' and {more} more' if more else ''}"
    return _wrapped(text, width)


def _wrapped(text: str, width: int, then: str = "  ") -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=then, break_on_hyphens=False)
