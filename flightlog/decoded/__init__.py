"""Decoded tables of logs, kept as Parquet files that can be thrown away.

A log is read once. Its tables, its receipt and what the importer noticed lie beside the record
afterwards, named by the hash of their own content, so that another version of the analyses works
from them and needs no raw log. The log itself stays in the record and remains the evidence.

::

    TEAM/tables/
      decoded/9f/9f2c…/   receipt.json, gps.parquet, imu.parquet, …; the name is the SHA-256 of
                          receipt.json, which holds the SHA-256 of each table

Which log has which tables stands in the signed entry of its recording. Before there is one, it is
noted in the profile of the laptop that read the log, since others can write in the team folder.
"""

from __future__ import annotations

from flightlog.decoded.store import DecodedStore

__all__ = ["DecodedStore"]
