"""A test that needs a program of the system: skipped with the reason here, failed under CI."""

import os
import shutil
import subprocess
import sys

import pytest

from contracts.tracked import ROOT

SAMPLE = '''
import pytest

@pytest.mark.needs_program("no-such-program")
def test_with_it():
    """Never reached."""
    raise AssertionError("ran without its program")
'''


@pytest.mark.parametrize(("ci", "outcome"), [("", "1 skipped"), ("true", "1 error")])
def test_a_missing_program_is_never_passed_over(tmp_path, ci, outcome):
    """Without CI the test is skipped and the reason shown; with CI set it counts as not passed."""
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "test_sample.py").write_text(SAMPLE)
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "tests"]
    done = subprocess.run(
        command,
        cwd=tmp_path,
        env={**os.environ, "CI": ci},
        capture_output=True,
        text=True,
        check=False,
    )
    assert outcome in done.stdout.splitlines()[-1]
    assert "no-such-program is not installed" in done.stdout
    assert (done.returncode == 0) == (not ci)
