"""At which times it matters to the readings whether an intermittent fault was active."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.world import BoolArray, Timeline
from idlewright.model.compiled import CompiledModel
from idlewright.model.latents import Latent


def visible_activity(
    model: CompiledModel, seen: Sequence[Seen], times: Sequence[int], timeline: Timeline
) -> BoolArray:
    """True where a fault's activity can show, (F, W): in a reading then, or because it is now.

    Args:
        seen: readings; what their slips would have read counts too. times: time of each.
    """
    faults = model.cells.faults
    found = np.zeros((len(faults), max(len(timeline.times), 1)), dtype=bool)
    found[:, -1] = True
    for one, time in zip(seen, times, strict=True):
        for latent in _latents(one):
            found[:, time] |= model.touching(model.number_of(latent))
        found[:, time] |= np.array([fault.id in one.odds for fault in faults])
    return found


def _latents(one: Seen) -> set[Latent]:
    """Every latent that a reading, right or slipped, depends on."""
    ways = (*one.alternatives, *one.slips)
    return {item.latent for way in ways for item in way.factors}
