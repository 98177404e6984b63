"""What ships: the wheel holds the program, its data and nothing else."""

import subprocess
import sys
import zipfile

import pytest

from contracts.tracked import ROOT, project_files


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """Names in a wheel built from this tree, with the locked build tool and no network."""
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (path,) = out.glob("*.whl")
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_the_wheel_holds_every_file_of_the_package(wheel):
    """Modules, families, schemas, templates, fonts: each tracked file of the package ships."""
    package = ROOT / "src"
    expected = {
        str(path.relative_to(package)) for path in project_files() if package in path.parents
    }
    assert "idlewright/schemas/judge.1.json" in expected
    assert expected <= set(wheel)


def test_the_wheel_holds_nothing_else(wheel):
    """Only the package and its own description; no tests, no tools."""
    assert {name.partition("/")[0].split("-")[0] for name in wheel} == {"idlewright"}


def test_the_wheel_names_program_and_licence(wheel):
    """The command, the licence and the Python it needs are in the wheel's description."""
    described = {name.rpartition("/")[2]: text.decode() for name, text in wheel.items()
                 if ".dist-info/" in name}  # fmt: skip
    assert "idlewright = idlewright.cli.entry:main" in described["entry_points.txt"]
    assert "License-Expression: Apache-2.0" in described["METADATA"]
    assert "Requires-Python: >=3.11" in described["METADATA"]
    assert described["LICENSE"].lstrip().startswith("Apache License")
