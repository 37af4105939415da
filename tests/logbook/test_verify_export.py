"""The script that checks an export without the program: what it finds, that it is independent."""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from flightlog.logbook.checking import check_rows
from flightlog.logbook.codes import code, head_code
from flightlog.logbook.entry import Entry
from flightlog.logbook.export import export
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from flightlog.logbook.store import Row
from tests import verify_export
from tests.logbook.made import Maker, public_of, signed_entry
from tests.logbook.made_logbook import change_file, made_logbook, stored, without
from tests.logbook.oracles import small_order_keys

SEED = 20270302
ENTRIES = made_logbook()
SCRIPT = Path(verify_export.__file__)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An export of 50 entries; to be put back as it was after a change."""
    folder = tmp_path_factory.mktemp("whole")
    export(stored(folder / "logbook"), folder / "export")
    return folder / "export"


def exported(folder: Path, entries: list[Entry]) -> Path:
    folder.mkdir(exist_ok=True)
    export(stored(folder / "logbook", entries), folder / "export")
    return folder / "export"


def breaks(folder: Path, *heads: str) -> list[tuple[int, str]]:
    return verify_export.check(folder, list(heads))[0].breaks


def flags(folder: Path) -> list[str]:
    return verify_export.check(folder, [])[0].flags


# --- independence


def test_the_script_uses_nothing_of_the_program():
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"))
    imported = {
        alias.name.partition(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    } | {
        (node.module or "").partition(".")[0] if node.level == 0 else "."
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }

    assert imported <= {*sys.stdlib_module_names, "cryptography"}
    assert not imported & {"importlib", "runpy", "subprocess", "ctypes"}


def test_the_script_runs_by_itself_and_says_what_it_did_not_check(whole, tmp_path):
    script = shutil.copy(SCRIPT, tmp_path)
    last = ENTRIES[-1]
    head = head_code(last.body.number, last.hash)
    done = run(script, whole, "--head", head)
    bad = run(script, whole, "--head", "1.00000-00000-00000-00000-00000-00")

    assert (0, "") == (done.returncode, done.stderr)
    assert "Whole by themselves: 50 entries of 2 devices." in done.stdout
    assert f"head of {last.name}: here, with 49 entries before it" in done.stdout
    assert "Not checked:" in done.stdout
    assert "logbook.txt" in done.stdout.partition("Not checked:")[2]
    assert 1 == bad.returncode
    assert "is not here: entries were cut off or written anew" in bad.stdout


def run(script: str | Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-I", script, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def slips(head: str) -> list[str]:
    """A head with one sign changed, two swapped, one left out, one too many, a strange one."""
    number, _, signs = head.partition(".")
    other = "7" if signs[3] != "7" else "8"
    i = next(i for i in range(4) if signs[i] != signs[i + 1])
    swapped = signs[:i] + signs[i + 1] + signs[i] + signs[i + 2 :]
    return [
        f"{number}.{one}"
        for one in (
            *(signs[:3] + other + signs[4:], swapped, signs[:-1], signs + "0"),
            signs[:3] + "!" + signs[4:],
        )
    ]


def test_a_slip_in_typing_a_head_is_told_as_one_and_not_as_a_cut(whole):
    last = ENTRIES[-1]
    head = head_code(last.body.number, last.hash)
    for typed in slips(head):
        with pytest.raises(argparse.ArgumentTypeError, match=r"signs|sign '!'"):
            verify_export.read_head(typed)
    done = run(SCRIPT, whole, "--head", slips(head)[0])

    assert 2 == done.returncode
    assert "its last two signs don't fit the others" in done.stderr
    assert "cut" not in done.stdout + done.stderr
    with pytest.raises(argparse.ArgumentTypeError, match="before the dot is no number"):
        verify_export.read_head(f"1O.{code(last.hash)}")


@pytest.mark.parametrize("entry", ENTRIES[::12])
def test_heads_without_a_slip_are_taken_however_they_are_typed(entry):
    head = head_code(entry.body.number, entry.hash)
    spoken = head.lower().replace("-", " ").replace("0", "o").replace("1", "l")
    number = str(entry.body.number)
    for typed in (head, f" {head} ", code(entry.hash), entry.hash, entry.hash.upper()):
        assert typed == verify_export.read_head(typed)
        assert verify_export.head_fits(typed, entry.hash)
    assert verify_export.head_fits(f"{number}.{spoken.partition('.')[2]}", entry.hash)


def test_a_head_with_the_number_of_another_entry_is_broken(whole):
    entry = ENTRIES[20]
    (found,) = breaks(whole, f"{entry.body.number + 1}.{code(entry.hash)}")

    assert f"the code is that of {entry.name}, not of that number" in found[1]


def test_a_folder_that_is_not_there_is_said_not_to_be(whole, tmp_path):
    missing = run(SCRIPT, tmp_path / "nowhere")
    file = run(SCRIPT, whole / "READ-ME.txt")

    assert (2, 2) == (missing.returncode, file.returncode)
    assert "nowhere' is not there: name the folder of an export" in missing.stderr
    assert "READ-ME.txt' is no folder: name the folder of an export" in file.stderr


@pytest.mark.parametrize("broken", [False, True])
def test_where_nobody_reads_on_there_is_no_traceback(whole, tmp_path, broken):
    folder = tmp_path / "empty" if broken else whole
    (tmp_path / "empty").mkdir()
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "-I", SCRIPT, folder],
            stdout=writing,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    finally:
        os.close(writing)

    assert (int(broken), b"") == (done.returncode, done.stderr)


# --- agreement on whole records


def test_a_whole_export_is_whole(whole):
    assert [] == breaks(whole)
    assert [] == flags(whole)


def test_codes_of_heads_are_the_same(whole):
    _, entries = verify_export.check(whole, [])

    assert {e.hash: code(e.hash) for e in ENTRIES} == {
        digest: verify_export.code(digest) for digest in entries
    }
    assert {e.hash: e.name for e in ENTRIES} == {h: e.name for h, e in entries.items()}


def test_a_head_is_taken_as_code_and_as_hexadecimal_digits(whole):
    entry = ENTRIES[20]
    for text in (entry.hash, code(entry.hash).lower(), f"{entry.body.number}.{code(entry.hash)}"):
        assert [] == breaks(whole, text)


# --- every file, and agreement on tampered exports


def changed_bytes(data: bytes, number: int, rng: random.Random) -> list[bytes]:
    places = {0, len(data) - 1, *(rng.randrange(len(data)) for _ in range(number))}
    changed = []
    for place in sorted(places):
        one = bytearray(data)
        one[place] ^= rng.randrange(1, 256)
        changed.append(bytes(one))
    return changed


def test_a_changed_byte_in_any_file_is_noticed(whole):
    rng = random.Random(SEED)
    for path in sorted(p for p in whole.rglob("*") if p.is_file()):
        before = path.read_bytes()
        for changed in changed_bytes(before, 3, rng):
            path.write_bytes(changed)

            assert breaks(whole), path.name
        path.write_bytes(before)
    assert [] == breaks(whole)


def test_any_file_taken_away_or_put_in_is_noticed(whole):
    for path in sorted(p for p in whole.rglob("*") if p.is_file()):
        before = path.read_bytes()
        path.unlink()

        assert breaks(whole), path.name
        path.write_bytes(before)
    (whole / "letter.txt").write_bytes(b"")
    assert "a file is not in files.sha256: 'letter.txt'" in [text for _, text in breaks(whole)]
    (whole / "letter.txt").unlink()
    assert [] == breaks(whole)


@pytest.mark.parametrize("name", ["entries.jsonl", "signatures.jsonl"])
def test_both_name_the_same_line_as_the_first_broken_one(whole, name):
    rng = random.Random(f"{SEED} {name}")
    path = whole / name
    before = path.read_bytes()
    for changed in changed_bytes(before, 24, rng):
        if changed.count(b"\n") != before.count(b"\n"):
            continue
        path.write_bytes(changed)
        ours = check_rows(rows_of_export(whole))
        theirs = breaks(whole)

        assert not ours.ok
        assert ours.first_break.received == theirs[0][0]
    path.write_bytes(before)


def rows_of_export(folder: Path) -> list[Row]:
    """The rows of an export as our own check takes them; what can't be read is left empty."""
    bodies = (folder / "entries.jsonl").read_bytes().split(b"\n")[:-1]
    signatures = (folder / "signatures.jsonl").read_bytes().split(b"\n")[:-1]
    rows = []
    for number, (data, line) in enumerate(zip(bodies, signatures, strict=True), start=1):
        entry = next((e for e in ENTRIES if e.data == data), None)
        try:
            given = verify_export.read_json(line)
            device = bytes.fromhex(given["device"]["signature"])
            people = b"".join(bytes.fromhex(p["signature"]) for p in given["people"])
            keys = [given["device"]["key"], *(p["key"] for p in given["people"])]
            digest = given["hash"]
        except (verify_export.Wrong, KeyError, TypeError, ValueError):
            device, people, keys, digest = b"", b"", [], ""
        body = entry.body if entry else None
        if body is not None and keys != [body.device, *(s.key for s in body.signers)]:
            digest = ""
        rows.append(
            Row(
                number,
                digest,
                body.device if body else "",
                body.number if body else 0,
                body.previous if body else None,
                data,
                device,
                people,
            )
        )
    return rows


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET data = x'7b7d' WHERE received = 7",
        "UPDATE entries SET device_signature = zeroblob(64) WHERE received = 9",
        "UPDATE entries SET people_signatures = zeroblob(64) WHERE received = 3",
        "DELETE FROM entries WHERE received = 20",
        "DELETE FROM entries WHERE received = 1",
    ],
)
def test_an_export_of_a_tampered_logbook_is_broken_for_both(tmp_path, statement):
    folder = stored(tmp_path / "logbook")
    change_file(folder, statement)
    report = export(folder, tmp_path / "export").report

    assert not report.ok
    assert breaks(tmp_path / "export")


def test_a_cut_tail_is_noticed_only_with_a_head(tmp_path):
    cut = exported(tmp_path, list(ENTRIES[:-4]))
    last = ENTRIES[-1]

    assert [] == breaks(cut)
    assert 1 == len(breaks(cut, head_code(last.body.number, last.hash)))


def forked(*explained_by: str) -> list[Entry]:
    maker = Maker()
    founding = maker.found()
    one = maker.add("laptop", "remark", {"text": "a"})
    other = maker.add("laptop", "remark", {"text": "b"}, after=founding)
    if explained_by:
        maker.add(
            "laptop",
            "remark",
            {"text": "The folder was copied"},
            seen=[one],
            signers=[(name, "stated", "") for name in explained_by],
            relations=[("explains", one), ("explains", other)],
        )
    return maker.entries


@pytest.mark.parametrize(
    ("explained_by", "whole"),
    [
        ((), False),
        (("pilot",), False),
        (("pilot", "stranger"), False),
        (("pilot", "mechanic"), True),
    ],
)
def test_a_fork_has_to_be_explained_by_two_known_keys(tmp_path, explained_by, whole):
    folder = stored(tmp_path / "logbook", forked(*explained_by))
    report = export(folder, tmp_path / "export").report
    found = breaks(tmp_path / "export")

    assert whole == report.ok
    assert whole == (not found)
    assert whole or any("a fork that no two persons explained" in text for _, text in found)


# --- keys


def enrol(maker: Maker, name: str, witness: str, device: str = "laptop") -> Entry:
    signers = [(name, "enrolled", ""), (witness, "witnessed", "")]
    return maker.add(device, "enrolment", {"key": public_of(name)}, signers=signers)


def revoke(maker: Maker, name: str, by: str, device: str = "laptop") -> Entry:
    content = {"key": public_of(name), "why": "lost", "reason": "stick lost"}
    return maker.add(device, "revocation", content, signers=[(by, "revoked", "")])


def say(maker: Maker, name: str, device: str = "laptop") -> Entry:
    return maker.add(device, "remark", {"text": "x"}, signers=[(name, "stated", "")])


def enrolled_and_revoked(maker: Maker) -> None:
    say(maker, "observer")
    enrol(maker, "observer", "pilot")
    say(maker, "observer")
    revoke(maker, "observer", "mechanic")
    say(maker, "observer")


def revoked_apart(maker: Maker) -> None:
    enrolled = enrol(maker, "observer", "pilot")
    maker.add("tablet", "chain-start", {"reason": "new"}, seen=[enrolled])
    say(maker, "observer", "tablet")
    revoke(maker, "observer", "mechanic")


def enrolled_by_a_stranger(maker: Maker) -> None:
    enrol(maker, "observer", "stranger")
    say(maker, "observer")


def changed_key(maker: Maker) -> None:
    content = {"person": public_of("pilot"), "old": public_of("pilot"), "new": public_of("new")}
    signers = [("pilot", "changed", ""), ("new", "changed", "")]
    maker.add("laptop", "key-change", {**content, "by": "old-key"}, signers=signers)
    say(maker, "new")
    say(maker, "pilot")


@pytest.mark.parametrize(
    ("story", "fewest"),
    [
        (enrolled_and_revoked, 2),
        (revoked_apart, 1),
        (enrolled_by_a_stranger, 3),
        (changed_key, 1),
    ],
)
def test_both_flag_the_same_signatures_of_keys(tmp_path, story: Callable[[Maker], None], fewest):
    maker = Maker()
    maker.found()
    story(maker)
    folder = exported(tmp_path, maker.entries)
    order = Order(maker.entries)
    people = People.of(order)
    ours = {
        f"{entry.name}, key {code_of_key(judged.signer.key)}"
        for entry in order
        for judged in people.judged(entry)
        if not judged.counts
    }

    assert [] == breaks(folder)
    assert ours == {text.partition(":")[0] for text in flags(folder)}
    assert fewest == len(ours)


def code_of_key(key: str) -> str:
    return verify_export.short(key)


def test_a_founding_signed_by_others_is_broken(tmp_path):
    maker = Maker()
    body = maker.found().body
    alone = signed_entry("laptop", replace(body, signers=body.signers[:1]), ["pilot"])
    found = breaks(exported(tmp_path, [alone]))

    assert any("not signed by just those it enrols" in text for _, text in found)


# --- hostile input


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "entries.jsonl and signatures.jsonl are not of the same length"),
        (b"{}", "a line is too long or does not end"),
        (b"x" * (verify_export.MOST_LINE + 2) + b"\n", "a line is too long or does not end"),
        (b"[" * 100_000 + b"\n", "it is no JSON"),
        (b'{"a":' * 40 + b"1" + b"}" * 40 + b"\n", "nested too deep"),
        (b'{"a":1.5}\n', "a floating-point number"),
        (b'{"a":NaN}\n', "a floating-point number"),
        (b'{"a":99999999999999999999}\n', "beyond 2^53 - 1"),
        (b'{"a":"\\ud800"}\n', "it is no JSON"),
        (b'{"b":1,"a":1}\n', "not the canonical form"),
        (b'{"a":1,"a":1}\n', "not the canonical form"),
        (b"[]\n", "not the canonical form"),
        (b"{}\n", "a part is missing or not known"),
    ],
)
def test_lines_that_are_no_entries_are_named_and_bounded(whole, content, found):
    path = whole / "entries.jsonl"
    before = path.read_bytes()
    path.write_bytes(content)
    texts = [text for _, text in breaks(whole)]
    path.write_bytes(before)

    assert any(found in text for text in texts)


def test_breaks_and_branches_are_bounded(tmp_path, monkeypatch):
    forks = exported(tmp_path / "forks", forked())
    monkeypatch.setattr(verify_export, "MOST_BRANCHES", 1)

    assert [(0, "more than 1 branches of forks")] == breaks(forks)
    monkeypatch.setattr(verify_export, "MOST_ABOUT_KEYS", 0)
    assert [(0, "more than 0 entries are about keys")] == breaks(forks)

    (forks / "entries.jsonl").write_bytes(b"{}\n" * 50)
    (forks / "signatures.jsonl").write_bytes(b"{}\n" * 50)
    monkeypatch.setattr(verify_export, "MOST_BREAKS", 7)
    assert 8 == len(breaks(forks))
    assert (0, "more than 7 breaks") == breaks(forks)[-1]
    monkeypatch.setattr(verify_export, "MOST_ENTRIES", 3)
    assert "entries.jsonl: more than 3 lines" in [text for _, text in breaks(forks)]


def test_links_out_of_the_export_are_not_followed(whole, tmp_path):
    path = whole / "heads.txt"
    before = path.read_bytes()
    (tmp_path / "elsewhere").write_bytes(before)
    path.unlink()
    try:
        path.symlink_to(tmp_path / "elsewhere")
    except OSError:
        path.write_bytes(before)
        pytest.skip("no links can be made here")
    found = breaks(whole)
    path.unlink()
    path.write_bytes(before)

    assert any("heads.txt" in text for _, text in found)


def test_a_deleted_line_is_named_by_its_chain(tmp_path):
    folder = stored(tmp_path / "logbook", without(ENTRIES, 49))
    change_file(folder, "DELETE FROM entries WHERE received = 20")
    export(folder, tmp_path / "export")
    found = breaks(tmp_path / "export")

    assert any(f"{ENTRIES[19].name} is missing or broken" in text for _, text in found)


def test_the_keys_with_which_anybody_can_sign_are_those_of_the_curve():
    assert small_order_keys() == verify_export.ANYBODYS_KEYS


BODY = {
    "content": {},
    "device": "a" * 64,
    "kind": "remark",
    "number": 1,
    "previous": None,
    "schema": "flightlog.entry/1",
    "seen": [],
    "signers": [],
    "team": "b" * 64,
    "time": {"source": "laptop clock", "utc": "2027-03-02T09:00:00Z"},
}
SIGNER = {"key": "c" * 64, "meaning": "stated"}


@pytest.mark.parametrize(
    ("part", "value", "wrong"),
    [
        ("signers", [SIGNER, {**SIGNER, "meaning": "inspected"}], "one key signs twice"),
        ("time", {"source": "x", "utc": "2027-99-02T09:00:00Z"}, "time is none"),
        ("effect", {"is": "wishes", "on": "x"}, "no effect"),
        (
            "occurred",
            {"utc": "2027-03-01T09:00:00Z", "late_s": 1, "reason": "x"},
            "not so late",
        ),
    ],
)
def test_a_body_that_the_program_would_never_write_is_refused(part, value, wrong):
    verify_export.check_form(dict(BODY))

    with pytest.raises(verify_export.Wrong, match=wrong):
        verify_export.check_form({**BODY, part: value})
