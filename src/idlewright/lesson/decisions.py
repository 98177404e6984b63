"""Each of a learner's decisions against the best one at that moment: regret without hindsight.

A decision is judged by what could be known when it was made: by the odds after the readings so
far, and by what each action was then expected to cost. What came of it by luck does not count.
"""

from __future__ import annotations

from dataclasses import dataclass

from idlewright.job.judge import say_of
from idlewright.job.prospects import TARIFF
from idlewright.lesson.lesson import Lesson, Told
from idlewright.lesson.steps import take_apart
from idlewright.plan.board import Board, Situation
from idlewright.plan.propose import Action, Proposal, propose_at
from idlewright.study.desk import Desk, Memo
from idlewright.words import lower_first, odds_words

SMALL_REGRET = 5.0
"""Money below which a decision is as good as the best: about four minutes."""
LARGE_REGRET = 15.0
"""From here on a check is wasteful even if it tells something."""
LITTLE = 0.05
"""Bits of a check that tells little."""
LOSES = 2.0
"""Money's worth of evidence that a step may destroy without a word."""


@dataclass(frozen=True, slots=True)
class Decision:
    """One decision.

    Attributes:
        step: number of the step, from 1. regret: money it was expected to cost more than the best.
        why: what was wrong with it, "" if nothing. better: what would have been better, or "".
        destroys: the unread check whose evidence it destroyed, "" if none.
    """

    step: int
    regret: float
    why: str = ""
    better: str = ""
    destroys: str = ""


def decisions_of(lesson: Lesson) -> list[Decision]:
    """Every decision of a lesson, judged on the same car worked again."""
    again = Lesson.begin(lesson.opening)
    memo = Memo()
    found = []
    for number, told in enumerate(lesson.told, 1):
        if not told.refused:
            decision = _decision(again, memo, number, told)
            if decision is not None:
                found.append(decision)
        again.do(told.line)
    return found


def _decision(lesson: Lesson, memo: Memo, number: int, told: Told) -> Decision | None:
    typed = take_apart(told.line)
    one_check = typed.word == "read" and len(typed.args) == 1
    gives_up = typed.word == "stop" or (typed.word == "leave" and not lesson.proven)
    if not (one_check or gives_up or typed.word == "repair"):
        return None
    if one_check and lesson.tries and not all(lesson.tries):
        return None  # the odds know nothing of tries: they may believe in a cure that failed
    desk = Desk(lesson.opening.vehicle, lesson.car, memo, dict(lesson.struck))
    board = desk.board()
    here = board.start(lesson.car.state)
    best = propose_at(board, here).next
    if gives_up:
        return _gave_up(lesson, number, propose_at(board, here, "myopic"), best)
    return _worth(lesson, number, told, _Table(board, here, typed.args[0]), best)


class _Table:
    """What could be done at one moment, at one step of look-ahead, and one name among it.

    Args:
        board, here: the moment. name: of the check or repair that was chosen.
    """

    def __init__(self, board: Board, here: Situation, name: str) -> None:
        self.board = board
        self.name = name
        self.actions = {one.id: one for one in propose_at(board, here, "myopic").actions}

    @property
    def chosen(self) -> Action | None:
        """What was chosen, or None if it is not offered."""
        return self.actions.get(self.name)

    def lost(self) -> Action | None:
        """The most telling check whose evidence is destroyed by what was chosen, or None."""
        checks = [check.id for check in self.board.checks]
        repairs = [repair.id for repair in self.board.repairs]
        rows = (
            self.board.lost_to_check[checks.index(self.name)]
            if self.name in checks
            else self.board.lost_to_repair[repairs.index(self.name)]
        )
        lost = [self.actions[c] for c, gone in zip(checks, rows, strict=True)
                if gone and c in self.actions]  # fmt: skip
        return max(lost, key=lambda one: one.bits, default=None)


def _worth(lesson: Lesson, number: int, told: Told, table: _Table, best: Action) -> Decision:
    """A check or repair that was chosen, against the best action of that moment.

    It can cost no more than its own price and what it destroys: the best can still follow it.
    """
    chosen = table.chosen
    if chosen is None:
        return _not_offered(lesson, number, told, table.name)
    if (chosen.kind, chosen.id) == (best.kind, best.id):
        return Decision(number, 0.0)
    most = chosen.why.price + chosen.why.charge
    regret = min(max(0.0, chosen.cost_to_go - best.cost_to_go), most)
    lost = table.lost() if chosen.why.charge > LOSES else None
    destroys = "" if lost is None else _better(lesson, lost)
    is_check = chosen.kind != "repair"
    if destroys and is_check:
        why = "it destroys what a check that was not made would have shown"
        return Decision(number, regret, why, destroys, destroys)
    if regret < (LARGE_REGRET if is_check and chosen.bits >= LITTLE else SMALL_REGRET):
        return Decision(number, regret, destroys=destroys)
    if not is_check:
        why = f"as things stood, odds that it cures: {odds_words(chosen.p_cure)}"
    elif chosen.bits < LITTLE:
        why = "hardly anything that was still likely would have shown in it"
    else:
        why = "it told less for its minutes than others"
    return Decision(number, regret, why, _better(lesson, best), destroys)


def _not_offered(lesson: Lesson, number: int, told: Told, name: str) -> Decision:
    """A check whose answer was known, or a repair that cures nothing that is still likely."""
    price = told.minutes * TARIFF.minute + told.waiting * TARIFF.waiting + told.parts
    check = name in lesson.car.family.checks
    if check and (name in _asked_again(lesson) or _slipped(lesson, name)):
        return Decision(number, 0.0)
    why = "its answer was known" if check else "nothing that was still likely is cured by it"
    return Decision(number, price, why)


def _asked_again(lesson: Lesson) -> set[str]:
    """Checks that the last repair asks to be read again."""
    if not lesson.car.repairs:
        return set()
    repair = lesson.car.family.repairs[lesson.car.repairs[-1].id]
    return {*repair.voids, *repair.prove}


def _slipped(lesson: Lesson, check: str) -> bool:
    """A reading of it was a slip of the hand: whoever doubts it and reads again is right."""
    return any(slip.check == check and not slip.harmless for slip in lesson.car.slips)


def _gave_up(lesson: Lesson, number: int, offered: Proposal, best: Action) -> Decision:
    stop = next((one for one in offered.actions if one.kind == "stop"), None)
    regret = 0.0 if stop is None else max(0.0, stop.cost_to_go - best.cost_to_go)
    if regret < SMALL_REGRET:
        return Decision(number, regret)
    return Decision(number, regret, "there was more to be had from going on", _better(lesson, best))


def _better(lesson: Lesson, best: Action) -> str:
    if best.kind == "stop":
        return "stop"
    word = "repair" if best.kind == "repair" else "read"
    return f"{word} {best.id} ({lower_first(say_of(lesson.car.family, best.id))})"
