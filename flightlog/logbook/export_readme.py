"""Instructions that go with an export: how to check it by hand, without this program."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.logbook.entry import Entry
from flightlog.logbook.signatures import Purpose

_TEXT = """\
SIGNED LOGBOOK - COPY FOR CHECKING
{warning}
Team     {team}
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

2. Signatures. With B the bytes of a line (without the line feed):
   the device's signature is by the key under "device", over
       "flightlog.device-signature/1" + LF + B
   and each person's, in the order of "signers" and by the key there, over
       "flightlog.person-signature/1" + LF + B
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
   and the founding is the only entry without "previous" and without "seen".

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
       120.7XK4M-9QW2T-0ABCD-EFGHJ-KMNPQ-RS
   The fingerprint of a key is the code of the SHA-256 of its 32 bytes. A head that was noted on
   paper and is found here vouches for its entry and all that this one had seen.


ONE SIGNATURE WITH OPENSSL (3.0 or newer), for line {line}: {name}
{commands}
It prints "Signature Verified Successfully".


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
    sed -n {line}p entries.jsonl | tr -d '\\n' > body
    printf '{prefix}\\n' | cat - body > message
    printf '{signature}' | openssl base64 -d -A > signature
    openssl pkeyutl -verify -pubin -inkey keys/{key} -rawin -in message -sigfile signature
"""

_BROKEN = """
THE RECORD WAS BROKEN WHEN THIS COPY WAS MADE. check.json says where. Entries that could not be
read, or whose signatures don't fit, are in broken.jsonl as they were stored (bytes in hexadecimal).
"""

_NAMES = "Names of persons stand in logbook.txt and keys.txt. Handle this copy accordingly."
_NO_NAMES = "Names of persons are not in this copy; persons are called by their key's fingerprint."


def readme(
    team: str,
    entries: Sequence[Entry],
    heads: Sequence[str],
    key_files: dict[str, str],
    *,
    broken: bool,
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
    broken : bool
        Whether the record has breaks.
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
        warning=_BROKEN if broken else "",
        team=team,
        entries=len(entries),
        heads=("\n         ").join(heads),
        more="\n".join(more) + "\n",
        line=line + 1,
        name=shown.name if shown is not None else "there is none",
        commands=_commands(shown, line + 1, key_files) if shown is not None else "",
    )


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
