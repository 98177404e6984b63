"""Which parameters a reading sees: epochs, activity patterns and their odds."""

from __future__ import annotations

import itertools
import math
from functools import cache

import numpy as np
import pytest

from idlewright.diagnosis.factors import (
    Noise,
    Seen,
    number_alternatives,
    read_as,
    word_alternatives,
)
from idlewright.diagnosis.visibility import visible_activity
from idlewright.diagnosis.world import MANY_TIMES, Renewal, Time, Timeline, make_rows
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check
from oracle.car import Car, patterns
from small_car import empty_sheet, small_family

LOOSE = 6
POOR = 0
NOISE = Noise(0.003, 0.002, 0.001, 600.0, "m:volt")


@cache
def model() -> CompiledModel:
    """The small car."""
    return compile_model(small_family(), empty_sheet())


def even() -> np.ndarray:
    """Every hypothesis as likely as the next, (F + 1,)."""
    count = len(model().cells.faults) + 1
    return np.full(count, -math.log(count))


def weight_by_pattern(
    timeline: Timeline, fault: int, visible=None
) -> dict[tuple[bool, ...], float]:
    """The product's odds of each activity pattern of one fault."""
    rows = make_rows(model().cells, even() * 0.0, timeline, visible)
    own = model().cells.fault[rows.cell] == fault
    found: dict[tuple[bool, ...], float] = {}
    for active, ln, cell in zip(rows.active[own], rows.ln_prior[own], rows.cell[own], strict=True):
        if active.any() and not 0 <= model().cells.centre[cell] <= 1:
            continue  # ghosts beyond the ends hold no prior once they are cut
        found[tuple(active)] = found.get(tuple(active), 0.0) + math.exp(ln)
    return found


RENEW = Renewal({"gnd.poor": 0.97, "pin.loose": 0.9}, (2, 4))
TIMELINES = {
    "once": Timeline((Time(0),), ()),
    "three stretches": Timeline((Time(0), Time(0), Time(0)), ()),
    "shaken": Timeline((Time(0), Time(0, ("pin",)), Time(0)), ()),
    "a repair": Timeline((Time(0), Time(0), Time(1)), (RENEW,)),
    "two repairs": Timeline((Time(0), Time(1), Time(2)), (RENEW, RENEW)),
}


@pytest.mark.parametrize("name", TIMELINES)
@pytest.mark.parametrize("fault", [POOR, LOOSE])
def test_pattern_odds_are_the_exact_integrals(name, fault):
    """Patterns of activity have the odds of the oracle's exact integration (1e-4)."""
    timeline = TIMELINES[name]
    due = patterns(Car(model(), timeline), fault)
    got = weight_by_pattern(timeline, fault)
    for active, chance in due.items():
        assert got.get(active, 0.0) == pytest.approx(chance, abs=1e-4), active
    assert sum(got.values()) == pytest.approx(1.0, abs=1e-4)


def test_one_stretch_is_active_one_time_in_four():
    """Beta(1, 3) has mean 1/4; three stretches all quiet have B(1, 6) / B(1, 3) = 1/2."""
    once = weight_by_pattern(TIMELINES["once"], LOOSE)
    assert once[(True,)] == pytest.approx(0.25, abs=1e-4)
    three = weight_by_pattern(TIMELINES["three stretches"], LOOSE)
    assert three[(False,) * 3] == pytest.approx(0.5, abs=1e-4)


def test_a_fault_outlives_a_repair_only_with_the_chance_it_is_not_cured():
    """A steady fault: there before, and after only with 1 - .97."""
    got = weight_by_pattern(TIMELINES["a repair"], POOR)
    assert got[(True, True, False)] == pytest.approx(0.97)
    assert got[(True, True, True)] == pytest.approx(0.03)


def test_stretches_nothing_shows_in_are_summed_over():
    """Marginal odds of the visible stretches are the sums of the full patterns."""
    timeline = Timeline((Time(0),) * 4, ())
    visible = np.ones((len(model().cells.faults), 4), dtype=bool)
    visible[LOOSE] = [True, False, False, True]
    got = weight_by_pattern(timeline, LOOSE, visible)
    due: dict[tuple[bool, ...], float] = {}
    for active, chance in patterns(Car(model(), timeline), LOOSE).items():
        key = (active[0], False, False, active[3])
        due[key] = due.get(key, 0.0) + chance
    assert set(got) == set(due)
    for key, chance in due.items():
        assert got[key] == pytest.approx(chance, abs=1e-4)


@pytest.mark.parametrize("stretches", [MANY_TIMES, MANY_TIMES + 5])
def test_very_many_stretches_keep_patterns_of_every_kind(stretches):
    """Beyond the cap there are steady patterns and rare exceptions, and the odds still add up."""
    got = weight_by_pattern(Timeline((Time(0),) * stretches, ()), LOOSE)
    assert len(got) < 2000
    assert sum(got.values()) == pytest.approx(1.0, abs=1e-6)
    assert (False,) * stretches in got
    assert (True,) * stretches in got
    for k in range(stretches):
        alone = tuple(t == k for t in range(stretches))
        assert alone in got


def test_renewed_parts_get_fresh_columns_and_others_keep_theirs():
    """After a repair of tolerances 2 and 4 these two point to new columns; severity is last."""
    maps, width = TIMELINES["two repairs"].column_maps(6)
    assert maps.tolist() == [[0, 1, 2, 3, 4, 5], [0, 1, 6, 3, 7, 5], [0, 1, 8, 3, 9, 5]]
    assert width == 11


def test_good_car_has_one_row_a_variant():
    """Nothing wrong is one row, never active."""
    rows = make_rows(model().cells, even(), TIMELINES["three stretches"])
    good = rows.take(model().cells.fault[rows.cell] < 0)
    assert len(good) == len(model().cells.good)
    assert not good.active.any()


def test_a_fault_is_visible_only_where_a_reading_can_show_it():
    """The ground pin shows in the ground drop, not in the feeler; slips and now count."""
    family = model().family
    ground = form_of_check(family, family.checks["ground"], 10e6)
    feel = word_alternatives(form_of_check(family, family.checks["feel"], 10e6), "high")
    slip = read_as(ground.modes[0].number, 0.1, NOISE)
    seen = [
        Seen("a", feel, 0, 0),
        Seen("b", number_alternatives(ground, 0.1, NOISE), 0, 1),
        Seen("c", feel, 0, 2, slips=(slip,)),
        Seen("d", (), 0, 3, odds={"ref.low": 0.4}, base=0.02),
    ]
    timeline = Timeline((Time(0),) * 5, ())
    got = visible_activity(model(), seen, [0, 1, 2, 3], timeline)
    assert got[LOOSE].tolist() == [False, True, True, False, True]
    assert got[5].tolist() == [False, True, True, True, True]


def test_patterns_of_the_oracle_add_up():
    """The oracle's own patterns sum to one (it is the yardstick here)."""
    for timeline, fault in itertools.product(TIMELINES.values(), (POOR, LOOSE)):
        assert sum(patterns(Car(model(), timeline), fault).values()) == pytest.approx(1.0)
