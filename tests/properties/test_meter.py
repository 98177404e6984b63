import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from idlewright.errors import BadInput
from idlewright.physics.conformity import (
    Limits,
    against_reference_u,
    corrected_limits,
    judge_reading,
    p_inside,
)
from idlewright.physics.meter import (
    ORDINARY_METER,
    Meter,
    unloaded_volts,
    voltmeter_shows,
)
from idlewright.physics.meter_statement import meter_from_mapping

STEADY = settings(derandomize=True, max_examples=200, deadline=None)
READS = st.sampled_from(sorted(ORDINARY_METER.functions))
SHARES = st.floats(0.0, 1.0)
JSON_LIKE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.dictionaries(
        st.sampled_from(["id", "volt", "ohm", "percent", "counts", "resolution", "top", "x"]), inner
    ),
    max_leaves=12,
)


@STEADY
@given(read=READS, share=SHARES, seed=st.integers(0, 2**32 - 1))
def test_a_display_stays_within_the_statement(read: str, share: float, seed: int) -> None:
    """Shown and true differ by at most percent of the true value, the counts, and half a digit."""
    rng = np.random.default_rng(seed)
    function = ORDINARY_METER.function(read)
    true = function.top * share**4  # down to the lowest ranges
    shown = ORDINARY_METER.show(
        read, true, gain=ORDINARY_METER.hidden_gains(rng)[read], rng=rng
    )  # fmt: skip
    if shown.overload:
        most = true * (1 + function.percent / 100) + function.counts * float(shown.step)
        assert most >= 0.999 * function.top  # only what may reach the top overloads
        return
    step = float(shown.step)
    allowed = function.percent / 100 * true + (function.counts + 0.5) * step
    assert abs(float(shown.value) - true) <= allowed * (1 + 1e-9)


@STEADY
@given(read=READS, low=SHARES, high=SHARES)
def test_a_larger_value_never_shows_less(read: str, low: float, high: float) -> None:
    """Rounding and range changes keep the order of values."""
    top = ORDINARY_METER.function(read).top
    pair = np.sort([low * top, high * top])
    shown = ORDINARY_METER.show(read, pair)
    assert shown.value[0] <= shown.value[1] + 1e-9 * top


@STEADY
@given(volts=st.floats(-600, 600), source=st.floats(0, 1e7), load=st.floats(1e5, 1e8))
def test_loading_lowers_and_is_undone(volts: float, source: float, load: float) -> None:
    """A voltmeter never shows more than is there, and the correction gives it back."""
    shown = float(voltmeter_shows(volts, source, load))
    assert abs(shown) <= abs(volts)
    assert math.isclose(float(unloaded_volts(shown, source, load)), volts, rel_tol=1e-12)


@STEADY
@given(reading=st.floats(0.01, 5.0), gain=st.floats(-0.005, 0.005), seed=st.integers(0, 2**32 - 1))
def test_repeats_do_not_sharpen_the_gain(reading: float, gain: float, seed: int) -> None:
    """The mean of many displays settles at the true value times the gain, not at the true value."""
    function = ORDINARY_METER.function("volt")
    shown = ORDINARY_METER.show(
        "volt", np.full(2000, reading), gain=gain, rng=np.random.default_rng(seed)
    )
    widest = float(function.independent_variance(shown.value).max())
    assert abs(shown.value.mean() - reading * (1 + gain)) <= 5.0 * math.sqrt(widest / 2000)


@STEADY
@given(
    share=st.floats(0.02, 0.98), reference=st.floats(1.0, 6.0), gain=st.floats(-0.02, 0.02)
)  # fmt: skip
def test_a_gain_error_leaves_the_verdict_on_a_share_alone(
    share: float, reference: float, gain: float
) -> None:
    """Reading and reference both high by the same per cent are judged as the true ones are."""
    limits = Limits(0.4, 0.6)
    words = []
    for factor in (1.0, 1.0 + gain):
        y, ref = share * reference * factor, reference * factor
        u = against_reference_u(
            y, ref, y_variance=(1e-3 * factor) ** 2, reference_variance=(2e-3 * factor) ** 2,
            y_gain_sd=0.01, reference_gain_sd=0.01,
        )  # fmt: skip
        words.append(judge_reading(y, u, corrected_limits(limits, 5.0, ref)).p_inside)
    assert math.isclose(words[0] or 0.0, words[1] or 0.0, abs_tol=1e-6)


@STEADY
@given(y=st.floats(-10, 10), u=st.floats(0, 5), low=st.floats(-5, 5), width=st.floats(0, 5))
def test_verdict_and_probability_agree(y: float, u: float, low: float, width: float) -> None:
    """Inside means at least 95 % inside, outside at most 5 %; mirrored readings mirror verdicts."""
    verdict = judge_reading(y, u, Limits(low, low + width))
    assert verdict.p_inside is not None
    assert 0.0 <= verdict.p_inside <= 1.0
    if verdict.word == "inside":
        assert verdict.p_inside >= 0.95 - 1e-6
    if verdict.word == "outside":
        assert verdict.p_inside <= 0.05
    mirrored = judge_reading(-y, u, Limits(-low - width, -low))
    assert mirrored.word == verdict.word


@STEADY
@given(y=st.floats(-10, 10), u=st.floats(0.01, 5), low=st.floats(-5, 5), width=st.floats(0.0, 5))
def test_probabilities_inside_below_and_above_are_one(
    y: float, u: float, low: float, width: float
) -> None:
    """The three places a true value can be share all the probability."""
    below = float(p_inside(y, u, Limits(None, low)))
    above = float(p_inside(y, u, Limits(low + width, None)))
    inside = float(p_inside(y, u, Limits(low, low + width)))
    assert math.isclose(below + inside + above, 1.0, abs_tol=1e-12)


@STEADY
@given(data=st.dictionaries(st.sampled_from(["id", "volt", "ohm", "rpm", "y"]), JSON_LIKE))
def test_any_statement_is_a_meter_or_bad_input(data: dict[str, object]) -> None:
    """Nothing in a job's meter line makes another error."""
    try:
        meter = meter_from_mapping(data)
    except BadInput as error:
        assert all(problem.says for problem in error.problems)
        return
    assert isinstance(meter, Meter)
    assert all(f.top >= f.resolution > 0.0 for f in meter.functions.values())
