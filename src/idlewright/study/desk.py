"""One job on a study car: what was read and done on it, and what the tool makes of that."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from idlewright.diagnosis.belief import Belief, believe
from idlewright.diagnosis.prior import prior_of
from idlewright.errors import BadInput, CannotTell
from idlewright.job.case import case_of
from idlewright.job.entries import JobFile, ReadingEntry
from idlewright.job.file import load_job
from idlewright.job.groups import probabilities
from idlewright.job.prepared import Prepared
from idlewright.job.prospects import limits_of, prospects, repairs_outlook
from idlewright.job.standing import likelier_slips, standing
from idlewright.plan.board import Board, lay_out
from idlewright.plan.outlook import CheckOption, Outlook
from idlewright.practice import PracticeCar
from idlewright.study.book import Vehicle

EARLY_READINGS = 3
MOST_LATE = 4
NEVER = -1e6
"""Log odds of what is left out."""
PROOF_TRIES = 5
PROOF_READINGS = 3
"""Readings that go with a proof, of those the repair names."""


@dataclass(slots=True)
class Mind:
    """What the tool makes of one set of readings and repairs.

    Attributes:
        job: the readings. belief: after them. odds: of each suspect, then nothing wrong, then
            something else, (G + 2,).
    """

    job: JobFile
    belief: Belief
    odds: np.ndarray
    _full: Outlook | None = None
    _repairs: Outlook | None = None

    @property
    def done(self) -> Mapping[str, int]:
        """Checks whose answer still stands, with the position of the reading that counts."""
        return standing(self.job, self.belief.model)

    def full(self, prepared: Prepared) -> Outlook:
        """The outlook with what every check would show."""
        if self._full is None:
            self._full = prospects(self.job, self.belief, prepared.forms, self.done)[0]
        return self._full

    def repairs(self) -> Outlook:
        """The outlook without any checks."""
        if self._repairs is None:
            self._repairs = repairs_outlook(self.job, self.belief)
        return self._repairs


@dataclass(slots=True)
class Memo:
    """What was thought about one car, by what had been read and done; all arms share one.

    Thoughts on many readings are large and seldom met again: of those only the last few are kept.
    """

    early: dict[str, Mind] = field(default_factory=dict)
    late: dict[str, Mind] = field(default_factory=dict)

    def get(self, key: str) -> Mind | None:
        """What was thought, if it is still known."""
        return self.early.get(key) or self.late.get(key)

    def keep(self, key: str, mind: Mind) -> Mind:
        """Remember a thought."""
        if len(mind.job.readings) <= EARLY_READINGS and not mind.job.done:
            self.early[key] = mind
            return mind
        while len(self.late) >= MOST_LATE:
            self.late.pop(next(iter(self.late)))
        self.late[key] = mind
        return mind


@dataclass(slots=True)
class Desk:
    """A job under way.

    Attributes:
        vehicle: family and sheet. car: the practice car. memo: see Memo. struck: reading id -> why.
        unreadable: checks that cannot be read as the car stands, until the next repair.
        checks: checks made, readings of proofs not counted.
        repairs: made, in order, with whether the proof was clean.
    """

    vehicle: Vehicle
    car: PracticeCar
    memo: Memo
    struck: dict[str, str] = field(default_factory=dict)
    unreadable: set[str] = field(default_factory=set)
    checks: list[str] = field(default_factory=list)
    repairs: list[tuple[str, bool]] = field(default_factory=list)

    def mind(self, *, quick: bool = False) -> Mind:
        """What the tool makes of the job as it stands.

        `quick`: as if nobody made slips and every fault were listed.
        """
        data: dict[str, Any] = {**self.car.as_job("study"), "family": self.vehicle.source}
        for line in data["reading"]:
            if line["id"] in self.struck:
                line["struck"] = self.struck[line["id"]]
        key = json.dumps([quick, data], sort_keys=True)
        return self.memo.get(key) or self.memo.keep(key, self._think(data, quick=quick))

    def _think(self, data: dict[str, Any], *, quick: bool) -> Mind:
        prepared = self.vehicle.prepared
        model = prepared.model
        job = replace(load_job(data), family=model.family, sheet=self.vehicle.sheet)
        prior = prior_of(model.family, job.words, [code.id for code in job.codes])
        if quick:
            prior = replace(prior, ln_else=NEVER)
        unlisted = None if quick else prepared.unlisted
        belief = believe(model, case_of(job, model), prior, slips=not quick, unlisted=unlisted)
        odds = probabilities(belief, prepared.groups)
        return Mind(job, belief, odds / odds.sum())

    def board(self) -> Board:
        """Everything that can be done next, with what every check would show."""
        mind = self.mind()
        outlook = mind.full(self.vehicle.prepared)
        if self.unreadable:
            kept = tuple(c for c in outlook.checks if c.id not in self.unreadable)
            outlook = replace(outlook, checks=kept)
        return lay_out(outlook, limits_of(mind.job))

    def blind_board(self, *, quick: bool = False) -> Board:
        """The same for those who do not ask what a check would show; none is made twice."""
        mind = self.mind(quick=quick)
        outlook = mind.repairs()
        past = {*self.unreadable, *(entry.check for entry in mind.job.readings)}
        nothing = np.ones((len(outlook.weight), 1))
        checks = tuple(
            CheckOption(
                check.id, nothing, check.minutes, check.wait, needs=check.state,
                leaves=check.leaves, perishable=check.perishable, disturbs=bool(check.disturbs),
                tools=check.tools, helper=check.helper,
            )
            for check in self.vehicle.family.checks.values()
            if check.id not in past
        )  # fmt: skip
        return lay_out(replace(outlook, checks=checks), limits_of(mind.job))

    def read(self, check_id: str) -> None:
        """Make a check; the first of two readings is struck if the second shows it for a slip."""
        first = self._counting(check_id) if check_id in self.checks else None
        self.checks.append(check_id)
        again = self._typed(check_id)
        if first is None or again is None or again == first.typed:
            return
        mind = self.mind()
        if first.id in likelier_slips(mind.job, mind.belief):
            self.struck[first.id] = "a slip; read again"

    def repair(self, repair_id: str) -> bool:
        """Make a repair and prove it, as its readings and tries under load say: True if clean."""
        self.car.repair(repair_id)
        self.unreadable.clear()
        for check_id in self.vehicle.family.repairs[repair_id].prove[:PROOF_READINGS]:
            self._typed(check_id)
        clean = all(self.car.proof(repair_id, PROOF_TRIES))
        self.repairs.append((repair_id, clean))
        return clean

    def _counting(self, check_id: str) -> ReadingEntry | None:
        """The reading of a check that counts since the last repair, or None."""
        mind = self.mind()
        position = mind.done.get(check_id)
        counting = [entry for entry in mind.job.readings if entry.counts]
        return None if position is None else counting[position]

    def _typed(self, check_id: str) -> str | None:
        try:
            return self.car.read(check_id)
        except (BadInput, CannotTell):
            # A motor that does not turn has no time; a state that cannot be reached has no check.
            self.unreadable.add(check_id)
            return None
