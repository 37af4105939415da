"""Bytes of team files: those that the record keeps, and whatever lies in the folder."""

from __future__ import annotations

import hashlib

import pytest

from flightlog.errors import TeamFileError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment
from flightlog.team.contents import version_content, working_bytes
from flightlog.team_files.reading import LARGEST_BYTES, MOST_DEPTH, kind_of, table_of

DATA = b'schema = "flightlog.aircraft/1"\nid = "pannier"\nserial = "PN-01"\n'


@pytest.fixture
def kept(tmp_path):
    source = tmp_path / "pannier.toml"
    source.write_bytes(DATA)
    store = AttachmentStore(tmp_path / "attachments")
    return store, store.put(source)


def test_a_version_says_what_its_bytes_say(kept):
    store, attachment = kept

    found = version_content(store, attachment, "aircraft", "pannier")
    assert {"id": "pannier", "serial": "PN-01"} == found.table
    assert "flightlog.aircraft/1" in version_content(store, attachment, "pack", "pannier").fault
    assert "its id is 'pannier'" in version_content(store, attachment, "aircraft", "x").fault


def test_bytes_that_were_replaced_are_found_though_they_were_read_before(kept):
    store, attachment = kept
    version_content(store, attachment, "aircraft", "pannier")
    path = store.path(attachment.sha256)
    path.write_bytes(DATA.replace(b"PN-01", b"PN-07"))

    found = version_content(store, attachment, "aircraft", "pannier")
    assert (None, True) == (found.table, found.missing)


def test_a_version_that_claims_to_be_huge_is_not_opened(kept):
    store, attachment = kept
    huge = Attachment(attachment.sha256, LARGEST_BYTES + 1, "x")

    assert "too many for a team file" in version_content(store, huge, "aircraft", "x").fault


def test_a_working_copy_is_read_as_it_is(tmp_path):
    place = tmp_path / "x.toml"
    place.write_bytes(b"\xff" * LARGEST_BYTES)
    assert LARGEST_BYTES == len(working_bytes(place))

    place.write_bytes(b"\xff" * (LARGEST_BYTES + 1))
    with pytest.raises(TeamFileError, match="holds more than"):
        working_bytes(place)
    with pytest.raises(TeamFileError, match="can't be read"):
        working_bytes(tmp_path / "\0")


@pytest.mark.parametrize("depth", [MOST_DEPTH - 1, MOST_DEPTH])
def test_tables_are_nested_so_deep_and_no_deeper(tmp_path, depth):
    data = b'schema = "flightlog.site/1"\n' + b".".join([b"a"] * depth) + b" = 1\n"

    if depth < MOST_DEPTH:
        assert {"a"} == set(table_of(data, "site", tmp_path))
    else:
        assert {"a"} == set(table_of(data, "site", tmp_path))
        with pytest.raises(TeamFileError, match="too long to read"):
            table_of(data.replace(b"a = 1", b"a.a = 1"), "site", tmp_path)


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (DATA, "aircraft"),
        (b'schema = "flightlog.colour/7"', "colour"),
        (b'schema = "aircraft"', ""),
        (b"schema = 1", ""),
        (b"", ""),
    ],
)
def test_the_kind_is_what_the_schema_says(tmp_path, data, kind):
    assert kind == kind_of(data, tmp_path)


def test_the_hash_is_that_of_the_bytes(kept):
    assert hashlib.sha256(DATA).hexdigest() == kept[1].sha256
