"""Keeping what is found: every file, by its hash, whatever lies on the card."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from flightlog.errors import NotWritableError
from flightlog.operations import evidence
from flightlog.operations.evidence import keep, walked
from flightlog.operations.incident import parts_of, restrict, sources_of

needs_fifo = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
needs_links = pytest.mark.skipif(os.name == "nt", reason="links take a right of their own there")


@pytest.fixture
def card(tmp_path):
    folder = tmp_path / "card"
    (folder / "LOGS").mkdir(parents=True)
    return folder


def incident(farm):
    return restrict(farm.desk, "pannier", ["pack-a"], "struck the ground")


def kept(farm, *sources, entry=None):
    told = []
    found = keep(farm.desk, entry or incident(farm), sources, told.append)
    return {one.path.name: one for one in found}, told


def said(farm, entry):
    return "\n".join(part.body.content["facts"] for part in parts_of(farm.desk, entry))


def test_files_of_folders_are_kept_bit_by_bit_under_their_place(farm, card):
    data = {"a.bin": b"one", "LOGS/00000007.BIN": os.urandom(3_000_000), "LOGS/empty.txt": b""}
    for name, content in data.items():
        (card / name).write_bytes(content)
    times = {path: path.stat().st_mtime_ns for path in card.rglob("*")}
    entry = incident(farm)
    kept(farm, card, entry=entry)
    sources = {a.name: a for a in sources_of(farm.desk, entry)}

    assert {f"card/{name}" for name in data} == set(sources)
    for name, content in data.items():
        attachment = sources[f"card/{name}"]
        assert hashlib.sha256(content).hexdigest() == attachment.sha256
        assert content == farm.book.attachments.path(attachment.sha256).read_bytes()
    # Nothing on the card is another than before.
    assert times == {path: path.stat().st_mtime_ns for path in card.rglob("*")}
    assert {name: (card / name).read_bytes() for name in data} == data


def test_the_newest_files_are_kept_first(card):
    for number, age in ((1, 10), (2, 30), (3, 20), (10, 20)):
        path = card / f"{number:08}.BIN"
        path.write_bytes(b"x")
        os.utime(path, (1e9 - age, 1e9 - age))

    # Of one age the higher number: cards without a clock have nothing else.
    assert [1, 10, 3, 2] == [int(found.path.stem) for found in walked(card)]


@needs_links
def test_links_are_followed_where_a_person_named_them_and_nowhere_else(farm, card, tmp_path):
    (card / "a.bin").write_bytes(b"on the card")
    (tmp_path / "secret").write_bytes(b"elsewhere")
    (card / "out").symlink_to(tmp_path / "secret")
    (card / "LOGS" / "round").symlink_to(card, target_is_directory=True)
    (card / "loop").symlink_to(card / "loop")
    entry = incident(farm)
    found, told = kept(farm, card, card / "loop", entry=entry)

    assert ["card/a.bin"] == [a.name for a in sources_of(farm.desk, entry)]
    for name in ("out", "round", "loop"):
        assert found[name].attachment is None
        assert name in said(farm, entry)
    assert any("a link" in line for line in told)
    (tmp_path / "named").symlink_to(card, target_is_directory=True)
    assert ["named/a.bin"] == [f.name for f in walked(tmp_path / "named") if not f.why_not]


@needs_fifo
def test_a_pipe_is_told_and_not_waited_for(farm, card):
    os.mkfifo(card / "pipe")
    (card / "a.bin").write_bytes(b"x")
    entry = incident(farm)
    found, _ = kept(farm, card, card / "pipe", entry=entry)

    assert "no file" in found["pipe"].why_not
    assert found["a.bin"].attachment is not None
    assert "pipe: left out, no file" in said(farm, entry)


def test_what_is_not_there_is_told_and_the_others_are_kept(farm, card):
    (card / "a.bin").write_bytes(b"x")
    entry = incident(farm)
    found, _ = kept(farm, card / "gone.bin", card / "a.bin", entry=entry)

    assert "No such file" in found["gone.bin"].why_not
    assert "gone.bin: left out: can't be read" in said(farm, entry)
    assert ["a.bin"] == [a.name for a in sources_of(farm.desk, entry)]


class Breaking:
    """A file of which so many bytes can be read."""

    def __init__(self, stream, most):
        self.stream, self.left = stream, most

    def read(self, size):
        if not self.left:
            raise OSError(5, "Input/output error")
        data = self.stream.read(min(size, self.left))
        self.left -= len(data)
        return data

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stream.close()


def opening(monkeypatch, change):
    """Let files of cards be opened through something."""
    plain = Path.open

    def opened(path, mode="r", *args, **more):
        stream = plain(path, mode, *args, **more)
        return change(path, stream) if path.suffix == ".bin" else stream

    monkeypatch.setattr(Path, "open", opened)


def test_a_file_that_breaks_off_is_kept_as_far_as_it_can_be_read(farm, card, monkeypatch):
    (card / "a.bin").write_bytes(b"0123456789")
    (card / "b.bin").write_bytes(b"good")
    opening(monkeypatch, lambda p, s: Breaking(s, 4) if p.name == "a.bin" else s)
    entry = incident(farm)
    found, _ = kept(farm, card, entry=entry)
    names = {a.name: a.sha256 for a in sources_of(farm.desk, entry)}

    assert hashlib.sha256(b"0123").hexdigest() == names["card/a.bin (first 4 bytes)"]
    assert "card/b.bin" in names
    assert "breaks off after 4 of 10 bytes (Input/output error)" in found["a.bin"].why_not
    assert "breaks off after 4 of 10 bytes" in said(farm, entry)


def test_a_file_that_changes_while_it_is_copied_is_told(farm, card, monkeypatch):
    (card / "a.bin").write_bytes(b"0123456789")
    (card / "b.bin").write_bytes(b"0123456789")
    opening(monkeypatch, grown)
    entry = incident(farm)
    found, _ = kept(farm, card / "a.bin", card / "b.bin", entry=entry)

    assert "changed while it was copied" in found["a.bin"].why_not
    assert found["a.bin"].attachment is not None
    assert "went away while it was copied" in found["b.bin"].why_not
    assert found["b.bin"].attachment is not None


def grown(path, stream):
    if path.name == "a.bin":
        os.utime(path, (1, 1))
    elif os.name != "nt":
        path.unlink()
    return stream


def test_a_file_that_is_too_large_is_named_with_its_hash(farm, card, monkeypatch):
    monkeypatch.setattr(evidence, "MOST_ATTACHMENT_BYTES", 9)
    (card / "film.bin").write_bytes(b"0123456789")
    (card / "a.bin").write_bytes(b"012345678")
    entry = incident(farm)
    found, _ = kept(farm, card, entry=entry)

    assert ["card/a.bin"] == [a.name for a in sources_of(farm.desk, entry)]
    assert "10 bytes are too many to attach" in found["film.bin"].why_not
    assert hashlib.sha256(b"0123456789").hexdigest() in said(farm, entry)
    assert "keep the card" in said(farm, entry)


@needs_links
def test_names_with_signs_that_show_nothing_and_long_ones_are_no_obstacle(farm, card):
    names = ["a\tb\n.bin", "\u202egnp.bin", "x" * 250, "half \udcff.bin", "=1+1.csv"]
    for index, name in enumerate(names):
        (card / name).write_bytes(b"%d" % index)
    (card / "half \udcfe.bin").write_bytes(b"3")
    entry = incident(farm)
    kept(farm, card, entry=entry)
    sources = sources_of(farm.desk, entry)

    assert {hashlib.sha256(b"%d" % i).hexdigest() for i in range(5)} == {a.sha256 for a in sources}
    assert "the same bytes as card/half ?.bin" in said(farm, entry)
    assert all(len(a.name) <= 200 for a in sources)


def test_the_same_bytes_twice_are_kept_once_and_told_by_both_names(farm, card):
    (card / "a.bin").write_bytes(b"one")
    (card / "LOGS" / "a.bin").write_bytes(b"one")
    (card / "LOGS" / "b.bin").write_bytes(b"two")
    entry = incident(farm)
    kept(farm, card, card / "a.bin", card, entry=entry)

    assert {b"one", b"two"} == {
        farm.book.attachments.path(a.sha256).read_bytes() for a in sources_of(farm.desk, entry)
    }
    assert 1 == said(farm, entry).count("the same bytes as")
    # What was kept before is not lost for being found again.
    kept(farm, card, entry=entry)
    assert 2 == len(sources_of(farm.desk, entry))


def test_many_files_go_into_several_entries_that_cite_the_incident(farm, card):
    for number in range(130):
        (card / f"{number}.txt").write_bytes(b"%d" % number)
    entry = incident(farm)
    kept(farm, card, entry=entry)

    assert [60, 60, 10] == [len(p.body.attachments) for p in parts_of(farm.desk, entry)[1:]]
    assert 130 == len(sources_of(farm.desk, entry))
    assert all((entry.hash,) == p.body.related("cites") for p in parts_of(farm.desk, entry)[1:])


def test_what_was_kept_before_an_interruption_is_named_in_the_record(farm, card):
    for number in range(5):
        path = card / f"{number}.txt"
        path.write_bytes(b"%d" % number)
        os.utime(path, (1e9 - number, 1e9 - number))
    entry = incident(farm)

    def stop(line):
        if "3.txt" in line:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keep(farm.desk, entry, [card], stop)

    assert ["card/0.txt", "card/1.txt", "card/2.txt"] == [
        a.name for a in sources_of(farm.desk, entry)
    ]


def test_a_full_disk_takes_the_copies_and_not_the_restriction(farm, card, monkeypatch):
    (card / "a.bin").write_bytes(b"x")

    def full(*_):
        raise NotWritableError("the disk is full", where="attachments")

    monkeypatch.setattr(farm.book.attachments, "put", full)
    entry = incident(farm)
    found, _ = kept(farm, card, entry=entry)

    assert "the disk is full" in found["a.bin"].why_not
    assert farm.book.standing.open_restrictions("aircraft:pannier")
    assert "a.bin: the disk is full" in said(farm, entry)


def test_the_record_itself_is_no_source(farm):
    entry = incident(farm)
    found, _ = kept(farm, farm.folder.path, entry=entry)

    assert "the team's own record" in found["logbook"].why_not
    assert "pannier.toml" in found
    assert not any("attachments" in one.name for one in found.values())


def test_a_folder_without_permission_is_told_and_the_others_are_walked_through(
    farm, card, monkeypatch
):
    (card / "LOGS" / "a.bin").write_bytes(b"x")
    (card / "b.bin").write_bytes(b"y")
    plain = Path.iterdir

    def listed(path):
        if path.name == "LOGS":
            raise PermissionError(13, "Permission denied")
        return plain(path)

    monkeypatch.setattr(Path, "iterdir", listed)
    found, _ = kept(farm, card)

    assert "Permission denied" in found["LOGS"].why_not
    assert found["b.bin"].attachment is not None
