"""Suspects as the answer shows them: groups of equals, odds in words, severity, repairs."""

from __future__ import annotations

from typing import Any

import numpy as np

from idlewright.diagnosis.belief import Belief
from idlewright.diagnosis.prior import Prior, prior_of
from idlewright.family.kinds import Family
from idlewright.job.groups import Group
from idlewright.job.severity import severity_of
from idlewright.model.scalars import FloatArray
from idlewright.words import odds_words

SEVERITY_FROM = 0.02
PLACES_SHOWN = 3
PLACE_FROM = 0.2
"""Share of something else that a place must hold to be named."""


def title_of(belief: Belief, group: Group) -> str:
    """What a suspect is called: its likeliest fault, and how many others it equals."""
    faults = belief.model.cells.faults
    first = max(group.faults, key=lambda f: belief.fault[f])
    return capital(faults[first].say)


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def suspects_answer(
    belief: Belief, groups: tuple[Group, ...], odds: np.ndarray
) -> list[dict[str, Any]]:
    """All suspects, likeliest first; something else is always last. Probabilities sum to 1."""
    total = odds.sum() + sum(p for _, p in belief.pairs)
    odds = odds / total
    entries = [_listed(belief, group, float(p)) for group, p in zip(groups, odds, strict=False)]
    entries.append(_plain([], "Nothing wrong now", float(odds[-2])))
    entries += [_pair(belief, faults, p / total) for faults, p in belief.pairs]
    entries.sort(key=lambda entry: -entry["probability"])
    other = _plain(["something-else"], _place_title(belief), float(odds[-1]))
    says = belief.model.family.point_says
    places = [place for place, share in belief.places[:PLACES_SHOWN] if share >= PLACE_FROM]
    other["where"] = [list(place) for place in places]
    other["where_says"] = [[says.get(point, point) for point in place] for place in places]
    return [*entries, other]


def _listed(belief: Belief, group: Group, p: float) -> dict[str, Any]:
    faults = belief.model.cells.faults
    family = belief.model.family
    order = sorted(group.faults, key=lambda f: -belief.fault[f])
    first = order[0]
    ids = [faults[f].id for f in order]
    mass = max(float(belief.fault[order].sum()), 1e-300)
    active = float(belief.fault[order] @ belief.active[order]) / mass
    repairs = sorted(
        (r for r in family.repairs.values() if ids[0] in r.cures), key=lambda r: -r.cures[ids[0]]
    )
    return {
        "faults": [faults[group.faults[0]].id],
        "title": title_of(belief, group),
        "probability": p,
        "odds_words": odds_words(p),
        "active_now": min(1.0, active),
        "equal_to": [[faults[f].id] for f in group.faults[1:]],
        "equal_titles": [capital(faults[f].say) for f in order[1:]],
        "severity": severity_of(belief, first) if p > SEVERITY_FROM else None,
        "repairs": [repair.id for repair in repairs],
    }


def _pair(belief: Belief, pair: tuple[int, int], p: float) -> dict[str, Any]:
    """Two faults at once as one suspect."""
    faults = [belief.model.cells.faults[f] for f in pair]
    family = belief.model.family
    ids = [fault.id for fault in faults]
    title = f"{capital(faults[0].say)}, and {faults[1].say[:1].lower()}{faults[1].say[1:]}"
    repairs = [r.id for r in family.repairs.values() if any(f in r.cures for f in ids)]
    return {**_plain(ids, title, p), "repairs": repairs}


def _plain(faults: list[str], title: str, p: float) -> dict[str, Any]:
    return {
        "faults": faults,
        "title": title,
        "probability": p,
        "odds_words": odds_words(p),
        "active_now": 1.0,
        "equal_to": [],
        "equal_titles": [],
        "severity": None,
        "repairs": [],
    }


def _place_title(belief: Belief) -> str:
    if not belief.places:
        return "Something else"
    (a, b), share = belief.places[0]
    if share < PLACE_FROM:
        return "Something else"
    says = belief.model.family.point_says
    return f"Something else, between {says.get(a, a)} and {says.get(b, b)}"


def leader_without_words(belief: Belief, prior: Prior, family: Family) -> FloatArray:
    """Odds with the complaint's words and the codes taken out, faults then good then else.

    Their factors multiply prior odds, so they divide out of the posterior exactly.
    """
    plain = prior_of(family)
    moved = prior.ln_fault - plain.ln_fault
    fault = belief.fault * np.exp(-moved[:-1])
    good = belief.good * float(np.exp(-moved[-1]))
    other = belief.other * float(np.exp(plain.ln_else - prior.ln_else))
    odds: FloatArray = np.array([*fault, good, other])
    odds /= odds.sum()
    return odds
