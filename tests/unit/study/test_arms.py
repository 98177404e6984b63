"""Arms of a planning study: what each does next on one and the same job."""

import pytest

from idlewright.errors import BadInput
from idlewright.family import load_family
from idlewright.family.shipped import known_files
from idlewright.job.judge import think
from idlewright.job.prospects import prospects
from idlewright.practice import Luck, open_car
from idlewright.study.arms import ARMS, CEILING, Charts, arms_named, knowing
from idlewright.study.book import Vehicle, usual_sheet
from idlewright.study.cases import Truth, case_seed, read_everything, work, work_case
from idlewright.study.charts import STANDS_OUT, manual_order, trained_order
from idlewright.study.desk import Desk, Memo
from tiny_family import TINY

SEED = 5


@pytest.fixture(scope="module")
def vehicle(tmp_path_factory):
    """A vehicle of the tiny family."""
    path = tmp_path_factory.mktemp("family") / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    return Vehicle.of(str(path))


def desk_of(vehicle, seed=SEED, fault="drifted", **luck):
    """A job at its beginning."""
    car = open_car(
        vehicle.family, seed, "matched", vehicle.sheet, fault=fault, luck=Luck(**luck),
        model=vehicle.prepared.model,
    )  # fmt: skip
    return Desk(vehicle, car, Memo())


def test_ours_does_what_the_answer_to_the_same_job_proposes(vehicle):
    """The arm `ours` and `think` choose the same steps all the way to the first repair."""
    desk = desk_of(vehicle)
    choose = ARMS["ours"].make(Charts(), SEED)
    for _ in range(4):
        data = {**desk.car.as_job("same"), "family": vehicle.source}
        thought = think(desk.mind().job, depth="rollout")
        assert [e["check"] for e in data["reading"]] == desk.checks
        kind, name = choose(desk)
        assert (kind, name) == (thought.proposal.next.kind, thought.proposal.next.id)
        if kind not in ("check", "reread"):
            break
        desk.read(name)


def test_the_same_check_on_the_same_car_reads_the_same_in_every_arm(vehicle):
    """Common random numbers: readings do not depend on what was read before."""
    one, two = desk_of(vehicle), desk_of(vehicle)
    for check in ("reference", "closed", "wide"):
        one.read(check)
    for check in ("wide", "reference"):
        two.read(check)
    first = {e.check: e.typed for e in one.mind().job.readings}
    second = {e.check: e.typed for e in two.mind().job.readings}
    assert second.items() <= first.items()


def test_what_was_thought_once_is_not_thought_again(vehicle):
    """Two arms that have read the same share one belief."""
    one = desk_of(vehicle)
    two = Desk(vehicle, desk_of(vehicle).car, one.memo)
    for desk in (one, two):
        desk.read("closed")
    assert one.mind() is two.mind()
    two.read("wide")
    assert one.mind() is not two.mind()


def test_a_chart_follows_its_order_whatever_it_reads(vehicle):
    """The fixed chart makes the checks in its order, none twice, then repairs."""
    order = ("reference", "closed", "track", "wide")
    desk = desk_of(vehicle)
    row = work(desk, ARMS["manual chart"], Charts(manual=order), SEED)
    assert row["checks"] == list(order[: len(row["checks"])])
    assert row["checks"]
    assert row["repairs"]


def test_repairs_only_makes_no_checks(vehicle):
    """The ladder makes repairs at once; readings of a proof are not counted as checks."""
    row = work(desk_of(vehicle), ARMS["repairs only"], Charts(), SEED)
    assert row["checks"] == []
    assert row["repairs"]


def test_the_one_who_knows_makes_a_repair_that_can_cure(vehicle):
    """The bound goes straight to the cheapest cure of the true fault."""
    desk = desk_of(vehicle)
    kind, name = knowing(desk)
    assert kind == "repair"
    assert vehicle.family.repairs[name].cures["drifted"] > 0.0


def test_the_ceiling_reads_every_check_once_and_without_slips(vehicle):
    """`every check first` knows what can be known."""
    desk = desk_of(vehicle)
    read_everything(desk)
    assert sorted(desk.checks) == sorted(vehicle.family.checks)
    row = work_case(vehicle, Truth(slip=1.0), case_seed(1, 1), [ARMS[CEILING]], Charts())
    assert row["arms"][CEILING]["slips"] == []


def test_a_different_second_reading_strikes_the_first(vehicle):
    """A reading made again that shows something else is struck, with the reason."""
    desk = desk_of(vehicle, slip=1.0, kind="leads swapped")
    desk.read("closed")
    desk.car.luck = Luck()
    desk.read("closed")
    job = desk.mind().job
    assert [entry.counts for entry in job.readings] == [False, True]
    assert desk.checks == ["closed", "closed"]


def test_a_second_reading_that_agrees_leaves_the_first(vehicle):
    """A drifting number read twice differs in its last digits: both count, neither is a slip."""
    desk = desk_of(vehicle)
    for seed in range(SEED, SEED + 20):
        desk = desk_of(vehicle, seed)
        desk.read("joint")
        desk.read("joint")
        typed = {entry.typed for entry in desk.mind().job.readings}
        if len(typed) > 1:
            break
    assert len(typed) == 2
    assert [entry.counts for entry in desk.mind().job.readings] == [True, True]


def test_something_else_shows_what_a_good_car_shows(vehicle):
    """But for one time in sixteen: a look seldom tells it from a car with nothing wrong."""
    mind = desk_of(vehicle).mind()
    outlook, ways, _ = prospects(mind.job, mind.belief, vehicle.prepared.forms, {})
    good = ways.fault == -1
    weight = ways.weight[good] / ways.weight[good].sum()
    assert good.any()
    for check in outlook.checks:
        shown = weight @ check.outcome[good]
        expected = 15 / 16 * shown + 1 / 16 / len(shown)
        assert check.outcome[-1] == pytest.approx(expected, abs=1e-6)


def test_random_repeats_by_seed(vehicle):
    """The random arm makes the same checks for the same seed."""
    rows = [work(desk_of(vehicle), ARMS["random"], Charts(), SEED) for _ in range(2)]
    assert rows[0] == rows[1]


def test_an_unknown_arm_is_refused_with_the_names_there_are():
    """A wrong name says which arms there are."""
    with pytest.raises(BadInput, match="manual chart"):
        arms_named(["manuel chart"])
    assert [arm.name for arm in arms_named(["repairs only", "ours"])] == ["ours", "repairs only"]


@pytest.mark.parametrize("family", known_files("families"))
def test_the_manual_order_names_checks_of_the_family(family):
    """The shipped chart is whole: known checks, none twice."""
    known = load_family(family)
    order = manual_order(known)
    assert len(order) > 25
    assert len(set(order)) == len(order)
    assert set(order) <= set(known.checks)


def test_a_family_without_a_chart_is_refused(vehicle):
    """There is no order to fall back on."""
    with pytest.raises(BadInput, match="no manual's order"):
        manual_order(vehicle.family)


def test_a_trained_chart_holds_the_same_checks_and_costs_no_more_on_its_training_cars(vehicle):
    """Local search keeps what makes the training jobs cheaper."""
    from idlewright.practice.chance import Chance
    from idlewright.study.charts import _Trial

    order = ("pins", "track", "wide", "joint", "reference", "closed")
    trained = trained_order(vehicle, order, seed=3, moves=30)
    assert sorted(trained) == sorted(order)
    assert trained == trained_order(vehicle, order, seed=3, moves=30)
    trial = _Trial.of(vehicle, Chance(3).of("training cars"))
    assert trial.cost(trained) < trial.cost(order)
    assert 0.0 < STANDS_OUT < 1.0


def test_the_sheet_holds_every_usual_value(vehicle):
    """The invented manual knows what the family says is usual, and has a hash."""
    sheet = usual_sheet(vehicle.family)
    assert set(sheet.values) == set(vehicle.family.sheet)
    assert len(sheet.sha256) == 64
