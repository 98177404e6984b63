"""A practice car: readings, repairs, tries."""

from dataclasses import replace

import numpy as np
import pytest

from idlewright.errors import BadInput, CannotTell
from idlewright.family import load_family
from idlewright.family.kinds import Check
from idlewright.job.file import load_job
from idlewright.model.compiled import compile_model
from idlewright.physics.meter import Meter, MeterFunction
from idlewright.practice import LAWS, Luck, open_car
from idlewright.quantities import parse_quantity
from small_car import empty_sheet, small_family

PERFECT = Meter("perfect", {
    "volt": MeterFunction(0.0, 0.0, 1e-6, 600.0, input_ohm=1e12),
    "ohm": MeterFunction(0.0, 0.0, 1e-3, 1e12),
})  # fmt: skip


@pytest.fixture(scope="module")
def small():
    """The small car, compiled."""
    return compile_model(small_family(), empty_sheet())


@pytest.fixture(scope="module")
def carburettor():
    """A shipped family of which no sheet is known, compiled."""
    return compile_model(load_family("plunger-carburettor"), empty_sheet())


def small_car(model, seed=1, **given):
    """A practice car of the small family."""
    return open_car(model.family, seed, model=model, **given)


def number(text):
    """The number of a typed answer, base unit."""
    return parse_quantity(text.rpartition(", ")[2]).value


def test_a_perfect_meter_shows_what_the_circuit_gives(small):
    """Ground corroded at the sensor: 5 V divided by track and bad ground, worked out by hand."""
    car = small_car(small, fault="gnd.poor")
    value = dict(zip(small.table.ids, car.hidden.worlds(car.active()).values[:, 0], strict=True))
    ground = value["gnd.ohm"]
    assert 20 * (2500**-0.16) < ground < 5e4 * 2500**0.16
    low = value["track.ohm"] * value["track.closed"]
    high = value["track.ohm"] * (1 - value["track.closed"])
    # ref.c carries the track; sig.s sees the wiper through the contact, the input pulls it down.
    top = value["ref.source_ohm"] + value["ref.ohm"] + high
    pull = value["track.contact_ohm"] + value["sig.ohm"] + value["input.ohm"]
    below = low + ground
    tap = 1 / (1 / below + 1 / pull)
    expected = value["ref.volt"] * tap / (tap + top) * (1 - value["track.contact_ohm"] / pull)
    assert number(car.read("closed", PERFECT)) == pytest.approx(expected, rel=2e-3)
    assert number(car.read("track", PERFECT)) == pytest.approx(value["track.ohm"], rel=0.02)


def test_the_same_arguments_give_the_same_car(small):
    """Everything follows from the seed; another seed is another car."""
    first, again, other = (small_car(small, seed) for seed in (7, 7, 8))
    checks = list(small.family.checks)
    assert [first.read(c) for c in checks] == [again.read(c) for c in checks]
    assert first.faults == again.faults and first.complaint == again.complaint
    assert [other.read(c) for c in checks] != [again.read(c) for c in checks]


@pytest.mark.parametrize("law", sorted(LAWS))
def test_a_reading_does_not_depend_on_what_was_read_before(small, law):
    """The same check on the same car reads the same in any order of checks (steady faults)."""
    checks = list(small.family.checks)
    one = small_car(small, 3, law=law, fault="gnd.poor", luck=Luck(slip=0.3))
    two = small_car(small, 3, law=law, fault="gnd.poor", luck=Luck(slip=0.3))
    forwards = {c: one.read(c) for c in checks}
    assert forwards == {c: two.read(c) for c in reversed(checks)}


def test_repeats_share_most_of_their_error(small):
    """The difference of two readings scatters by their own share only, not by the whole error."""
    rough = Meter("rough", {
        "volt": MeterFunction(0.0, 10.0, 1e-3, 600.0, input_ohm=1e7),
    })  # fmt: skip
    apart = []
    for seed in range(150):
        car = small_car(small, seed, fault="set_high", law="matched")
        apart.append(number(car.read("reference", rough)) - number(car.read("reference", rough)))
    # A quarter of each reading's variance is its own.
    expected = (10e-3 / 3**0.5) * (2 * 0.25) ** 0.5
    assert np.std(apart) == pytest.approx(expected, rel=0.2)


def test_one_meter_reads_all_volts_high_or_low_by_one_gain(small):
    """Two volt readings of the same meter are off by the same share; another meter by another."""
    coarse = {"volt": MeterFunction(5.0, 0.0, 1e-6, 600.0, input_ohm=1e12)}
    car = small_car(small, 5, fault="set_high")
    truth = [number(car.read(c, PERFECT)) for c in ("reference", "wide")]
    ratio = [
        number(car.read(c, Meter("a", coarse))) / v
        for c, v in zip(("reference", "wide"), truth, strict=True)
    ]
    other = number(car.read("wide", Meter("b", coarse))) / truth[1]
    assert ratio[0] == pytest.approx(ratio[1], abs=1e-5)
    assert abs(ratio[0] - 1) <= 0.05 and abs(other - ratio[1]) > 1e-4


def test_an_open_circuit_is_typed_as_overload(carburettor):
    """The insulation of a good wire is beyond the meter."""
    car = open_car("", 2, model=carburettor, fault="idle.bore_coked")
    assert car.read("tps.sig.to_chassis") == "OL"


def test_the_same_open_ground_looks_opposite_from_two_black_places(carburettor):
    """Sensor ground open: nearly 5 V against the battery, nothing against its own ground pin."""
    car = open_car("", 4, model=carburettor, fault="tps.gnd.open", luck=Luck())
    places = ("tps.sig.sensor", "tps.gnd.sensor", "volt", {"key": "on"})
    assert number(car.read("tps.signal.closed.battery")) > 4.5
    assert abs(number(car.read_between(*places))) < 0.2


def test_every_check_of_a_shipped_family_can_be_typed_into_a_job(carburettor):
    """Whatever a practice car tells is understood by the job file, complaint and codes too."""
    car = open_car("", 6, model=carburettor, fault="isc.a.plug.poor", luck=Luck(slip=0.2))
    told = {check: car.read(check) for check in carburettor.family.checks}
    car.repair("isc.plug.clean")
    told["again"] = car.read("isc.motor.driven_out")
    job = load_job(car.as_job("practice-6"))
    assert [entry.typed for entry in job.readings] == list(told.values())
    assert all(e.number is not None or e.word or e.overload for e in job.readings)
    assert job.words == car.complaint.words and job.epoch == 1
    assert job.readings[-1].epoch == 1


def test_a_good_car_reads_within_its_limits(carburettor):
    """With nothing wrong and parts as stated, few readings leave the family's limits."""
    outside = total = 0
    for seed in range(6):
        car = open_car("", seed, law="matched", model=carburettor, nothing=1.0)
        assert car.faults == ()
        for check in carburettor.family.checks.values():
            spec = check.spec
            if spec is None or spec.sheet is not None or check.read == "word":
                continue
            low = -np.inf if spec.low is None else spec.low
            high = np.inf if spec.high is None else spec.high
            text = car.read(check.id)
            value = np.inf if text.endswith("OL") else number(text)
            value *= 1e3 if check.read == "mV" else 1.0
            total += 1
            outside += not low <= value <= high
    assert total > 60
    assert outside / total < 0.12


def test_getting_ready_and_looking_cost_minutes(small):
    """Key on for the first check is paid once; a second check in the same state only its own."""
    car = small_car(small)
    car.read("closed")
    assert car.spent.hands_on == pytest.approx(0.2 + 1.0)
    car.read("reference")
    assert car.spent.hands_on == pytest.approx(1.2 + 1.0)
    car.read("wide")
    assert car.spent.hands_on == pytest.approx(2.2 + 0.1 + 1.0)
    assert car.state["throttle"] == "wide"


def test_the_right_repair_cures_by_chance_and_the_tries_are_clean(small):
    """Renewing the ground cures in 97 of 100; then the reading is good and every try is clean."""
    cured = 0
    for seed in range(120):
        car = small_car(small, seed, fault="gnd.poor")
        car.repair("gnd.renew")
        cured += car.faults == ()
        assert car.repairs[0].cured == (() if car.faults else ("gnd.poor",))
        if not car.faults:
            assert number(car.read("ground", PERFECT)) < 0.02
            assert all(car.proof("gnd.renew", 3))
    assert cured / 120 == pytest.approx(0.97, abs=0.045)


def test_a_wrong_repair_only_costs(small):
    """Minutes and parts are spent, the fault and every other reading stay, most tries fail."""
    car = small_car(small, 2, fault="gnd.poor")
    before = {c: car.read(c) for c in ("closed", "ground", "reference")}
    spent = car.spent.hands_on
    car.repair("computer")
    assert car.spent.hands_on >= spent + 45
    assert 300 <= car.spent.parts <= 600
    assert car.faults == ("gnd.poor",)
    fresh = small_car(small, 2, fault="gnd.poor")
    assert before == {c: fresh.read(c) for c in before}
    assert np.mean(car.proof("computer", 60)) < 0.2


def test_new_parts_are_new_and_old_ones_stay(small):
    """Renewing the ground draws a new ground resistance and nothing else."""
    car = small_car(small, 2, fault="set_high")
    before = car.hidden.good.copy()
    car.repair("gnd.renew")
    changed = {small.table.ids[k] for k in np.flatnonzero(before != car.hidden.good)}
    assert changed == {"gnd.ohm"}


def test_an_intermittent_keeps_its_mood_within_a_stretch(small):
    """Quiet or not, it stays so while nobody touches anything; over stretches it varies."""
    moods = []
    for seed in range(300):
        car = small_car(small, seed, fault="pin.loose")
        first = bool(car.active())
        assert all(bool(car.active()) == first for _ in range(3))
        moods.append(first)
        car.next_episode()
        moods.append(bool(car.active()))
    # Beta(1, 3) has mean 1/4.
    assert np.mean(moods) == pytest.approx(0.25, abs=0.05)
    assert sum(a != b for a, b in zip(moods[::2], moods[1::2], strict=True)) > 50


def test_a_wiggle_brings_an_intermittent_out_more_often(small):
    """Active in 1 - (1 - p)^3 of the stretches in which it is provoked: .5 over Beta(1, 3)."""
    cars = [small_car(small, seed, fault="pin.loose") for seed in range(400)]
    assert np.mean([bool(car.active(("pin.",))) for car in cars]) == pytest.approx(0.5, abs=0.07)
    assert all(car.active(("pin.",)) for car in cars if car.active())


def test_tries_on_an_uncured_intermittent_are_often_clean(small):
    """An intermittent passes single tries, and shows in enough of them."""
    clean = [
        np.mean(small_car(small, seed, fault="pin.loose").proof("set", 20)) for seed in range(60)
    ]
    assert 0.3 < np.mean(clean) < 0.75


def test_unplugging_may_wipe_a_poor_contact(carburettor):
    """With wiping certain, a poor pin reads good once its plug was off; the fault stays."""
    luck = Luck(wipe=1.0)
    car = open_car("", 3, model=carburettor, fault="tps.gnd.sensor.poor", luck=luck)
    before = number(car.read("tps.gnd.joint", PERFECT))
    car.read("tps.track.ohm")
    assert abs(number(car.read("tps.gnd.joint", PERFECT))) < 0.05 < before
    assert car.faults == ("tps.gnd.sensor.poor",)


def test_work_may_bring_in_a_fault_where_it_was_done(carburettor):
    """With bad luck certain, a repair at the sensor's plug leaves a fault that such work leaves."""
    car = open_car("", 3, model=carburettor, fault="tps.gnd.sensor.poor", luck=Luck(induce=1.0))
    car.repair("tps.sensor.clean")
    (brought,) = car.repairs[0].brought
    assert brought in car.faults and brought.startswith("tps.")
    assert carburettor.family.faults[brought].induced


def test_slips_come_as_often_as_asked_and_are_remembered(small):
    """One reading in five is slipped; each is kept with what should have been typed."""
    slips = reads = 0
    for seed in range(60):
        car = small_car(small, seed, fault="gnd.poor", luck=Luck(slip=0.2))
        honest = small_car(small, seed, fault="gnd.poor")
        told = {c: (car.read(c), honest.read(c)) for c in small.family.checks}
        reads += len(told)
        slips += len(car.slips)
        made = {slip.check: slip for slip in car.slips}
        for check, (said, right) in told.items():
            if check in made:
                assert (made[check].typed, made[check].right) == (said, right)
            else:
                assert said == right
    assert slips / reads == pytest.approx(0.2, abs=0.06)


def test_shares_of_nothing_wrong_and_of_unlisted_faults_are_kept(small):
    """Cars with nothing wrong, and cars with a fault that no family names, come as asked."""
    cars = [small_car(small, seed, nothing=0.2, unlisted=0.3) for seed in range(300)]
    nothing = np.mean([car.faults == () for car in cars])
    unlisted = np.mean([any(not h.listed for h in car.hidden.faults) for car in cars])
    assert nothing == pytest.approx(0.2, abs=0.07) and unlisted == pytest.approx(0.3, abs=0.08)
    odd = next(car for car in cars if "unlisted.bridge" in car.faults)
    assert "touches" in odd.reveal()[0]
    assert [odd.read(c) for c in small.family.checks]


def test_a_share_of_intermittent_faults_can_be_asked_for(small):
    """15 in 100 cars have a fault that comes and goes, whatever the weights."""
    cars = [small_car(small, seed, intermittent=0.15) for seed in range(400)]
    share = np.mean([car.faults == ("pin.loose",) for car in cars])
    assert share == pytest.approx(0.15, abs=0.05)


def test_a_motor_that_stands_has_no_running_time(carburettor):
    """An open winding: the motor stands, its volts are read, its seconds cannot be."""
    car = open_car("", 1, model=carburettor, fault="isc.winding_open")
    assert car.read("isc.motor.nine").startswith("stands, ")
    with pytest.raises(CannotTell, match="does not turn"):
        car.read("isc.motor.nine_time")


def test_what_does_not_exist_is_refused(small):
    """Unknown checks, repairs and faults, and states that cannot be reached, are named."""
    car = small_car(small)
    with pytest.raises(BadInput, match='no check "closd"'):
        car.read("closd")
    with pytest.raises(BadInput, match='no repair "gnd"'):
        car.repair("gnd")
    with pytest.raises(BadInput, match=r'no fault "gnd\.por"'):
        small_car(small, fault="gnd.por")
    far = Check("far", "far", "Read it", "volt", {"key": "run"}, 1, red="sig.s", black="zero")
    family = replace(small.family, checks={**small.family.checks, "far": far})
    with pytest.raises(BadInput, match="cannot be got ready"):
        open_car(family, 1, sheet=empty_sheet()).read("far")
