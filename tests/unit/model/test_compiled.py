"""The linearised bank and its shortcuts."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from idlewright.family.kinds import Scalar, SheetEntry, Value
from idlewright.family.load import load_family
from idlewright.family.sheet import load_sheet
from idlewright.model.compiled import CompiledModel, compile_model, model_key
from idlewright.model.forms import form_of_check
from small_car import empty_sheet, small_family

EXAMPLES = Path(__file__).parents[3] / "examples"


@cache
def shipped() -> CompiledModel:
    """The shipped family."""
    family = load_family("plunger-carburettor")
    return compile_model(family, load_sheet(EXAMPLES / "invented-saloon.sheet.toml", family))


def numbers_of(model: CompiledModel, checks: list[str]) -> list[int]:
    """Latents of some checks."""
    found = []
    for name in checks:
        form = form_of_check(model.family, model.family.checks[name], 1e7)
        found += [model.number_of(latent) for latent in form.latents()]
    return list(dict.fromkeys(found))


SOME = ["tps.signal.closed", "tps.track.ohm", "isc.motor.nine", "basics.vacuum", "basics.idle.hot"]


def test_the_bank_is_the_physics_at_every_cells_centre():
    """Cells copied because their fault cannot touch a latent equal the solved ones."""
    model = shipped()
    numbers = numbers_of(model, SOME)
    mean, slopes = model.bank(numbers)
    every = np.arange(len(model.cells))
    x, by_z = model.linearise(every, np.zeros((len(every), model.columns)), numbers)
    np.testing.assert_allclose(mean, x, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(slopes, by_z, rtol=1e-5, atol=1e-6)  # kept in single precision


def test_the_bank_at_some_cells_is_the_whole_banks_part():
    """bank_at takes rows of bank."""
    model = shipped()
    numbers = numbers_of(model, SOME[:2])
    mean, slopes = model.bank(numbers)
    some = np.array([0, 7, 7, 400])
    part_mean, part_slopes = model.bank_at(numbers, some)
    np.testing.assert_array_equal(part_mean, mean[some])
    np.testing.assert_array_equal(part_slopes, slopes[some])


def test_variants_that_a_latent_cannot_tell_apart_share_their_block():
    """An unknown word that only the coolant feels leaves the throttle signal alike in both."""
    family = small_family()
    value = Value(sheet="pull", by_word={"strong": 1000.0, "weak": 3000.0})
    family = replace(
        family,
        scalars={
            **family.scalars,
            "coolant.pull_ohm": Scalar("coolant.pull_ohm", "log", value, 0.02, "ohm"),
        },
        sheet={**family.sheet, "pull": SheetEntry("pull", "pull-up", "", None, ("strong", "weak"))},
    )
    model = compile_model(family, empty_sheet())
    assert len(model.cells.good) == 2
    numbers = numbers_of(model, ["feel", "coolant"])
    mean, slopes = model.bank(numbers)
    every = np.arange(len(model.cells))
    x, by_z = model.linearise(every, np.zeros((len(every), model.columns)), numbers)
    np.testing.assert_allclose(mean, x, rtol=1e-12)
    np.testing.assert_allclose(slopes, by_z, rtol=1e-5, atol=1e-6)
    half = len(every) // 2
    np.testing.assert_array_equal(mean[:half, 0], mean[half:, 0])
    assert np.abs(mean[:half, 1] - mean[half:, 1]).min() > 0.1


def test_touching_says_which_faults_can_change_a_reading():
    """The feeler sees the setting faults and nothing else."""
    model = compile_model(small_family(), empty_sheet())
    (number,) = numbers_of(model, ["feel"])
    names = [f.id for f, yes in zip(model.cells.faults, model.touching(number), strict=True) if yes]
    assert names == ["set_high", "set_low"]


def test_forgotten_worlds_come_back():
    """forget_worlds drops intermediate results only."""
    model = compile_model(small_family(), empty_sheet())
    (number,) = numbers_of(model, ["closed"])
    before = model.bank([number])
    model.forget_worlds()
    np.testing.assert_array_equal(model.bank([number])[0], before[0])


def test_a_latent_has_one_number():
    """The same latent asked twice is the same number, and its number gives it back."""
    model = compile_model(small_family(), empty_sheet())
    first = numbers_of(model, ["closed", "wide"])
    assert numbers_of(model, ["closed", "wide"]) == first
    assert model.number_of(model.latent(first[1])) == first[1]


@pytest.mark.parametrize("change", ["family", "sheet", "version", "fine"])
def test_the_key_changes_with_anything_the_model_depends_on(change):
    """Another family text, sheet text, version or fineness is another key."""
    family, sheet = small_family(), empty_sheet()
    first = model_key(family, sheet, "1", False)
    other = {
        "family": lambda: model_key(replace(family, sha256="f"), sheet, "1", False),
        "sheet": lambda: model_key(family, replace(sheet, sha256="f"), "1", False),
        "version": lambda: model_key(family, sheet, "2", False),
        "fine": lambda: model_key(family, sheet, "1", True),
    }[change]()
    assert other != first
    assert model_key(small_family(), empty_sheet(), "1", False) == first
