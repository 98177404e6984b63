"""A wrong unit is offered only where the meter could have shown the other one."""

from __future__ import annotations

from typing import Any

import pytest

from idlewright.family import load_family
from idlewright.job.case import case_of
from idlewright.job.file import load_job
from idlewright.job.prepared import prepare
from idlewright.study.book import usual_sheet

FAMILY = load_family("plunger-carburettor")
PREPARED = prepare(FAMILY, usual_sheet(FAMILY))


def unit_slips(check: str, value: str) -> int:
    """How many ways there are to have mistaken the unit of a reading."""
    reading: dict[str, Any] = {"id": "r1", "check": check, "value": value}
    job = load_job({"format": 1, "id": "a", "family": FAMILY.id, "reading": [reading]})
    seen = case_of(job, PREPARED.model).seen[0]
    return sum(one.slip == "unit" for one in seen.slips)


@pytest.mark.parametrize(
    ("check", "value", "ways"),
    [
        ("tps.gnd.joint", "8.5 mV", 1),  # a tenth of a microvolt no such meter shows
        ("tps.signal.closed", "520 V", 2),  # 520 mV with the unit forgotten
        ("tps.signal.closed", "0.52 mV", 1),
        ("tps.track.ohm", "5.1 ohm", 1),  # 5.1 kohm, not 5.1 milliohm
    ],
)
def test_a_thousandth_needs_a_meter_that_fine(check: str, value: str, ways: int) -> None:
    """Who types 8.5 mV for 8.5 uV has a meter with a tenth of a microvolt."""
    assert unit_slips(check, value) == ways
