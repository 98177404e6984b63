"""What can be seen of a car: working scales, nominal values by hand, and every derivative."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from idlewright.family.kinds import Family, Resistor
from idlewright.family.load import load_family
from idlewright.family.sheet import load_sheet
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check
from idlewright.model.latents import (
    Latent,
    OhmBetween,
    ScalarAt,
    VoltBetween,
    freeze,
    from_scale,
    noise_in_unit,
    slope_of_scale,
    to_scale,
)
from idlewright.model.worlds import Worlds
from small_car import empty_sheet, small_family

EXAMPLES = Path(__file__).parents[3] / "examples"
ON = freeze({"key": "on", "throttle": "closed"})
OFF = freeze({"key": "off", "throttle": "closed"})


@cache
def small() -> CompiledModel:
    """The small car."""
    return compile_model(small_family(), empty_sheet())


@cache
def shipped() -> CompiledModel:
    """The shipped family with a demonstration sheet."""
    family = load_family("plunger-carburettor")
    return compile_model(family, load_sheet(EXAMPLES / "invented-saloon.sheet.toml", family))


@pytest.mark.parametrize("scale", ["volt", "ohm", "log", "linear"])
@pytest.mark.parametrize("value", [0.003, 0.5, 12.6, 4.7e3])
def test_scales_go_there_and_back_and_know_their_slope(scale, value):
    """from_scale(to_scale(v)) = v, and the slope is that of differences."""
    v = np.array([value])
    assert from_scale(scale, to_scale(scale, v))[0] == pytest.approx(value, rel=1e-12)
    h = 1e-6 * value
    slope = (to_scale(scale, v + h) - to_scale(scale, v - h)) / (2 * h)
    assert slope_of_scale(scale, v)[0] == pytest.approx(slope[0], rel=1e-6)


def test_volts_are_linear_near_zero_and_signed():
    """asinh(V / 10 mV): odd, and nearly V / 10 mV below a millivolt."""
    assert to_scale("volt", np.array([-0.3]))[0] == -to_scale("volt", np.array([0.3]))[0]
    assert to_scale("volt", np.array([1e-4]))[0] == pytest.approx(1e-2, rel=1e-4)


def test_own_noise_is_a_share_of_ohms_and_speeds_only():
    """A check's noise: a share where readings are logarithms, its own unit for volts and others."""
    assert noise_in_unit("ohm", 0.05, 200.0) == pytest.approx(10.0)
    assert noise_in_unit("log", 0.01, 800.0) == pytest.approx(8.0)
    assert noise_in_unit("volt", 0.1, 9.0) == pytest.approx(0.1)
    assert noise_in_unit("linear", 6.0, -30.0) == pytest.approx(6.0)


def nominal(latent: Latent, model: CompiledModel | None = None) -> float:
    """Value of a latent on the good car."""
    car = model or small()
    worlds = Worlds(car.table, np.ascontiguousarray(car.table.nominal[:1].T))
    x, _ = latent.evaluate(car.physics, worlds)
    return float(from_scale(latent.scale, x)[0])


def test_a_divider_worked_by_hand():
    """Signal to battery negative: 5 V behind 1.1 ohm, 4500 and 500 ohm of track, .15 ohm of ground.

    The input (1 Mohm) and the meter (10 Mohm) hang on the wiper through 50 ohm: about 0.9 Mohm.
    """
    upper, lower, load = 1.1 + 4500.0, 500.0 + 0.15, 1.0 / (1e-6 + 1e-7) + 50.1
    pull = 5.0 / (1000.0 + 250.0 + 0.05) * 0.05  # the coolant sensor lifts the common ground
    foot = 1.0 / (1.0 / lower + 1.0 / load)
    due = 5.0 * foot / (upper + foot) + pull * upper / (upper + lower)
    got = nominal(VoltBetween("sig.s", "zero", ON, 1e7))
    assert got == pytest.approx(due, rel=2e-4)


def test_a_meter_loads_what_it_reads():
    """A 1 Mohm source read with 1 Mohm shows half; nearly all with 10 Gohm."""
    family = small_family()
    source = replace(family.scalars["ref.source_ohm"], value=replace(
        family.scalars["ref.source_ohm"].value, number=1e6))  # fmt: skip
    lone = {k: r for k, r in family.resistors.items() if k == "ref"}
    family = replace(
        family, scalars={**family.scalars, "ref.source_ohm": source}, resistors=lone
    )
    car = compile_model(family, empty_sheet())
    half = nominal(VoltBetween("ref.c", "zero", ON, 1e6), car)
    full = nominal(VoltBetween("ref.c", "zero", ON, 1e10), car)
    assert half == pytest.approx(2.5, rel=1e-4)
    assert full == pytest.approx(5.0, rel=2e-4)


def test_ohms_of_a_dead_circuit_by_hand():
    """The track end to end: 5000 ohm, nothing beside it that matters."""
    assert nominal(OhmBetween("ref.s", "gnd.s", OFF)) == pytest.approx(5000.0, rel=3e-3)


def test_places_that_touch_nothing_read_open_and_zero():
    """No connection: no volts, far more ohms than any meter shows; both leads on one: none."""
    assert nominal(VoltBetween("nowhere", "zero", ON, 1e7)) == 0.0
    assert nominal(OhmBetween("nowhere", "zero", OFF)) > 1e12
    assert nominal(OhmBetween("gnd.s", "gnd.s", OFF)) < 0.01


def test_a_scalar_absent_in_a_state_reads_zero_with_no_slope():
    """An observable that does not exist there is zero and moves with nothing."""
    worlds = Worlds(small().table, np.ascontiguousarray(small().table.nominal[:1].T))
    x, gradient = ScalarAt("no.such", ON, "linear", "mm").evaluate(small().physics, worlds)
    assert x.tolist() == [0.0]
    assert gradient.index.size == 0


def every_latent(family: Family) -> dict[str, Latent]:
    """One latent of each kind and place that the family's checks read, by check."""
    found: dict[str, Latent] = {}
    for check in family.checks.values():
        for k, latent in enumerate(form_of_check(family, check, 1e7).latents()):
            found[f"{check.id}:{k}:{type(latent).__name__}"] = latent
    return found


def check_gradients(model: CompiledModel, latent: Latent, name: str) -> None:
    """Gradient by every coordinate against central differences on two good-ish cars."""
    rng = np.random.default_rng(len(name))
    spread = np.maximum(model.table.spread[0], 1e-3)
    base = model.table.coordinate(model.table.nominal[:1].T)
    base = base + spread[:, None] * 0.3 * rng.normal(size=(len(spread), 2))
    worlds = Worlds(model.table, model.table.natural(base))
    x, gradient = latent.evaluate(model.physics, worlds)
    assert np.isfinite(x).all()
    dense = np.zeros_like(base)
    dense[gradient.index] = gradient.value
    step = 1e-4 * spread
    count = len(spread)
    moved = np.repeat(base[:, None, :], 2 * count, axis=1)
    for k in range(count):
        moved[k, k] += step[k]
        moved[k, count + k] -= step[k]
    batch = Worlds(model.table, model.table.natural(moved.reshape(count, -1)))
    y, _ = latent.evaluate(model.physics, batch)
    y = y.reshape(2 * count, 2)
    due = (y[:count] - y[count:]) / (2 * step[:, None])
    # in units of one standard deviation of the scalar, where a unit of x is a large change
    np.testing.assert_allclose(
        dense * spread[:, None], due * spread[:, None], atol=2e-6, rtol=2e-4, err_msg=name
    )


def test_every_derivative_of_the_small_car():
    """All latents of the small car, by all scalars."""
    for name, latent in every_latent(small().family).items():
        check_gradients(small(), latent, name)


def test_every_derivative_of_the_shipped_family():
    """Volts, ohms, motor, engine, changes and scalars of the shipped family, by all scalars."""
    latents = every_latent(shipped().family)
    kinds: dict[str, int] = {}
    for name, latent in latents.items():
        kind = type(latent).__name__
        kinds[kind] = kinds.get(kind, 0) + 1
        if kinds[kind] <= 12:
            check_gradients(shipped(), latent, name)
    assert {"VoltBetween", "OhmBetween", "MotorOutput", "EngineOutput", "ScalarAt"} <= set(kinds)


def test_good_car_of_the_shipped_family_reads_sensibly():
    """Nominal volts that any technician would expect (common practice, no source)."""
    family = shipped().family
    on = freeze(family.full_state({"key": "on"}))
    check = family.checks["tps.reference"]
    assert nominal(
        form_of_check(family, check, 1e7).modes[0].number, shipped()
    ) == pytest.approx(5.0, abs=0.1)
    drop = form_of_check(family, family.checks["computer.ground.drop"], 1e7).modes[0].number
    assert 0.0 <= nominal(drop, shipped()) < 0.05
    assert math.isfinite(nominal(VoltBetween("zero", "zero", on, 1e7), shipped()))


def test_a_wire_split_in_two_reads_the_same():
    """Half the ohms in each of two pieces in series: the same volts to the last digits."""
    family = small_family()
    half = replace(family.scalars["sig.ohm"], value=replace(
        family.scalars["sig.ohm"].value, number=0.05))  # fmt: skip
    split = replace(
        family,
        scalars={**family.scalars, "sig.ohm": half, "sig2.ohm": replace(half, id="sig2.ohm")},
        resistors={
            **family.resistors,
            "sig": Resistor("sig", "sig.c", "sig.m", "sig.ohm"),
            "sig2": Resistor("sig2", "sig.m", "sig.s", "sig2.ohm"),
        },
    )
    car = compile_model(split, empty_sheet())
    for latent in (VoltBetween("sig.s", "zero", ON, 1e7), OhmBetween("sig.c", "gnd.s", OFF)):
        assert nominal(latent, car) == pytest.approx(nominal(latent), rel=1e-12)
