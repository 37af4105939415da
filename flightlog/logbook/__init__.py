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
standing         what counts: signatures, permissions, restrictions, contradictions
words            an entry as text, from the bytes that are signed
store            entries on disk; with its ``migrations``
attachments      files by their hash, flushed before an entry names them
device           this laptop's own key and memory, outside of the team folder
keys             private keys of persons, under a passphrase; unlocked for one list
names            the side file with names, which can be erased
book             the logbook as a whole: show, sign, append
merge            the union with another folder, which may be hostile
checking         is the record whole; what can't be known from here
export           a copy that is checked without this program
===============  ================================================================================
"""
