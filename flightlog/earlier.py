"""An earlier debrief of the same log: read strictly, and compared figure by figure.

A number that was told once stays told. When the analyses change, or what was given beside the
log, the new debrief says which limits, figures and intervals moved and from where.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NoReturn

from flightlog.contract import DEBRIEF_SCHEMA, to_json
from flightlog.debriefing import Debrief
from flightlog.errors import TeamFileError, UsageError
from flightlog.figures import ANALYSES_VERSION, FIGURES
from flightlog.findings import Finding, make_finding

LARGEST_BYTES = 50_000_000
"""No debrief of one log is larger [bytes]."""

SAME_SORTIE_S = 5.0
"""Two debriefs of one log put the start of a sortie as near as this to each other [s]."""

RECOMPUTED = "recomputed"
"""Code of the findings that say what changed."""

_SHOWN = 60
"""Longest text from the file in a message [characters]."""

_GIVEN, _FLIGHTS, _OUTCOME, _SCORE = "given", "flights", "outcome", "score"
_VALUE, _INTERVAL, _NEW = "value", "interval", "new"
_MOST_IMPORTANT_FIRST = (_GIVEN, _FLIGHTS, _OUTCOME, _SCORE, _VALUE, _INTERVAL, _NEW)
"""What changes are about: the word ``what`` of their evidence."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number that a debrief told: value and interval, in its unit.

    ``low`` and ``high`` are None where the debrief does not hold them.
    """

    value: float
    low: float | None
    high: float | None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """A limit that a debrief judged: the word for it, the bound as a text, and why it has none."""

    word: str
    figure: str
    bound: str
    reason: str


@dataclass(frozen=True, slots=True)
class ToldSortie:
    """What a debrief told of one sortie.

    Attributes
    ----------
    number : int
        Its number.
    start_s : float
        Its start on the log's clock. [s]
    figures : mapping of str to Number
        Figure id -> its number.
    withheld : mapping of str to str
        Figure id -> reason.
    outcomes : mapping of tuple to Judged
        Kind, id, direction and source of a limit -> how it was judged.
    score : Number or str or None
        The total, or why there is none; None where no score was asked for.
    """

    number: int
    start_s: float
    figures: Mapping[str, Number]
    withheld: Mapping[str, str]
    outcomes: Mapping[tuple[str, ...], Judged]
    score: Number | str | None


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
    sorties : tuple of ToldSortie
        In the order of time.
    """

    file: str
    sha256: str
    analyses: int
    inputs: Mapping[str, Any]
    partners: tuple[str, ...]
    sorties: tuple[ToldSortie, ...]


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


def _sortie(body: object, number: int, where: str) -> ToldSortie:
    place = f"sorties[{number}]"
    if not isinstance(body, dict):
        _fault(where, f"{place} is no table")
    figures: dict[str, Number] = {}
    for id_, figure in _table(body, "figures", where).items():
        name = f"{place}.{id_[:_SHOWN]}"
        if not isinstance(figure, dict):
            _fault(where, f"{name} is no table")
        figures[id_] = _told(figure, name, where, _string(figure, f"{name}.unit", where))
    withheld = _table(body, "withheld", where)
    if not all(isinstance(reason, str) for reason in withheld.values()):
        _fault(where, f"{place}.withheld holds a reason that is no text")
    outcomes = body.get("outcomes", [])
    if not isinstance(outcomes, list) or not all(isinstance(o, dict) for o in outcomes):
        _fault(where, f"{place}.outcomes is no list of tables")
    return ToldSortie(
        number=_whole(body, f"{place}.number", where),
        start_s=_number(body, f"{place}.start_s", where),
        figures=figures,
        withheld=withheld,
        outcomes=dict(_judged(o, f"{place}.outcomes", where) for o in outcomes),
        score=_score(body, f"{place}.score", where),
    )


def _told(body: Mapping[str, Any], name: str, where: str, unit: str = "") -> Number:
    low, high = (
        _number(body, f"{name}.{end}", where) if body.get(end) is not None else None
        for end in ("low", "high")
    )
    return Number(_number(body, f"{name}.value", where), low, high, unit)


def _judged(body: Mapping[str, Any], name: str, where: str) -> tuple[tuple[str, ...], Judged]:
    kind, limit, figure, word = (
        _string(body, f"{name}.{key}", where) for key in ("kind", "limit", "figure", "outcome")
    )
    bound = _table(body, "bound", where)
    op, unit = (_string(bound, f"{name}.bound.{key}", where) for key in ("op", "unit"))
    value = _number(bound, f"{name}.bound.value", where)
    source, reason = (str(body.get(key, "")) for key in ("source", "reason"))
    return (kind, limit, op, source), Judged(word, figure, f"{op} {value:g} {unit}".strip(), reason)


def _score(body: Mapping[str, Any], name: str, where: str) -> Number | str | None:
    score = body.get("score")
    if score is None:
        return None
    if not isinstance(score, dict):
        _fault(where, f"{name} is no table")
    total = score.get("total")
    if total is not None and not isinstance(total, dict):
        _fault(where, f"{name}.total is no table")
    if total is None or total.get("value") is None:  # a number that was not finite
        return str(score.get("reason", ""))
    return _told(total, f"{name}.total", where)


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
        With a finding ``recomputed`` for every limit that is judged otherwise, for a score and
        for every figure that moved by more than it is rounded to, or whose interval did, that
        came or went, in its sortie; and one that says by which analyses both are.

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
    body = to_json(result)
    given = _other_inputs(result, body["inputs"], earlier)
    left = list(earlier.sorties)
    sorties, changes = [], 0
    for sortie, item in zip(result.sorties, body["sorties"], strict=True):
        now = _sortie(item, sortie.sortie.number, result.receipt.file)
        then = min(left, key=lambda s: abs(s.start_s - now.start_s), default=None)
        if then is None or abs(then.start_s - now.start_s) > SAME_SORTIE_S:
            found = [_new_sortie(now, earlier)]
        else:
            left.remove(then)
            found = _in_order(_changes(then, now, earlier))
        start_s, end_s = sortie.sortie.start_s, sortie.sortie.end_s
        found = [replace(one, start_s=start_s, end_s=end_s) for one in found]
        changes += len(found)
        sorties.append(replace(sortie, findings=(*sortie.findings, *found)))
    rest = [_gone_sortie(s, earlier) for s in left]
    changes += len(rest)
    if changes and given:
        text = f"what was given beside the log differs: {given}."
        rest.append(_recomputed(_GIVEN, text, earlier, {"given": given}))
    rest.append(_versions(earlier, given, changes))
    return replace(result, sorties=tuple(sorties), findings=(*result.findings, *rest))


def changes_in(result: Debrief) -> tuple[str, ...]:
    """Give what `compared` found to have changed, in sentences, the most important first.

    Parameters
    ----------
    result : Debrief
        From `compared`.

    Returns
    -------
    tuple of str
        With the number of the flight where there are several; empty where nothing changed.
    """
    many = len(result.sorties) > 1
    told = [
        (finding, f"flight {sortie.sortie.number}: " if many else "")
        for sortie in result.sorties
        for finding in sortie.findings
    ]
    told += [(finding, "") for finding in result.findings]
    which = {id(finding): flight for finding, flight in told}
    found = _in_order(f for f, _ in told if f.code == RECOMPUTED and "what" in f.evidence)
    return tuple(f"{which[id(f)]}{f.message.removesuffix('.')}" for f in found)


def _in_order(found: Iterable[Finding]) -> list[Finding]:
    return sorted(found, key=lambda f: _MOST_IMPORTANT_FIRST.index(str(f.evidence["what"])))


def _other_inputs(result: Debrief, now: Mapping[str, Any], earlier: EarlierDebrief) -> str:
    """Name what was given otherwise; "" when nothing was."""
    names = [name for name in now if now[name] != earlier.inputs.get(name)]
    if sorted(p.sha256 for p in result.receipt.partners) != sorted(earlier.partners):
        names.append("joined recordings")
    return ", ".join(names)


def _changes(then: ToldSortie, now: ToldSortie, earlier: EarlierDebrief) -> Iterator[Finding]:
    yield from _other_outcomes(then, now, earlier)
    yield from _other_score(then.score, now.score, earlier)
    for id_ in FIGURES.ordered((*then.figures, *now.figures)):
        old, new = then.figures.get(id_), now.figures.get(id_)
        change = _change(id_, old, new)
        if not change:
            continue
        if change == _NEW and id_ in then.withheld:
            change = _VALUE
        if old is not None and new is not None:
            was, is_ = _apart(id_, old, new)
        else:
            decimals = FIGURES[id_].decimals
            absent = "withheld" if id_ in then.withheld else "not there"
            was = _written(id_, old, decimals) if old is not None else absent
            reason = now.withheld.get(id_, "there are no data for it")
            is_ = _written(id_, new, decimals) if new is not None else f"withheld: {reason}"
        evidence: dict[str, float | int | str] = {"figure": id_, "unit": FIGURES[id_].unit}
        text = f"{_label(id_)} was {was}, is {is_}."
        evidence |= _numbers(old, new)
        yield _recomputed(change, text, earlier, evidence, affects=(id_,))


def _other_outcomes(
    then: ToldSortie, now: ToldSortie, earlier: EarlierDebrief
) -> Iterator[Finding]:
    for key in dict.fromkeys((*now.outcomes, *then.outcomes)):
        old, new = then.outcomes.get(key), now.outcomes.get(key)
        known = new or old
        was, is_ = (one.word[:_SHOWN] if one is not None else "not judged" for one in (old, new))
        if known is None or was == is_:
            continue
        limit, why = key[1][:_SHOWN], new.reason if new is not None else ""
        yield _recomputed(
            _OUTCOME,
            f"the limit {limit} ({_label(known.figure)} {known.bound}) was {was}, is {is_}"
            f"{f': {why}' if why else ''}.",
            earlier,
            {"limit": limit, "old": was, "new": is_},
            affects=(known.figure,) if known.figure in FIGURES else (),
        )


def _other_score(
    old: Number | str | None, new: Number | str | None, earlier: EarlierDebrief
) -> Iterator[Finding]:
    if isinstance(old, Number) and isinstance(new, Number):
        if _is_same(_SCORE, old, new):
            return
        was, is_ = _apart(_SCORE, old, new)
    elif type(old) is type(new):  # withheld then and now, or not asked for
        return
    else:
        was, is_ = map(_score_text, (old, new))
    numbers = _numbers(*(one if isinstance(one, Number) else None for one in (old, new)))
    yield _recomputed(_SCORE, f"the score was {was}, is {is_}.", earlier, numbers)


def _score_text(score: Number | str | None) -> str:
    if isinstance(score, Number):
        return _written(_SCORE, score, _SCORE_DECIMALS)
    return "not asked for" if score is None else f"withheld: {score[:_SHOWN]}".removesuffix(": ")


# --- numbers


_SCORE_DECIMALS = 1


def _decimals(id_: str) -> int:
    return _SCORE_DECIMALS if id_ == _SCORE else FIGURES[id_].decimals


def _change(id_: str, old: Number | None, new: Number | None) -> str:
    """Say what changed of a figure: its value, its interval, that it is new; "" for nothing."""
    if new is None:
        return _VALUE if old is not None else ""
    if old is None:
        return _NEW
    if old.unit != new.unit or _moved(id_, old.value, new.value):
        return _VALUE
    return "" if _is_same(id_, old, new) else _INTERVAL


def _is_same(id_: str, old: Number, new: Number) -> bool:
    """Whether value and interval are the same, but for what rounding hides."""
    pairs = [(old.value, new.value), (old.low, new.low), (old.high, new.high)]
    return not any(_moved(id_, was, now) for was, now in pairs)


def _moved(id_: str, old: float | None, new: float | None) -> bool:
    """Whether a number changed by more than what its rounding hides."""
    if old is None or new is None:
        return False
    apart = abs(new - old)
    if _is_direction(id_):
        apart = min(apart % 360, -apart % 360)
    return apart > 0.5 * 10.0 ** -_decimals(id_)


def _is_direction(id_: str) -> bool:
    return id_.endswith(".from_deg")


def _apart(id_: str, old: Number, new: Number) -> tuple[str, str]:
    """Write two numbers with as many decimals as it takes to see that they are two."""
    decimals = _decimals(id_)
    # Of a value that moved it has to be the value itself by which they differ.
    bare = [replace(n, low=None) for n in (old, new)] if _moved(id_, old.value, new.value) else []
    one, other = (_written(id_, number, decimals) for number in bare or (old, new))
    if one == other:
        decimals += 1
    return _written(id_, old, decimals), _written(id_, new, decimals)


def _written(id_: str, number: Number, decimals: int) -> str:
    """Write a number with its unit and interval; an exact one has none."""

    def digits(value: float) -> str:
        return f"{value % 360 if _is_direction(id_) else value:z.{decimals}f}"

    text, low, high = f"{digits(number.value)} {number.unit[:_SHOWN]}", number.low, number.high
    if low is None or high is None or low == high:
        return text.strip()
    if _is_direction(id_) and high - low >= 360:
        return f"{text.strip()} (any direction)"
    return f"{text.strip()} ({digits(low)} to {digits(high)})"


def _numbers(old: Number | None, new: Number | None) -> dict[str, float | int | str]:
    return {
        f"{name}{end}": number
        for name, told in (("old", old), ("new", new))
        if told is not None
        for end, number in (("", told.value), ("_low", told.low), ("_high", told.high))
        if number is not None
    }


def _label(id_: str) -> str:
    """Give what a figure is called within a sentence."""
    if id_ not in FIGURES:
        return id_[:_SHOWN]
    label = FIGURES[id_].label
    return f"{label[0].lower()}{label[1:]}"


# --- findings


def _recomputed(
    what: str,
    message: str,
    earlier: EarlierDebrief,
    evidence: Mapping[str, float | int | str],
    *,
    affects: tuple[str, ...] = (),
) -> Finding:
    evidence = {"what": what, **evidence, **_by(earlier)}
    return make_finding(RECOMPUTED, message, evidence=evidence, affects=affects)


def _by(earlier: EarlierDebrief) -> dict[str, float | int | str]:
    return {"old_analyses": earlier.analyses, "new_analyses": ANALYSES_VERSION}


def _new_sortie(sortie: ToldSortie, earlier: EarlierDebrief) -> Finding:
    text = f"the sortie that starts at {sortie.start_s:.1f} s is not in the earlier debrief."
    return _recomputed(_FLIGHTS, text, earlier, {"sortie": sortie.number})


def _gone_sortie(then: ToldSortie, earlier: EarlierDebrief) -> Finding:
    text = f"the sortie that started at {then.start_s:.1f} s is none any more."
    return _recomputed(_FLIGHTS, text, earlier, {"old_sortie": then.number})


def _versions(earlier: EarlierDebrief, given: str, changes: int) -> Finding:
    """Say by which analyses both debriefs are; this is no change by itself."""
    by = f"analyses {earlier.analyses} then, {ANALYSES_VERSION} now"
    if changes:
        text = f"{by}."
    else:
        other = f"; what was given differs: {given}" if given else ""
        text = f"no figure moved by more than it is rounded to: {by}{other}."
    return make_finding(RECOMPUTED, text, evidence=_by(earlier))
