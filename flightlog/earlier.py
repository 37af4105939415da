"""An earlier debrief of the same log: read strictly, and compared figure by figure.

A number that was told once stays told. When the analyses change, or what was given beside the
log, the new debrief says which figures moved and from where.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NoReturn

from flightlog.contract import DEBRIEF_SCHEMA, to_json
from flightlog.debriefing import Debrief, SortieDebrief
from flightlog.errors import TeamFileError, UsageError
from flightlog.figures import ANALYSES_VERSION, FIGURES
from flightlog.findings import Finding, make_finding

LARGEST_BYTES = 50_000_000
"""No debrief of one log is larger [bytes]."""

SAME_SORTIE_S = 5.0
"""Two debriefs of one log put the start of a sortie as near as this to each other [s]."""

_SHOWN = 60
"""Longest text from the file in a message [characters]."""


@dataclass(frozen=True, slots=True)
class EarlierSortie:
    """What an earlier debrief said of one sortie.

    Attributes
    ----------
    number : int
        Its number then.
    start_s : float
        Its start on the log's clock. [s]
    figures : mapping of str to (float, str)
        Figure id -> value and unit.
    withheld : mapping of str to str
        Figure id -> reason.
    """

    number: int
    start_s: float
    figures: Mapping[str, tuple[float, str]]
    withheld: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class EarlierDebrief:
    """An earlier debrief, as far as it is compared.

    Attributes
    ----------
    file, sha256 : str
        Which log it is of.
    analyses : int
        Version of the analyses that made it.
    inputs : mapping
        What was given beside the log.
    partners : tuple of str
        SHA-256 of the recordings that were joined to it.
    sorties : tuple of EarlierSortie
        In the order of time.
    """

    file: str
    sha256: str
    analyses: int
    inputs: Mapping[str, Any]
    partners: tuple[str, ...]
    sorties: tuple[EarlierSortie, ...]


# --- reading


def read_earlier(path: Path) -> EarlierDebrief:
    """Read a debrief that ``--json`` printed.

    Raises
    ------
    TeamFileError
        If the file is missing, too large, not JSON, or not a debrief of ours.
    """
    where = str(path)
    body = _parsed(_text(path), where)
    if not isinstance(body, dict) or body.get("schema") != DEBRIEF_SCHEMA:
        schema = body.get("schema") if isinstance(body, dict) else None
        _fault(where, f"no debrief (its schema is {str(schema)[:_SHOWN]!r})")
    log, tool = _table(body, "log", where), _table(body, "tool", where)
    partners = log.get("partners", [])  # debriefs made before there were any have none
    if not isinstance(partners, list) or not all(isinstance(p, dict) for p in partners):
        _fault(where, "log.partners is no list of tables")
    sorties = body.get("sorties")
    if not isinstance(sorties, list):
        _fault(where, "sorties is no list")
    return EarlierDebrief(
        file=_string(log, "log.file", where),
        sha256=_string(log, "log.sha256", where),
        analyses=_whole(tool, "tool.analyses", where),
        inputs=_table(body, "inputs", where),
        partners=tuple(_string(p, "log.partners.sha256", where) for p in partners),
        sorties=tuple(_sortie(s, n, where) for n, s in enumerate(sorties, start=1)),
    )


def _fault(where: str, found: str) -> NoReturn:
    raise TeamFileError(
        found, where=where, fix="Give what 'flightlog debrief LOG --json' printed earlier."
    )


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            _fault(str(path), "this is a folder")
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            _fault(str(path), f"{size} bytes are too many for a debrief")
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError, ValueError) as error:
        _fault(str(path), f"can't be read ({error})")


def _parsed(text: str, where: str) -> Any:
    def no_number(name: str) -> NoReturn:
        _fault(where, f"{name} is no number that a debrief may hold")

    try:
        return json.loads(text, parse_constant=no_number)
    except RecursionError:
        _fault(where, "it is nested too deeply for a debrief")
    except ValueError as error:
        _fault(where, f"not JSON ({error})")


def _table(body: Mapping[str, Any], key: str, where: str) -> dict[str, Any]:
    value = body.get(key)
    if not isinstance(value, dict):
        _fault(where, f"{key} is no table")
    return value


def _string(body: Mapping[str, Any], key: str, where: str) -> str:
    value = body.get(key.rpartition(".")[2])
    if not isinstance(value, str):
        _fault(where, f"{key} is no text")
    return value


def _whole(body: Mapping[str, Any], key: str, where: str) -> int:
    value = body.get(key.rpartition(".")[2])
    if not isinstance(value, int) or isinstance(value, bool):
        _fault(where, f"{key} is no whole number")
    return value


def _number(body: Mapping[str, Any], key: str, where: str) -> float:
    value = body.get(key.rpartition(".")[2])
    if isinstance(value, bool) or not isinstance(value, int | float):
        _fault(where, f"{key} is no number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        _fault(where, f"{key} is too large")
    return number


def _sortie(body: object, number: int, where: str) -> EarlierSortie:
    place = f"sorties[{number}]"
    if not isinstance(body, dict):
        _fault(where, f"{place} is no table")
    figures: dict[str, tuple[float, str]] = {}
    for id_, figure in _table(body, "figures", where).items():
        name = f"{place}.{id_[:_SHOWN]}"
        if not isinstance(figure, dict):
            _fault(where, f"{name} is no table")
        figures[id_] = (
            _number(figure, f"{name}.value", where),
            _string(figure, f"{name}.unit", where),
        )
    withheld = _table(body, "withheld", where)
    if not all(isinstance(reason, str) for reason in withheld.values()):
        _fault(where, f"{place}.withheld holds a reason that is no text")
    return EarlierSortie(
        number=_whole(body, f"{place}.number", where),
        start_s=_number(body, f"{place}.start_s", where),
        figures=figures,
        withheld=withheld,
    )


# --- comparing


def compared(result: Debrief, earlier: EarlierDebrief) -> Debrief:
    """Add to a debrief what changed since an earlier one of the same log.

    Parameters
    ----------
    result : Debrief
        The new one.
    earlier : EarlierDebrief
        From `read_earlier`.

    Returns
    -------
    Debrief
        With a finding ``recomputed`` for every figure that moved by more than it is rounded to,
        came or went, in its sortie; or one that says that none did.

    Raises
    ------
    UsageError
        If the earlier debrief is of another log.
    """
    if earlier.sha256 != result.receipt.sha256:
        raise UsageError(
            f"the earlier debrief is of {earlier.file[:_SHOWN]!r} (SHA-256 "
            f"{earlier.sha256[:12]!r}) and not of {result.receipt.file!r} "
            f"(SHA-256 {result.receipt.sha256[:12]!r})",
            where="--against",
            fix="Give the debrief of the same log.",
        )
    other = _other_inputs(result, earlier)
    left = list(earlier.sorties)
    sorties, changes = [], 0
    for sortie in result.sorties:
        then = min(left, key=lambda s: abs(s.start_s - sortie.sortie.start_s), default=None)
        if then is None or abs(then.start_s - sortie.sortie.start_s) > SAME_SORTIE_S:
            found = [_new_sortie(sortie, earlier, other)]
        else:
            left.remove(then)
            found = list(_changes(sortie, then, earlier, other))
        changes += len(found)
        sorties.append(replace(sortie, findings=(*sortie.findings, *found)))
    gone = [_gone_sortie(s, earlier, other) for s in left]
    if not changes and not gone:
        gone = [_unchanged(earlier, other)]
    return replace(result, sorties=tuple(sorties), findings=(*result.findings, *gone))


def _other_inputs(result: Debrief, earlier: EarlierDebrief) -> str:
    """What was given otherwise, as the end of a sentence; "" when nothing was."""
    now = to_json(replace(result, sorties=(), attempts=(), findings=()))["inputs"]
    names = [name for name in now if now[name] != earlier.inputs.get(name)]
    if sorted(p.sha256 for p in result.receipt.partners) != sorted(earlier.partners):
        names.append("joined recordings")
    return f"; what was given differs too: {', '.join(names)}" if names else ""


def _changes(
    sortie: SortieDebrief, then: EarlierSortie, earlier: EarlierDebrief, other: str
) -> Iterator[Finding]:
    for id_ in FIGURES.ordered((*then.figures, *sortie.figures)):
        kind = FIGURES[id_]
        old, new = then.figures.get(id_), sortie.figures.get(id_)
        if old is None and new is None:
            continue
        evidence: dict[str, float | int | str] = {"figure": id_, "unit": kind.unit}
        if old is not None:
            evidence["old"] = old[0]
        if new is not None:
            evidence["new"] = new.quantity.value
        was = _old_text(id_, old, then, kind.decimals)
        if new is None:
            reason = sortie.withheld.get(id_, "there are no data for it")
            now = f"is withheld by analyses {ANALYSES_VERSION} ({reason})"
        elif old is not None and not _moved(old, new.quantity.value, kind.unit, kind.decimals):
            continue
        else:
            value = f"{new.quantity.value:.{kind.decimals + 1}f} {kind.unit}".strip()
            now = f"is {value} by analyses {ANALYSES_VERSION}"
        yield _recomputed(
            f"{id_} was {was} by analyses {earlier.analyses} and {now}{other}.",
            earlier,
            evidence,
            affects=(id_,),
            start_s=sortie.sortie.start_s,
            end_s=sortie.sortie.end_s,
        )


def _old_text(id_: str, old: tuple[float, str] | None, then: EarlierSortie, decimals: int) -> str:
    if old is not None:
        return f"{old[0]:.{decimals + 1}f} {old[1][:_SHOWN]}".strip()
    return "withheld" if id_ in then.withheld else "not there"


def _moved(old: tuple[float, str], new: float, unit: str, decimals: int) -> bool:
    """Whether a number changed by more than what its rounding hides."""
    return old[1] != unit or abs(new - old[0]) > 0.5 * 10.0**-decimals


def _recomputed(
    message: str,
    earlier: EarlierDebrief,
    evidence: Mapping[str, float | int | str],
    *,
    affects: tuple[str, ...] = (),
    start_s: float | None = None,
    end_s: float | None = None,
) -> Finding:
    versions = {"old_analyses": earlier.analyses, "new_analyses": ANALYSES_VERSION}
    return make_finding(
        "recomputed",
        message,
        evidence={**evidence, **versions},
        affects=affects,
        start_s=start_s,
        end_s=end_s,
    )


def _new_sortie(sortie: SortieDebrief, earlier: EarlierDebrief, other: str) -> Finding:
    start = sortie.sortie.start_s
    return _recomputed(
        f"the sortie that starts at {start:.1f} s is not in the debrief by analyses "
        f"{earlier.analyses}{other}.",
        earlier,
        {"sortie": sortie.sortie.number},
        start_s=start,
        end_s=sortie.sortie.end_s,
    )


def _gone_sortie(then: EarlierSortie, earlier: EarlierDebrief, other: str) -> Finding:
    return _recomputed(
        f"the sortie that started at {then.start_s:.1f} s by analyses {earlier.analyses} is not "
        f"one by analyses {ANALYSES_VERSION}{other}.",
        earlier,
        {"old_sortie": then.number},
    )


def _unchanged(earlier: EarlierDebrief, other: str) -> Finding:
    return _recomputed(
        f"no figure moved by more than it is rounded to: analyses {earlier.analyses} then, "
        f"{ANALYSES_VERSION} now{other}.",
        earlier,
        {},
    )
