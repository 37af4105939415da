from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def details_of_faults_stay_with_the_test(tmp_path_factory, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path_factory.mktemp("faults")))
