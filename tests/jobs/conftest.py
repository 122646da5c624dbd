"""Jobs that several tests look at: designed once a run."""

from pathlib import Path

import pytest

from soffit.work.demo import make_demo
from soffit.work.make_design import make_design


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("jobs") / "library"
    make_demo("library", folder)
    make_design(folder)
    return folder
