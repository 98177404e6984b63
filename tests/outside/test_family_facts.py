"""Facts of the trade, read off the shipped carburettor family's own compiled physics.

Figures marked "common practice" have no source. Those marked "worked out apart" come from a
throwaway solver that is not part of this project, for an invented car much like this one: 5 kohm
track on 5 V, pressure and coolant sensors on the same ground; 2.8 litre six, 550 and 1,400 rpm.
The two cars differ a little, hence the widths.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.optimize import brentq

from idlewright.family import load_family, load_sheet
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_between, form_of_check
from idlewright.model.latents import Latent, MotorOutput, freeze, from_scale
from idlewright.model.predict import predict
from idlewright.model.worlds import Worlds

EXAMPLES = Path(__file__).parents[2] / "examples"


class Car:
    """A nominal car of the family on one sheet, with some scalars changed."""

    def __init__(self, model: CompiledModel) -> None:
        self.model = model

    def good(self, scalar: str) -> float:
        """A scalar on the good car."""
        table = self.model.table
        return float(table.nominal[0, table.index[scalar]])

    def value_of(self, latent: Latent, changed: dict[str, float]) -> float:
        """A latent's value in its own unit."""
        table = self.model.table
        values = table.nominal[0].copy()
        for scalar, value in changed.items():
            values[table.index[scalar]] = value
        x, _ = latent.evaluate(self.model.physics, Worlds(table, values[:, None]))
        return float(from_scale(latent.scale, x)[0])

    def read(self, check: str, **changed: float) -> float:
        """What a check shows, 10 Mohm meter, without the meter's error."""
        latent = form_of_check(self.model.family, self.model.family.checks[check], 10e6)
        number = latent.modes[0].number
        assert number is not None
        return self.value_of(number, changed)

    def between(
        self, red: str, black: str, function: str, state: dict[str, str], **changed: float
    ) -> float:
        """What a meter shows between any two places."""
        form = form_between(self.model.family, red, black, function, state, 10e6)
        number = form.modes[0].number
        assert number is not None
        return self.value_of(number, changed)

    def motor(self, kind: str, state: dict[str, str], **changed: float) -> float:
        """Margin (ln of current over what breaks it free), volts or ampere of the idle motor."""
        full = freeze(self.model.family.full_state(state))
        scale = {"margin": "linear", "amp": "log"}.get(kind, "volt")
        return self.value_of(MotorOutput(kind, "isc.motor", full, scale, ""), changed)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def car() -> Car:
    """The invented estate: input pulled down, nose switch open at rest."""
    family = load_family("plunger-carburettor")
    return Car(compile_model(family, load_sheet(EXAMPLES / "invented-estate.sheet.toml", family)))


@pytest.fixture(scope="module")
def pulled_up() -> Car:
    """The invented saloon: input pulled up, nose switch closed at rest."""
    family = load_family("plunger-carburettor")
    return Car(compile_model(family, load_sheet(EXAMPLES / "invented-saloon.sheet.toml", family)))


TO_BATTERY = "tps.signal.closed.battery"
TO_OWN_PIN = "tps.signal.closed"
HOT = {"key": "on", "engine": "hot"}


def test_an_open_sensor_ground_looks_opposite_from_two_black_lead_places(car: Car) -> None:
    """Worked out apart: sensor ground wire open, signal 4.94 V to battery negative, 0.00 V to the
    sensor's own ground pin.
    """
    gone = {"tps.gnd.ohm": 1e9}
    assert car.read(TO_BATTERY, **gone) == pytest.approx(4.94, abs=0.03)
    assert car.read(TO_OWN_PIN, **gone) == pytest.approx(0.0, abs=0.005)


def test_resistance_in_the_common_return_lifts_two_sensors(car: Car) -> None:
    """Worked out apart: 60 ohm in the common return lifts closed 0.52 -> 0.90 V, and hot coolant of
    250 ohm is seen as 520 (88 -> about 63 degC).
    """
    poor = {"computer.shared_gnd.ohm": 60.0}
    closed = car.between("tps.sig.sensor", "battery.negative", "volt", HOT)
    lifted = car.between("tps.sig.sensor", "battery.negative", "volt", HOT, **poor)
    assert closed == pytest.approx(0.52, abs=0.02)
    assert lifted == pytest.approx(0.90, abs=0.04)
    coolant = car.between("ect.sig.sensor", "battery.negative", "volt", HOT, **poor)
    pull_up = car.good("ect.pull_up.ohm")
    seen = coolant / (car.good("computer.reference.volt") - coolant) * pull_up
    assert seen == pytest.approx(520.0, abs=45.0)


def test_resistance_in_the_sensors_own_leg_moves_it_alone(car: Car) -> None:
    """Worked out apart: 60 ohm in the sensor's own ground leg, 0.57 V; coolant does not care."""
    own = {"tps.gnd.ohm": 60.0}
    lift = car.read("tps.gnd.lift")
    assert car.read(TO_BATTERY, **own) - lift == pytest.approx(0.57, abs=0.015)
    hot = car.read("ect.volts.hot")
    assert car.read("ect.volts.hot", **own) == pytest.approx(hot, abs=0.002)


def test_an_open_signal_wire_leaves_the_computer_its_bias(car: Car, pulled_up: Car) -> None:
    """Common practice: signal open, the computer sees its own bias, 0 V pulled down or 5 V pulled
    up; at the sensor the signal is still good.
    """
    gone = {"tps.sig.ohm": 1e9}
    assert car.read("tps.signal.computer", **gone) == pytest.approx(0.0, abs=0.02)
    through = 10e6 / (10e6 + pulled_up.good("tps.pull_up.ohm"))  # the meter loads the pull-up
    assert pulled_up.read("tps.signal.computer", **gone) == pytest.approx(5.0 * through, abs=0.05)
    assert car.read(TO_OWN_PIN, **gone) == pytest.approx(car.read(TO_OWN_PIN), abs=0.002)


def test_a_signal_wire_alone_shows_its_bias(car: Car, pulled_up: Car) -> None:
    """Common practice: harness side, plug off: 0 or 5 V, by how the input is pulled."""
    assert car.read("tps.signal.bias") < 0.1
    assert pulled_up.read("tps.signal.bias") > 4.5


def test_ten_ohm_is_nothing_in_a_signal_and_a_dead_plunger_motor(car: Car) -> None:
    """Worked out apart: 12 ohm winding at 12.4 V, stall 0.89 -> 0.52 A with 10 ohm in its lead,
    0.35 A to break free; the same 10 ohm in the signal wire moves nothing (under 0.1 mV).
    """
    state = {"key": "on", "drive": "out"}
    lead = car.good("isc.a.plug.ohm")
    assert car.good("isc.motor.ohm") == 12.0
    assert car.motor("amp", state) == pytest.approx(0.89, abs=0.03)
    poor = {"isc.a.plug.ohm": lead + 10.0}
    assert car.motor("amp", state, **poor) == pytest.approx(0.52, abs=0.02)
    signal = car.read("tps.signal.computer")
    wire = car.good("tps.sig.ohm") + 10.0
    assert car.read("tps.signal.computer", **{"tps.sig.ohm": wire}) == pytest.approx(
        signal, abs=1e-4
    )


def test_less_than_two_kohm_in_a_signal_cannot_be_seen(car: Car) -> None:
    """Common practice: a signal resistance under 2 kohm cannot be seen: under half a per cent."""
    poor = car.read("tps.signal.computer", **{"tps.sig.ohm": 2000.0})
    assert poor == pytest.approx(car.read("tps.signal.computer"), rel=0.005)


def test_under_six_volts_while_turning_is_no_verdict_on_the_motor(car: Car) -> None:
    """Common practice: a motor test with less than 6 V while it turns is no verdict. A weak battery
    that just cannot break a good motor free holds it at less than 6 V, turning or standing.
    """
    state = {"key": "off", "isc.plug": "unplugged", "bench": "nine"}

    def margin(ohm: float) -> float:
        return car.motor("margin", state, **{"isc.nine.ohm": ohm})

    weak = brentq(margin, 0.5, 100.0)
    assert margin(car.good("isc.nine.ohm")) > 0.2
    assert car.motor("volts_stalled", state, **{"isc.nine.ohm": weak}) < 6.0
    assert car.motor("volts_turning", state, **{"isc.nine.ohm": weak}) < 6.5
    assert car.motor("volts_turning", state) > 6.0


def test_full_travel_takes_three_to_five_seconds(car: Car) -> None:
    """Common practice: 3 to 5 s each way."""
    assert 3.0 <= car.read("isc.motor.nine_time") <= 5.0


def test_a_good_driver_gives_ten_volts_loaded_both_ways(car: Car) -> None:
    """Common practice: at least 10 V on the loaded motor, out and in."""
    assert car.read("isc.motor.driven_out") >= 10.0
    assert car.read("isc.motor.driven_in") >= 10.0


def test_two_speeds_tell_a_leak_from_the_stop_screw(car: Car) -> None:
    """Worked out apart: both raise the retracted speed 550 -> 940; the stop leaves the extended
    1,400 alone, a leak makes it about 1,720.
    """
    stop = "engine.air.stop_mm2"
    leak = "engine.leak.hose_mm2"
    assert car.read("isc.speed.in") == pytest.approx(550.0, abs=1.0)
    assert car.good(stop) == pytest.approx(14.0, abs=1.0)
    assert car.good("engine.air.plunger_mm2") == pytest.approx(39.3, abs=2.0)
    screwed = brentq(lambda area: car.read("isc.speed.in", **{stop: area}) - 940.0, 10.0, 60.0)
    leaking = brentq(lambda area: car.read("isc.speed.in", **{leak: area}) - 940.0, 0.0, 60.0)
    assert car.read("isc.speed.out", **{stop: screwed}) == pytest.approx(1400.0, abs=1.0)
    assert car.read("isc.speed.out", **{leak: leaking}) == pytest.approx(1720.0, abs=90.0)


def test_controlled_idle_hides_a_leak_while_the_motor_has_room(car: Car) -> None:
    """Common practice: a leak under the controller's reach does not move the held speed; with the
    plunger in it shows.
    """
    family = car.model.family
    form = form_of_check(family, family.checks["basics.idle.hot"], 10e6)
    leak = {"engine.leak.hose_mm2": 3.0}
    assert [box.latent for box in form.modes[0].boxes]
    limits = [car.value_of(box.latent, leak) for box in form.modes[0].boxes]
    assert all(
        box.low < value < box.high for box, value in zip(form.modes[0].boxes, limits, strict=True)
    )
    assert car.read("basics.idle.hot", **leak) == pytest.approx(car.read("basics.idle.hot"))
    assert car.read("isc.speed.in", **leak) > car.read("isc.speed.in") + 40.0


def test_a_dragged_reference_keeps_every_ratio(car: Car) -> None:
    """Common practice: a neighbour drags the reference down, all ratios stay good; unplugging it
    brings the reference back.
    """
    dragged = {"map.drag.ohm": 5.0}
    reference, signal = car.read("tps.reference", **dragged), car.read(TO_OWN_PIN, **dragged)
    assert reference < 4.5
    good = car.read(TO_OWN_PIN) / car.read("tps.reference")
    assert signal / reference == pytest.approx(good, rel=0.002)
    assert car.read("map.reference.without", **dragged) > 4.95


def test_a_short_to_a_feed_lifts_the_reference(car: Car) -> None:
    """Common practice: a battery-side short reads over 5.2 V everywhere on the reference."""
    shorted = {"computer.ref_feed.ohm": 5.0}
    for check in ("tps.reference", "computer.reference.pin", "map.reference.without"):
        assert car.read(check, **shorted) > 5.2


def test_the_track_reads_low_through_a_mated_plug(car: Car) -> None:
    """Worked out apart: ohms on a 5 kohm track with its plug left on, about 0.83 k through the
    neighbours; this car's neighbours make less than a quarter of it as well.
    """
    mated = car.between("tps.ref.sensor", "tps.gnd.sensor", "ohm", {"key": "off"})
    assert car.read("tps.track.ohm") == pytest.approx(5000.0, rel=0.01)
    assert mated == pytest.approx(830.0, rel=0.2)


def test_pinching_the_crankcase_hose(car: Car) -> None:
    """Common practice: -20 to -80 rpm good, about none when blocked, over 150 when stuck open."""
    pcv = "engine.air.pcv_mm2"
    assert -80.0 <= car.read("idle.pinch.pcv") <= -20.0
    assert car.read("idle.pinch.pcv", **{pcv: 0.1}) > -10.0
    assert car.read("idle.pinch.pcv", **{pcv: 6.5}) < -150.0


def test_vacuum_good_and_with_exhaust_recirculating(car: Car) -> None:
    """Common practice: 60 to 70 kPa steady at hot idle; 45 to 58 with the valve open at idle."""
    assert 60.0 <= car.read("basics.vacuum") <= 70.0
    assert 45.0 <= car.read("basics.vacuum", **{"engine.dilution": 0.12}) <= 58.0


def test_nose_switch_of_either_sense(car: Car, pulled_up: Car) -> None:
    """Common practice: open at rest reads overload and 4.8 to 5.2 V at rest, under 2 ohm and at
    most 0.3 V pressed; the other sense the reverse.
    """
    for one, first, second in ((car, "rest", "pressed"), (pulled_up, "pressed", "rest")):
        assert one.read(f"isc.nose.ohm.{first}") > 1e8
        assert one.read(f"isc.nose.ohm.{second}") < 2.0
        assert 4.8 <= one.read(f"isc.nose.volts.{first}") <= 5.2
        assert 0.0 <= one.read(f"isc.nose.volts.{second}") <= 0.3


def test_good_grounds_lift_by_millivolts(car: Car) -> None:
    """Common practice: sensor ground at most 30 mV above battery negative, engine block at most 50
    mV, body at most 100 mV with loads on; good cars differ by a factor of two or three.
    """
    for check, most in (
        ("tps.gnd.lift", 0.03), ("battery.drop.block", 0.05), ("battery.drop.body", 0.1),
    ):  # fmt: skip
        row = predict(car.model, check=check)["checks"][0]["rows"][0]
        assert 0.0 < row["low"] < row["median"] < row["high"] <= most
        assert 3.0 <= row["high"] / row["low"] <= 12.0


def test_a_worn_track_reads_on_a_part_as_it_does_in_the_car(car: Car) -> None:
    """Common practice: wear under the wiper shows on the part (plug off) as added ohms, and in the
    car only against the computer's own input: 100 kohm into 470 kohm takes about a fifth.
    """
    worn = {"tps.track.contact_ohm[throttle=closed]": 1e5}
    ohms = car.read("tps.track.wiper", **worn) - car.read("tps.track.wiper")
    assert ohms == pytest.approx(1e5, rel=0.01)
    ratio = car.read("tps.signal.computer", **worn) / car.read("tps.signal.computer")
    assert ratio == pytest.approx(470.0 / 570.0, abs=0.03)
