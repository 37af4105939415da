from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from typing import get_args

import pytest
from pydantic import BaseModel

from flightlog.inputs import load_aircraft, load_site
from flightlog.rules import book
from flightlog.rules.book_file import RulesFile
from flightlog.team_files.models import AircraftFile, SiteFile

FILES = [
    (SiteFile, load_site.__doc__),
    (AircraftFile, load_aircraft.__doc__),
    (RulesFile, book.__doc__),
]


def models_in(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
        for field in annotation.model_fields.values():
            yield from models_in(field.annotation)
    for inner in get_args(annotation):
        yield from models_in(inner)


@pytest.mark.parametrize(("file", "text"), FILES, ids=["site", "aircraft", "rules"])
def test_every_key_of_a_file_is_documented(file, text):
    keys = {key for model in models_in(file) for key in model.model_fields}

    assert not {key for key in keys if key not in (text or "")}


@pytest.mark.parametrize("file", [SiteFile, AircraftFile, RulesFile])
def test_every_key_that_is_needed_can_say_what_it_is(file):
    """An error about a missing key tells what to write there."""
    silent = {
        f"{model.__name__}.{key}"
        for model in models_in(file)
        for key, field in model.model_fields.items()
        if field.is_required() and not field.description
    }

    assert not silent


@pytest.mark.parametrize(
    "module", ["flightlog.inputs", "flightlog.rules.book", "flightlog.rules.judge"]
)
def test_the_schema_library_is_loaded_only_for_a_file_that_is_given(module):
    code = f"import sys, {module}; print('pydantic' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )

    assert done.stdout == "False\n"
