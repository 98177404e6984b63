"""The bank's cells and the worlds placed in them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from idlewright.family.kinds import Fault, Span
from idlewright.model.cells import FEWEST, cut_into_cells, leading_span, place
from idlewright.model.scalars import resolve_scalars
from small_car import empty_sheet, small_family

TABLE = resolve_scalars(small_family(), empty_sheet())


def cells_of(*faults: Fault, step: float = 0.5):
    """Cells of some faults of the small car."""
    return cut_into_cells(TABLE, faults, step)


SET = Fault("set", "set", (Span("set", "gnd.ohm", 20.0, 5e4),), 1)
SHIFT = Fault("shift", "shift", (Span("shift", "track.closed", 0.02, 0.10),), 1)
TIMES = Fault("times", "times", (Span("times", "track.ohm", 0.1, 0.9),), 1)
TIMES_LINEAR = Fault("tl", "tl", (Span("times", "ref.volt", 0.5, 0.9),), 1)
SHIFT_LOG = Fault("sl", "sl", (Span("shift", "sig.ohm", 1.0, 30.0),), 1)
FIXED = Fault("fixed", "fixed", (Span("set", "ref.volt", 12.0, 12.0),), 1)
FALLING = Fault("falling", "falling", (Span("set", "gnd.ohm", 5e4, 20.0),), 1)
TWO = Fault("two", "two", (Span("set", "ref.ohm", 9.0, 9.0), Span("set", "gnd.ohm", 1.0, 99.0)), 1)
LIKE = Fault("like", "like", (Span("set", "ref.volt", 0.0, 0.0, like="coolant.volt"),), 1)
SWAP = Fault(
    "swap",
    "swap",
    (
        Span("set", "sig.ohm", 0.0, 0.0, like="track.ohm"),
        Span("set", "track.ohm", 0.0, 0.0, like="sig.ohm"),
    ),
    1,
)


@pytest.mark.parametrize("fault", [SET, SHIFT, TIMES])
def test_cells_cover_the_range_evenly_and_ghosts_stand_outside(fault):
    """Inside the range the overlapping cells add up to an even density; one ghost at each end."""
    cells = cells_of(fault)
    own = cells.fault == 0
    assert (cells.centre[own] < 0).sum() == 1
    assert (cells.centre[own] > 1).sum() == 1
    u = np.linspace(0.0, 1.0, 201)
    share = np.exp(cells.ln_prior[own])[:, None]
    density = (share * norm.pdf(u, cells.centre[own][:, None], cells.spread[own][:, None])).sum(0)
    inner = (u > 0.15) & (u < 0.85)
    np.testing.assert_allclose(density[inner], 1.0, atol=0.005)
    np.testing.assert_allclose(density, 1.0, atol=0.04)


def test_a_setting_has_at_least_five_cells_of_its_own_unit():
    """A narrow setting still gets FEWEST cells and two ghosts."""
    assert len(cells_of(SHIFT)) == 1 + FEWEST + 2


def test_cells_are_half_a_unit_of_the_logarithm_wide():
    """ln(5e4 / 20) = 7.8: sixteen cells and two ghosts; a finer step gives more."""
    assert len(cells_of(SET)) == 1 + 16 + 2
    assert len(cells_of(SET, step=0.13)) == 1 + math.ceil(math.log(2500) / 0.13) + 2


def test_a_fault_without_a_range_is_one_cell():
    """Nothing to cut: one cell, no severity."""
    cells = cells_of(FIXED)
    assert len(cells) == 2
    assert cells.spread.tolist() == [0.0, 0.0]
    assert leading_span(FIXED) is None


def test_severity_belongs_to_the_first_span_with_a_range():
    """A fixed span before it does not take the severity away."""
    assert leading_span(TWO) == TWO.spans[1]


def at(fault: Fault, z: np.ndarray, u: float, widen: float = 1.0):
    """The one world of a fault at z and severity u."""
    cells = cells_of(fault)
    cells = replace(cells, centre=np.zeros(len(cells)), spread=np.ones(len(cells)))
    full = np.append(z, u)[None, :]
    return place(TABLE, cells, np.array([1]), full, widen), cells


@pytest.mark.parametrize(
    ("fault", "scalar", "half", "start"),
    [
        (SET, "gnd.ohm", 1000.0, 20.0),
        (FALLING, "gnd.ohm", 1000.0, 5e4),
        (SHIFT, "track.closed", 0.16, 0.12),
        (TIMES, "track.ohm", 1500.0, 500.0),
        (TIMES_LINEAR, "ref.volt", 5.0 * math.sqrt(0.45), 2.5),
        (SHIFT_LOG, "sig.ohm", 15.6, 1.1),
        (TWO, "gnd.ohm", math.sqrt(99.0), 1.0),
    ],
)
def test_each_act_does_what_its_name_says(fault, scalar, half, start):
    """set, shift, times at the start and middle of the severity; log ranges are geometric."""
    none = np.zeros(len(TABLE.ids))
    row = TABLE.index[scalar]
    for u, due in ((0.0, start), (0.5, half)):
        placed, _ = at(fault, none, u)
        assert placed.worlds.values[row, 0] == pytest.approx(due)


def test_like_takes_the_value_of_the_other_scalar_and_a_tolerance_of_its_own():
    """As a good one of the other: its nominal and spread, moved by the scalar's own z."""
    z = np.zeros(len(TABLE.ids))
    z[TABLE.index["ref.volt"]] = 2.0
    placed, _ = at(LIKE, z, 0.0)
    spread = TABLE.spread[0, TABLE.index["coolant.volt"]]
    assert placed.worlds.values[TABLE.index["ref.volt"], 0] == pytest.approx(5.0 + 2.0 * spread)


def test_two_likes_exchange_two_scalars():
    """A swap is a swap: neither sees the other's new value."""
    placed, _ = at(SWAP, np.zeros(len(TABLE.ids)), 0.0)
    assert placed.worlds.values[TABLE.index["sig.ohm"], 0] == pytest.approx(5000.0)
    assert placed.worlds.values[TABLE.index["track.ohm"], 0] == pytest.approx(0.1)
    assert placed.per_z[TABLE.index["sig.ohm"], 0] == pytest.approx(
        TABLE.spread[0, TABLE.index["track.ohm"]]
    )


ALL = [SET, FALLING, SHIFT, TIMES, TIMES_LINEAR, SHIFT_LOG, FIXED, TWO, LIKE, SWAP]


@pytest.mark.parametrize("fault", ALL, ids=lambda fault: fault.id)
@pytest.mark.parametrize("widen", [1.0, 2.0])
def test_derivatives_of_every_coordinate_are_those_of_differences(fault, widen):
    """per_z and per_u against central differences of the coordinates, each scalar's own z."""
    rng = np.random.default_rng(6)
    z = rng.normal(size=len(TABLE.ids))
    u, h = 0.37, 1e-5
    placed, cells = at(fault, z, u, widen)
    assert cells.tolerance.tolist() == list(range(len(TABLE.ids)))

    def coordinate(step_z: np.ndarray, step_u: float) -> np.ndarray:
        moved, _ = at(fault, z + step_z, u + step_u, widen)
        return TABLE.coordinate(moved.worlds.values)[:, 0]

    for k in range(len(TABLE.ids)):
        step = np.zeros(len(z))
        step[k] = h
        slope = (coordinate(step, 0.0) - coordinate(-step, 0.0)) / (2 * h)
        assert placed.per_z[k, 0] == pytest.approx(slope[k], rel=1e-5, abs=1e-8)
        assert np.abs(np.delete(slope, k)).max() < 1e-8
    still = np.zeros(len(z))
    slope_u = (coordinate(still, h) - coordinate(still, -h)) / (2 * h)
    np.testing.assert_allclose(placed.per_u[:, 0], slope_u, rtol=1e-5, atol=1e-8)


def test_a_widened_tolerance_is_twice_as_far_out():
    """widen = 2 doubles every tolerance and leaves the severity alone."""
    z = np.ones(len(TABLE.ids))
    once, _ = at(SHIFT, z, 0.5)
    twice, _ = at(SHIFT, z, 0.5, 2.0)
    volt = TABLE.index["ref.volt"]
    assert twice.worlds.values[volt, 0] - 5.0 == pytest.approx(
        2.0 * (once.worlds.values[volt, 0] - 5.0)
    )
    np.testing.assert_allclose(once.per_u, twice.per_u)
