"""Readings as factors: numbers, and intervals where a number would not do."""

from __future__ import annotations

import math

import pytest

from idlewright.diagnosis.factors import Noise, read_as
from idlewright.model.latents import ScalarAt


def test_nothing_on_a_logarithmic_scale_is_an_upper_end():
    """0.00 mm with an uncertainty of .03 mm: a gap below .06 mm, and no worse than a broad rest."""
    gap = ScalarAt("gap", (), "log", "mm")
    alternative = read_as(gap, 0.0, Noise(0.0, 0.03, 0.01, math.inf, "m:mm"))
    assert not alternative.numbers
    (box,) = alternative.boxes
    assert box.low < math.log(1e-6)
    assert box.high == pytest.approx(math.log(2 * math.hypot(0.03, 0.01 / math.sqrt(12))))
    assert alternative.ln_weight == pytest.approx(-math.log(4.0))
