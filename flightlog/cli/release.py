"""``flightlog release``: for one flight, released or held and why."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.checks import write_new
from flightlog.cli.console import err, out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AircraftOption,
    ByOption,
    OneOption,
    enter,
    hands_of,
    json_lines,
    keys_of,
)
from flightlog.cli.signing import (
    KeysOption,
    PassphraseOption,
    TeamOption,
    a_path,
    given_text,
    say_added,
)
from flightlog.errors import Interrupted, UsageError

if TYPE_CHECKING:
    from flightlog.operations.calls import Call
    from flightlog.operations.checklists import Item
    from flightlog.operations.desk import Desk
    from flightlog.operations.plan import Plan

release_app = typer.Typer(
    name="release", help="For one flight: released, or held and why.", no_args_is_help=True
)

PackOption = Annotated[
    str, typer.Option("--pack", metavar="ID", help="Which pack, by the id of its file.")
]
RulesOption = Annotated[
    str | None,
    typer.Option(
        "--rules", metavar="ID", help="Rule book; the only one of the record, or 'none' for none."
    ),
]
SiteOption = Annotated[
    str | None,
    typer.Option(
        "--site", metavar="ID", help="Site; the only one of the record, or 'none' for none."
    ),
]
LapsOption = Annotated[
    int | None,
    typer.Option("--laps", metavar="N", min=1, help="Laps that are planned, for the energy."),
]
VoltageOption = Annotated[
    float | None,
    typer.Option(
        "--pack-voltage",
        metavar="V",
        help="Rest voltage of the whole pack; else by its last charge or check.",
    ),
]
LandingsOption = Annotated[
    int, typer.Option("--landings", metavar="N", help="How many are declared.")
]
PurposeOption = Annotated[
    str | None, typer.Option("--purpose", metavar="TEXT", help="What the flight is for.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object, for programs.")]
ReleaseArgument = Annotated[
    str, typer.Argument(metavar="RELEASE", help="The release, as 102.H3MED.")
]
_NONE = "none"
_LARGEST_ANSWERS = 200_000


@release_app.command()
def check(
    aircraft: AircraftOption,
    pack: PackOption,
    rules: RulesOption = None,
    site: SiteOption = None,
    landings: LandingsOption = 1,
    note: Annotated[
        bool, typer.Option("--note", help="Where it is held, write that down with the reasons.")
    ] = False,
    as_json: JsonOption = False,
    team: TeamOption = None,
) -> int:
    """Say whether a release could be signed now: ready, or held with every reason.

    Exit code 5 if it is held.

    Example: flightlog release check --aircraft pannier --pack pack-a
    """
    from flightlog.operations.release import conditions, draft_hold, refuse_unknown
    from flightlog.reports.release_words import check_json, check_lines

    with desk_of(team, read_only=not note) as desk:
        plan = _plan(desk, aircraft, pack, rules, site, landings, None)
        refuse_unknown(desk, plan)
        found = conditions(desk, plan)
        held = [c for c in found if not c.holds]
        if as_json:
            text = json.dumps(check_json(desk, plan, found), ensure_ascii=False, indent=2)
            out().json(text)
        else:
            out().lines(check_lines(desk, plan, found))
        if held and note:
            entry = desk.append(draft_hold(plan.aircraft, held))
            if not as_json:
                say_added(entry)
    return wall.HELD if held else wall.DONE


@release_app.command()
def sign(
    aircraft: AircraftOption,
    pack: PackOption,
    accepted_by: Annotated[
        str, typer.Option("--accepted-by", metavar="WHO", help="The pilot who accepts.")
    ],
    released_by: Annotated[
        str,
        typer.Option(
            "--released-by", metavar="WHO", help="Another person, of the role safety or inspector."
        ),
    ],
    rules: RulesOption = None,
    site: SiteOption = None,
    landings: LandingsOption = 1,
    purpose: PurposeOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> int:
    """Release one flight: two persons sign, each with one passphrase. Lasts four hours unspent.

    Refused with every reason, and what would clear it, unless all conditions hold.

    Example: flightlog release sign --aircraft pannier --pack pack-a --accepted-by pilot
    --released-by mechanic
    """
    from flightlog.operations.release import conditions, draft_release, refuse_unknown
    from flightlog.operations.release import release_state as state_of
    from flightlog.reports.release_words import check_lines, state_lines

    with desk_of(team) as desk:
        plan = _plan(desk, aircraft, pack, rules, site, landings, purpose)
        refuse_unknown(desk, plan)
        accepts, releases = keys_of(desk, [accepted_by, released_by])
        found = conditions(desk, plan)
        if not all(c.holds for c in found):
            out().lines(check_lines(desk, plan, found))
            return wall.HELD
        draft = draft_release(desk, plan, accepts, releases)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        found_state = state_of(desk, aircraft)
        out().lines(state_lines(desk, found_state))
    return wall.DONE if found_state.released else wall.HELD


@release_app.command()
def state(aircraft: AircraftOption, as_json: JsonOption = False, team: TeamOption = None) -> int:
    """Say whether an aircraft is released for its next flight, or held and why.

    Exit code 5 if it is held.

    Example: flightlog release state --aircraft pannier
    """
    from flightlog.operations.release import release_state as state_of
    from flightlog.reports.release_words import state_json, state_lines

    with desk_of(team, read_only=True) as desk:
        found = state_of(desk, aircraft)
        if as_json:
            out().json(json.dumps(state_json(desk, found), ensure_ascii=False, indent=2))
        else:
            out().lines(state_lines(desk, found))
    return wall.DONE if found.released else wall.HELD


@release_app.command()
def expect(
    figure: Annotated[
        str, typer.Argument(metavar="FIGURE", help="Its id, such as takeoff.ground_roll.")
    ],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="In the unit of the figure.")],
    std: Annotated[
        str, typer.Option("--std", metavar="S", help="Its standard uncertainty, above 0.")
    ],
    aircraft: AircraftOption,
    method: Annotated[
        str, typer.Option("--method", metavar="TEXT", help="How it was found, in words.")
    ],
    by: OneOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter what an engineer expects of the next flight, for limits that are judged before it.

    It is for the load sheet and the weather in force, and holds for 12 hours.

    Example: flightlog release expect takeoff.ground_roll 31.5 --std 2.2 --aircraft pannier
    --method "mean of six flights at this load" --by mechanic
    """
    from flightlog.operations.expected import draft_expectation

    with desk_of(team) as desk:
        draft = draft_expectation(
            desk,
            aircraft,
            figure,
            value,
            std,
            given_text(method, "--method"),
            desk.crew.present_key(by),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@release_app.command()
def withdraw(
    release: ReleaseArgument,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")],
    by: OneOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Take a release back that was not flown under; anybody of the crew may.

    Example: flightlog release withdraw 102.H3MED --reason "gusts over the trees" --by observer
    """
    from flightlog.operations.release import draft_withdrawal

    with desk_of(team) as desk:
        draft = draft_withdrawal(
            desk,
            desk.book.find(release),
            given_text(reason, "--reason"),
            desk.crew.present_key(by),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@release_app.command()
def sheet(
    release: ReleaseArgument,
    html: Annotated[Path, typer.Option("--html", metavar="FILE", parser=a_path, help="New file.")],
    team: TeamOption = None,
) -> None:
    """Write a release as one page for paper: conditions, numbers, signatures, head of the record.

    Example: flightlog release sheet 102.H3MED --html release.html
    """
    from flightlog.reports.release_sheet import release_sheet

    with desk_of(team, read_only=True) as desk:
        text = release_sheet(desk, desk.book.find(release))
        write_new(html, text)


# --- what is flown with


def _plan(
    desk: Desk,
    aircraft: str,
    pack: str,
    rules: str | None,
    site: str | None,
    landings: int,
    purpose: str | None,
) -> Plan:
    from flightlog.operations.plan import Plan

    return Plan(
        aircraft,
        pack,
        chosen(desk, "rules", rules),
        chosen(desk, "site", site),
        landings,
        given_text(purpose, "--purpose"),
    )


def chosen(desk: Desk, kind: str, given: str | None) -> str:
    """Give the id that is meant: what was given, or the only one of the record, which is said.

    Raises
    ------
    UsageError
        If the record holds several and none was given.
    """
    option = f"--{kind}"
    if given is not None:
        return "" if given_text(given, option) == _NONE else given
    known = desk.versions.ids(kind)
    if len(known) > 1:
        raise UsageError(
            f"the record holds several: {', '.join(known)}",
            where=option,
            fix=f"Give {option} ID, or {option} {_NONE}.",
        )
    word = "rule book" if kind == "rules" else kind
    if not known:
        err().line(f"flightlog: without a {word}: the record holds none")
        return ""
    err().line(f"flightlog: {word} {known[0]}, the only one of the record")
    return known[0]


# --- calls


@release_app.command()
def calls(
    release: ReleaseArgument,
    by: ByOption,
    answers: Annotated[
        Path | None,
        typer.Option(
            "--answers",
            metavar="FILE",
            parser=a_path,
            help='For scripts: one JSON object a line, as {"item": "clear", "value": "6"}.',
        ),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> int:
    """Write down, after landing, what was called before the take-off: one entry, every item.

    Each item is asked for; an empty line is no answer. Exit code 5 if a call had failed.

    Example: flightlog release calls 102.H3MED --answers calls.jsonl --by observer
    """
    from flightlog.operations.calls import CALLS_LIST, calls_of, draft_calls, parsed_calls
    from flightlog.operations.checks import checklist_in_force

    with desk_of(team) as desk:
        entry = desk.book.find(release)
        if answers is not None:
            given = parsed_calls(json_lines(answers, _LARGEST_ANSWERS))
        else:
            items = checklist_in_force(desk, CALLS_LIST).items
            given = {item.id: _ask(item) for item in items}
        draft = draft_calls(desk, entry, given, keys_of(desk, by))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        found = calls_of(desk, entry)
        if found is not None:
            out().line(found.says)
    return wall.DONE if found is not None and not found.wrong else wall.HELD


def _ask(item: Item) -> Call:
    """Ask for one call until there is an answer that fits; an empty line is none."""
    from flightlog.operations.calls import said_of

    if not sys.stdin.isatty():
        raise UsageError(
            "this is no terminal to ask at", where="release calls", fix="Give --answers FILE."
        )
    measured = item.kind == "measurement"
    out().line(f"{item.section}: {item.text} ({item.role})")
    prompt = f"number in {item.unit or '1'}" if measured else "p"
    while True:
        try:
            call = _typed(input(f"  {prompt}, f REASON, n REASON: ").strip(), measured)
            said_of(item, call)
        except EOFError as error:
            raise Interrupted("stopped at a call") from error
        except UsageError as error:
            err().line(f"flightlog: {error.sentence()}")
        else:
            return call


def _typed(typed: str, measured: bool) -> Call:
    """Read one line; of a measurement that failed its number comes first."""
    from flightlog.operations.calls import Call

    word, _, rest = typed.partition(" ")
    if word == "n":
        return Call("not-applicable", reason=rest)
    if word == "f":
        value, _, why = rest.partition(" ") if measured else ("", "", rest)
        return Call("fail", value, reason=why)
    if measured:
        return Call(value=typed)
    return Call("pass" if typed == "p" else "")
