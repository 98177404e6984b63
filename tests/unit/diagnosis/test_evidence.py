"""Odds of the small car against oracles of their own (tests/oracle), with the bars stated."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from idlewright.diagnosis import relook
from idlewright.diagnosis.evidence import Weigher
from idlewright.diagnosis.factors import Noise, Seen, number_alternatives, word_alternatives
from idlewright.diagnosis.world import Time, Timeline, make_rows
from idlewright.family.kinds import Check, Fault, Scalar, Span, Value
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import Form, form_of_check
from oracle.brute import brute_force
from oracle.cases import random_car, readings_of
from oracle.gauss_newton import gauss_newton
from oracle.study import ONCE, bank_odds, error, prior, with_repair
from small_car import empty_sheet, small_family

METER = Noise(gain=0.0029, own=0.0017, step=0.001, top=600.0, meter="m:volt")
IDEAL = Noise(gain=0.0, own=1e-4, step=1e-4, top=600.0, meter="m:volt")


@cache
def model() -> CompiledModel:
    """The small car, compiled."""
    return compile_model(small_family(), empty_sheet())


def form(check: str, car: CompiledModel | None = None) -> Form:
    """A check's form on the usual meter."""
    family = (car or model()).family
    return form_of_check(family, family.checks[check], 10e6)


def number(
    check: str, value: float, noise: Noise = METER, car: CompiledModel | None = None
) -> Seen:
    """A number read at a check."""
    seen = number_alternatives(form(check, car), value, noise)
    return Seen(f"{check}={value}", seen, 0, 0, what=check)


def word(check: str, answer: str) -> Seen:
    """A word by limits answered at a check."""
    return Seen(answer, word_alternatives(form(check), answer), 0, 0, what=check)


def look(answer: str) -> Seen:
    """The look at the ground pin: green with stated odds, or clean."""
    odds = form("look").odds["green"]
    if answer == "green":
        return Seen("green", (), 0, 0, odds=odds, base=0.02, what="look")
    return Seen("clean", (), 0, 0, odds={k: 1 - v for k, v in odds.items()}, base=0.98, what="look")


def odds(*seen: Seen, times: list[int] | None = None, timeline: Timeline = ONCE, passes: int = 1):
    """The product's odds, good car last."""
    where = times or [0] * len(seen)
    return bank_odds(model(), prior(model()), list(seen), where, timeline, passes)


def sd_of_severity(fault: int, *seen: Seen) -> float:
    """Posterior standard deviation of one fault's severity."""
    rows = make_rows(model().cells, prior(model()), ONCE)
    weighed = Weigher(model(), ONCE, rows, 2).weigh(list(seen), [0] * len(seen))
    weight, mean, square = [], [], []
    for piece in weighed.pieces:
        here = model().cells.fault[rows.cell[piece.row]] == fault
        weight.append(np.exp(piece.ln_weight[here] - weighed.ln_total))
        mean.append(piece.u_mean[here])
        square.append(piece.u_variance[here] + piece.u_mean[here] ** 2)
    w, m, s = (np.concatenate(x) for x in (weight, mean, square))
    middle = (w * m).sum() / w.sum()
    return float(np.sqrt((w * s).sum() / w.sum() - middle**2))


def compare(seed: int, cases: int, low: int, high: int, episodes: bool = False) -> np.ndarray:
    """Errors of random cases against the Gauss-Newton oracle."""
    errors = []
    for number_of_case in range(cases):
        rng = np.random.default_rng([seed, number_of_case])
        timeline = with_repair(model(), rng) if episodes else ONCE
        fault = 6 if episodes and rng.random() < 0.6 else None
        active = tuple(bool(b) for b in rng.random(3) < 0.6) if fault is not None else None
        true = random_car(model(), timeline, rng, fault, active)
        seen, times = readings_of(true, int(rng.integers(low, high)), rng)
        oracle = gauss_newton(model(), prior(model()), seen, times, timeline, 256)
        got = bank_odds(model(), prior(model()), seen, times, timeline)
        errors.append(error(got, oracle.odds))
    return np.array(errors)


def test_mixed_jobs_agree_with_the_gauss_newton_oracle():
    """4-12 mixed readings, one look: error of odds mean <= .01, p90 <= .03, largest <= .10."""
    errors = compare(seed=41, cases=32, low=4, high=13)
    assert errors.mean() <= 0.01
    assert np.quantile(errors, 0.9) <= 0.03
    assert errors.max() <= 0.10


def test_episodes_and_repairs_agree_with_the_oracle():
    """Three stretches, an intermittent that comes and goes, a repair: mean <= .01, p90 <= .03."""
    errors = compare(seed=42, cases=20, low=4, high=10, episodes=True)
    assert errors.mean() <= 0.01
    assert np.quantile(errors, 0.9) <= 0.03


def test_few_readings_agree_with_worlds_drawn_from_the_prior():
    """1-3 readings against plain prior sampling of effective size >= 250: p90 <= .01."""
    errors = []
    for case in range(20):
        rng = np.random.default_rng([43, case])
        true = random_car(model(), ONCE, rng)
        seen, times = readings_of(true, int(rng.integers(1, 4)), rng)
        brute = brute_force(model(), prior(model()), seen, times, ONCE, 8192)
        if brute.size >= 250:
            got = bank_odds(model(), prior(model()), seen, times)
            errors.append(error(got, brute.odds))
    assert len(errors) >= 6
    assert np.quantile(errors, 0.9) <= 0.01


def test_the_two_oracles_agree_with_each_other():
    """Gauss-Newton sampling and prior sampling agree within .01 where both are sound."""
    compared = 0
    for case in range(8):
        rng = np.random.default_rng([44, case])
        true = random_car(model(), ONCE, rng)
        seen, times = readings_of(true, 2, rng)
        brute = brute_force(model(), prior(model()), seen, times, ONCE, 16384)
        if brute.size < 600:
            continue
        near = gauss_newton(model(), prior(model()), seen, times, ONCE, 1024)
        assert near.size >= 250
        assert error(near.odds, brute.odds) <= 0.01
        compared += 1
    assert compared >= 2


@pytest.mark.parametrize(
    ("fault", "end", "unit"), [(3, 0.12, 0.004), (4, 0.08, -0.004), (5, 4.7, -0.06)]
)
def test_beside_the_end_of_a_range_odds_follow_the_oracle(fault, end, unit):
    """A setting or reference just inside or outside a fault's range: five values either side.

    Odds within .05 of the oracle, and never confident nonsense beside a good range.
    """
    family = small_family()
    for steps in (-4, -2, -1, -0.5, -0.2, 0.2, 0.5, 1, 2, 4):
        value = end + unit * steps
        if fault == 5:
            seen = [number("reference", value), number("coolant", 1.0)]
        else:
            volts = 5.0 * value
            seen = [number("closed", volts), number("reference", 5.0), number("ground", 0.0001)]
        oracle = gauss_newton(model(), prior(model()), seen, [0] * len(seen), ONCE, 256)
        got = odds(*seen)
        assert error(got, oracle.odds) <= 0.05, (list(family.faults)[fault], value)


def test_order_of_entry_does_not_matter():
    """Permuting readings of all kinds moves odds by less than 1e-9."""
    seen = [
        number("closed", 0.63), number("reference", 4.97), word("feel", "high"), look("clean"),
        number("ground", 0.02), word("feel", "high"), number("closed", 0.631),
    ]  # fmt: skip
    first = odds(*seen)
    rng = np.random.default_rng(3)
    for _ in range(6):
        np.testing.assert_allclose(odds(*(seen[i] for i in rng.permutation(7))), first, atol=1e-9)


def test_a_struck_reading_was_never_entered():
    """Odds after striking are those of a fresh model that never saw the reading, bit for bit."""
    kept = [number("closed", 0.63), word("feel", "high")]
    odds(*kept, number("reference", 1.97))
    fresh = compile_model(small_family(), empty_sheet())
    never = bank_odds(fresh, prior(fresh), kept, [0, 0])
    np.testing.assert_array_equal(odds(*kept), never)


def test_a_number_entered_five_times_sharpens_by_its_repeatability_only():
    """Five entries of one number: 75 % of its own variance and all of the gain stay."""
    once = sd_of_severity(1, number("ground", 1.0))
    five = sd_of_severity(1, *[number("ground", 1.0)] * 5)
    gain_only = replace(METER, own=0.0, step=0.0)
    floor = sd_of_severity(1, number("ground", 1.0, gain_only))
    assert five < once
    # own variance after five is 0.75 + 0.25 / 5 = 0.8 of one reading's, the rest does not move
    due = np.sqrt(floor**2 + 0.8 * (once**2 - floor**2))
    assert five == pytest.approx(due, rel=0.02)


def test_a_word_or_look_entered_five_times_says_what_it_said_once():
    """Repeating the answer of a check in one stretch does not move the odds."""
    base = [number("closed", 0.60)]
    for again in (word("feel", "high"), look("green")):
        np.testing.assert_allclose(odds(*base, *[again] * 5), odds(*base, again), atol=1e-12)


def test_a_different_answer_of_the_same_look_does_count():
    """Green once and clean once is not the same as green alone."""
    assert error(odds(look("green"), look("clean")), odds(look("green"))) > 0.05


def test_a_meter_half_a_percent_off_does_not_condemn_a_ratiometric_sensor():
    """Reference and signal both 0.5 % high: set-high gains nothing over the good car."""

    def against_good(volts: float, reference: float) -> float:
        got = odds(number("reference", reference), number("closed", volts))
        return float(got[3] / got[-1])

    signal = 0.5545
    truth = against_good(signal, 5.0)
    assert against_good(1.005 * signal, 5.025) == pytest.approx(truth, rel=0.06)
    assert against_good(1.005 * signal, 5.0) > 1.1 * truth


def test_an_intermittent_absent_now_is_not_ruled_out():
    """A ground lift seen once and gone again leaves the loose pin likelier than the fixed fault."""
    timeline = Timeline((Time(0), Time(0)), ())
    seen = (number("ground", 1.2), number("ground", 0.0001))
    got = odds(*seen, times=[0, 1], timeline=timeline)
    assert got[6] > 0.9
    assert odds(*seen)[6] < got[6]


def with_tachometer() -> CompiledModel:
    """The small car with a speed, a fault that lowers it and a tachometer check."""
    family = small_family()
    family = replace(
        family,
        scalars={**family.scalars, "speed": Scalar("speed", "log", Value(800.0), 0.05, "rpm")},
        faults={
            **family.faults,
            "slow": Fault("slow", "Slow", (Span("times", "speed", 0.85, 0.97),), 3),
        },
        checks={
            **family.checks,
            "tacho": Check("tacho", "speed", "Read it", "rpm", {}, 1, of="speed"),
        },
    )
    return compile_model(family, empty_sheet())


@pytest.mark.parametrize("shown", [720.0, 760.0, 800.0])
def test_a_coarse_tachometer_is_an_interval(shown):
    """50 rpm steps, no other noise: the odds are those of the exact interval, by prior sampling."""
    car = with_tachometer()
    coarse = Noise(gain=0.0, own=0.0, step=50.0, top=1e4, meter="m:rpm")
    seen = number("tacho", shown, coarse, car)
    assert seen.alternatives[0].boxes
    assert not seen.alternatives[0].numbers
    rng = np.random.default_rng(5)
    count = 400_000
    scale = np.where(rng.random(count) < 0.8, 1.0, 2.0)
    sound = 800.0 * np.exp(scale * rng.normal(size=count) * np.log(1.05) / 1.959964)
    slow = sound * 0.85 * (0.97 / 0.85) ** rng.random(count)
    p_sound, p_slow = (np.mean(np.abs(v - shown) < 25.0) for v in (sound, slow))
    weight = np.exp(prior(car))
    due = weight[-2] * p_slow / (weight[-2] * p_slow + (1 - weight[-2]) * p_sound)
    got = bank_odds(car, prior(car), [seen], [0])[-2]
    assert got == pytest.approx(due, abs=0.01)


def test_ten_rpm_steps_do_not_pretend_to_ten_rpm_noise():
    """Three equal readings of a 10 rpm display stay one interval: no sharper than one of them."""
    car = with_tachometer()
    coarse = Noise(gain=0.0, own=0.0, step=10.0, top=1e4, meter="m:rpm")
    seen = number("tacho", 770.0, coarse, car)
    once = bank_odds(car, prior(car), [seen], [0])
    thrice = bank_odds(car, prior(car), [seen] * 3, [0] * 3)
    np.testing.assert_allclose(once, thrice, atol=1e-12)


def test_contradicting_words_leave_finite_odds():
    """As set, and high, of the same setting: unlikely, but no crash and odds that add up."""
    got = odds(word("feel", "as set"), word("feel", "high"), word("feel", "low"))
    assert np.isfinite(got).all()
    assert got.sum() == pytest.approx(1.0)


def test_an_impossible_number_leaves_finite_odds():
    """A reading nothing explains is very unlikely under all, not an error."""
    got = odds(number("closed", 480.0), number("coolant", 0.97))
    assert np.isfinite(got).all()
    assert got.sum() == pytest.approx(1.0)


def test_nothing_read_leaves_the_prior():
    """Without readings the odds are the prior's."""
    np.testing.assert_allclose(odds(), np.exp(prior(model())), atol=2e-3)


def test_settled_says_whether_a_further_look_would_move_the_odds(monkeypatch):
    """Held to one look, some cases say they are not settled; the others stay within .02.

    Left alone, weighing looks again until it has settled, and then more looks change nothing.
    """
    rows = make_rows(model().cells, prior(model()), ONCE)
    unsettled = 0
    for case in range(24):
        rng = np.random.default_rng([45, case])
        true = random_car(model(), ONCE, rng)
        seen, times = readings_of(true, int(rng.integers(4, 13)), rng)
        free = Weigher(model(), ONCE, rows, 1).weigh(seen, times)
        often = Weigher(model(), ONCE, rows, 8).weigh(seen, times)
        with monkeypatch.context() as held:
            held.setattr(relook, "MOST_LOOKS", 1)
            once = Weigher(model(), ONCE, rows, 1).weigh(seen, times)
        moved = [
            error(np.exp(w.ln_row - w.ln_total), np.exp(often.ln_row - often.ln_total))
            for w in (once, free)
        ]
        unsettled += not once.settled
        assert moved[0] <= 0.02 or not once.settled
        assert free.settled
        assert moved[1] <= 0.01
    assert unsettled >= 1
