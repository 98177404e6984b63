"""`judge`: a job file in, the whole answer out (docs/json.md describes every key)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from idlewright.diagnosis.belief import Belief, believe
from idlewright.diagnosis.prior import Prior, prior_of
from idlewright.job.case import case_of
from idlewright.job.entries import JobFile
from idlewright.job.groups import probabilities
from idlewright.job.history import Moves, moves
from idlewright.job.next_step import next_step
from idlewright.job.notes import notes_of
from idlewright.job.outcomes import Answers, Ways
from idlewright.job.prepared import Prepared, prepare
from idlewright.job.prospects import limits_of, prospects
from idlewright.job.readings_answer import readings_answer
from idlewright.job.standing import doubted_checks, standing
from idlewright.job.suspects_answer import leader_without_words, suspects_answer
from idlewright.plan.outlook import Outlook
from idlewright.plan.propose import Depth, Proposal
from idlewright.plan.propose import propose as plan_next
from idlewright.version import __version__

PASSES = {"standard": 1, "fine": 3}
STRONG, NOTABLE = 0.001, 0.02


@dataclass(frozen=True, slots=True)
class Thought:
    """Everything worked out about a job before it is put into words."""

    job: JobFile
    prepared: Prepared
    prior: Prior
    belief: Belief
    odds: np.ndarray
    outlook: Outlook
    ways: Ways
    answers: Answers
    proposal: Proposal


def think(job: JobFile, accuracy: str = "standard", depth: Depth = "rollout") -> Thought:
    """Belief and plan of a job.

    Args:
        job: from load_job. accuracy: "standard" or "fine". depth: "myopic" or "rollout".
    """
    prepared = prepare(job.family, job.sheet, fine=accuracy == "fine")
    prior, belief = belief_of(job, prepared, passes=PASSES[accuracy])
    outlook, ways, answers, proposal = plan_of(job, prepared, belief, depth)
    odds = probabilities(belief, prepared.groups)
    return Thought(job, prepared, prior, belief, odds, outlook, ways, answers, proposal)


def belief_of(
    job: JobFile, prepared: Prepared, *, passes: int = 1, slips: bool = True
) -> tuple[Prior, Belief]:
    """Odds before and after a job's readings; arguments as `believe` takes them."""
    codes = [code.id for code in job.codes if code.when != "set_by_us"]
    prior = prior_of(job.family, job.words, codes)
    model = prepared.model
    case = case_of(job, model)
    unlisted = prepared.unlisted
    return prior, believe(model, case, prior, passes=passes, slips=slips, unlisted=unlisted)


def plan_of(
    job: JobFile, prepared: Prepared, belief: Belief, depth: Depth = "rollout"
) -> tuple[Outlook, Ways, Answers, Proposal]:
    """What can be done next from a belief, and the plan."""
    done = standing(job, prepared.model)
    outlook, ways, answers = prospects(job, belief, prepared.forms, done)
    proposal = plan_next(outlook, job.state, limits_of(job), depth)
    return outlook, ways, answers, _slips_first(proposal, belief, done)


def _slips_first(proposal: Proposal, belief: Belief, done: Mapping[str, int]) -> Proposal:
    """A reading that is more likely a slip than not is read again before anything else."""
    doubted = doubted_checks(done, belief)
    actions = sorted(proposal.actions, key=lambda a: not (a.kind == "reread" and a.id in doubted))
    return replace(proposal, actions=tuple(actions))


def judge(job: JobFile, accuracy: str = "standard", depth: Depth = "rollout") -> dict[str, Any]:
    """The answer to a job as a JSON-ready dict, format idlewright/judge/1.

    Args:
        job: from load_job. accuracy: "standard" or "fine". depth: how far the plan looks.

    Raises:
        BadInput: the sheet and the family contradict each other.
    """
    thought = think(job, accuracy, depth)
    belief, prepared = thought.belief, thought.prepared
    past = moves(belief, thought.prior, prepared.groups)
    return {
        "format": "idlewright/judge/1",
        "made_by": _made_by(thought, accuracy),
        "job": {
            "id": job.id,
            "vehicle": job.vehicle,
            "family": job.family.id,
            "epoch": job.epoch,
            "complaint": job.complaint,
        },
        "state": dict(job.state),
        "state_says": _state_says(job),
        "readings": readings_answer(job, belief, past, prepared.groups),
        "suspects": suspects_answer(belief, prepared.groups, thought.odds),
        "surprise": _surprise(past),
        "soft_evidence_decides": _soft_decides(thought),
        "next": next_step(thought),
        "others": _others(thought),
        "repairs": _repairs(thought),
        "cost": _cost(thought.proposal),
        "notes": notes_of(thought.job, belief, prepared.model.table.assumed),
        "history": _history(thought, past),
    }


def propose(job: JobFile, depth: Depth = "rollout") -> dict[str, Any]:
    """Only the next step of a job: the `next` part of the answer.

    Args:
        job: from load_job. depth: "myopic" answers at once, "rollout" looks further.
    """
    return next_step(think(job, depth=depth))


def _made_by(thought: Thought, accuracy: str) -> dict[str, Any]:
    job, belief = thought.job, thought.belief
    pieces = belief.scenarios[0].weighed.pieces if belief.scenarios else ()
    kept = {int(row) for piece in pieces for row in piece.row}
    return {
        "version": __version__,
        "family": job.family.id,
        "family_sha256": job.family.sha256,
        "sheet_sha256": job.sheet.sha256 if job.sheet.values else None,
        "accuracy": accuracy,
        "passes": PASSES[accuracy],
        "settled": belief.settled,
        "cells_kept": len(kept),
    }


def _state_says(job: JobFile) -> list[str]:
    found = []
    for name, value in job.state.items():
        variable = job.family.states[name]
        says = variable.says.get(value, "")
        if says:
            found.append(says)
    return found


def _surprise(past: Moves) -> dict[str, Any]:
    """Overall surprise: the smallest tail, allowed for the number of readings looked at."""
    count = len(past.surprise)
    if not count:
        return {"p": 1.0, "word": "none", "says": "Nothing read yet."}
    p = float(min(1.0, past.surprise.min() * count))
    if p < STRONG:
        return {"p": p, "word": "strong", "says": "A reading that nothing listed would expect."}
    if p < NOTABLE:
        return {"p": p, "word": "notable", "says": "A reading that was not expected."}
    return {"p": p, "word": "none", "says": "Nothing out of the way."}


def _soft_decides(thought: Thought) -> bool:
    """Whether the leader would be another without the complaint's words and the codes."""
    if not thought.job.words and not thought.job.codes:
        return False
    plain = leader_without_words(thought.belief, thought.prior, thought.job.family)
    return int(np.argmax(thought.odds)) != int(np.argmax(np.array(_regroup(thought, plain))))


def _regroup(thought: Thought, plain: np.ndarray) -> list[float]:
    groups = thought.prepared.groups
    inside = [float(plain[list(group.faults)].sum()) for group in groups]
    return [*inside, float(plain[-2]), float(plain[-1])]


def _others(thought: Thought) -> list[dict[str, Any]]:
    family = thought.job.family
    return [
        {
            "kind": action.kind,
            "id": action.id,
            "say": say_of(family, action.id),
            "minutes": action.minutes.setup + action.minutes.do,
            "bits": action.bits,
            "cost_to_go": action.cost_to_go,
        }
        for action in thought.proposal.actions[1:9]
    ]


def say_of(family: Any, action: str) -> str:
    """Short name of a check or repair."""
    if action in family.checks:
        return str(family.checks[action].say)
    if action in family.repairs:
        return str(family.repairs[action].say)
    return "stop and send it on"


def _repairs(thought: Thought) -> list[dict[str, Any]]:
    weight = thought.outlook.weight
    tariff = thought.outlook.tariff
    found: list[dict[str, Any]] = []
    for option in thought.outlook.repairs:
        p = float(option.cure @ weight)
        minutes = option.minutes + option.proof_minutes
        parts = 0.5 * (option.parts[0] + option.parts[1])
        found.append(
            {
                "id": option.id,
                "p_cure": p,
                "minutes": minutes,
                "parts": {"low": option.parts[0], "high": option.parts[1]},
                "expected_cost": minutes * tariff.minute + parts,
            }
        )
    found.sort(key=lambda r: -r["p_cure"])
    return found


def _cost(proposal: Proposal) -> dict[str, Any]:
    cost = proposal.cost
    return {
        "currency": "euro",
        "mean": cost.mean,
        "low": cost.low,
        "high": cost.high,
        "level": cost.level,
    }


def _history(thought: Thought, past: Moves) -> list[dict[str, Any]]:
    groups = thought.prepared.groups
    ids = [fault.id for fault in thought.prepared.model.cells.faults]
    names = [[ids[group.faults[0]]] for group in groups]
    names += [[], ["something-else"]]
    reading_ids: list[str | None] = [None, *(one.id for one in thought.belief.case.seen)]
    return [
        {
            "reading": reading,
            "odds": [{"faults": names[k], "probability": float(p)} for k, p in enumerate(row)],
        }
        for reading, row in zip(reading_ids, past.odds, strict=True)
    ]
