"""Skip tests whose system program is absent, with a reason."""

import os
import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        for mark in item.iter_markers("needs"):
            missing = [program for program in mark.args if shutil.which(program) is None]
            if missing:
                reason = f"needs {', '.join(missing)}, not installed"
                item.add_marker(pytest.mark.skip(reason=reason))


# The same draws on every run: a red run can be repeated, a green one means the same everywhere.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

collect_ignore_glob = ["*/make_*.py"]  # scripts that made stored results need other libraries


@pytest.fixture
def shared_data() -> Path:
    """Folder of real plan files beside the repository; absent on most machines."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the folder of real plan files is not beside this repository")
    return folder
