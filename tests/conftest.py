"""What every test shares: fixed random examples, and programs of the system that may be missing."""

from __future__ import annotations

import os
import shutil

import pytest
from hypothesis import settings

settings.register_profile("fixed", derandomize=True, deadline=None, database=None)
settings.load_profile("fixed")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, or under CI fail, a test whose program of the system is not installed."""
    for marker in item.iter_markers("needs_program"):
        for program in marker.args:
            if shutil.which(program) is not None:
                continue
            reason = f"{program} is not installed on this system"
            if os.environ.get("CI"):
                pytest.fail(f"{reason}, and CI promises it", pytrace=False)
            pytest.skip(reason)


@pytest.fixture(autouse=True, scope="session")
def own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test touches the data or cache folder of the person who runs it."""
    os.environ["IDLEWRIGHT_DATA"] = str(tmp_path_factory.mktemp("data"))
    os.environ["XDG_CACHE_HOME"] = str(tmp_path_factory.mktemp("cache"))
