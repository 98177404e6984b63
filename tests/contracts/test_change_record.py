"""The version stands in one place, and the change record knows it."""

import re

from contracts.tracked import ROOT
from idlewright.version import __version__


def test_the_change_record_has_the_version():
    """The newest heading of CHANGELOG.md is the version of the package."""
    heads = re.findall(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    assert heads[0] == __version__
    assert len(heads) == len(set(heads))
