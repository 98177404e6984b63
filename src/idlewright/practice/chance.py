"""Random numbers that depend on what is drawn, not on what was drawn before.

Every draw has a name ("noise", check, occasion). The same seed and name give the same numbers
whatever else was done to the car, so that two ways of working can be compared on the very same car.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Chance:
    """A source of named random numbers.

    Attributes:
        seed: any integer >= 0.
    """

    seed: int

    def of(self, *name: str | int) -> np.random.Generator:
        """A fresh generator for one named draw."""
        digest = hashlib.sha256("\x1f".join(str(part) for part in name).encode()).digest()
        words = [int.from_bytes(digest[k : k + 4], "little") for k in range(0, 16, 4)]
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=tuple(words)))

    def happens(self, probability: float, *name: str | int) -> bool:
        """True with a probability; nested: what happens at .1 also happens at .2."""
        return bool(self.of(*name).random() < probability)
