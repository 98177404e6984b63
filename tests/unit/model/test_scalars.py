"""A family and a sheet turned into numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.family.kinds import Scalar, Sheet, SheetEntry, SheetValue, Value
from idlewright.model.scalars import COVER, resolve_scalars
from small_car import empty_sheet, small_family

NINETY_NINE = 2.5758293035489004


def family_with(*scalars: Scalar, sheet: dict[str, SheetEntry] | None = None):
    """The small family with more scalars and sheet entries."""
    family = small_family()
    more = {scalar.id: scalar for scalar in scalars}
    return replace(
        family, scalars={**family.scalars, **more}, sheet={**family.sheet, **(sheet or {})}
    )


def given(low: float | None, high: float | None) -> SheetValue:
    """Limits from a page."""
    return SheetValue(low, high, None, "1")


def test_tolerance_holds_95_percent():
    """`within` is a half-width of 1.96 standard deviations, as a share on a log scale."""
    table = resolve_scalars(small_family(), empty_sheet())
    volt, ohm = table.index["ref.volt"], table.index["ref.ohm"]
    assert table.nominal[0, volt] == 5.0
    assert table.spread[0, volt] * COVER == pytest.approx(0.05)
    assert table.spread[0, ohm] * COVER == pytest.approx(math.log(1.6))


def test_a_value_from_the_sheet_takes_its_middle_and_width():
    """Limits 0.45 to 0.57 V: nominal 0.51, and 99 % of good cars inside (2.576 sd)."""
    family = family_with(Scalar("x", "linear", Value(sheet="closed_v"), None, "V"))
    table = resolve_scalars(family, Sheet("s", "0", {"closed_v": given(0.45, 0.57)}))
    x = table.index["x"]
    assert table.nominal[0, x] == pytest.approx(0.51)
    assert table.spread[0, x] == pytest.approx(0.06 / NINETY_NINE)


def test_one_sided_limits_are_that_value():
    """Only "at least 5" given: the value is 5."""
    family = family_with(Scalar("x", "linear", Value(sheet="closed_v"), 0.1, "V"))
    table = resolve_scalars(family, Sheet("s", "0", {"closed_v": given(5.0, None)}))
    assert table.nominal[0, table.index["x"]] == 5.0


def test_a_quotient_of_two_sheet_values():
    """`over` divides by the middle of the other entry."""
    entries = {"full_v": SheetEntry("full_v", "full", "V", (4.0, 6.0))}
    family = family_with(
        Scalar("x", "linear", Value(sheet="closed_v", over="full_v"), None, "1"), sheet=entries
    )
    table = resolve_scalars(family, Sheet("s", "0", {"closed_v": given(0.45, 0.55)}))
    assert table.nominal[0, table.index["x"]] == pytest.approx(0.1)
    assert table.spread[0, table.index["x"]] == pytest.approx(0.01 / NINETY_NINE)


def test_values_not_on_the_sheet_are_the_usual_ones_and_are_said():
    """A missing entry takes the family's usual limits and is listed as assumed."""
    family = family_with(Scalar("x", "linear", Value(sheet="closed_v"), None, "V"))
    table = resolve_scalars(family, empty_sheet())
    assert table.assumed == ("closed_v",)
    assert table.nominal[0, table.index["x"]] == pytest.approx(0.51)


@pytest.mark.parametrize(("key", "says"), [("nowhere", "no sheet entry"), ("bare", "no usual")])
def test_a_value_nobody_knows_is_refused(key, says):
    """An undeclared entry, or one without a usual value that the sheet lacks, is bad input."""
    family = family_with(
        Scalar("x", "linear", Value(sheet=key), None, "V"),
        sheet={"bare": SheetEntry("bare", "bare", "V", None)},
    )
    with pytest.raises(BadInput, match=says):
        resolve_scalars(family, empty_sheet())


def bias_family(usual: str | None):
    """A family whose input is pulled up or down, by a word of the sheet."""
    value = Value(sheet="bias", by_word={"up": 5.0, "down": 0.0, "open": 2.0})
    entry = SheetEntry("bias", "bias", "", None, ("up", "down", "open"), usual)
    return family_with(Scalar("bias.volt", "linear", value, 0.0, "V"), sheet={"bias": entry})


def test_an_unknown_word_is_carried_as_variants():
    """Not given: every word is a variant; the usual one weighs .8, without one all are even."""
    table = resolve_scalars(bias_family("up"), empty_sheet())
    assert [v["bias"] for v in table.variants] == ["up", "down", "open"]
    np.testing.assert_allclose(table.variant_weight, [0.8, 0.1, 0.1])
    np.testing.assert_allclose(table.nominal[:, table.index["bias.volt"]], [5.0, 0.0, 2.0])
    even = resolve_scalars(bias_family(None), empty_sheet())
    np.testing.assert_allclose(even.variant_weight, 1.0 / 3.0)


def test_a_known_word_leaves_one_variant():
    """Given by the sheet: one variant of weight one."""
    sheet = Sheet("s", "0", {"bias": SheetValue(None, None, "down", "1")})
    table = resolve_scalars(bias_family("up"), sheet)
    assert table.variants == ({"bias": "down"},)
    assert table.variant_weight.tolist() == [1.0]


def test_coordinates_go_there_and_back():
    """natural(coordinate(v)) = v on log and linear scalars."""
    table = resolve_scalars(small_family(), empty_sheet())
    values = table.nominal.T.copy()
    np.testing.assert_allclose(table.natural(table.coordinate(values)), values, rtol=1e-14)


def test_a_scalar_that_stands_for_another_counts_in_its_state_only():
    """`stands_for` replaces a scalar where `only` holds; else a scalar is absent elsewhere."""
    family = family_with(
        Scalar("hot", "log", Value(100.0), 0.1, "ohm", {"key": ("on",)}, "coolant.ohm"),
        Scalar("load", "linear", Value(3.0), 0.0, "N m", {"throttle": ("wide",)}),
    )
    table = resolve_scalars(family, empty_sheet())
    on = table.in_state({"key": "on", "throttle": "closed"})
    off = table.in_state({"key": "off", "throttle": "wide"})
    assert on["coolant.ohm"] == table.index["hot"]
    assert off["coolant.ohm"] == table.index["coolant.ohm"]
    assert "load" not in on
    assert "load" in off
