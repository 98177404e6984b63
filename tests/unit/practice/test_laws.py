"""Laws from which practice cars are drawn."""

import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.model.compiled import compile_model
from idlewright.practice.laws import LAWS, law_named
from small_car import empty_sheet, small_family

CARS = 4000


@pytest.fixture(scope="module")
def table():
    """The small family's scalars."""
    return compile_model(small_family(), empty_sheet()).table


def deviations(law, table, cars=CARS):
    """Deviations of all parts of many cars, (cars, S)."""
    rng = np.random.default_rng(5)
    return np.stack([law.scale(rng) * law.tolerance(rng, table, 0) for _ in range(cars)])


def test_matched_cars_are_normal_with_one_in_five_twice_as_wide(table):
    """Scale 2 in a fifth of the cars, common to the whole car; standard normal within it."""
    law = LAWS["matched"]
    rng = np.random.default_rng(1)
    scales = np.array([law.scale(rng) for _ in range(CARS)])
    assert set(scales.tolist()) == {1.0, 2.0}
    assert np.mean(scales == 2.0) == pytest.approx(0.2, abs=0.025)
    z = np.stack([law.tolerance(rng, table, 0) for _ in range(CARS)])
    assert z.std() == pytest.approx(1.0, abs=0.01)
    assert np.mean(abs(z) < 1.96) == pytest.approx(0.95, abs=0.005)


def test_wide_cars_scatter_about_one_and_a_half_times_as_much(table):
    """Half uniform within 2.64 (sd 1.524), half 1.1 t4 (sd 1.556): sd 1.54, tails beyond normal."""
    z = deviations(LAWS["wide"], table)
    assert z.std() == pytest.approx(1.54, abs=0.03)
    assert np.mean(abs(z) > 4.0) > 0.004


def test_skewed_cars_lean_up_in_resistance(table):
    """Mean near nought, more mass below it than above, a long tail upwards for log scalars."""
    z = deviations(LAWS["skewed"], table)[:, table.log]
    assert z.mean() == pytest.approx(0.0, abs=0.02)
    assert np.mean(z < 0) > 0.6 and np.mean(z > 2.5) > 5 * np.mean(z < -2.5)


def test_parts_of_one_batch_are_correlated_by_half(table):
    """The three wires are of one kind (correlation .5); wire and track are not (0)."""
    z = deviations(LAWS["batch"], table)
    correlation = np.corrcoef(z.T)
    wires = [table.index[name] for name in ("ref.ohm", "sig.ohm", "gnd.ohm")]
    track = table.index["track.ohm"]
    assert correlation[wires[0], wires[1]] == pytest.approx(0.5, abs=0.05)
    assert correlation[wires[1], wires[2]] == pytest.approx(0.5, abs=0.05)
    assert correlation[wires[0], track] == pytest.approx(0.0, abs=0.05)


def test_severities_stay_in_range_or_go_a_little_beyond():
    """Matched severities are even on 0 to 1; wide ones reach 15 % beyond both ends, no further."""
    rng = np.random.default_rng(3)
    even = np.array([LAWS["matched"].severity(rng) for _ in range(CARS)])
    wide = np.array([LAWS["wide"].severity(rng) for _ in range(CARS)])
    assert even.min() >= 0 and even.max() <= 1 and even.mean() == pytest.approx(0.5, abs=0.02)
    assert wide.min() == pytest.approx(-0.15, abs=0.01)
    assert wide.max() == pytest.approx(1.15, abs=0.01)


@pytest.mark.parametrize("name", sorted(LAWS))
def test_errors_have_standard_deviation_one(name):
    """Meter and word errors have the stated spread; rectangular ones have hard ends."""
    errors = LAWS[name].error(np.random.default_rng(2), 20_000)
    assert errors.std() == pytest.approx(1.0, abs=0.02)
    assert (abs(errors).max() <= 3**0.5) == LAWS[name].rectangular


def test_an_unknown_law_is_refused_with_the_near_one():
    """A mistyped law is refused and the one meant is named."""
    with pytest.raises(BadInput, match="matched"):
        law_named("mached")
