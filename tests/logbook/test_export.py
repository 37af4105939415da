from __future__ import annotations

import hashlib
import json
import re
import shutil
import sqlite3
import subprocess
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import load_pem_public_key

from flightlog.errors import LogbookError, OutputError, TeamFolderError
from flightlog.logbook import export as exporting
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.codes import code, head_code
from flightlog.logbook.device import Remembered
from flightlog.logbook.entry import Attachment
from flightlog.logbook.export import Exported, export, exported_lines
from flightlog.logbook.layout import ATTACHMENTS, NAMES, RECORD
from flightlog.logbook.names import Names
from flightlog.logbook.signatures import fingerprint
from tests import verify_export
from tests.logbook.made import Maker, public_of
from tests.logbook.made_logbook import PHOTO, PHOTO_ATTACHMENT, change_file, made_logbook, stored

ENTRIES = made_logbook()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Exported:
    """An export of the logbook of 50 entries; not to be changed."""
    folder = tmp_path_factory.mktemp("whole")
    return export(stored(folder / "logbook"), folder / "export")


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


# --- what is in it


def test_an_export_holds_these_files(whole):
    names = set(files_of(whole.folder))
    keys = {n for n in names if n.startswith("keys/")}

    assert {
        *("READ-ME.txt", "logbook.txt", "entries.jsonl", "signatures.jsonl", "keys.txt"),
        *("heads.txt", "attachments.txt", "check.json", "files.sha256"),
        f"attachments/{PHOTO_ATTACHMENT.sha256}",
    } == names - keys
    assert {
        f"keys/{public_of(name)[:16]}.pem" for name in ("laptop", "tablet", "pilot", "mechanic")
    } == keys
    assert (50, 1, ()) == (whole.entries, whole.attachments, whole.missing)


def test_lines_are_the_exact_bytes_that_were_signed(whole):
    lines = (whole.folder / "entries.jsonl").read_bytes().split(b"\n")

    assert b"" == lines.pop()
    assert sorted(e.data for e in ENTRIES) == sorted(lines)


def test_signatures_stand_on_the_same_lines(whole):
    by_data = {e.data: e for e in ENTRIES}
    bodies = (whole.folder / "entries.jsonl").read_bytes().splitlines()
    signatures = (whole.folder / "signatures.jsonl").read_text(encoding="utf-8").splitlines()
    for data, line in zip(bodies, signatures, strict=True):
        entry, record = by_data[data], json.loads(line)

        assert entry.hash == record["hash"]
        assert {
            "key": entry.body.device,
            "signature": entry.device_signature.hex(),
        } == record["device"]
        assert [s.hex() for s in entry.people_signatures] == [
            p["signature"] for p in record["people"]
        ]


def test_key_files_are_public_keys_that_other_programs_read(whole):
    for name in ("laptop", "tablet", "pilot", "mechanic"):
        pem = (whole.folder / "keys" / f"{public_of(name)[:16]}.pem").read_bytes()

        assert public_of(name) == load_pem_public_key(pem).public_bytes_raw().hex()


def test_keys_are_named_with_fingerprints_roles_and_who_enrolled_them(whole):
    text = (whole.folder / "keys.txt").read_text(encoding="utf-8")

    assert code(fingerprint(public_of("pilot"))) in text
    assert "roles at the end: authorise, pilot" in text
    assert f"enrolled by {ENTRIES[0].name}" in text
    assert "KEYS OF NO KNOWN PERSON" not in text


def test_keys_of_nobody_are_listed_apart(tmp_path):
    maker = Maker()
    maker.found()
    maker.add("laptop", "remark", {"text": "x"}, signers=[("stranger", "stated", "")])
    export(stored(tmp_path / "logbook", maker.entries), tmp_path / "export")
    text = (tmp_path / "export" / "keys.txt").read_text(encoding="utf-8")

    assert public_of("stranger") in text.partition("KEYS OF NO KNOWN PERSON")[2]
    assert "! the signature 'stated'" in (tmp_path / "export" / "logbook.txt").read_text(
        encoding="utf-8"
    )


def test_the_text_shows_every_entry_and_what_is_to_be_known_of_it(whole):
    text = (whole.folder / "logbook.txt").read_text(encoding="utf-8")

    assert [e.hash for e in ENTRIES] == [
        line.removeprefix("Hash: ") for line in text.splitlines() if line.startswith("Hash: ")
    ]
    assert "  play: 0.8 mm\n" in text
    assert "  written down late by 2 h 3 min\n" in text
    assert "dry after 24 h" in text


def test_the_instructions_name_the_heads_and_the_team(whole):
    text = (whole.folder / "READ-ME.txt").read_text(encoding="utf-8")
    last = ENTRIES[-1]

    assert last.body.team in text
    assert head_code(last.body.number, last.hash) in text
    assert "BROKEN" not in text
    assert "Remarks, and names of files, can hold names all the same" in text
    assert "broken.jsonl" not in text


def test_the_instructions_name_the_code_of_the_team_and_say_of_what_it_is_one(whole):
    text = (whole.folder / "READ-ME.txt").read_text(encoding="utf-8")
    team = ENTRIES[0].body.team

    assert f"Team     {team}\n         code {verify_export.code(team)}\n" in text
    assert 'is the code (step 8) of the hash under "team"' in text


def test_attachments_are_listed_with_their_names_and_entries(tmp_path):
    maker = Maker()
    maker.found()
    spoofed = Attachment("ab" * 32, 7, 'a  "b.jpg')
    maker.add("laptop", "remark", {"text": "x"}, attachments=[PHOTO_ATTACHMENT, spoofed])
    maker.add("laptop", "remark", {"text": "y"}, attachments=[PHOTO_ATTACHMENT])
    export(stored(tmp_path / "logbook", maker.entries), tmp_path / "export")
    lines = (tmp_path / "export" / "attachments.txt").read_text(encoding="utf-8").splitlines()
    photo = f'{PHOTO_ATTACHMENT.sha256}  {len(PHOTO)}  "horn.jpg"  entry'
    device = maker.entries[0].name.partition(" of ")[2]

    assert [f"{photo} 2 of {device}", f"{photo} 3 of {device}"] == [lines[0], lines[2]]
    assert re.fullmatch(f'{"ab" * 32}  7  "[^"]*b\\.jpg"  entry 2 of device .*', lines[1])
    assert "attachments.txt" in (tmp_path / "export" / "READ-ME.txt").read_text(encoding="utf-8")


def test_without_attachments_there_is_no_list_of_them(tmp_path):
    maker = Maker()
    maker.found()
    export(stored(tmp_path / "logbook", maker.entries), tmp_path / "export")

    assert not (tmp_path / "export" / "attachments.txt").exists()
    assert "attachments.txt" not in (tmp_path / "export" / "READ-ME.txt").read_text(
        encoding="utf-8"
    )


def test_every_file_is_in_the_list_of_files(whole):
    files = files_of(whole.folder)
    listed = dict(
        reversed(line.split("  "))
        for line in files.pop("files.sha256").decode("utf-8").splitlines()
    )

    assert {name: hashlib.sha256(data).hexdigest() for name, data in files.items()} == listed


@pytest.mark.skipif(
    not (shutil.which("openssl") and shutil.which("sh")), reason="needs openssl and a POSIX shell"
)
@pytest.mark.parametrize("persons", [True, False])
def test_what_the_instructions_type_checks_a_signature(tmp_path, persons):
    maker = Maker()
    maker.found()
    export(stored(tmp_path / "logbook", ENTRIES if persons else maker.entries), tmp_path / "export")
    commands = recipe(tmp_path / "export", "ONE SIGNATURE WITH OPENSSL", "It prints")
    done = shell(tmp_path / "export", *commands)

    assert 4 == len(commands)
    assert (0, "Signature Verified Successfully") == (done.returncode, done.stdout.strip())
    assert [] == verify_export.check(tmp_path / "export", [])[0].breaks


def recipe(folder: Path, start: str, end: str) -> list[str]:
    """The commands between two texts of the instructions."""
    text = (folder / "READ-ME.txt").read_text(encoding="utf-8")
    block = text.partition(start)[2].partition(end)[0]
    return [line.strip() for line in block.splitlines() if line.startswith("    ")]


def shell(folder: Path, *commands: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", "-ec", "\n".join(commands)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.skipif(
    not (shutil.which("openssl") and shutil.which("sh")), reason="needs openssl and a POSIX shell"
)
@pytest.mark.parametrize("way", ["xxd", "python3"])
def test_what_the_instructions_type_checks_the_signature_of_a_device_too(tmp_path, way):
    """Line 1 is signed by two persons; the device signs their signatures too."""
    if not shutil.which(way):
        pytest.skip(f"needs {way}")
    export(stored(tmp_path / "logbook"), tmp_path / "export")
    text, _, _, check = recipe(tmp_path / "export", "ONE SIGNATURE WITH OPENSSL", "It prints")
    ways = recipe(tmp_path / "export", "For any other signature", "A person's signature")
    to_raw = next(line for line in ways if way in line)
    (message,) = recipe(tmp_path / "export", "A person's signature", "WHAT A SIGNATURE SHOWS")
    signatures = (tmp_path / "export" / "signatures.jsonl").read_text(encoding="utf-8")
    line = json.loads(signatures.splitlines()[0])
    raw = [
        to_raw.replace("DIGITS", digits).replace("../signature", f"../{name}")
        for digits, name in (
            (line["people"][0]["signature"], "person-1"),
            (line["people"][1]["signature"], "person-2"),
            (line["device"]["signature"], "signature"),
        )
    ]
    check = re.sub(r"keys/\w+", f"keys/{line['device']['key'][:16]}", check)
    done = shell(tmp_path / "export", text, *raw, message, check)

    assert "sed -n 1p" in text
    assert (0, "Signature Verified Successfully") == (done.returncode, done.stdout.strip())


# --- what is not in it


def test_names_are_only_in_it_when_they_are_asked_for(tmp_path):
    folder = stored(tmp_path / "logbook")
    names = Names().with_name(public_of("pilot"), "Somebody Youngest", "radio 4")
    names.write(folder / NAMES)
    export(folder, tmp_path / "without")
    export(folder, tmp_path / "with", with_names=True)
    without = b"".join(files_of(tmp_path / "without").values())
    named = files_of(tmp_path / "with")

    assert b"Somebody" not in without
    assert b"radio 4" not in without
    assert b"Somebody Youngest (" in named["logbook.txt"]
    assert b"Somebody Youngest (" in named["keys.txt"]
    assert b"radio 4" not in b"".join(named.values())
    assert b"Handle this copy accordingly" in named["READ-ME.txt"]


def test_damaged_names_stop_only_an_export_with_names(tmp_path):
    folder = stored(tmp_path / "logbook")
    (folder / NAMES).write_bytes(b"{")

    assert 50 == export(folder, tmp_path / "without").entries
    with pytest.raises(TeamFolderError, match="the names can't be used"):
        export(folder, tmp_path / "with", with_names=True)
    assert not (tmp_path / "with").exists()


def test_nothing_else_of_the_folder_is_copied(tmp_path):
    folder = stored(tmp_path / "logbook")
    (folder / "keys").mkdir()
    (folder / "keys" / "pilot.key").write_bytes(b"PRIVATE")
    (folder / ATTACHMENTS / "other").write_bytes(b"PRIVATE")
    export(folder, tmp_path / "export")

    assert not any(b"PRIVATE" in data for data in files_of(tmp_path / "export").values())


# --- the same everywhere


def test_one_record_gives_one_export_whatever_the_order_of_receiving(tmp_path):
    maker = Maker()
    founding = maker.found()
    one = maker.add("laptop", "remark", {"text": "a"})
    other = maker.add("tablet", "chain-start", {"reason": "new"}, seen=[founding])
    for name, entries in (("a", [founding, one, other]), ("b", [founding, other, one])):
        export(stored(tmp_path / name, entries), tmp_path / f"export-{name}")

    assert files_of(tmp_path / "export-a") == files_of(tmp_path / "export-b")


# --- broken records


def test_a_broken_record_is_exported_with_a_warning_and_what_is_broken_as_stored(tmp_path):
    folder = stored(tmp_path / "logbook")
    change_file(folder, "UPDATE entries SET data = x'7b7d' WHERE received = 7")
    exported = export(folder, tmp_path / "export")
    files = files_of(tmp_path / "export")
    broken = json.loads(files["broken.jsonl"])

    assert 49 == exported.entries
    assert not exported.report.ok
    assert b"THE RECORD WAS BROKEN WHEN THIS COPY WAS MADE" in files["READ-ME.txt"]
    assert ("7b7d", ENTRIES[6].hash) == (broken["data"], broken["hash"])
    assert b"are in broken.jsonl as they were" in files["READ-ME.txt"]
    assert any("THE RECORD IS BROKEN" in line for line in exported_lines(exported))
    assert b"Not worked out: the record is broken" in files["keys.txt"]
    assert b"Whose signatures count was not worked out" in files["logbook.txt"]


def test_a_record_whose_form_was_changed_is_exported_as_broken(tmp_path):
    folder = stored(tmp_path / "logbook")
    with closing(sqlite3.connect(folder / RECORD, isolation_level=None)) as connection:
        connection.execute("DROP TRIGGER entries_are_not_deleted")
    exported = export(folder, tmp_path / "export")
    files = files_of(tmp_path / "export")

    assert 50 == exported.entries
    assert "'entries_are_not_deleted' is missing" in exported.report.first_break.found
    assert "is missing" in json.loads(files["check.json"])["first_break"]["found"]
    assert b"THE RECORD WAS BROKEN WHEN THIS COPY WAS MADE" in files["READ-ME.txt"]
    assert b"broken.jsonl" not in files["READ-ME.txt"]
    assert "broken.jsonl" not in files
    assert b"enrolled by" in files["keys.txt"], "the entries are whole, and so is who is who"


def test_entries_in_a_table_of_another_form_are_not_exported(tmp_path):
    folder = stored(tmp_path / "logbook")
    with closing(sqlite3.connect(folder / RECORD, isolation_level=None)) as connection:
        connection.execute("ALTER TABLE entries ADD COLUMN note TEXT")
    with pytest.raises(LogbookError, match="'entries' was changed"):
        export(folder, tmp_path / "export")

    assert not (tmp_path / "export").exists()


def test_heads_that_the_laptop_remembers_are_compared(tmp_path):
    last = ENTRIES[-1]
    head = Remembered(last.body.device, last.body.number, last.hash)
    asked = []
    whole = export(
        stored(tmp_path / "logbook"),
        tmp_path / "export",
        remembered=lambda team: asked.append(team) or [head],
    )
    older = export(stored(tmp_path / "old", ENTRIES[:-3]), tmp_path / "older", remembered=[head])
    compared = json.loads((tmp_path / "export" / "check.json").read_text(encoding="utf-8"))
    text = (tmp_path / "older" / "READ-ME.txt").read_text(encoding="utf-8")

    assert [last.body.team] == asked
    assert whole.report.ok
    assert "which this laptop remembers" in compared["compared"][0]
    assert not older.report.ok
    assert "THIS COPY IS OLDER THAN WHAT WAS NOTED, OR WAS CUT AT ITS END" in text
    assert "BROKEN" not in text
    assert max(map(len, text.splitlines())) < 200
    assert any("THIS COPY IS OLDER" in line for line in exported_lines(older))


def test_a_missing_attachment_is_listed(tmp_path):
    folder = stored(tmp_path / "logbook")
    AttachmentStore(folder / ATTACHMENTS).path(PHOTO_ATTACHMENT.sha256).unlink()
    exported = export(folder, tmp_path / "export")
    files = files_of(tmp_path / "export")

    assert (f'{PHOTO_ATTACHMENT.sha256} "horn.jpg": the file is missing',) == exported.missing
    assert exported.missing[0] == files["missing.txt"].decode("utf-8").strip()
    assert b"Attachments that could not be copied: 1" in files["READ-ME.txt"]
    assert f"  {exported.missing[0]}" in exported_lines(exported)


def test_an_attachment_changed_while_it_is_copied_is_not_exported(tmp_path, monkeypatch):
    folder = stored(tmp_path / "logbook")
    monkeypatch.setattr(exporting, "_chunks", lambda _path: iter([PHOTO[:-1]]))
    exported = export(folder, tmp_path / "export")

    assert "was changed while it was copied" in exported.missing[0]
    assert not any(name.startswith("attachments/") for name in files_of(tmp_path / "export"))
    assert not exported.report.ok


# --- where it is written


def test_only_a_new_or_empty_folder_is_taken(tmp_path):
    folder = stored(tmp_path / "logbook")
    (tmp_path / "empty").mkdir()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_bytes(b"mine")
    (tmp_path / "file").write_bytes(b"mine")

    assert 50 == export(folder, tmp_path / "empty").entries
    with pytest.raises(OutputError, match=r"not empty: it holds 'letter\.txt'"):
        export(folder, tmp_path / "full")
    with pytest.raises(OutputError, match="no folder can be made here"):
        export(folder, tmp_path / "file")
    with pytest.raises(OutputError, match="can't stand within the logbook"):
        export(folder, folder / "export")
    assert {"letter.txt": b"mine"} == files_of(tmp_path / "full")


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("file", ["attachments", "entries.jsonl", "keys", "READ-ME.txt"])
def test_a_failed_export_leaves_nothing(tmp_path, monkeypatch, file, error):
    folder = stored(tmp_path / "logbook")
    _fail_at(monkeypatch, file, error)
    if isinstance(error, OSError):
        with pytest.raises(OutputError, match=r"can't be written \(No space left on device\)"):
            export(folder, tmp_path / "export")
    else:
        with pytest.raises(KeyboardInterrupt):
            export(folder, tmp_path / "export")

    assert [] == list((tmp_path / "export").iterdir())


@pytest.mark.parametrize("file", ["attachments", "check.json", "files.sha256", "READ-ME.txt"])
def test_an_export_that_was_killed_does_not_look_whole(tmp_path, monkeypatch, file):
    folder = stored(tmp_path / "logbook")
    monkeypatch.setattr(exporting._Target, "undo", lambda _self: None)
    _fail_at(monkeypatch, file, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        export(folder, tmp_path / "export")
    names = set(files_of(tmp_path / "export"))

    assert "INCOMPLETE.txt" in names
    assert ("READ-ME.txt" in names) == (file == "READ-ME.txt")
    with pytest.raises(OutputError, match="not empty"):
        export(folder, tmp_path / "export")


def _fail_at(monkeypatch: pytest.MonkeyPatch, file: str, error: BaseException) -> None:
    usual = exporting._Target.data

    def failing(self: exporting._Target, name: str, chunks: object) -> str:
        if not name.startswith(file):
            return usual(self, name, chunks)

        def some() -> object:
            yield next(iter(chunks))
            raise error

        return usual(self, name, some())

    monkeypatch.setattr(exporting._Target, "data", failing)


def test_two_keys_with_the_same_beginning_have_files_of_their_own():
    entry = ENTRIES[2]
    twin = public_of("pilot")[:-1] + ("0" if public_of("pilot")[-1] != "0" else "1")
    signer = replace(entry.body.signers[0], key=twin)
    body = replace(entry.body, signers=(signer, *entry.body.signers))
    fake = type("Fake", (), {"body": body})()

    files = exporting._key_files([fake])

    assert f"{twin}.pem" == files[twin]
    assert f"{public_of('pilot')}.pem" == files[public_of("pilot")]
    assert len(set(files.values())) == len(files)


def test_progress_goes_up_to_the_end(tmp_path):
    told: list[float] = []
    export(
        stored(tmp_path / "logbook"),
        tmp_path / "export",
        progress=lambda done, _what: told.append(done),
    )

    assert sorted(told) == told
    assert 1.0 == told[-1]
    assert 1 == told.count(1.0)
