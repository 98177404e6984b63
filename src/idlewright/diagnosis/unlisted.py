"""Evidence for a fault nobody listed, with the place where it would have to be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from idlewright.diagnosis.combinations import observe
from idlewright.diagnosis.factors import Seen
from idlewright.diagnosis.gaussian import score
from idlewright.diagnosis.world import Timeline
from idlewright.model.bridges import Change, shifts, unlisted_changes
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Box
from idlewright.model.scalars import FloatArray


@dataclass(slots=True)
class Unlisted:
    """Bridges and changed elements, weighed like faults but on straight lines from the good car.

    Attributes:
        changes: what could have happened, U of them.
    """

    changes: tuple[Change, ...]
    _shift: dict[int, FloatArray] = field(default_factory=dict)

    @staticmethod
    def of(model: CompiledModel) -> Unlisted:
        """All unlisted changes of a model's circuit."""
        return Unlisted(unlisted_changes(model))

    @property
    def places(self) -> list[tuple[str, str]]:
        """The two places of each change, (U,)."""
        return [change.place for change in self.changes]

    def weigh(
        self,
        model: CompiledModel,
        seen: Sequence[Seen],
        times: Sequence[int],
        timeline: Timeline,
    ) -> FloatArray:
        """Log evidence of each change, with an even prior over changes, (U,).

        Readings are taken in their usual mode; repairs do not touch an unlisted fault.
        """
        usable = [(one, one.alternatives[0]) for one in seen if one.alternatives]
        total = np.full(len(self.changes), -math.log(max(len(self.changes), 1)))
        total += sum(math.log(max(one.base, 1e-9)) for one in seen if not one.alternatives)
        if not usable:
            return total
        total += sum(chosen.ln_weight for _, chosen in usable)
        items = [item for _, chosen in usable for item in chosen.factors]
        items.sort(key=lambda item: isinstance(item, Box))
        numbers = [model.number_of(item.latent) for item in items]
        self._learn(model, numbers)
        mean, slopes = model.bank_at(numbers, model.cells.good[:1])
        moved = mean.T + np.stack([self._shift[n] for n in numbers])
        kernel = slopes[0] @ slopes[0].T

        def wide(here: slice) -> FloatArray:
            return np.repeat(kernel[:, :, None], here.stop - here.start, axis=2)

        result: FloatArray = total + score(moved, wide, observe(items)).ln_z
        return result

    def learn_all(self, model: CompiledModel) -> None:
        """Work out the shifts of every latent the model knows by now."""
        self._learn(model, range(model.latents_known))

    def _learn(self, model: CompiledModel, numbers: Sequence[int]) -> None:
        new = [n for n in dict.fromkeys(numbers) if n not in self._shift]
        if new:
            found = shifts(model, self.changes, new)
            self._shift.update({number: found[:, k] for k, number in enumerate(new)})
