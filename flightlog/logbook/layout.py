"""Where a logbook keeps what, below its own folder."""

from __future__ import annotations

RECORD = "record.sqlite"
"""The entries, with their signatures."""
ATTACHMENTS = "attachments"
"""Files that entries name, by their SHA-256: ``attachments/9f/9f2c…``."""
NAMES = "names.json"
"""Names and contact details of persons; the only file that may be erased."""
