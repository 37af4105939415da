"""Bench files: what they say is taken, what they get wrong is told by table and key."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import BaseModel

from flightlog.errors import TeamFileError
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.team_files import bench_tables
from flightlog.team_files.bench_file import KINDS, read_bench_file

HEAD = 'schema = "flightlog.bench/1"\nid = "wing-left"\nkind = "ringdown"\n'


def written(root: Path, text: str) -> Path:
    path = root / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_it_says_what_was_tested_and_where_the_columns_are(tmp_path):
    bench = read_bench_file(
        written(
            tmp_path,
            HEAD
            + '[subject]\naircraft = "pannier"\npart = "left wing tip"\n'
            + '[columns.acceleration]\nheader = "Z"\nunit = "g"\nsign = -1\n',
        )
    )

    assert bench.subject.named == ("aircraft", "pannier")
    assert bench.subject.part == "left wing tip"
    assert bench.columns["acceleration"].sign == -1
    assert len(bench.sha256) == 64


@pytest.mark.parametrize(
    ("more", "where", "found"),
    [
        ('[subject]\naircraft = "a"\npack = "b"\n', "[subject]", "aircraft and pack"),
        ("[thrust]\n", "[thrust]", "does not go with"),
        ('[columns.time]\nheader = "t"\nscale = 0.0\n', "scale", "is 0"),
        ('[limits]\n"ringdown.fifth_wheel" = { at_most = 1.0 }\n', "limits", "not a figure"),
        ("[subjct]\n", "subjct", "not a known key"),
        ("[file]\nencoding = 'no such'\n", "encoding", "no encoding"),
    ],
)
def test_faults_are_told_by_table_and_key(tmp_path, more, where, found):
    with pytest.raises(TeamFileError) as caught:
        read_bench_file(written(tmp_path, HEAD + more))

    assert where in caught.value.where
    assert found in caught.value.found
    assert caught.value.fix


def test_a_kind_that_is_none_is_refused(tmp_path):
    with pytest.raises(TeamFileError):
        read_bench_file(written(tmp_path, HEAD.replace("ringdown", "wind-tunnel")))


def test_kinds_of_bench_files_are_the_kinds_of_tests():
    assert tuple(GROUND_KINDS) == KINDS


@pytest.mark.parametrize("word", KINDS)
def test_the_table_of_a_kind_has_the_keys_of_its_setup(word):
    model = getattr(bench_tables, f"{word.capitalize()}Bench")
    kind = GROUND_KINDS[word]

    assert issubclass(model, BaseModel)
    assert set(model.model_fields) == set(kind.setup().__slots__)
    kind.setup(**model().model_dump())  # what is left out can be left out
