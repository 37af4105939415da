"""Instructions that go with an export: how to check it by hand, without this program."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from flightlog.logbook.check_report import Report, headline
from flightlog.logbook.codes import code
from flightlog.logbook.entry import Entry
from flightlog.logbook.signatures import Purpose

_TEXT = """\
SIGNED LOGBOOK - COPY FOR CHECKING
{warning}
Team     {team}
         code {team_code}
Entries  {entries}
Heads    {heads}

This folder holds a record to which entries are only added, and all that is needed to check it
without the program that wrote it. It holds no private key.


WHAT IS WHAT

entries.jsonl      One entry a line: the exact bytes that were signed. Each line ends with one line
                   feed, which is not signed.
signatures.jsonl   The same lines: hash of the entry, signature of the device, signatures of persons
                   (hexadecimal).
keys/              Public keys (Ed25519), as PEM files. Each is named after the first 16 digits of
                   the key as it stands in entries.jsonl.
attachments/       Files that entries name, each named by its SHA-256.
{parts}\
heads.txt          Heads: short codes of the entries at the ends. Compare them with what was noted
                   on paper.
keys.txt           Whose keys these are, fingerprints, roles, and which entry made each key known.
logbook.txt        All entries as text, for reading. Made from entries.jsonl; nobody signed it.
check.json         What the program itself found when it wrote this copy.
files.sha256       SHA-256 of every other file here, for "sha256sum -c files.sha256" or
                   "shasum -a 256 -c files.sha256". Nobody signed this list: it shows accidents.
{more}

HOW TO CHECK IT, STEP BY STEP

Any language with JSON, SHA-256 and Ed25519 (RFC 8032) will do. The source of flightlog has
tests/verify_export.py, a script that does it with Python and its cryptography library alone.

1. Form. Each line of entries.jsonl is JSON in the canonical form of RFC 8785: UTF-8, no white
   space, keys sorted, no floating-point numbers, no integer beyond 2^53 - 1. Reading a line and
   writing it again in that form has to give the same bytes. "schema" is "flightlog.entry/1".

2. Signatures. With B the bytes of a line (without the line feed): each person's signature, in the
   order of "signers" and by the key there, is over
       "flightlog.person-signature/1" + LF + B
   and the device's, by the key under "device", over
       "flightlog.device-signature/1" + LF + B + signatures of persons, in order
   "signers" is inside of what is signed, so a signature that was taken away is missed.

3. Hash. The hash of an entry is
       SHA-256( B + signature of the device + signatures of persons, in order )
   of raw bytes, 64 for each signature. It is the "hash" in signatures.jsonl.

4. Chain. "number" counts the entries of one device from 1. "previous" is the hash of the entry of
   the same device with the number before, and null for number 1. "seen" are hashes of entries of
   other devices. Each of these hashes has to be that of an entry here. Two entries with the same
   "device" and the same "previous" are a fork: a copied folder, or a chain that was written anew.
   It has to be explained by an entry of two persons that has the relation "explains" to both.

5. Team. All entries have the same "team". It is
       SHA-256( "flightlog.team/1" + LF + canonical form of the founding's "content" )
   and the founding is the only entry without "previous" and without "seen". The team's code, as it
   was noted on paper when the record began, is the code (step 8) of the hash under "team". If it is
   another one, this is another team's record, or one that was made up.

6. Attachments. Each file that an entry names under "attachments" has that SHA-256 and that size.

7. Keys. An entry has seen all to which a way leads through "previous" and "seen". A person's key
   is known from these kinds of entries, and only where an entry has seen them:
       founding     "people": key and roles of each; signed by just these, two or more
       enrolment    "key"; signed by it, and by a witness with the role "authorise"
       key-change   "new" in place of "old", of "person" (that person's first key); signed by the
                    new key and the old one; where the old one is lost, by the new one and a witness
       grant        "roles" to "person"; signed by two others with the role "authorise"
       withdrawal   takes "roles" from "person"
       recovery     two persons give the role "authorise" anew where fewer than two have it
       revocation   ends "key"
   A signature counts if its key was known, and not revoked or changed, in what its entry had seen;
   and if it was made apart from a revocation, neither having seen the other, it counts for nothing.
   Signatures that don't count are kept. logbook.txt says of which entries, by the full rules.

8. Heads. The code of a hash: its first 125 bits as 25 signs of 5 bits each, of the alphabet
       0123456789ABCDEFGHJKMNPQRSTVWXYZ
   and two more signs for the remainder of these 125 bits, as a number, divided by 1021. In groups
   of five, and for a head with the number of the entry before it:
       120.KWP9Y-B4Z5J-FJS7S-CKWP9-YB4Z5-CF
   The fingerprint of a key is the code of the SHA-256 of its 32 bytes. A head that was noted on
   paper and is found here vouches for its entry and all that this one had seen.


ONE SIGNATURE WITH OPENSSL (3.0 or newer), for line {line}: {name}
{commands}
It prints "Signature Verified Successfully". The files body, message and signature are written
beside this folder, not into it.

For any other signature: signatures.jsonl has them in hexadecimal digits, two a byte. One of these
makes the 64 raw bytes of one, with its digits in place of DIGITS:
{to_raw}
A person's signature takes the key file of that person and the prefix
"flightlog.person-signature/1", over body. The device's takes the device's key file and the prefix
"flightlog.device-signature/1", over body and then the raw signatures of all persons of that entry,
in order, if there are any; of two persons, with their signatures made raw as above:
{device}

WHAT A SIGNATURE SHOWS

Who says what, and when they say that it was. Not that it is true. The device's signature shows from
which device an entry came; it is no person's.

WHAT CAN'T BE KNOWN FROM THIS FOLDER

- Whether entries at the end were cut off, or the whole was written anew by those who hold the keys:
  only heads that were noted elsewhere, on paper or with somebody else, show that.
- Whether times are true: each is what a device's clock said.
- Who the persons behind the keys are: compare the fingerprints in keys.txt with the paper on which
  they were noted when the keys were made.
- Whether something happened that nobody wrote down.

This is a team's own record. It is no certificate, and does not say that any flight was safe or
legal.
"""

_COMMANDS = """
    sed -n {line}p entries.jsonl | tr -d '\\n' > ../body
    printf '{prefix}\\n' | cat - ../body > ../message
    printf '{signature}' | openssl base64 -d -A > ../signature
    openssl pkeyutl -verify -pubin -inkey keys/{key} -rawin -in ../message -sigfile ../signature
"""

_TO_RAW = """
    printf DIGITS | xxd -r -p > ../signature
    python3 -c "import sys; sys.stdout.buffer.write(bytes.fromhex('DIGITS'))" > ../signature
"""

_DEVICE = """
    printf 'flightlog.device-signature/1\\n' | cat - ../body ../person-1 ../person-2 > ../message
"""

_BROKEN = "THE RECORD WAS BROKEN WHEN THIS COPY WAS MADE. check.json says where."
_STORED = """\
Entries that could not be read, or whose signatures don't fit, are in broken.jsonl as they were
stored (bytes in hexadecimal digits)."""

_NAMES = "Names of persons stand in logbook.txt and keys.txt. Handle this copy accordingly."
_NO_NAMES = """\
Persons are called by their key's fingerprint: the team's list of their names is not in this copy.
Remarks, and names of files, can hold names all the same."""

_ATTACHED = """\
attachments.txt    The same files: SHA-256, size [bytes], name, and the entry that names it.
"""


def readme(
    team: str,
    entries: Sequence[Entry],
    heads: Sequence[str],
    key_files: dict[str, str],
    *,
    report: Report,
    attached: bool,
    broken: int,
    missing: int,
    with_names: bool,
) -> str:
    """Write the instructions for one export.

    Parameters
    ----------
    team : str
        Id of the team.
    entries : sequence of Entry
        As in ``entries.jsonl``.
    heads : sequence of str
        Codes of the ends.
    key_files : dict
        Public key -> name of its file.
    report : Report
        What the check found.
    attached : bool
        Whether ``attachments.txt`` is there.
    broken : int
        How many rows are in ``broken.jsonl``.
    missing : int
        How many attachments could not be copied.
    with_names : bool
        Whether names of persons are in it.
    """
    more = [_NAMES if with_names else _NO_NAMES]
    if missing:
        more.append(f"Attachments that could not be copied: {missing}; see missing.txt.")
    line = next((i for i, e in enumerate(entries) if e.body.signers), 0)
    shown = entries[line] if entries else None
    return _TEXT.format(
        warning=_warning(report, broken),
        team=team,
        team_code=code(team) if team else "none: no entry is whole",
        entries=len(entries),
        heads=("\n         ").join(heads),
        parts=_ATTACHED if attached else "",
        more="\n".join(more) + "\n",
        to_raw=_TO_RAW,
        device=_DEVICE,
        line=line + 1,
        name=shown.name if shown is not None else "there is none",
        commands=_commands(shown, line + 1, key_files) if shown is not None else "",
    )


def _warning(report: Report, broken: int) -> str:
    if report.ok:
        return ""
    said = textwrap.fill(f"{headline(report)}.", 99) if report.older else _BROKEN
    return "\n".join(["", said, *([_STORED] if broken else []), ""])


def _commands(entry: Entry, line: int, key_files: dict[str, str]) -> str:
    from base64 import b64encode

    person = bool(entry.body.signers)
    purpose = Purpose.PERSON if person else Purpose.DEVICE
    key = entry.body.signers[0].key if person else entry.body.device
    signature = entry.people_signatures[0] if person else entry.device_signature
    return _COMMANDS.format(
        line=line,
        prefix=purpose.value.decode().rstrip("\n"),
        signature=b64encode(signature).decode(),
        key=key_files[key],
    )
