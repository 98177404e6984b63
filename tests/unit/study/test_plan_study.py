"""`study plan`: the whole study on a few cars of a tiny family."""

import json
import sys

import pytest
from jsonschema import Draft202012Validator

from idlewright.errors import BadInput
from idlewright.family import load_family
from idlewright.job.prospects import TARIFF, price_of_stopping
from idlewright.report.tables_text import study_text
from idlewright.schemas import schema
from idlewright.study import run
from idlewright.study.cases import Truth
from idlewright.study.figures import arm_figures, pair_figures
from idlewright.study.plan_study import study_plan
from idlewright.study.rows import Helpers
from tiny_family import TINY

ARMS = ("ours", "bits a minute", "repairs only")
QUICK = ("random", "repairs only", "every check first")
CASES = 2


@pytest.fixture(scope="module")
def family(tmp_path_factory):
    """The tiny family's file."""
    path = tmp_path_factory.mktemp("family") / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def found(family):
    """One small study, its cars drawn wide and read with slips."""
    return study_plan(family, CASES, 7, truth=Truth("wide", slip=0.1), arms=ARMS)


def test_the_answer_keeps_to_its_schema(found):
    """Format idlewright/study/1, and nothing in it that JSON cannot say."""
    Draft202012Validator(schema("study", 1)).validate(json.loads(json.dumps(found)))
    json.dumps(found, allow_nan=False)
    assert [arm["name"] for arm in found["arms"]] == list(ARMS)
    assert found["truth"] == {
        "name": "wide", "tolerance": 1.5, "slip": 0.1, "unlisted": 0.0,
        "intermittent": found["truth"]["intermittent"],
    }  # fmt: skip


def test_the_answer_is_the_same_for_any_number_of_workers(family):
    """One process and two spawned ones: the same bytes, run after run; another seed: other cars."""
    truth = Truth("wide", slip=0.1)
    one = study_plan(family, 3, 7, truth=truth, arms=QUICK)
    two = study_plan(family, 3, 7, truth=truth, arms=QUICK, helpers=Helpers(2))
    assert json.dumps(two) == json.dumps(one)
    other = study_plan(family, 3, 8, truth=truth, arms=("repairs only",))
    assert other["bound"] != one["bound"]


def test_figures_count_every_case_and_costs_lie_in_their_intervals(found):
    """n is the number of cars; means lie inside their intervals; ours is compared with each."""
    for arm in found["arms"]:
        cost = arm["total_cost"]
        assert cost["low"] <= cost["mean"] <= cost["high"]
        assert arm["right_repair"]["n"] == arm["right_fault"]["n"] == CASES
        assert sum(one["n"] for one in arm["reliability"]) == CASES
    assert [(pair["a"], pair["b"]) for pair in found["pairs"]] == [
        ("ours", "bits a minute"), ("ours", "repairs only"),
    ]  # fmt: skip
    means = {arm["name"]: arm["total_cost"]["mean"] for arm in found["arms"]}
    for pair in found["pairs"]:
        assert pair["difference"] == pytest.approx(means[pair["a"]] - means[pair["b"]])


def test_rows_of_the_cases_add_up_to_the_figures(family, tmp_path):
    """`--out` keeps a line a car, from which the figures can be made again."""
    found = study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path / "rows")
    lines = (tmp_path / "rows" / "per-case.jsonl").read_text("utf-8").splitlines()
    assert found["per_case"] == str(tmp_path / "rows" / "per-case.jsonl")
    rows = [json.loads(line) for line in lines]
    costs = [row["arms"]["repairs only"]["cost"] for row in rows]
    assert found["arms"][0]["total_cost"]["mean"] == pytest.approx(sum(costs) / 2)
    bound = [row["arms"]["clairvoyant"]["cost"] for row in rows]
    assert found["bound"]["clairvoyant"] == pytest.approx(sum(bound) / 2)


def test_the_cost_of_a_case_is_time_parts_and_what_is_left_undone(family, tmp_path):
    """Minutes at the hourly price, waiting, parts; stopping with a fault costs more than a cure."""
    study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path)
    for line in (tmp_path / "per-case.jsonl").read_text("utf-8").splitlines():
        for arm in json.loads(line)["arms"].values():
            plain = arm["minutes"] * TARIFF.minute + arm["waiting"] * TARIFF.waiting + arm["parts"]
            proven = TARIFF.callback if arm["left"] else 0.0
            stopped = price_of_stopping(load_family(family), arm["left"])
            extra = {"proven": proven, "stopped": stopped}
            assert arm["cost"] == pytest.approx(plain + extra[arm["ending"]])


def test_figures_of_hand_made_rows():
    """Two cases by hand: shares, Brier, log loss, sure but wrong, difference."""
    sure_wrong = {
        "cost": 100.0, "minutes": 60.0, "right_repair": False, "right_fault": False,
        "wrong_parts": 1, "checks": ["a", "b"], "brier": 1.9, "p_true": 0.001, "p_leader": 0.995,
        "covered": None,
    }  # fmt: skip
    right = {**sure_wrong, "cost": 50.0, "right_repair": True, "right_fault": True,
             "wrong_parts": 0, "checks": [], "brier": 0.1, "p_true": 0.8, "p_leader": 0.8,
             "covered": True}  # fmt: skip
    found = arm_figures("x", [sure_wrong, right], seed=1)
    assert found["total_cost"]["mean"] == 75.0
    assert (found["right_repair"]["k"], found["right_repair"]["n"]) == (1, 2)
    assert found["wrong_parts"] == 0.5
    assert found["checks"] == 1.0
    assert found["brier"] == pytest.approx(1.0)
    assert found["log_loss"] == pytest.approx(3.5655, abs=1e-4)  # -(ln .001 + ln .8) / 2
    assert (found["sure"]["n"], found["sure"]["wrong"]) == (1, 1)
    assert found["severity_cover"] == {"level": 0.9, "k": 1, "n": 1}
    pair = pair_figures("x", [sure_wrong, right], "y", [right, right], seed=1)
    assert pair["difference"] == 25.0


def test_the_terminal_shows_every_arm_within_eighty_columns(found):
    """The text names all arms and keeps to the width."""
    text = study_text(found, 80)
    assert all(name in text for name in ARMS)
    assert max(map(len, text.splitlines())) <= 80


def test_a_farm_that_is_not_installed_is_said_so(family, monkeypatch):
    """Without the package there is a clear refusal, not a traceback."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadInput, match="farm is not installed"):
        farm = Helpers(scheduler="tcp://nowhere:1")
        study_plan(family, 1, 1, arms=("repairs only",), helpers=farm)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [({"cases": 0}, "nothing to work on"), ({"law": "wied"}, "no law"), ({"slip": 2.0}, "chance"),
     ({"arms": ("mine",)}, "no arm")],
)  # fmt: skip
def test_what_cannot_be_studied_is_refused(family, wrong, says):
    """Wrong numbers and names are refused before any car is opened."""
    with pytest.raises(BadInput, match=says):
        run("plan", **{"family": family, "cases": 1, "seed": 1, **wrong})
