"""The hidden side of a car: a good part is never as bad as a fault that the family lists."""

from __future__ import annotations

import numpy as np
import pytest

from idlewright.family import load_family
from idlewright.family.shipped import known_files
from idlewright.job.prepared import prepare
from idlewright.practice.hidden import HiddenCar, deviated, ends_of_good
from idlewright.study.book import usual_sheet


@pytest.mark.parametrize("name", sorted(known_files("families")))
def test_no_good_part_reaches_into_a_listed_fault(name: str) -> None:
    """Eight standard deviations to either side: every part stays short of its faults' ranges."""
    family = load_family(name)
    table = prepare(family, usual_sheet(family)).model.table
    faults = family.faults.values()
    for way in (-8.0, 8.0):
        car = HiddenCar.build(table, 0, np.full(len(table.ids), way), [], faults)
        for fault in faults:
            for span in fault.spans:
                at = table.index[span.scalar]
                usual = table.nominal[0][at]
                ranged = span.act == "set" and span.low < span.high
                if ranged and not span.low <= usual <= span.high:
                    assert not span.low < car.good[at] < span.high, (fault.id, span.scalar)


def test_what_stays_short_of_a_fault_is_left_as_drawn() -> None:
    """Within the ends a part is what its deviation says; beyond, it is folded back."""
    family = load_family("plunger-carburettor")
    table = prepare(family, usual_sheet(family)).model.table
    ends = ends_of_good(table, 0, family.faults.values())
    free = np.stack([np.full(len(table.ids), -np.inf), np.full(len(table.ids), np.inf)])
    small = np.full(len(table.ids), 0.3)
    assert np.array_equal(deviated(table, 0, small, ends), deviated(table, 0, small, free))
    at = table.index["tps.gnd.sensor.ohm"]
    large = small.copy()
    large[at] = np.log(9.0 / table.nominal[0][at]) / table.spread[0][at]
    assert deviated(table, 0, large, free)[at] == pytest.approx(9.0)
    assert deviated(table, 0, large, ends)[at] == pytest.approx(5.0**2 / 9.0)
