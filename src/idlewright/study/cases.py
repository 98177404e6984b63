"""One case of a planning study: one car worked to its end by each arm, as a row of plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.errors import BadInput, Problem
from idlewright.job.prospects import TARIFF, price_of_stopping
from idlewright.job.severity import GRID, LEVEL, severity_cdf
from idlewright.practice import Luck, PracticeCar, open_car
from idlewright.study.arms import BOUND, Arm, Charts
from idlewright.study.book import Vehicle
from idlewright.study.desk import Desk, Memo

MOST_STEPS = 60
DIGITS = 9
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Truth:
    """How the cars are drawn.

    Attributes:
        law: of parts, severities and meters. slip: chance that a reading is a slip of the hand.
        unlisted, intermittent: shares of faults; intermittent None = by the family's weights.
        kind: a kind of practice cars (see practice.KINDS); "" = any.
    """

    law: str = "matched"
    slip: float = 0.0
    unlisted: float = 0.0
    intermittent: float | None = None
    kind: str = ""

    def car(self, vehicle: Vehicle, seed: int, *, slips: bool = True) -> PracticeCar:
        """The car of a seed, the same for every arm."""
        luck = None if slips and self.kind else Luck(slip=self.slip if slips else 0.0)
        return open_car(
            vehicle.family, seed, self.law, vehicle.sheet, unlisted=self.unlisted,
            intermittent=self.intermittent, luck=luck, kind=self.kind,
            model=vehicle.prepared.model,
        )  # fmt: skip


def case_seed(seed: int, index: int) -> int:
    """Seed of a study's car: other studies have other cars."""
    return int(np.random.SeedSequence((seed, index)).generate_state(1)[0])


def work_case(
    vehicle: Vehicle, truth: Truth, seed: int, arms: Sequence[Arm], charts: Charts
) -> Row:
    """One car worked by the bound and by every arm.

    Returns:
        JSON-ready: seed, faults, and a row an arm, by its name.
    """
    memo, clean = Memo(), Memo()  # without slips the same car reads otherwise
    rows: dict[str, Row] = {}
    first = truth.car(vehicle, seed)
    listed = all(hidden.listed for hidden in first.hidden.faults)
    for arm in (BOUND, *arms):
        car = truth.car(vehicle, seed, slips=not arm.reads_all)
        desk = Desk(vehicle, car, clean if arm.reads_all else memo)
        rows[arm.name] = work(desk, arm, charts, seed)
    return {
        "seed": seed,
        "faults": list(first.faults) if listed else ["something-else"],
        "intermittent": any(hidden.liability < 1.0 for hidden in first.hidden.faults),
        "complaint": [*first.complaint.words, *first.complaint.codes],
        "arms": rows,
    }


def work(desk: Desk, arm: Arm, charts: Charts, seed: int) -> Row:
    """Work one car to its end: proven, stopped, or at the step limit."""
    choose = arm.make(charts, seed)
    if arm.reads_all:
        read_everything(desk)
    view: Row | None = None
    ending, first_cured = "step limit", False
    for _ in range(MOST_STEPS):
        kind, name = choose(desk)
        if kind in ("check", "reread"):
            desk.read(name)
            continue
        if view is None and arm is not BOUND:
            view = opinion(desk, quick=arm.reads_all)
        if kind == "stop":
            ending = "stopped"
            break
        clean = desk.repair(name)
        if len(desk.repairs) == 1:
            first_cured = not desk.car.faults
        if clean:
            ending = "proven"
            break
    if view is None and arm is not BOUND:
        view = opinion(desk, quick=arm.reads_all)
    return {**_row(desk, ending), "right_repair": first_cured, **(view or {})}


def read_everything(desk: Desk) -> None:
    """Read every check once, gentle ones first, those of one car state together."""
    checks = desk.vehicle.family.checks.values()
    for check in sorted(
        checks,
        key=lambda c: (bool(c.disturbs), bool(c.provokes), sorted(c.state.items()), c.id),
    ):
        desk.read(check.id)


def price_of_work(car: PracticeCar) -> tuple[float, float]:
    """Money that a car's work so far is worth, and of it the parts, at their middle price."""
    repairs = car.family.repairs
    parts = sum(sum(repairs[made.id].parts) / 2.0 for made in car.repairs)
    spent = car.spent
    return spent.hands_on * TARIFF.minute + spent.waiting * TARIFF.waiting + parts, parts


def _row(desk: Desk, ending: str) -> Row:
    car = desk.car
    spent = car.spent
    repairs = desk.vehicle.family.repairs
    cost, parts = price_of_work(car)
    if ending == "proven":
        cost += TARIFF.callback if car.faults else 0.0
    else:
        cost += price_of_stopping(desk.vehicle.family, car.faults)
    wrong = [made.id for made in car.repairs if not made.cured and repairs[made.id].parts[1] > 0.0]
    return {
        "ending": ending,
        "cost": _short(cost),
        "minutes": _short(spent.hands_on),
        "waiting": _short(spent.waiting),
        "parts": _short(parts),
        "checks": list(desk.checks),
        "repairs": [made.id for made in car.repairs],
        "wrong_parts": len(wrong),
        "left": list(car.faults),
        "slips": [slip.check for slip in car.slips if not slip.harmless],
    }


def opinion(desk: Desk, *, quick: bool = False) -> Row:
    """What the tool believes now, beside the truth: taken at the first repair, or at the end.

    Returns:
        leader (faults), p_leader, right_fault, p_true, brier (over all suspects), and whether the
        stated range of severity covers the true one (None: not asked).
    """
    mind, car = desk.mind(quick=quick), desk.car
    ids = list(desk.vehicle.family.faults)
    groups = desk.vehicle.prepared.groups
    names = [[ids[k] for k in group.faults] for group in groups]
    suspects = [*names, [], ["something-else"]]
    best = int(np.argmax(mind.odds))
    true = _true_suspect(car, suspects)
    wanted = np.zeros(len(mind.odds))
    wanted[true] = 1.0
    return {
        "leader": suspects[best],
        "p_leader": _short(mind.odds[best]),
        "right_fault": best == true,
        "p_true": _short(mind.odds[true]),
        "brier": _short(((mind.odds - wanted) ** 2).sum()),
        "covered": _covered(car, mind.belief) if best == true else None,
    }


def _true_suspect(car: PracticeCar, suspects: list[list[str]]) -> int:
    hidden = [one for one in car.hidden.faults if not one.listed]
    true = {"something-else"} if hidden else set(car.faults)
    if not true:
        return len(suspects) - 2
    return next(k for k, names in enumerate(suspects) if true & set(names))


def _covered(car: PracticeCar, belief: Belief) -> bool | None:
    ids = list(belief.model.family.faults)
    for hidden in car.hidden.faults:
        if not hidden.listed or all(span.low == span.high for span in hidden.fault.spans):
            continue
        cdf = severity_cdf(belief, ids.index(hidden.fault.id))
        if cdf is not None:
            place = float(np.interp(hidden.severity, GRID, cdf, left=0.0, right=1.0))
            return abs(place - 0.5) <= LEVEL / 2.0
    return None


def _short(value: float) -> float:
    return round(float(value), DIGITS)


def check_counts(cases: int, workers: int) -> None:
    """Refuse a study of nothing.

    Raises:
        BadInput: fewer than one case or worker.
    """
    if cases < 1 or workers < 1:
        raise BadInput(Problem("nothing to work on", "at least one case and one worker"))
