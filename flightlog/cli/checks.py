"""``flightlog checks``: walk through lists, show how they stand, print them, enter them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AboutAircraft,
    AboutPack,
    ByOption,
    enter,
    hands_of,
    keys_of,
    photos,
    two_of,
    utc_of,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path, say_added
from flightlog.errors import OutputError, UsageError

if TYPE_CHECKING:
    from flightlog.operations.checks import About, ListState
    from flightlog.operations.desk import Desk

checks_app = typer.Typer(
    name="checks", help="Check lists: walk, show, print, enter.", no_args_is_help=True
)

ListArgument = Annotated[str, typer.Argument(metavar="LIST", help="Id of the list.")]
AnswersOption = Annotated[
    Path | None,
    typer.Option(
        "--answers",
        metavar="FILE",
        parser=a_path,
        help='For scripts: one JSON object a line, as {"item": "gear", "by": "mechanic", '
        '"result": "pass"}.',
    ),
]


@checks_app.command()
def walk(
    list_id: ListArgument,
    by: ByOption,
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    answers: AnswersOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> int:
    """Walk through a list, item by item; each is signed when it is judged.

    One person after the other is at the laptop, in the order of --by, and again as long as there is
    something to do: items that a second person has to look at wait for a turn of their own. Nothing
    passes by itself: an empty line asks again. What is signed stays, so that a list can be left and
    gone on with.

    Example: flightlog checks walk pre-flight --aircraft pannier --pack pack-a --by mechanic
    --by pilot
    """
    from flightlog.cli.check_walk import (
        Laptop,
        read_answers,
        refuse_without_terminal,
        sign_lines,
        take_turns,
    )
    from flightlog.operations.check_drafts import begun_draft, in_hand
    from flightlog.operations.checks import About, checklist_in_force

    about = About(aircraft or "", pack or "")
    with desk_of(team) as desk:
        persons = keys_of(desk, by)
        draft = begun_draft(desk, list_id, about)
        checklist = checklist_in_force(desk, list_id)
        if answers is None:
            refuse_without_terminal()
        lines = read_answers(desk, answers, checklist) if answers is not None else []
        begun = in_hand(desk, list_id, about)
        if begun is None:
            begun = desk.append(draft)
            say_added(begun)
        words = " with ".join(part for part in (about.aircraft, about.pack) if part)
        out().line(f"{checklist.title}, version {checklist.version}, for {words}")
        with Laptop(desk, hands_of(desk, keys, passphrase_fd), list_id) as laptop:
            if answers is not None:
                sign_lines(laptop, begun, lines)
            else:
                take_turns(laptop, begun, about, persons)
        return _say_state(desk, list_id, about)


def _say_state(desk: Desk, list_id: str, about: About) -> int:
    from flightlog.operations.checks import list_state

    state = list_state(desk, list_id, about)
    out().lines(_state_lines(state, only_open=True))
    return wall.DONE if state.complete else wall.HELD


# --- showing


@checks_app.command()
def show(
    list_id: Annotated[
        str | None, typer.Argument(metavar="LIST", help="Id of the list; all when left out.")
    ] = None,
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    with_evidence: Annotated[
        bool,
        typer.Option("--evidence", help="Seconds per item, repeated numbers, share of fails."),
    ] = False,
    team: TeamOption = None,
) -> None:
    """Show how lists stand: what is done, what is open, and what reopened it.

    Example: flightlog checks show pre-flight --aircraft pannier --pack pack-a
    """
    from flightlog.operations.check_evidence import evidence
    from flightlog.operations.checks import About

    about = About(aircraft or "", pack or "")
    if not aircraft and (not pack or with_evidence):
        raise UsageError("of which aircraft?", where="checks show", fix="Give --aircraft ID.")
    with desk_of(team, read_only=True) as desk:
        for one in [list_id] if list_id else _lists_about(desk, about):
            out().lines(_state_lines(_standing(desk, one, about), only_open=not list_id))
        if with_evidence and aircraft:
            out().line("For a doubting eye:")
            out().lines(f"  {line}" for line in evidence(desk, aircraft).lines)


def _lists_about(desk: Desk, about: About) -> list[str]:
    """Give the lists that are worked through for an aircraft, or for a pack."""
    from flightlog.operations.calls import CALLS_LIST
    from flightlog.operations.checks import checklist_in_force

    wanted = ("aircraft" if about.aircraft else "", "pack" if about.pack else "")
    return [
        one
        for one in desk.versions.ids("checklist")
        if desk.versions.in_force("checklist", one) is not None
        and one != CALLS_LIST
        and checklist_in_force(desk, one).about in wanted
    ]


def _standing(desk: Desk, list_id: str, about: About) -> ListState:
    """Give how a list stands; that of a flight with what a turn-around did again."""
    from flightlog.operations.checks import About, checklist_in_force, list_state
    from flightlog.operations.plan import Plan
    from flightlog.operations.turn_around import PRE_FLIGHT, flight_list

    if list_id == PRE_FLIGHT and about.aircraft and about.pack:
        return flight_list(desk, Plan(about.aircraft, about.pack))[0]
    if checklist_in_force(desk, list_id).about == "pack":
        about = About("", about.pack)
    return list_state(desk, list_id, about)


def _state_lines(state: ListState, *, only_open: bool) -> Iterator[str]:
    from flightlog.operations.positions import named

    done = sum(item.fine for item in state.items)
    word = "complete" if state.complete else f"{len(state.items) - done} to do"
    yield f"{state.checklist.title} (version {state.checklist.version}): {word}"
    for item in state.items:
        if item.fine and only_open:
            continue
        by = f"  {named(item.result)}" if item.result is not None else ""
        again = f"  by {item.renewed_by}" if item.renewed_by else ""
        why = f": {item.why}" if item.why else ""
        yield f"  {item.item.id:<24} {item.state}{why}{again}{by}"


@checks_app.command("print")
def print_(
    list_id: ListArgument,
    to: Annotated[
        Path | None,
        typer.Option(
            "--html",
            metavar="FILE",
            parser=a_path,
            help="A new file, as a page that any browser prints; without it, text here.",
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(
            "--pdf",
            metavar="FILE",
            parser=a_path,
            help="A new file, as a PDF with boxes for a gloved hand.",
        ),
    ] = None,
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    team: TeamOption = None,
) -> None:
    """Print a list to be filled in by hand, with the head of the record and the list's version.

    Example: flightlog checks print pre-flight --aircraft pannier --pdf pre-flight.pdf
    """
    from flightlog.operations.checks import About, checklist_in_force
    from flightlog.reports.check_sheet import check_content, check_lines, check_sheet

    about = About(aircraft or "", pack or "")
    with desk_of(team, read_only=True) as desk:
        checklist = checklist_in_force(desk, list_id)
        if to is None and pdf is None:
            out().lines(check_lines(desk, checklist, about))
        if to is not None:
            write_new(to, check_sheet(desk, checklist, about))
        if pdf is not None:
            from flightlog.reports.sheet_pdf import sheet_pdf

            write_new(pdf, sheet_pdf(check_content(desk, checklist, about)))


def write_new(to: Path, page: str | bytes) -> None:
    """Write a page into a new file; nothing is written over."""
    data = page if isinstance(page, bytes) else page.encode("utf-8")
    try:
        with to.open("xb") as file:
            file.write(data)
    except FileNotFoundError as error:
        raise OutputError(
            f"can't be written: there is no folder {to.parent}",
            where=str(to),
            fix="Make the folder first, or name a file in one that is there.",
        ) from error
    except OSError as error:
        raise OutputError(
            f"can't be written ({error.strerror})", where=str(to), fix="Name a new file."
        ) from error
    out().line(f"Written: {to}")


@checks_app.command("enter")
def enter_paper(
    list_id: ListArgument,
    paper: Annotated[
        list[Path],
        typer.Option("--paper", metavar="PHOTO", parser=a_path, help="Photo of the paper."),
    ],
    answers: Annotated[
        Path,
        typer.Option("--answers", metavar="FILE", parser=a_path, help="As for 'checks walk'."),
    ],
    occurred: Annotated[
        str, typer.Option("--occurred", metavar="UTC", help="When it was filled in.")
    ],
    reason: Annotated[
        str, typer.Option("--reason", metavar="TEXT", help="Why it was filled in on paper.")
    ],
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> int:
    """Enter a list that was filled in on paper; it says that it was, and how late it is.

    Each person signs their own items again.

    Example: flightlog checks enter daily --paper daily.jpg --answers daily.jsonl
    --occurred 2027-03-15T07:10:00Z --reason "laptop was flat" --aircraft pannier
    """
    from flightlog.cli.check_walk import Laptop, read_answers, sign_lines
    from flightlog.operations.check_drafts import begun_draft
    from flightlog.operations.checks import About, checklist_in_force

    about = About(aircraft or "", pack or "")
    when = utc_of(occurred, "--occurred")
    with desk_of(team) as desk:
        lines = read_answers(desk, answers, checklist_in_force(desk, list_id))
        begun = desk.append(begun_draft(desk, list_id, about, paper=photos(desk, paper)))
        say_added(begun)
        with Laptop(desk, hands_of(desk, keys, passphrase_fd), list_id) as laptop:
            sign_lines(laptop, begun, lines, when, reason)
        return _say_state(desk, list_id, about)


@checks_app.command()
def accept(
    check: Annotated[str, typer.Argument(metavar="ENTRY", help="The check that failed.")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why it may be.")],
    by: ByOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Accept an item that failed, where its list allows that; pilot and safety officer sign.

    Example: flightlog checks accept 41.H3MED --reason "noise is far off" --by pilot --by mechanic
    """
    from flightlog.operations.check_drafts import acceptance_draft

    with desk_of(team) as desk:
        pilot, safety = two_of(desk, by, "pilot", "safety")
        draft = acceptance_draft(desk, desk.book.find(check), reason, pilot, safety)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
