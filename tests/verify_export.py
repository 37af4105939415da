"""Check an export of a signed logbook with nothing but Python and the cryptography library.

Run: ``python tests/verify_export.py EXPORT [--head CODE_OR_HEX ...]``

Everything is done anew from what READ-ME.txt of an export says, and nothing of the program that
wrote it is used: canonical form, hashes, signatures, chains, team, forks, attachments, key files,
heads, and the plain part of the rules about keys. It prints what is whole, the first broken entry,
all other breaks, and what it could not check. Exit code 0 if nothing is broken, 1 if something is,
2 if there is no such folder or a head was typed wrongly.

Input may be hostile: lines, files and numbers of them are bounded, links are not followed, and
nothing of it is printed unless it is of a known form.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import stat
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

MOST_LINE = 256 * 1024
MOST_ENTRIES = 200_000
MOST_ABOUT_KEYS = 5_000
MOST_TEXT = 64 * 1024 * 1024
MOST_DEPTH = 32
MOST_BREAKS = 10_000
MOST_BRANCHES = 512
MOST_LISTED = 20
MOST_FILES = 100_000
DEVICE_PREFIX = b"flightlog.device-signature/1\n"
PERSON_PREFIX = b"flightlog.person-signature/1\n"
# Encodings of the points of small order on the curve: a signature by them needs no secret.
_SMALL = (
    *("00" * 32, "01" + "00" * 31, "ec" + "ff" * 30 + "7f"),
    *("ed" + "ff" * 30 + "7f", "ee" + "ff" * 30 + "7f"),
    "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
    "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
)
ANYBODYS_KEYS = {y[:62] + f"{int(y[62:], 16) ^ sign:02x}" for y in _SMALL for sign in (0, 0x80)}
TEAM_PREFIX = b"flightlog.team/1\n"
SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
HEX64 = re.compile(r"[0-9a-f]{64}")
HEX128 = re.compile(r"[0-9a-f]{128}")
NUMBER = re.compile(r"[1-9]\d{0,8}", re.ASCII)
WORD = re.compile(r"[a-z][a-z0-9.-]{0,39}")
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)
LISTED = re.compile(r"([0-9a-f]{64})  ([A-Za-z0-9_.-]{1,80}(?:/[A-Za-z0-9_.-]{1,80})?)")
FOR_READING = (
    *("READ-ME.txt", "logbook.txt", "keys.txt", "attachments.txt", "check.json", "missing.txt"),
)


class Wrong(Exception):
    """Something is not as it has to be."""


@dataclass
class Entry:
    """One line of the export."""

    line: int
    data: bytes
    body: dict
    hash: str
    device_signature: bytes
    people_signatures: list[bytes]
    parents: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        return f"entry {self.body['number']} of device {short(self.body['device'])}"


class Report:
    def __init__(self) -> None:
        self.breaks: list[tuple[int, str]] = []
        self.notes: list[str] = []
        self.flags: list[str] = []

    def wrong(self, text: str, line: int = 0) -> None:
        """Note a break; line 0 stands for what is in no line of entries.jsonl."""
        demand(len(self.breaks) < MOST_BREAKS, f"more than {MOST_BREAKS} breaks")
        self.breaks.append((line, text))


# --- codes


def written(value: int, signs: int) -> str:
    return "".join(SIGNS[value >> 5 * i & 31] for i in reversed(range(signs)))


def code(digest: str) -> str:
    bits = int(digest, 16) >> 131
    signs = written(bits, 25) + written(bits % 1021, 2)
    return "-".join(signs[i : i + 5] for i in range(0, 27, 5))


def short(key: str) -> str:
    return code(hashlib.sha256(bytes.fromhex(key)).hexdigest())[:5]


def plain_head(text: str) -> tuple[str, str]:
    """Give the number before the dot ("" if there is none), and 27 signs or 64 digits."""
    number, _, rest = text.strip().rpartition(".")
    plain = re.sub(r"[\s-]", "", rest)
    if HEX64.fullmatch(plain.lower()):
        return number, plain.lower()
    return number, plain.upper().translate(str.maketrans("ILOU", "110V"))


def read_head(text: str) -> str:
    """Give a head as it was typed, if its check signs fit; a slip is no sign of a cut."""
    number, plain = plain_head(text)
    if number and not NUMBER.fullmatch(number):
        raise argparse.ArgumentTypeError(f"{text[:80]!a}: before the dot is no number")
    if HEX64.fullmatch(plain):
        return text
    wrong = sorted(set(plain) - set(SIGNS))
    if wrong or len(plain) != 27:
        found = f"the sign {wrong[0]!a} is in no code" if wrong else f"{len(plain)} signs, not 27"
        raise argparse.ArgumentTypeError(f"{text[:80]!a}: {found}: a slip in typing")
    value = 0
    for sign in plain:
        value = value << 5 | SIGNS.index(sign)
    if (value >> 10) % 1021 != value & 1023:
        raise argparse.ArgumentTypeError(
            f"{text[:80]!a}: its last two signs don't fit the others, so one of the signs was "
            "typed wrongly: compare it with the paper, sign by sign"
        )
    return text


def head_fits(text: str, digest: str) -> bool:
    return plain_head(text)[1] in (digest, code(digest).replace("-", ""))


# --- canonical JSON (RFC 8785, without floating-point numbers)

ESCAPES = {8: "\\b", 9: "\\t", 10: "\\n", 12: "\\f", 13: "\\r", 34: '\\"', 92: "\\\\"}
ESCAPES |= {c: f"\\u{c:04x}" for c in range(32) if c not in ESCAPES}


def canonical(value: object, depth: int = 0) -> str:
    if depth > MOST_DEPTH:
        raise Wrong("it is nested too deep")
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return '"' + value.translate(ESCAPES) + '"'
    if isinstance(value, list):
        return "[" + ",".join(canonical(item, depth + 1) for item in value) + "]"
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        pairs = (canonical(k) + ":" + canonical(value[k], depth + 1) for k in keys)
        return "{" + ",".join(pairs) + "}"
    raise Wrong(f"{type(value).__name__} is nothing that a record may hold")


def integer(text: str) -> int:
    if len(text) > 17 or abs(int(text)) > 2**53 - 1:
        raise Wrong("an integer is beyond 2^53 - 1")
    return int(text)


def no_float(_text: str) -> object:
    raise Wrong("it holds a floating-point number")


def read_json(data: bytes) -> dict:
    """Read one line that has to be canonical."""
    try:
        value = json.loads(
            data.decode("utf-8"), parse_int=integer, parse_float=no_float, parse_constant=no_float
        )
        again = canonical(value).encode("utf-8")
    except (ValueError, RecursionError) as error:
        raise Wrong(f"it is no JSON ({type(error).__name__})") from error
    if again != data or not isinstance(value, dict):
        raise Wrong("its bytes are not the canonical form of a record")
    return value


# --- lines


def lines_of(path: Path) -> Iterator[bytes]:
    """Give the lines of a file, each bounded and ended by one line feed."""
    if not plain_file(path):
        raise Wrong(f"{path.name} is missing")
    with path.open("rb") as stream:
        for _ in range(MOST_ENTRIES):
            line = stream.readline(MOST_LINE + 2)
            if not line:
                return
            if not line.endswith(b"\n"):
                raise Wrong(f"{path.name}: a line is too long or does not end")
            yield line[:-1]
    raise Wrong(f"{path.name}: more than {MOST_ENTRIES} lines")


def plain_file(path: Path) -> bool:
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def demand(condition: object, text: str) -> None:
    if not condition:
        raise Wrong(text)


def is_hex(value: object) -> bool:
    return isinstance(value, str) and HEX64.fullmatch(value) is not None


def is_word(value: object) -> bool:
    return isinstance(value, str) and WORD.fullmatch(value) is not None


def check_form(body: dict) -> None:
    """Check the parts of a body on which everything else rests."""
    needed = {"schema", "team", "device", "number", "previous", "seen", "time", "kind", "content"}
    needed |= {"signers"}
    allowed = needed | {"attachments", "relations", "effect", "occurred"}
    demand(needed <= body.keys() <= allowed, "a part is missing or not known")
    demand(body["schema"] == "flightlog.entry/1", "the schema is another one")
    demand(is_hex(body["team"]) and is_hex(body["device"]), "team or device is no key")
    number = body["number"]
    demand(type(number) is int and number >= 1, "the number is none")
    previous = body["previous"]
    demand((previous is None) == (number == 1), "only number 1 has nothing before it")
    demand(previous is None or is_hex(previous), "previous is no hash")
    seen = body["seen"]
    demand(isinstance(seen, list) and all(map(is_hex, seen)), "seen is no list of hashes")
    demand(seen == sorted(set(seen)), "seen is not sorted")
    time = body["time"]
    demand(isinstance(time, dict) and {"utc", "source"} <= time.keys(), "the time is none")
    made = read_utc(time["utc"])
    demand(is_word(body["kind"]) and isinstance(body["content"], dict), "kind or content is none")
    for signer in objects(body, "signers"):
        demand({"key", "meaning"} <= signer.keys() <= {"key", "meaning", "role"}, "no signer")
        demand(is_hex(signer["key"]) and is_word(signer["meaning"]), "no signer")
    signing = [signer["key"] for signer in body["signers"]]
    demand(len(set(signing)) == len(signing), "one key signs twice")
    for file in objects(body, "attachments"):
        demand(file.keys() == {"sha256", "size", "name"}, "no attachment")
        demand(is_hex(file["sha256"]) and type(file["size"]) is int, "no attachment")
    for relation in objects(body, "relations"):
        demand(relation.keys() == {"is", "entry"} and is_hex(relation["entry"]), "no relation")
    if "effect" in body:
        effect = body["effect"]
        demand(isinstance(effect, dict) and effect.keys() == {"is", "on"}, "no effect")
        demand(effect["is"] in ("permits", "restricts"), "no effect")
        demand(isinstance(effect["on"], str) and effect["on"], "no effect")
    if "occurred" in body:
        late = body["occurred"]
        demand(isinstance(late, dict) and late.keys() == {"utc", "late_s", "reason"}, "not late")
        late_s = (made - read_utc(late["utc"])).total_seconds()
        demand(type(late["late_s"]) is int and late["late_s"] == late_s > 0, "not so late")


def read_utc(text: object) -> datetime:
    demand(isinstance(text, str) and UTC.fullmatch(text), "the time is none")
    try:
        return datetime.strptime(str(text), "%Y-%m-%dT%H:%M:%SZ")
    except ValueError as error:
        raise Wrong("the time is none") from error


def objects(body: dict, part: str) -> list[dict]:
    listed = body.get(part, [])
    demand(
        isinstance(listed, list) and all(isinstance(o, dict) for o in listed), f"{part}: no list"
    )
    return listed


def read_entry(line: int, data: bytes, signatures: bytes) -> Entry:
    body = read_json(data)
    check_form(body)
    try:
        given = read_json(signatures)
        device, people = given["device"], given["people"]
        demand(given.keys() == {"hash", "device", "people"}, "the line of signatures is another")
        demand(isinstance(people, list), "the line of signatures is another")
        for one in (device, *people):
            demand(one.keys() == {"key", "signature"}, "the line of signatures is another")
            demand(HEX128.fullmatch(one["signature"]), "a signature is none")
        keys = [one["key"] for one in people]
        demand(device["key"] == body["device"], "the device's key is another one")
        demand(keys == [s["key"] for s in body["signers"]], "the signers are others")
    except (KeyError, TypeError, AttributeError) as error:
        raise Wrong("the line of signatures is of another form") from error
    signed = [bytes.fromhex(one["signature"]) for one in (device, *people)]
    digest = hashlib.sha256(b"".join((data, *signed))).hexdigest()
    before = [body["previous"]] if body["previous"] is not None else []
    entry = Entry(line, data, body, digest, signed[0], signed[1:], before + body["seen"])
    sealed = b"".join((data, *signed[1:]))
    verify(body["device"], DEVICE_PREFIX + sealed, signed[0], "the device's signature")
    for key, signature in zip(keys, signed[1:], strict=True):
        verify(key, PERSON_PREFIX + data, signature, "a person's signature")
    demand(given["hash"] == digest, "the hash is another one")
    return entry


def verify(key: str, message: bytes, signature: bytes, whose: str) -> None:
    demand(key not in ANYBODYS_KEYS, f"{whose} is by a key with which anybody can sign")
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(signature, message)
    except (InvalidSignature, ValueError) as error:
        raise Wrong(f"{whose} does not fit") from error


def read_entries(folder: Path, report: Report) -> dict[str, Entry]:
    """Give the whole entries by hash, in the order of the lines."""
    entries: dict[str, Entry] = {}
    bodies, signatures = lines_of(folder / "entries.jsonl"), lines_of(folder / "signatures.jsonl")
    line = 0
    while True:
        data, signed = next(bodies, None), next(signatures, None)
        if data is None and signed is None:
            return entries
        line += 1
        if data is None or signed is None:
            report.wrong("entries.jsonl and signatures.jsonl are not of the same length", line)
            return entries
        try:
            entry = read_entry(line, data, signed)
            demand(entry.hash not in entries, "it stands here twice")
            entries[entry.hash] = entry
        except Wrong as error:
            report.wrong(f"the entry of this line: {error}", line)


# --- chains


def check_links(entries: dict[str, Entry], report: Report) -> None:
    roots = [entry for entry in entries.values() if not entry.parents]
    founding = next((entry for entry in roots if founds(entry)), None)
    if founding is None:
        report.wrong("there is no entry that founds this team", 1)
    else:
        signers = {signer["key"] for signer in founding.body["signers"]}
        if len(signers) < 2 or signers != set(introduced(founding)):
            report.wrong(
                f"{founding.name}: it is not signed by just those it enrols", founding.line
            )
    team = founding.body["team"] if founding is not None else None
    for entry in entries.values():
        if entry is not founding and not entry.parents:
            report.wrong(
                f"{entry.name}: it begins a chain without having seen the founding", entry.line
            )
        if team is not None and entry.body["team"] != team:
            report.wrong(f"{entry.name}: it is of another team", entry.line)
        for parent in entry.parents:
            check_link(entry, parent, entries, report)


def check_link(entry: Entry, parent: str, entries: dict[str, Entry], report: Report) -> None:
    before = entries.get(parent)
    body = entry.body
    if before is None:
        if parent == body["previous"]:
            missing = f"entry {body['number'] - 1} of device {short(body['device'])}"
        else:
            missing = f"an entry ({code(parent)})"
        report.wrong(f"{missing} is missing or broken: {entry.name} rests on it", entry.line)
    elif before.line > entry.line:
        report.wrong(f"{entry.name}: it stands before {before.name}, which it has seen", entry.line)
    elif parent == body["previous"] and (
        before.body["device"] != body["device"] or before.body["number"] + 1 != body["number"]
    ):
        report.wrong(f"{entry.name}: it does not continue {before.name}", entry.line)


def founds(entry: Entry) -> bool:
    body = entry.body
    content = canonical(body["content"]).encode("utf-8")
    team = hashlib.sha256(TEAM_PREFIX + content).hexdigest()
    return body["kind"] == "founding" and body["team"] == team and not entry.parents


def seen_marks(entries: dict[str, Entry], marked: dict[str, int]) -> dict[str, int]:
    """For each entry the bits of the marked ones that it has seen; lines are in order."""
    past: dict[str, int] = {}
    for entry in entries.values():
        bits = 0
        for parent in entry.parents:
            bits |= past.get(parent, 0) | marked.get(parent, 0)
        past[entry.hash] = bits
    return past


# --- keys: the plain part of the rules


def introduced(entry: Entry) -> list[str]:
    """Give the keys that an entry makes known."""
    content = entry.body["content"]
    if entry.body["kind"] == "founding":
        people = content.get("people")
        listed = people if isinstance(people, list) else []
        return [p["key"] for p in listed if isinstance(p, dict) and is_hex(p.get("key"))]
    name = {"enrolment": "key", "key-change": "new"}.get(entry.body["kind"])
    return [content[name]] if name and is_hex(content.get(name)) else []


def ended(entry: Entry) -> list[str]:
    """Give the keys that sign nothing more once an entry was seen."""
    name = {"revocation": "key", "key-change": "old"}.get(entry.body["kind"])
    key = entry.body["content"].get(name) if name else None
    return [key] if is_hex(key) else []


class Keys:
    """Which key was known, and not ended, in what an entry had seen."""

    def __init__(self, entries: dict[str, Entry]) -> None:
        acts = [e for e in entries.values() if introduced(e) or ended(e)]
        if len(acts) > MOST_ABOUT_KEYS:
            raise Wrong(f"more than {MOST_ABOUT_KEYS} entries are about keys")
        self.acts = acts
        self.bit = {act.hash: 1 << i for i, act in enumerate(acts)}
        self.past = seen_marks(entries, self.bit)
        self.known: dict[str, int] = {}
        self.revoked: dict[str, int] = {}
        for act in acts:  # each comes after all that it has seen
            if self._counts(act):
                for key in introduced(act):
                    self.known[key] = self.known.get(key, 0) | self.bit[act.hash]
                for key in ended(act):
                    self.revoked[key] = self.revoked.get(key, 0) | self.bit[act.hash]

    def _counts(self, act: Entry) -> bool:
        """Whether somebody known signed it, and the new keys did; a founding: exactly those."""
        signers = {signer["key"] for signer in act.body["signers"]}
        new = introduced(act)
        if act.body["kind"] == "founding":
            return founds(act) and len(signers) >= 2 and signers == set(new)
        known = [key for key in signers - set(new) if not self.problem(key, act)]
        return bool(known) and set(new) <= signers

    def problem(self, key: str, entry: Entry) -> str:
        """Say why a key's signature on an entry counts for nothing; "" if it does."""
        past = self.past[entry.hash]
        own = self.bit.get(entry.hash, 0)
        if not self.known.get(key, 0) & (past | own):
            return "its key was not known in what the entry had seen"
        if self.revoked.get(key, 0) & past:
            return "its key was revoked or changed in what the entry had seen"
        return ""


def check_keys(entries: dict[str, Entry], report: Report) -> None:
    keys = Keys(entries)
    # A revocation made apart from a signature takes it away as well.
    later = later_marks(entries, keys.bit)
    revocations = {
        act.hash: keys.bit[act.hash] for act in keys.acts if act.body["kind"] == "revocation"
    }
    every = sum(revocations.values())
    for entry in entries.values():
        own = keys.bit.get(entry.hash, 0)
        apart = every & ~keys.past[entry.hash] & ~later[entry.hash] & ~own
        for signer in entry.body["signers"]:
            problem = keys.problem(signer["key"], entry)
            if not problem and keys.revoked.get(signer["key"], 0) & apart:
                problem = "its key was revoked elsewhere, neither having seen the other"
            if problem:
                report.flags.append(f"{entry.name}, key {short(signer['key'])}: {problem}")
    if forks_of(entries):
        report.notes.append(
            "there are forks; that two keys explain one is checked, not that these are of two "
            "persons who may"
        )
    for fork in unexplained_forks(entries, keys):
        second = fork[1]
        report.wrong(f"{second.name}: a fork that no two persons explained", second.line)


def later_marks(entries: dict[str, Entry], marked: dict[str, int]) -> dict[str, int]:
    """For each entry the bits of the marked ones that have seen it."""
    later = dict.fromkeys(entries, 0)
    for entry in reversed(entries.values()):
        bits = later[entry.hash] | marked.get(entry.hash, 0)
        for parent in entry.parents:
            if parent in later:
                later[parent] |= bits
    return later


def forks_of(entries: dict[str, Entry]) -> list[list[Entry]]:
    """Entries of one device that follow one and the same entry."""
    followers: dict[tuple[str, str | None], list[Entry]] = {}
    for entry in entries.values():
        followers.setdefault((entry.body["device"], entry.body["previous"]), []).append(entry)
    return [branches for branches in followers.values() if len(branches) > 1]


def unexplained_forks(entries: dict[str, Entry], keys: Keys) -> Iterator[list[Entry]]:
    explaining: dict[str, list[Entry]] = {}
    for entry in entries.values():
        for branch in explained_by(entry):
            explaining.setdefault(branch, []).append(entry)
    forks = forks_of(entries)
    branches_in_all = [entry.hash for branches in forks for entry in branches]
    demand(len(branches_in_all) <= MOST_BRANCHES, f"more than {MOST_BRANCHES} branches of forks")
    bits = {digest: 1 << i for i, digest in enumerate(branches_in_all)}
    past = seen_marks(entries, bits) if forks else {}
    for branches in forks:
        wanted = {entry.hash for entry in branches}
        seen = sum(bits[digest] for digest in wanted)
        if not any(
            wanted <= explained_by(e)
            and past[e.hash] & seen == seen
            and sum(not keys.problem(s["key"], e) for s in e.body["signers"]) >= 2
            for e in explaining.get(branches[0].hash, [])
        ):
            yield branches


def explained_by(entry: Entry) -> set[str]:
    return {r["entry"] for r in objects(entry.body, "relations") if r["is"] == "explains"}


# --- files


def check_files(folder: Path, entries: dict[str, Entry], report: Report) -> None:
    named = {
        (file["sha256"], file["size"]): entry
        for entry in reversed(entries.values())
        for file in objects(entry.body, "attachments")
    }
    for (digest, size), entry in named.items():
        path = folder / "attachments" / digest
        if not plain_file(path) or path.parent.is_symlink():
            report.wrong(f"{entry.name}: an attachment is missing ({digest[:12]})", entry.line)
        elif path.stat().st_size != size or file_hash(path) != digest:
            report.wrong(f"{entry.name}: an attachment is another ({digest[:12]})", entry.line)
    check_key_files(folder, entries, report)
    tips = set(entries) - {parent for entry in entries.values() for parent in entry.parents}
    heads = {
        f"{e.body['number']}.{code(e.hash)}  device {short(e.body['device'])}"
        for e in entries.values()
        if e.hash in tips
    }
    if set(small_text(folder / "heads.txt").splitlines()) != heads:
        report.wrong("heads.txt does not hold the heads of these entries")
    check_list(folder, report)


def check_key_files(folder: Path, entries: dict[str, Entry], report: Report) -> None:
    keys = {e.body["device"] for e in entries.values()}
    keys |= {signer["key"] for e in entries.values() for signer in e.body["signers"]}
    for key in keys:
        public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(key))
        pem = public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()
        names = (f"{key[:16]}.pem", f"{key}.pem")
        if pem not in [small_text(folder / "keys" / name) for name in names]:
            report.wrong(f"the file of key {key[:16]} is missing or holds another key")


def check_list(folder: Path, report: Report) -> None:
    """Compare all files with files.sha256, which nobody signed."""
    listed = {}
    for line in small_text(folder / "files.sha256").split("\n")[:-1]:
        match = LISTED.fullmatch(line)
        if match is None:
            report.wrong("files.sha256: a line is of another form")
            continue
        listed[match[2]] = match[1]
    for name, digest in listed.items():
        path = folder / name
        if not plain_file(path) or path.parent.is_symlink() or file_hash(path) != digest:
            report.wrong(f"{name} is missing or not what files.sha256 says")
    for count, path in enumerate(folder.rglob("*")):
        demand(count < MOST_FILES, "there are too many files")
        name = path.relative_to(folder).as_posix()
        if not path.is_dir() and name not in listed and name != "files.sha256":
            report.wrong(f"a file is not in files.sha256: {name[:80]!a}")


def file_hash(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def small_text(path: Path) -> str:
    """Give a text file of bounded size; "" if there is none."""
    if not plain_file(path) or path.parent.is_symlink() or path.stat().st_size > MOST_TEXT:
        return ""
    return path.read_bytes().decode("utf-8", "replace")


# --- heads


def check_heads(heads: list[str], entries: dict[str, Entry], report: Report) -> None:
    for text in heads:
        found = next((e for e in entries.values() if head_fits(text, e.hash)), None)
        if found is None:
            report.wrong(f"head {text[:80]!a} is not here: entries were cut off or written anew")
            continue
        if plain_head(text)[0] not in ("", str(found.body["number"])):
            report.wrong(
                f"head {text[:80]!a}: the code is that of {found.name}, not of that number"
            )
            continue
        seen, waiting = {found.hash}, [found]
        while waiting:
            for parent in waiting.pop().parents:
                if parent in entries and parent not in seen:
                    seen.add(parent)
                    waiting.append(entries[parent])
        report.notes.append(f"head of {found.name}: here, with {len(seen) - 1} entries before it")


# --- the whole


def check(folder: Path, heads: list[str]) -> tuple[Report, dict[str, Entry]]:
    report = Report()
    entries: dict[str, Entry] = {}
    for name in ("INCOMPLETE.txt", "broken.jsonl"):
        if (folder / name).exists():
            report.wrong(f"{name} is here: this export is not whole")
    if not plain_file(folder / "READ-ME.txt"):
        report.wrong("READ-ME.txt is missing: this export is not whole")
    try:
        entries = read_entries(folder, report)
        check_links(entries, report)
        check_heads(heads, entries, report)
        check_files(folder, entries, report)
        if not any(line for line, _ in report.breaks):
            check_keys(entries, report)
        else:
            report.notes.append("whose keys were known was not looked at: entries are broken")
    except Wrong as error:
        report.breaks.append((0, str(error)))
    except OSError as error:
        report.breaks.append((0, f"a file can't be read ({error.strerror})"))
    report.breaks.sort(key=lambda one: (one[0] == 0, one[0]))
    return report, entries


def say(report: Report, entries: dict[str, Entry], heads: list[str]) -> Iterator[str]:
    devices = {e.body["device"] for e in entries.values()}
    if report.breaks:
        line, text = report.breaks[0]
        yield "BROKEN. First:"
        yield f"  line {line}: {text}" if line else f"  {text}"
        for line, text in report.breaks[1:MOST_LISTED]:
            yield f"  then line {line}: {text}" if line else f"  then {text}"
        if len(report.breaks) > MOST_LISTED:
            yield f"  and {len(report.breaks) - MOST_LISTED} more"
    yield f"Whole by themselves: {len(entries)} entries of {len(devices)} devices."
    if not report.breaks:
        yield (
            "Whole: canonical form, hashes, signatures, chains, team, attachments, key files, "
            "heads, list of files."
        )
    if report.flags:
        yield "Signatures that count for nothing, by the plain rules:"
        yield from (f"  {text}" for text in report.flags[:MOST_LISTED])
        if len(report.flags) > MOST_LISTED:
            yield f"  and {len(report.flags) - MOST_LISTED} more"
    yield from (f"Note: {text}" for text in report.notes)
    yield "Not checked:"
    if heads:
        yield "  - whether entries after the given heads were cut off"
    else:
        yield "  - whether entries at the end were cut off, or all was written anew: give --head"
    yield f"  - what {', '.join(FOR_READING)} say: they are for reading, and nobody"
    yield "    signed them; only that they are as files.sha256 says, which nobody signed either"
    yield "  - roles, witnesses' roles, recoveries, independence: the full rules about persons"
    yield "  - what entries say: content of kinds, permissions, contradictions"
    yield "  - whether what was said is true, and times are; who is behind the keys"


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description="Check an export of a signed logbook.")
    parser.add_argument("export", type=Path)
    parser.add_argument(
        "--head", action="append", default=[], metavar="CODE_OR_HEX", type=read_head
    )
    given = parser.parse_args(arguments)
    if not given.export.is_dir():
        what = "no folder" if given.export.exists() else "not there"
        parser.error(f"{str(given.export)!a} is {what}: name the folder of an export")
    report, entries = check(given.export, given.head)
    try:
        for line in say(report, entries, given.head):
            print(line)
        sys.stdout.flush()
    except OSError:
        # Nobody reads on, as behind "| head": what is left goes nowhere, and no fault is told.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 1 if report.breaks else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
