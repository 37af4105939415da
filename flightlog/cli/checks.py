"""``flightlog checks``: walk through lists, show how they stand, print them, enter them."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from flightlog.cli import wall
from flightlog.cli.console import err, out
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
from flightlog.errors import FlightlogError, Interrupted, OutputError, UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.logbook.unlocking import Unlocked
    from flightlog.operations.check_drafts import Answer
    from flightlog.operations.checklists import Item
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
_LARGEST_ANSWERS = 2_000_000
_QUIT, _SKIP = "q", "s"


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

    One person after the other is at the laptop, in the order of --by. Whoever has items that a
    second person has to look at comes later, in a turn of their own. Nothing passes by itself: an
    empty line asks again. What is signed stays, so that a list can be left and gone on with.

    Example: flightlog checks walk pre-flight --aircraft pannier --pack pack-a --by mechanic
    --by pilot
    """
    from flightlog.operations.checks import About, list_state

    about = About(aircraft or "", pack or "")
    with desk_of(team) as desk:
        scripted = _answers(answers) if answers is not None else None
        hands = hands_of(desk, keys, passphrase_fd)
        begun = _begun(desk, list_id, about)
        with ExitStack() as held:
            unlocked: dict[str, Unlocked] = {}

            def at_the_laptop(key: str) -> Unlocked:
                # For this list only; typed once, though somebody may come back to the laptop.
                if key not in unlocked or not unlocked[key].left_s:
                    who = desk.crew.label_of_key(key)
                    unlocked[key] = held.enter_context(hands.unlock(key, who, list_id))
                return unlocked[key]

            if scripted is not None:
                _script(desk, begun, scripted, at_the_laptop)
            else:
                for key in keys_of(desk, by):
                    if _turn(desk, begun, key, at_the_laptop, about) == _QUIT:
                        break
        state = list_state(desk, list_id, about)
        out().lines(_state_lines(desk, state, only_open=True))
        return wall.DONE if state.complete else wall.HELD


def _begun(desk: Desk, list_id: str, about: About) -> Entry:
    """Take a list in hand: the one of today that is still open, or a new one."""
    from flightlog.operations.check_drafts import begun_draft
    from flightlog.operations.checks import begun_lists
    from flightlog.operations.sorties import sorties

    draft = begun_draft(desk, list_id, about)
    found = begun_lists(desk, list_id, about)
    flown = sorties(desk, about.aircraft) if about.aircraft else ()
    used = {f.release.hash for f in flown if f.release is not None}
    if found and found[-1].body.time.utc.date() == desk.ledger.now.date():
        rests = any(e.hash in used for e in desk.ledger.naming(found[-1]))
        if not rests and found[-1].body.content.get("pack", "") == about.pack:
            return found[-1]
    entry = desk.append(draft)
    say_added(entry)
    return entry


def _turn(
    desk: Desk, begun: Entry, key: str, unlock: Callable[[str], Unlocked], about: About
) -> str:
    """Let one person do what is theirs."""
    from flightlog.operations.check_drafts import for_person
    from flightlog.operations.checks import list_state

    console = out()
    left_out: set[str] = set()
    list_id = str(begun.body.content["list"])
    while True:
        state = list_state(desk, list_id, about)
        todo = [i for i in for_person(desk, state, key) if i.id not in left_out]
        if not todo:
            return ""
        if not left_out and len(todo) == len(for_person(desk, state, key)):
            unlock(key)
        item = todo[0]
        console.line()
        console.lines(_item_lines(item, state))
        began = time.monotonic()
        answer = _ask(desk, item)
        if isinstance(answer, str):
            if answer == _QUIT:
                return _QUIT
            left_out.add(item.id)
            continue
        seconds = f"{time.monotonic() - began:.1f}"
        try:
            _sign(desk, begun, item.id, answer, key, unlock(key), seconds)
        except UsageError as error:
            err().line(f"flightlog: {error.sentence()}")


def _item_lines(item: Item, state: ListState) -> list[str]:
    one = state.of(item.id)
    why = f"  ({one.state}{': ' + one.why if one.why else ''})" if one and one.result else ""
    lines = [f"{item.section}: {item.text}{why}"]
    if item.acceptance:
        lines.append(f"  passes with {item.acceptance}")
    return lines


def _ask(desk: Desk, item: Item) -> Answer | str:
    """Ask until there is an answer; an empty line is none."""
    from flightlog.operations.check_drafts import Answer

    if not sys.stdin.isatty():
        raise UsageError(
            "this is no terminal to walk at", where="checks walk", fix="Give --answers FILE."
        )
    while True:
        try:
            typed = input(f"  {_prompt(item)}: ").strip()
        except EOFError as error:
            raise Interrupted("stopped at an item") from error
        word, _, rest = typed.partition(" ")
        if typed in (_QUIT, _SKIP):
            return typed
        if word == "n" and rest:
            return Answer("not-applicable", reason=rest)
        if word == "d" and rest:
            try:
                return Answer("deferred", reason=f"by {rest}", deferral=desk.book.find(rest))
            except FlightlogError as error:
                err().line(f"flightlog: {error.sentence()}")
                continue
        if word == "f":
            return _failed(item, rest)
        if typed:
            found = _answered(desk, item, typed)
            if found is not None:
                return found
        err().line("flightlog: p, f REASON, n REASON, d ENTRY, s to skip, q to stop")


def _prompt(item: Item) -> str:
    asked = {
        "measurement": f"number in {item.unit or '1'}",
        "choice": "/".join(item.choices),
        "photo": "file of the photo",
    }.get(item.kind, "p")
    with_ = " and its instrument, as 25.1 MM-2" if item.instrument else ""
    return f"{asked}{with_}, or f/n/d/s/q"


def _answered(desk: Desk, item: Item, typed: str) -> Answer | None:
    from flightlog.operations.check_drafts import Answer

    if item.kind == "measurement":
        value, _, instrument = typed.partition(" ")
        return Answer("", value=value, instrument=instrument.strip())
    if item.kind == "choice":
        return Answer("", choice=typed)
    if item.kind == "photo":
        return Answer("pass", photos=photos(desk, [Path(typed)]))
    return Answer("pass") if typed == "p" else None


def _failed(item: Item, said: str) -> Answer:
    """Read what is wrong; of a measurement its number comes first."""
    from flightlog.operations.check_drafts import Answer

    if item.kind == "measurement":
        value, _, rest = said.partition(" ")
        return Answer("fail", value=value, instrument="not stated", reason=rest)
    return Answer("fail", choice=said if item.kind == "choice" else "", reason=said)


def _sign(
    desk: Desk,
    begun: Entry,
    item_id: str,
    answer: Answer,
    key: str,
    unlocked: Unlocked,
    seconds: str = "",
    occurred: datetime | None = None,
    late_reason: str = "",
) -> Entry:
    """Sign one item, saying in one line what is signed."""
    from dataclasses import replace

    from flightlog.operations.check_drafts import check_draft

    draft = check_draft(
        desk,
        begun,
        item_id,
        replace(answer, seconds=seconds or answer.seconds),
        key,
        occurred=occurred,
        late_reason=late_reason,
    )
    shown = desk.book.show(draft, desk.names)
    said = draft.content
    value = f" {said['value']['value']} {said['value']['unit']}" if "value" in said else ""
    who = desk.crew.label_of_key(key)
    signer = draft.signers[0]
    out().line(
        f"  {item_id}: {said['result']}{value}{said.get('choice', '')}, {signer.meaning} as "
        f"{signer.role} by {who}"
    )
    return desk.append(draft, (unlocked,), shown=shown, list_name=unlocked.list_name)


# --- scripts


def _answers(path: Path) -> list[dict[str, Any]]:
    """Read the answers of a script; each names its item and its person."""
    try:
        if path.stat().st_size > _LARGEST_ANSWERS:
            raise UsageError("is too large", where=str(path), fix="Name the right file.")
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"can't be read ({error})", where=str(path), fix="Check it.") from error
    found = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            said = json.loads(line)
        except (ValueError, RecursionError) as error:
            raise UsageError("is no JSON", where=f"{path}:{number}", fix="Correct it.") from error
        if not isinstance(said, dict) or not all(
            isinstance(said.get(k), str) for k in ("item", "by")
        ):
            raise UsageError(
                'needs "item" and "by"', where=f"{path}:{number}", fix="Name one item and who."
            )
        found.append({**said, "line": f"{path}:{number}"})
    return found


def _script(
    desk: Desk,
    begun: Entry,
    answers: Sequence[dict[str, Any]],
    unlock: Callable[[str], Unlocked],
    occurred: datetime | None = None,
    late_reason: str = "",
) -> None:
    for said in answers:
        answer, key = _of_script(desk, said)
        _sign(desk, begun, said["item"], answer, key, unlock(key), "", occurred, late_reason)


def _of_script(desk: Desk, said: dict[str, Any]) -> tuple[Answer, str]:
    from dataclasses import replace

    from flightlog.operations.check_drafts import parsed_answer

    where = said["line"]
    beside = {"item", "by", "line", "photo", "deferral"}
    answer = parsed_answer({k: v for k, v in said.items() if k not in beside}, where)
    if isinstance(said.get("photo"), str):
        answer = replace(answer, photos=photos(desk, [Path(said["photo"])]))
    if isinstance(said.get("deferral"), str):
        answer = replace(answer, deferral=desk.book.find(said["deferral"]))
    return answer, desk.crew.present_key(said["by"])


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
    from flightlog.operations.checks import About, checklist_in_force, list_state

    about = About(aircraft or "", pack or "")
    with desk_of(team, read_only=True) as desk:
        for one in [list_id] if list_id else desk.versions.ids("checklist"):
            checklist = checklist_in_force(desk, one)
            if (checklist.about == "pack") == bool(about.aircraft) and list_id is None:
                continue
            out().lines(_state_lines(desk, list_state(desk, one, about), only_open=not list_id))
        if with_evidence and about.aircraft:
            out().line("For a doubting eye:")
            out().lines(f"  {line}" for line in evidence(desk, about.aircraft).lines)


def _state_lines(desk: Desk, state: ListState, *, only_open: bool) -> Iterator[str]:
    from flightlog.operations.positions import named

    done = sum(item.fine for item in state.items)
    word = "complete" if state.complete else f"{len(state.items) - done} to do"
    yield f"{state.checklist.title} (version {state.checklist.version}): {word}"
    for item in state.items:
        if item.fine and only_open:
            continue
        by = f"  {named(item.result)}" if item.result is not None else ""
        why = f": {item.why}" if item.why else ""
        yield f"  {item.item.id:<24} {item.state}{why}{by}"


@checks_app.command("print")
def print_(
    list_id: ListArgument,
    to: Annotated[
        Path, typer.Option("--html", metavar="FILE", parser=a_path, help="A new file, for paper.")
    ],
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    team: TeamOption = None,
) -> None:
    """Write a list for paper, as a page that any browser prints.

    Example: flightlog checks print pre-flight --aircraft pannier --html pre-flight.html
    """
    from flightlog.operations.checks import About, checklist_in_force
    from flightlog.reports.check_sheet import check_sheet

    with desk_of(team, read_only=True) as desk:
        checklist = checklist_in_force(desk, list_id)
        text = check_sheet(desk, checklist, About(aircraft or "", pack or ""))
    write_new(to, text)


def write_new(to: Path, text: str) -> None:
    """Write a page into a new file; nothing is written over."""
    try:
        with to.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
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
    from flightlog.operations.check_drafts import begun_draft
    from flightlog.operations.checks import About, list_state

    about = About(aircraft or "", pack or "")
    when = utc_of(occurred, "--occurred")
    with desk_of(team) as desk:
        scripted = _answers(answers)
        for said in scripted:
            _of_script(desk, said)  # a slip is told before the first one is signed
        hands = hands_of(desk, keys, passphrase_fd)
        begun = desk.append(begun_draft(desk, list_id, about, paper=photos(desk, paper)))
        say_added(begun)
        with ExitStack() as held:
            unlocked: dict[str, Unlocked] = {}

            def unlock(key: str) -> Unlocked:
                if key not in unlocked:
                    who = desk.crew.label_of_key(key)
                    unlocked[key] = held.enter_context(hands.unlock(key, who, list_id))
                return unlocked[key]

            _script(desk, begun, scripted, unlock, when, reason)
        state = list_state(desk, list_id, about)
        out().lines(_state_lines(desk, state, only_open=True))
        return wall.DONE if state.complete else wall.HELD


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
