"""A release on one sheet of paper: what was released, by whom, on what it rests."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from flightlog.errors import RefusedError
from flightlog.logbook.codes import head_code
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import LOAD_SHEET, WEATHER
from flightlog.operations.calls import calls_of
from flightlog.operations.desk import Desk
from flightlog.operations.positions import heads_of, named
from flightlog.operations.release import ReleaseState, worth_of
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.markup import escaped, listed, page, table
from flightlog.reports.release_words import signature_lines


def release_sheet(desk: Desk, release: Entry) -> str:
    """Give a release as a page.

    Parameters
    ----------
    desk : Desk
        The record.
    release : Entry
        Of kind "release".

    Raises
    ------
    UsageError
        If the entry is no release.
    RefusedError
        If it does not count.
    """
    state = worth_of(desk, release)
    if not desk.ledger.standing.counts(release):
        raise RefusedError("it does not count, so that there is no sheet of it", where=release.name)
    conditions = [(c["condition"], c["says"]) for c in release.body.content["conditions"]]
    parts = [
        *_top(desk, state),
        table(("", ""), release_facts(desk, release)),
        "<h2>Signatures</h2>",
        listed(signature_lines(desk, release)),
        "<h2>Conditions, as they held when it was signed</h2>",
        table(("condition", "found"), conditions),
        *_calls(desk, release),
        *_foot(desk, release),
    ]
    return page(f"Release {named(release)} for one flight, {desk.folder.name}", *parts)


def _top(desk: Desk, state: ReleaseState) -> Iterator[str]:
    at = _utc(desk.ledger.now)
    yield f"<p><strong>{escaped(state.word)}</strong>, as the record stood at {escaped(at)}</p>"
    if state.reasons:
        yield listed(f"{c.name}: {c.says}" for c in state.reasons)
    yield "".join(f'<p class="note">{escaped(text)}</p>' for text in CAUTIONS)


def release_facts(desk: Desk, release: Entry) -> Iterator[tuple[str, str]]:
    """Give what was released, with the numbers of its load sheet and weather."""
    said = release.body.content
    signed = desk.ledger.when(release)
    yield "aircraft", f"{said['aircraft']}, configuration {said['configuration']}"
    yield "aircraft file", _file(desk, str(said["aircraft_file"]))
    yield "rule book", _file(desk, str(said["rules"])) if "rules" in said else "none"
    yield "site, pack", f"{said.get('site', 'none')}, {said['pack']}"
    mass = said["mass"]
    yield "take-off mass", f"{mass['value']} {mass['unit']}, {said['units']} units"
    yield from _numbers(desk, release)
    yield "landings declared", str(said["landings"])
    yield "signed", f"{_utc(signed)}{_put_right(desk, release)}"
    yield "ends unspent", _utc(datetime.fromisoformat(str(said["until"]).replace("Z", "+00:00")))
    if "purpose" in said:
        yield "purpose", str(said["purpose"])


def _file(desk: Desk, sha256: str) -> str:
    """Name a version of a file by its content; its id too where the record holds it."""
    version = desk.versions.by_hash(sha256)
    known = f"{version.id} {named(version.entry)}, " if version is not None else ""
    return f"{known}SHA-256 {sha256}"


def _numbers(desk: Desk, release: Entry) -> Iterator[tuple[str, str]]:
    """Give the numbers of load sheet and weather that it cites."""
    for sheet in desk.ledger.named(release, kind=LOAD_SHEET):
        said = sheet.body.content
        parts = [f"{said[k]['value']} {said[k]['unit']}" for k in ("arm", "balance")]
        told = f"arm {parts[0]}, balance {parts[1]}{_put_right(desk, sheet)}"
        yield f"load sheet {named(sheet)}", told
    for weather in desk.ledger.named(release, kind=WEATHER):
        said = weather.body.content
        keys = ("wind_mean", "wind_gust", "wind_from", "temperature", "pressure", "humidity")
        text = ", ".join(
            f"{k.replace('_', ' ')} {said[k]['value']} {said[k]['unit']}" for k in keys
        )
        when = f"{_utc(desk.ledger.when(weather))}{_put_right(desk, weather)}"
        yield f"weather {named(weather)}", f"{text}, {when}"


def _put_right(desk: Desk, entry: Entry) -> str:
    """Say of an entry that was corrected by which one: what it says is not what was."""
    by = ", ".join(map(named, desk.ledger.corrections(entry)))
    return f"; put right by {by}" if by else ""


def _calls(desk: Desk, release: Entry) -> Iterator[str]:
    calls = calls_of(desk, release)
    if calls is None:
        return
    yield f"<h2>Calls</h2><p>{escaped(calls.says)}</p>"
    rows = [
        (one["item"], one["result"], _value(one), one["role"], one.get("reason", ""))
        for one in calls.entry.body.content["items"]
    ]
    yield table(("item", "result", "value", "called by", "reason"), rows)


def _value(one: dict[str, dict[str, str]]) -> str:
    value = one.get("value")
    return f"{value['value']} {value['unit']}".strip() if value else ""


def _foot(desk: Desk, release: Entry) -> Iterator[str]:
    cited = ", ".join(f"{named(e)} ({e.body.kind})" for e in desk.ledger.named(release))
    heads = ", ".join(heads_of(desk.ledger))
    itself = head_code(release.body.number, release.hash)
    yield f'<p class="note">Rests on {escaped(cited)}.</p>'
    yield (
        f'<p class="note">This release: <span class="mono">{escaped(itself)}</span>. Head of the '
        f'record when this was printed: <span class="mono">{escaped(heads)}</span>.</p>'
    )


def _utc(when: datetime) -> str:
    return f"{when:%Y-%m-%d %H:%M} UTC"
