"""Facts of the trade about the two injected families, read off their own compiled physics.

"Common practice" means: common practice, no source. Air that a flow meter never saw gets no fuel,
air metered by manifold pressure does: the same hole does opposite things.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.family import load_family, load_sheet
from idlewright.model.compiled import compile_model
from idlewright.model.forms import form_of_check
from idlewright.model.latents import from_scale
from idlewright.model.predict import predict
from idlewright.model.worlds import Worlds

EXAMPLES = Path(__file__).parents[2] / "examples"


class Car:
    """A nominal car of a family on one sheet, with some scalars changed."""

    def __init__(self, family: str, sheet: str) -> None:
        known = load_family(family)
        self.model = compile_model(known, load_sheet(EXAMPLES / f"{sheet}.sheet.toml", known))

    def read(self, check: str, **changed: float) -> float:
        """What a check shows, without the meter's error; two underscores stand for a dot."""
        table = self.model.table
        number = form_of_check(self.model.family, self.model.family.checks[check], 10e6).modes[0]
        assert number.number is not None
        values = table.nominal[0].copy()
        for name, value in changed.items():
            values[table.index[name.replace("__", ".")]] = value
        latent = number.number
        x, _ = latent.evaluate(self.model.physics, Worlds(table, values[:, None]))
        return float(from_scale(latent.scale, x)[0])

    def good(self, scalar: str) -> float:
        """A scalar on the good car."""
        return float(self.model.table.nominal[0, self.model.table.index[scalar]])

    def under(self, check: str, fault: str) -> float:
        """Median of a check on cars with a fault."""
        rows = predict(self.model, check, fault)["checks"][0]["rows"]
        return float(next(row["median"] for row in rows if row["faults"] == [fault]))


@pytest.fixture(scope="module")
def stepper() -> Car:
    """The invented coupe: two-litre four, fuel by manifold pressure, stepper valve."""
    return Car("stepper-pressure", "invented-coupe")


@pytest.fixture(scope="module")
def duty() -> Car:
    """The invented hatchback: two-litre four, fuel by airflow meter, duty valve."""
    return Car("duty-airflow", "invented-hatchback")


def test_a_leak_is_fuelled_by_pressure_and_starves_a_flow_meter(stepper: Car, duty: Car) -> None:
    """4 mm2 leak, base air: by pressure faster and vacuum not lower; by flow slower, vacuum lower.

    Common practice: with manifold pressure a leak raises the speed and the gauge stays normal or
    higher; with a flow meter the idle is lean, low and lumpy and the gauge reads low.
    """
    speed, vacuum = stepper.read("valve.speed.seated"), stepper.read("basics.vacuum")
    assert stepper.read("valve.speed.seated", engine__leak__gasket_mm2=4.0) > speed + 150
    assert stepper.read("basics.vacuum", engine__leak__gasket_mm2=4.0) > vacuum - 0.5
    speed, vacuum = duty.read("valve.speed.base"), duty.read("basics.vacuum")
    assert duty.read("valve.speed.base", engine__leak__gasket_mm2=4.0) < speed - 50
    assert duty.read("basics.vacuum", engine__leak__gasket_mm2=4.0) < vacuum - 5.0


def test_controlled_idle_hides_a_fuelled_leak_while_the_valve_has_room(stepper: Car) -> None:
    """The controlled idle stands where it was; the speed with the valve seated gives it away.

    Common practice: up to about 5 mm2 does not move the idle that the valve holds.
    """
    assert stepper.under("basics.idle.hot", "basics.timing_late") == pytest.approx(760, abs=25)
    assert stepper.read("valve.speed.seated", engine__leak__hose_mm2=2.0) < 760
    assert stepper.read("valve.speed.seated", engine__leak__hose_mm2=8.0) > 760 + 150


def test_air_through_the_throttle_is_metered_in_both(stepper: Car, duty: Car) -> None:
    """A stop screwed in by 4 mm2 raises both base speeds: that air is metered and fuelled.

    Common practice.
    """
    for car, check in ((stepper, "valve.speed.seated"), (duty, "valve.speed.base")):
        more = car.good("engine.air.stop_mm2") + 4.0
        assert car.read(check, engine__air__stop_mm2=more) > car.read(check) + 150


def test_coils_of_a_stepper(stepper: Car) -> None:
    """45-65 ohm each, open from coil to coil and to the case; about 0.2 A each at 12 V.

    Common practice; the current is Ohm's law.
    """
    for coil in ("ab", "cd"):
        assert 45 <= stepper.read(f"valve.{coil}.ohm") <= 65
        assert stepper.read(f"valve.{coil}.case.ohm") > 1e7
        assert 10.5 < stepper.read(f"valve.{coil}.volts.one") < 12.6
        assert 10.5 < stepper.read(f"valve.{coil}.volts.two") < 12.6
    assert stepper.read("valve.cross") > 1e7


def test_an_open_coil_leaves_the_idle_where_the_valve_stands(stepper: Car) -> None:
    """One dead coil is enough: the speed is that of the parked valve, far above the target here.

    Common practice: this valve opens at key off, so that the engine then races.
    """
    assert stepper.under("basics.idle.hot", "valve.ab.winding_open") > 760 + 250


def test_a_sensor_set_high_takes_the_idle_control_away(stepper: Car) -> None:
    """Above the closed limit the computer no longer holds the idle. Common practice."""
    assert stepper.under("basics.idle.hot", "tps.set_high") > 760 + 150


def test_duty_valve_figures(duty: Car) -> None:
    """8-12 ohm, battery on the driven wire while it is off, near ground fully on, 30-40 % hot.

    Common practice.
    """
    assert 8 <= duty.read("valve.coil.ohm") <= 12
    assert 11.8 <= duty.read("valve.drive.still") <= 12.8
    assert duty.read("valve.drive.full") < 1.2
    assert 30 <= duty.read("valve.percent") <= 40


def test_contact_between_two_feelers(duty: Car) -> None:
    """0.35 mm at the stop: made; 0.65 mm: open; its input near 0 V shut, 5 V open.

    Common practice.
    """
    assert duty.read("contact.feeler_in") < 5
    assert duty.read("contact.feeler_out") > 1e7
    assert duty.read("contact.volts.shut") < 0.3
    assert 4.7 < duty.read("contact.volts.open") < 5.3


def test_without_its_contact_the_idle_does_not_answer_a_load(duty: Car) -> None:
    """A contact that never makes: the compressor pulls the idle down; a good car holds it.

    Common practice.
    """
    held = duty.read("basics.idle.compressor")
    alone = duty.under("basics.idle.compressor", "contact.stuck_open")
    assert held == pytest.approx(790, abs=25)
    assert alone < duty.under("basics.idle.hot", "contact.stuck_open") - 80


def test_a_wax_valve_left_open_races_and_pinching_it_tells(duty: Car) -> None:
    """Its air is metered: hot idle high by hundreds, and the speed falls when it is pinched.

    Common practice: no change when pinched on a hot engine is good.
    """
    assert abs(duty.read("wax.pinch")) < 15
    assert duty.read("wax.pinch", engine__air__wax_mm2=8.0) < -200
