"""The signed logbook: entries that are only added, and that anybody can check.

This room knows nothing of flying. It keeps records, signatures and who may give them; what a
record means to an aircraft is read out of it in ``team`` and ``operations``.

===============  ================================================================================
canonical        the one byte string of a record
codes            hashes as codes for paper
signatures       Ed25519, one purpose each
entry            one record: bytes, meaning, signatures, hash
order            which entry has seen which
kinds            the kinds of entries that this program knows
people           who holds which key and role, at which place in the record
signing_rules    who has to sign which entry about people
rulings          which of these entries stand and count; in ``reasons`` why a signature does not
vouching         how those who recover depend on each other
standing         what counts: signatures, permissions, restrictions, contradictions
words            an entry as text, from the bytes that are signed
database         a SQLite file of ours, and its errors in words
store            entries on disk; with its ``migrations``
attachments      files by their hash, flushed before an entry names them
device           this laptop's own key and memory, outside of the team folder
keys             folders of persons' private keys, outside of the team folder
keyfile          one private key, sealed under a passphrase
passphrases      passphrases: shown nowhere, copied nowhere
tries            the wait after passphrases that did not fit
unlocking        a private key in the hand of its person: one list, ten minutes
names            the side file with names, which can be erased
book             the logbook as a whole: show, sign, append
merge            the union with another folder, which may be hostile
stored           rows as they are stored, checked one by one
links            what rows come to together: nothing missing, nothing out of its place
compared         heads that were noted elsewhere, compared with the record
checking         is the record whole; what can't be known from here; ``check_report`` says it
export           a copy that is checked without this program; ``export_readme`` says how
===============  ================================================================================
"""
