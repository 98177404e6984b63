"""The next step in full: what to do, from which state, why, and what it would show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from idlewright.family.kinds import Check, Family, Repair
from idlewright.job.expected import good_reading, would_read
from idlewright.job.suspects_answer import title_of
from idlewright.plan.propose import Action
from idlewright.words import odds_words

if TYPE_CHECKING:
    from idlewright.job.judge import Thought

SMALL_CHANGE = 10.0
"""Parts up to this price are not worth a word."""
DOUBLES = 2.0
"""A check speaks of a suspect if an outcome could raise its odds so many times."""
STOP_SAYS = "Stop here and send it on."
NOTHING_SAYS = "Nothing is wrong now. Say so, note how it was provoked, and hand it back."


def next_step(thought: Thought) -> dict[str, Any]:
    """Contract's `next`, with sentences for people."""
    action = thought.proposal.next
    family = thought.job.family
    step: dict[str, Any] = {
        "kind": action.kind,
        "id": None if action.kind == "stop" else action.id,
        "why": why(thought, action),
        "setup": [
            {
                "name": move.name,
                "from": move.before,
                "to": move.after,
                "minutes": move.minutes,
                "cautions": [family.cautions.get(c, c) for c in move.cautions],
                "say": family.states[move.name].says.get(move.after, ""),
            }
            for move in action.setup.moves
        ],
        "minutes": {
            "setup": action.minutes.setup,
            "do": action.minutes.do,
            "wait": action.minutes.wait,
        },
        "probes": {"red": None, "black": None, "red_says": None, "black_says": None},
        "good": {"low": None, "high": None, "words": [], "page": None},
        "would_read": [],
        "bits": action.bits,
        "cost_to_go": action.cost_to_go,
        "prove": [],
        "voids": [],
    }
    if action.kind in ("check", "reread"):
        step.update(_check_part(thought, family.checks[action.id], reread=action.kind == "reread"))
    elif action.kind == "repair":
        step.update(_repair_part(family, family.repairs[action.id]))
    else:
        nothing = int(np.argmax(thought.odds)) == len(thought.prepared.groups)
        step.update(
            {
                "say": "stop",
                "do": NOTHING_SAYS if nothing else STOP_SAYS,
                "cautions": [],
                "parts": None,
                "unit": "",
            }
        )
    return step


def _check_part(thought: Thought, check: Check, *, reread: bool) -> dict[str, Any]:
    family = thought.job.family
    form = thought.prepared.forms[check.id]
    says = family.point_says
    return {
        "say": f"read again: {check.say}" if reread else check.say,
        "do": f"Read it again. {check.do}" if reread else check.do,
        "cautions": [family.cautions.get(c, c) for c in check.cautions],
        "parts": None,
        "unit": form.unit,
        "probes": {
            "red": check.red,
            "black": check.black,
            "red_says": says.get(check.red or "", check.red),
            "black_says": says.get(check.black or "", check.black),
        },
        "good": good_reading(check, thought.job.sheet),
        "would_read": would_read(
            check, form, thought.answers, thought.ways, thought.prepared.groups, thought.odds[:-1]
        ),
    }


def _repair_part(family: Family, repair: Repair) -> dict[str, Any]:
    return {
        "say": repair.say,
        "do": repair.do,
        "cautions": [family.cautions.get(c, c) for c in repair.cautions],
        "parts": {"low": repair.parts[0], "high": repair.parts[1]},
        "unit": "",
        "prove": [family.checks[c].say for c in repair.prove if c in family.checks],
        "voids": [family.checks[c].say for c in repair.voids if c in family.checks],
    }


def why(thought: Thought, action: Action) -> str:
    """One sentence of why."""
    if action.kind == "repair":
        low, high = action.parts
        parts = "no part" if high <= SMALL_CHANGE else f"parts for {low:.0f} to {high:.0f} euro"
        return f"{_about(action.p_cure)} that it is the whole cure; it takes {parts}."
    if action.kind == "stop":
        if int(np.argmax(thought.odds)) == len(thought.prepared.groups):
            return "Nothing is wrong now; more looking costs more than it can find."
        return "Whatever is left to try costs more than it is worth here."
    if action.kind == "reread":
        return "It fits nothing else that was read; a second look costs little."
    leader, after = _swing(thought, action)
    saves = action.why.saves
    if leader and saves > 1:
        return f"Could make {leader} {odds_words(after)}; saves about {saves:.0f} euro on average."
    if leader:
        return f"Could make {leader} {odds_words(after)}."
    return "It tells most for its minutes."


def _about(p: float) -> str:
    word = odds_words(p)
    return word[:1].upper() + word[1:]


def _swing(thought: Thought, action: Action) -> tuple[str, float]:
    """The suspect that the check's outcomes could raise most, and how far.

    Only what at least DOUBLES its odds counts: that others are ruled out raises every suspect a
    little, and a look at a pump is no reason to speak of a throttle.
    """
    outlook = thought.outlook
    option = next((c for c in outlook.checks if c.id == action.id), None)
    if option is None:
        return "", 0.0
    groups = thought.prepared.groups
    best, name, far = 0.0, "", 0.0
    joint = outlook.weight[:, None] * option.outcome
    chance = joint.sum(axis=0)
    for group in groups:
        own = np.isin(thought.ways.fault, group.faults)
        before = float(outlook.weight[own].sum())
        if before < 0.01:
            continue
        after = np.minimum(joint[own].sum(axis=0) / np.maximum(chance, 1e-12), 1.0)
        # after / (1 - after) >= DOUBLES * before / (1 - before)
        raised = after * (1.0 - before) >= DOUBLES * before * (1.0 - after)
        k = int(np.argmax(np.where(raised, after, -1.0)))
        gain = float((after[k] - before) * chance[k]) if raised[k] else 0.0
        if gain > best:
            title = title_of(thought.belief, group)
            best, name, far = gain, title[:1].lower() + title[1:], float(after[k])
    return name, far
