"""The locks: every requirement pinned and hashed, nothing the project file asks for left out."""

import re
import tomllib

import pytest

from contracts.tracked import ROOT

LOCKS = ["requirements.lock", "requirements-dev.lock"]
PIN = re.compile(r"^([A-Za-z0-9_.-]+)==([^\s;]+)(?: ; (.+?))? \\$")
HASH = re.compile(r"^ {4}--hash=sha256:[0-9a-f]{64}( \\)?$")


def pins(name):
    """Normalised package name -> set of versions in a lock; every line must be a pin or a hash."""
    found = {}
    lines = (ROOT / name).read_text("utf-8").splitlines()
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        pin = PIN.match(line)
        assert pin or HASH.match(line), line
        if pin:
            assert HASH.match(after), f"{line} has no hash"
            found.setdefault(normal(pin.group(1)), set()).add(pin.group(2))
    return found


def normal(name):
    """A package name as registries compare them."""
    return re.sub(r"[-_.]+", "-", name).lower()


def asked(*lists):
    """Normalised names in requirement lists."""
    return {normal(re.match(r"[A-Za-z0-9_.-]+", text).group()) for each in lists for text in each}


@pytest.fixture
def project():
    """pyproject.toml as data."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


@pytest.mark.parametrize("name", LOCKS)
def test_every_line_is_a_pin_or_its_hash(name):
    """Each requirement is pinned to one version with SHA-256 hashes, and there is nothing else."""
    assert len(pins(name)) > 5


def test_the_locks_cover_the_project_file(project):
    """What runs is in both locks, what develops in the second; build tools too."""
    run, dev = (pins(name) for name in LOCKS)
    needs = asked(project["project"]["dependencies"])
    assert needs <= set(run)
    tools = asked(
        project["dependency-groups"]["dev"],
        project["build-system"]["requires"],
        *project["project"]["optional-dependencies"].values(),
    )
    assert needs | tools <= set(dev)


def test_both_locks_agree():
    """A package has the same versions in both locks."""
    run, dev = (pins(name) for name in LOCKS)
    assert {name: dev.get(name) for name in run} == run
