"""Works a job on a practice car: always does what the answer says is next, and notes it down."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from idlewright.diagnosis.slips import PHRASES, SAYS
from idlewright.errors import CannotTell
from idlewright.family.kinds import Check, Repair, Sheet
from idlewright.job.entries import JobFile
from idlewright.job.file import load_job
from idlewright.job.judge import Thought, belief_of, think
from idlewright.job.next_step import why
from idlewright.job.prepared import prepare
from idlewright.job.standing import likelier_slips
from idlewright.job.verdicts import NO_SPEC, judge_entry
from idlewright.plan.propose import Action
from idlewright.plan.spread import Cost
from idlewright.practice import Luck, PracticeCar
from idlewright.words import odds_words

MOST_STEPS = 45
PROOF_TRIES = 5
BEFORE_TRIES = 4
MOST_SETTINGS = 4


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that happened: what kind, in words, and the hands-on minutes it took."""

    kind: str
    says: str
    minutes: float


@dataclass(frozen=True, slots=True)
class NamedSlip:
    """A slip that was named and read again."""

    check: str
    first: str
    kind: str
    again: str


@dataclass(slots=True)
class Worker:
    """One job under way.

    Attributes:
        car: the practice car. source: id or file of its family. sheet: the vehicle's values, as
            data of a sheet file.
        steps: what happened. struck: reading id -> why. slips: named and read again.
        wrong: repairs that were not the cure. said: first price slip. leaders: the two likeliest
            at the last look, with their odds.
        failed_before: of BEFORE_TRIES tries before any work, how many showed the complaint.
        clean: clean tries at the end. ending: "proven", "stopped" or "nothing wrong".
    """

    car: PracticeCar
    job_id: str
    vehicle: str
    sheet: Sheet
    source: str
    steps: list[Step] = field(default_factory=list)
    struck: dict[str, str] = field(default_factory=dict)
    slips: list[NamedSlip] = field(default_factory=list)
    wrong: list[tuple[str, str]] = field(default_factory=list)
    said: Cost | None = None
    leaders: tuple[tuple[str, float], ...] = ()
    failed_before: int = 0
    clean: int = 0
    cured_by: str | None = None
    ending: str = "stopped"

    def work(self, tell: Callable[[Step], None]) -> None:
        """Do the whole job."""
        for step in self._all_steps():
            self.steps.append(step)
            tell(step)

    def job(self) -> JobFile:
        """The job file as it stands."""
        return replace(load_job({**self.data(), "family": self.source}), sheet=self.sheet)

    def data(self) -> dict[str, Any]:
        """The job file's data as it stands."""
        data: dict[str, Any] = self.car.as_job(self.job_id, self.vehicle)
        for line in data["reading"]:
            if line["id"] in self.struck:
                line["struck"] = self.struck[line["id"]]
        return data

    def _all_steps(self) -> Iterator[Step]:
        yield from self._begin()
        for _ in range(MOST_STEPS):
            thought = think(self.job())
            self.said = self.said or thought.proposal.cost
            self.leaders = leaders_of(thought)
            action = thought.proposal.next
            if action.kind == "stop":
                yield self._stop(thought)
                return
            if action.kind == "reread":
                yield self._read_again(thought, action.id)
                continue
            if action.kind == "repair":
                yield from self._repair(thought, action)
                if self.ending == "proven":
                    return
            else:
                yield self._check(thought, action)
        self.ending = "stopped"

    def _begin(self) -> Iterator[Step]:
        spent = self.car.spent.hands_on
        any_repair = next(iter(self.car.family.repairs))
        tries = self.car.proof(any_repair, BEFORE_TRIES)
        self.failed_before = sum(not clean for clean in tries)
        minutes = self.car.spent.hands_on - spent
        says = f"Tried it as the complaint says: it showed in {self.failed_before} of {len(tries)}."
        yield Step("try", says, minutes)
        opening = self._opening_check()
        if opening is not None:
            # The hand that holds the leads makes one slip in every story: here.
            spent = self.car.spent.hands_on
            self.car.luck = Luck(slip=1.0, kind="leads swapped")
            typed = self.car.read(opening.id)
            self.car.luck = Luck()
            minutes = self.car.spent.hands_on - spent
            yield Step("check", f"{opening.say}: {typed}. Why: first thing at any car.", minutes)

    def _opening_check(self) -> Check | None:
        """The quickest volts to be had at the battery or a plug, with limits."""
        able = [
            check
            for check in self.car.family.checks.values()
            if check.read == "volt" and check.spec is not None and check.red and not check.helper
        ]
        return min(able, key=lambda check: (check.minutes + check.wait, check.id), default=None)

    def _check(self, thought: Thought, action: Action) -> Step:
        check = self.car.family.checks[action.id]
        spent = self.car.spent.hands_on
        try:
            typed = self.car.read(action.id)
        except CannotTell:
            typed = ""
        minutes = self.car.spent.hands_on - spent
        reason = why(thought, action)
        shown = typed or "could not be read"
        return Step("check", f"{check.say}: {shown}. Why: {_lower(reason)}", minutes)

    def _read_again(self, thought: Thought, check_id: str) -> Step:
        """Read a doubted reading again; the first is struck if the second shows it for a slip."""
        job = thought.job
        counting = [entry for entry in job.readings if entry.counts]
        position = max(k for k, entry in enumerate(counting) if entry.check == check_id)
        entry = counting[position]
        kind = thought.belief.slip_kind[position] or "unknown"
        spent = self.car.spent.hands_on
        again = self.car.read(check_id)
        minutes = self.car.spent.hands_on - spent
        check = self.car.family.checks[check_id]
        odds = odds_words(float(thought.belief.slip[position]))
        if again == entry.typed:
            verdict = f"It reads {again} again, so it stands."
        elif entry.id not in self._slips():
            verdict = f"It reads {again} now: no sign of a slip, both stand."
        else:
            self.struck[entry.id] = f"a slip, {PHRASES[kind]}; read again"
            self.slips.append(NamedSlip(check_id, entry.typed, PHRASES[kind], again))
            verdict = f"It reads {again} now, so {entry.typed} is struck."
        says = f"{check.say}: {entry.typed} may be a slip, {odds}. {SAYS[kind]} {verdict}"
        return Step("again", says, minutes)

    def _slips(self) -> frozenset[str]:
        """Readings that are likelier a slip than not, after all that was read."""
        job = self.job()
        prepared = prepare(job.family, job.sheet)
        return likelier_slips(job, belief_of(job, prepared)[1])

    def _repair(self, thought: Thought, action: Action) -> Iterator[Step]:
        family = self.car.family
        repair = family.repairs[action.id]
        spent = self.car.spent.hands_on
        self.car.repair(action.id)
        minutes = self.car.spent.hands_on - spent
        yield Step("repair", f"{repair.say}. Why: {_lower(why(thought, action))}", minutes)
        yield self._settings(thought, repair)
        spent = self.car.spent.hands_on
        tries = self.car.proof(action.id, PROOF_TRIES)
        self.clean = sum(tries)
        minutes = self.car.spent.hands_on - spent
        if all(tries):
            self.ending, self.cured_by = "proven", action.id
            yield Step("proof", f"{len(tries)} clean tries under load: proven here.", minutes)
            return
        bad = len(tries) - self.clean
        showed = f"It still showed in {bad} of {len(tries)} tries under load."
        self.wrong.append((repair.say, showed))
        yield Step("proof", f"{showed} That was not it: going on.", minutes)

    def _settings(self, thought: Thought, repair: Repair) -> Step:
        """Read again what the repair moved, what proves it, and what was outside before it."""
        family = self.car.family
        outside = [
            entry.check
            for entry in thought.job.readings
            if entry.counts
            and entry.check is not None
            and entry.epoch == thought.job.epoch
            and judge_entry(thought.job, entry).word == "outside"
        ]
        wanted = [*repair.voids, *outside, *repair.prove]
        chosen = [check for check in dict.fromkeys(wanted) if check in family.checks]
        spent = self.car.spent.hands_on
        said = []
        for check_id in chosen[:MOST_SETTINGS]:
            try:
                said.append((check_id, self.car.read(check_id)))
            except CannotTell:
                continue
        minutes = self.car.spent.hands_on - spent
        job = self.job()
        words = {entry.check: judge_entry(job, entry).word for entry in job.readings}
        parts = [
            f"{family.checks[check].say} {typed}"
            + (f", {words[check]}" if words[check] != NO_SPEC else "")
            for check, typed in said
        ]
        says = "; ".join(parts) if parts else "nothing it touched has a setting"
        return Step("settings", f"Settings looked at again: {says}.", minutes)

    def _stop(self, thought: Thought) -> Step:
        """Stop: nothing wrong only if the complaint never showed either."""
        nothing = int(thought.odds.argmax()) == len(thought.prepared.groups)
        if nothing and self.failed_before:
            self.ending = "stopped"
            says = "All reads like a good car, yet the complaint shows: cannot tell, send it on."
            return Step("stop", says, 0.0)
        self.ending = "nothing wrong" if nothing else "stopped"
        says = "Nothing is wrong now." if nothing else "Cannot tell: stop here and send it on."
        return Step("stop", f"{says} {why(thought, thought.proposal.next)}", 0.0)


def leaders_of(thought: Thought) -> tuple[tuple[str, float], ...]:
    """The two likeliest explanations in words, with their odds."""
    groups = thought.prepared.groups
    faults = thought.prepared.model.cells.faults
    found = []
    for k in thought.odds.argsort()[::-1][:2]:
        if k < len(groups):
            best = max(groups[k].faults, key=lambda f: thought.belief.fault[f])
            says = faults[best].say
        else:
            says = "nothing wrong now" if k == len(groups) else "something else"
        found.append((says, float(thought.odds[k])))
    return tuple(found)


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


