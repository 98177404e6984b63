"""Sample answers, kept as the JSON a judge, a prediction, a study and a finished job give."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

SAMPLES = Path(__file__).parent / "samples"
JUDGED = ("start", "mid", "near", "slip", "something_else", "nothing_wrong", "stop")


@pytest.fixture
def sample() -> Callable[[str], dict[str, Any]]:
    """A fresh copy of one sample by name."""

    def load(name: str) -> dict[str, Any]:
        text = (SAMPLES / f"{name}.json").read_text(encoding="utf-8")
        found: dict[str, Any] = json.loads(text)
        return copy.deepcopy(found)

    return load


@pytest.fixture(params=JUDGED)
def judged(
    request: pytest.FixtureRequest, sample: Callable[[str], dict[str, Any]]
) -> dict[str, Any]:
    """Every judge sample in turn."""
    return sample(request.param)
