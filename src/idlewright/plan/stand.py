"""Several situations side by side, as the look-ahead works on them."""

from __future__ import annotations

from dataclasses import dataclass

from idlewright.plan.outlook import Bools, Floats, Ints


@dataclass(frozen=True, slots=True)
class Stand:
    """N situations side by side: mass (N, H), place (N,), left (N, C), tried (N, R)."""

    mass: Floats
    place: Ints
    left: Ints
    tried: Bools

    def __len__(self) -> int:
        return len(self.mass)
