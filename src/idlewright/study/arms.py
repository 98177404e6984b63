"""The arms of a planning study: ways to choose the next step, all on the same cars and beliefs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from idlewright.errors import BadInput, Problem
from idlewright.family.names import did_you_mean
from idlewright.job.prospects import LOAD_TEST_MINUTES, MISSED_PROOF, TARIFF, price_of_stopping
from idlewright.job.standing import doubted_checks
from idlewright.plan.board import Board, Choice, Situation, lay_out
from idlewright.plan.outlook import ActionKind, Ending, Outlook, RepairOption
from idlewright.plan.policies import (
    Policy,
    bits_per_minute,
    fixed_chart,
    random_checks,
    repairs_only,
)
from idlewright.plan.propose import Depth, ordered, rank
from idlewright.practice.chance import Chance
from idlewright.study.desk import Desk

Step = tuple[ActionKind, str]
Chooser = Callable[[Desk], Step]


@dataclass(frozen=True, slots=True)
class Charts:
    """Orders of checks: as a manual has it, and as an optimiser put it."""

    manual: tuple[str, ...] = ()
    trained: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Arm:
    """One way to work.

    Attributes:
        name, says: its name and what it does.
        make: from charts and the case's seed, what chooses the next step.
        reads_all: every check is read once, without slips, before anything is chosen: what the
            readings can give at best. It thinks as if nobody slipped and every fault were listed.
    """

    name: str
    says: str
    make: Callable[[Charts, int], Chooser]
    reads_all: bool = False


def _tool(depth: Depth) -> Chooser:
    """The tool at a depth: a reading that is likelier a slip than not is read again first."""

    def choose(desk: Desk) -> Step:
        mind, board = desk.mind(), desk.board()
        doubted = doubted_checks(mind.done, mind.belief)
        choices = ordered(board, rank(board, board.start(desk.car.state), depth))
        steps = [(board.kind(choice), board.id(choice)) for choice in choices]
        again = [step for step in steps if step[0] == "reread" and step[1] in doubted]
        return (again or steps)[0]

    return choose


def _seeing(policy: Policy) -> Chooser:
    def choose(desk: Desk) -> Step:
        return _step(policy, desk.board(), desk)

    return choose


def _blind(policy: Policy, *, quick: bool = False) -> Chooser:
    def choose(desk: Desk) -> Step:
        return _step(policy, desk.blind_board(quick=quick), desk)

    return choose


def _stage(exact: Policy, cautious: Policy) -> Chooser:
    """Those who read on until something stands out.

    Whether it does is asked of a quick belief first, which leaves out slips and faults nobody
    listed, with a lower bar (`cautious`): only what passes that is thought through. It saves nine
    tenths of the work.
    """

    def choose(desk: Desk) -> Step:
        step = _step(cautious, desk.blind_board(quick=True), desk)
        return step if step[0] == "check" else _step(exact, desk.blind_board(), desk)

    return choose


def _chart(order: Sequence[str]) -> Chooser:
    return _stage(fixed_chart(order), fixed_chart(order, sure=0.4))


def _random(seed: int) -> Chooser:
    number = int(Chance(seed).of("random arm").integers(2**31))
    return _stage(random_checks(number), random_checks(number, sure=0.7))


def _step(policy: Policy, board: Board, desk: Desk) -> Step:
    choice = policy(board, board.start(desk.car.state))
    return board.kind(choice), board.id(choice)


def likeliest_cure(board: Board, here: Situation) -> Choice:
    """The repair most likely to cure, whatever it costs; stop when none helps."""
    chance = board.cure @ here.mass
    if not len(chance) or chance.max() <= 0.0:
        return Choice("stop", 0)
    return Choice("repair", int(chance.argmax()))


def knowing(desk: Desk) -> Step:
    """The ladder of someone who knows what is wrong: no plan costs less on average."""
    family = desk.vehicle.family
    tried = {repair for repair, _ in desk.repairs}
    repairs = tuple(
        RepairOption(
            repair.id, np.array([cure]), repair.minutes, repair.wait,
            sum(family.checks[c].minutes for c in repair.prove if c in family.checks)
            + LOAD_TEST_MINUTES,
            parts=repair.parts, needs=repair.state, leaves=repair.leaves, miss=MISSED_PROOF,
        )
        for repair in family.repairs.values()
        if repair.id not in tried
        and (cure := min((repair.cures.get(f, 0.0) for f in desk.car.faults), default=0.0)) > 0.0
    )  # fmt: skip
    stop = Ending("stop", np.array([price_of_stopping(family, desk.car.faults)]))
    outlook = Outlook(np.ones(1), (), repairs, (stop,), TARIFF, family.states)
    return _step(repairs_only, lay_out(outlook), desk)


OURS, MANUAL, TRAINED, CEILING = "ours", "manual chart", "trained chart", "every check first"
CLAIRVOYANT = "clairvoyant"

ARMS: Mapping[str, Arm] = {
    arm.name: arm
    for arm in (
        Arm(OURS, "roll-out over myopic cost, as the product does",
            lambda charts, seed: _tool("rollout")),
        Arm("myopic cost", "one check ahead, then repairs by likelihood and price",
            lambda charts, seed: _tool("myopic")),
        Arm("bits a minute", "most information per minute, set-up counted",
            lambda charts, seed: _seeing(bits_per_minute())),
        Arm("bits, no set-up", "most information per minute of the check alone",
            lambda charts, seed: _seeing(bits_per_minute(setup=False))),
        Arm(MANUAL, "a fixed order of checks until one repair stands out",
            lambda charts, seed: _chart(charts.manual)),
        Arm(TRAINED, "the same checks in the order an optimiser found on other cars",
            lambda charts, seed: _chart(charts.trained)),
        Arm("repairs only", "no checks: likeliest repair per money",
            lambda charts, seed: _blind(repairs_only)),
        Arm("random", "any check until a suspect stands out",
            lambda charts, seed: _random(seed)),
        Arm(CEILING, "every check once, without slips, then the likeliest cure",
            lambda charts, seed: _blind(likeliest_cure, quick=True), reads_all=True),
    )
}  # fmt: skip
"""The arms by name, in the order of the answer. The bound is not one of them: see `knowing`."""

BOUND = Arm(CLAIRVOYANT, "knows what is wrong", lambda charts, seed: knowing)


def arms_named(names: Sequence[str]) -> list[Arm]:
    """Arms by name.

    Raises:
        BadInput: there is none of that name.
    """
    problems = [
        Problem(f'there is no arm "{name}"', "one of " + ", ".join(ARMS),
                did_you_mean(name, ARMS, "arm"), key="arms")
        for name in names if name not in ARMS
    ]  # fmt: skip
    if problems:
        raise BadInput(problems)
    return [ARMS[name] for name in ARMS if name in names]
