"""A slip that is unlikely changes little: cars on which it once decided everything."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from idlewright.diagnosis.belief import believe
from idlewright.diagnosis.prior import prior_of
from idlewright.family import load_family
from idlewright.family.kinds import Sheet
from idlewright.family.textfile import content_sha256
from idlewright.job.case import case_of
from idlewright.job.file import load_job
from idlewright.job.prepared import prepare

SHEET = Sheet("unknown", content_sha256({}), {})


def odds(name: str, readings: dict[str, str], words: list[str], *, slips: bool) -> np.ndarray:
    """Odds of every fault, then of nothing wrong and something else."""
    family = load_family(name)
    prepared = prepare(family, SHEET)
    data: dict[str, Any] = {
        "format": 1, "id": "a", "family": name, "complaint": {"words": words},
        "reading": [
            {"id": f"r{k}", "check": check, "value": value}
            for k, (check, value) in enumerate(readings.items())
        ],
    }  # fmt: skip
    job = load_job(data)
    case = case_of(job, prepared.model)
    prior = prior_of(family, job.words)
    found = believe(prepared.model, case, prior, slips=slips, unlisted=prepared.unlisted)
    return np.array([*found.fault, found.good, found.other])


@pytest.mark.parametrize(
    ("family", "readings", "words"),
    [
        (
            "stepper-pressure",
            {"fuel.hunt": "up and down by itself", "tps.signal.computer": "0.544 V"},
            ["worse_since_work"],
        ),
        (
            "stepper-pressure",
            {
                "basics.idle.compressor": "1270 rpm", "basics.idle.drive": "1220 rpm",
                "tps.gnd.lift": "28.8 mV", "tps.sig.joint": "-0.1 mV",
                "tps.signal.sweep": "climbs smoothly",
            },
            ["stalls_on_load", "starts_foot_down"],
        ),
        ("plunger-carburettor", {"isc.motor.driven_in": "turns, 12.00 V"}, []),
    ],
)  # fmt: skip
def test_readings_that_fit_are_not_overturned_by_an_unlikely_slip(
    family: str, readings: dict[str, str], words: list[str]
) -> None:
    """With slips thought of and without, the odds agree; once a dead row came out at one."""
    with_slips = odds(family, readings, words, slips=True)
    without = odds(family, readings, words, slips=False)
    assert np.abs(with_slips - without).max() < 0.05
    assert with_slips.max() < 0.5
