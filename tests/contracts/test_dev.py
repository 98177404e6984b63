"""`dev.py` on a bare machine: standard library only, and clear words when something is missing."""

import ast
import importlib.util
import subprocess
import sys

import pytest

from contracts.tracked import ROOT

SCRIPT = ROOT / "dev.py"


def run(*words):
    """Run dev.py; what it did."""
    command = [sys.executable, str(SCRIPT), *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.fixture
def dev():
    """dev.py as a module of its own."""
    spec = importlib.util.spec_from_file_location("dev_under_test", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_it_needs_the_standard_library_only():
    """Every import of dev.py is of the standard library."""
    tree = ast.parse(SCRIPT.read_text("utf-8"))
    named = {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
    named |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.partition(".")[0] for name in named} <= sys.stdlib_module_names | {"__future__"}


def test_help_names_every_command(dev):
    """`dev.py --help` shows each command; what a later version brings is not shown."""
    done = run("--help")
    assert done.returncode == 0
    assert all(f"dev.py {name} " in done.stdout for name in dev.COMMANDS)
    assert "dev.py bay" not in done.stdout


@pytest.mark.parametrize("words", [["tset"], ["bay"], ["setup", "more"]])
def test_unknown_words_end_with_two_and_one_line(words):
    """A command that is not there: exit code 2 and one line that says so."""
    done = run(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1


def test_without_ensurepip_it_says_what_to_install(dev, monkeypatch):
    """No `ensurepip` and no right to install packages: a sentence with the command to run."""
    monkeypatch.setattr(dev.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(dev, "can_install_packages", lambda: False)
    with pytest.raises(dev.Stop, match=r"sudo apt-get install python3\.\d+-venv"):
        dev.require_ensurepip()


@pytest.mark.parametrize(("ci", "fate"), [("", "be skipped"), ("true", "fail")])
def test_a_missing_program_is_announced(dev, monkeypatch, capsys, ci, fate):
    """A missing program: its tests will be skipped, or fail under CI; said beforehand."""
    monkeypatch.setattr(dev.shutil, "which", lambda name: None)
    monkeypatch.setenv("CI", ci)
    dev.require_programs()
    assert (
        f"ngspice not found and not installed; tests that need it will {fate}"
        in capsys.readouterr().err
    )


def test_the_stamp_follows_lock_and_project_file(dev, monkeypatch, tmp_path):
    """Only a changed lock or project file makes the environment be refreshed."""
    for name in (*dev.LOCKS.values(), "pyproject.toml", "dev.py"):
        (tmp_path / name).write_text("as it was")
    monkeypatch.setattr(dev, "ROOT", tmp_path)
    before = {kind: dev.fingerprint(kind) for kind in dev.LOCKS}
    assert before == {kind: dev.fingerprint(kind) for kind in dev.LOCKS}
    (tmp_path / "requirements-dev.lock").write_text("changed")
    assert dev.fingerprint("dev") != before["dev"]
    assert dev.fingerprint("run") == before["run"]
    (tmp_path / "pyproject.toml").write_text("changed")
    assert dev.fingerprint("run") != before["run"]
