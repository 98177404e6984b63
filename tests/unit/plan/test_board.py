from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from idlewright.plan.board import Choice, lay_out
from idlewright.plan.outlook import CheckOption, Ending, Limits, Outlook, RepairOption, Tariff
from unit.plan.small_outlooks import START, random_outlook

CELLS = Outlook(
    weight=np.array([0.1, 0.2, 0.3, 0.4]),
    checks=(
        CheckOption("scope", np.eye(4), minutes=2.0, tools=("scope",)),
        CheckOption("drive", np.eye(4), minutes=2.0, helper=True),
        CheckOption("burn", np.eye(4), minutes=2.0, allowed=False, barred_because="would damage"),
        CheckOption("done", np.eye(4), minutes=2.0, repeats=0),
        CheckOption("again", np.eye(4)[[2, 0, 1, 3]], minutes=2.0, kind="reread"),
    ),
    repairs=(
        RepairOption("cheap", np.array([0.9, 0.0, 0.9, 0.0]), minutes=10.0, parts=(5.0, 15.0)),
        RepairOption("dear", np.array([0.0, 0.8, 0.0, 0.0]), minutes=10.0, parts=(50.0, 500.0)),
    ),
    endings=(Ending("stop", np.full(4, 300.0)),),
    tariff=Tariff(1.0),
    suspect=np.array([7, 3, 7, 9]),
)


def test_rows_that_no_repair_tells_apart_are_one_class():
    """Rows 0 and 2 are cells of one fault: three classes, masses kept, chances permuted alike."""
    board = lay_out(CELLS)
    assert len(board.edges) - 1 == 3
    assert board.weight == pytest.approx(CELLS.weight[board.order])
    again = board.outcome[:, board.check_of == [c.id for c in board.checks].index("again")]
    assert again == pytest.approx(CELLS.checks[4].outcome[board.order])
    assert sorted(board.by_class(board.weight)) == pytest.approx([0.2, 0.4, 0.4])
    assert list(board.suspect_names[board.suspect]) == list(CELLS.suspect[board.order])


def test_classes_are_told_apart_by_where_a_repair_leads():
    """Rows of two faults that lead to different single faults are different classes."""
    cure = np.array([0.9, 0.0, 0.0, 0.0])
    plan = replace(CELLS, checks=(), suspect=None, repairs=(
        RepairOption("a", cure, 1.0, share=np.array([0, 0, 0.9, 0.9]), into=np.array([0, 1, 0, 1])),
        RepairOption("b", np.array([0.0, 0.8, 0.0, 0.0]), 1.0),
    ))
    board = lay_out(plan)
    assert len(board.edges) - 1 == 4
    led = {int(r): int(board.order[board.into[0, i]]) for i, r in enumerate(board.order)}
    assert led == {0: 0, 1: 1, 2: 0, 3: 1}


def test_limits_keep_the_reason():
    """Tools, a second person, money and what is never allowed are left out and named."""
    board = lay_out(CELLS, Limits(tools=frozenset({"meter"}), helper=False, money=100.0))
    reasons = {barred.id: barred.reason for barred in board.barred}
    assert reasons == {
        "scope": "needs scope", "drive": "needs a second person", "burn": "would damage",
        "dear": "may cost 510, more than the 100 that is agreed",
    }
    assert [check.id for check in board.checks] == ["again"]
    assert board.kind(Choice("check", 0)) == "reread"
    assert [board.id(c) for c in (Choice("repair", 0), Choice("stop", 0))] == ["cheap", "stop"]


def test_the_floor_is_below_every_plan():
    """One useful repair on a ready car, or the ending: 10 + 10, 275 + 10, 300."""
    board = lay_out(CELLS)
    floors = {float(board.class_cure[k].max()): board.floor[k] for k in range(3)}
    assert floors == pytest.approx({0.9: 20.0, 0.8: 285.0, 0.0: 300.0})


def test_perishable_checks_are_lost_to_what_disturbs_and_to_repairs():
    """By default to every disturbing check and every repair; named ids narrow it."""
    looks = (
        CheckOption("codes", np.eye(4), 1.0, perishable=True),
        CheckOption("wet", np.eye(4), 1.0, perishable=True),
        CheckOption("unplug", np.eye(4), 1.0, disturbs=True),
        CheckOption("battery", np.eye(4), 1.0, disturbs=True, spoils=("codes",)),
        CheckOption("read", np.eye(4), 1.0),
    )
    board = lay_out(replace(CELLS, checks=looks))
    lost = board.lost_to_check[:, :2].tolist()
    assert lost == [[False, False], [False, False], [True, True], [True, False], [False, False]]
    assert board.lost_to_repair[:, :2].all()
    assert not board.lost_to_repair[:, 2:].any()


def test_a_start_counts_looks():
    """A fresh situation has the outlook's belief, nothing tried, every look left."""
    board = lay_out(random_outlook(3))
    start = board.start(START)
    assert start.mass.sum() == pytest.approx(1.0)
    assert (start.left == 1).all()
    assert not start.tried.any()
