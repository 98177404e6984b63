"""Bits: how much a check is expected to tell about which suspect it is."""

from __future__ import annotations

import numpy as np

from idlewright.plan.outlook import Floats, Ints

TINY = float(np.finfo(float).tiny)


def entropy_bits(chances: Floats, axis: int = -1) -> Floats:
    """Entropy along an axis of chances or masses (normalised here), in bits; zeros are fine."""
    total = chances.sum(axis=axis, keepdims=True)
    share = chances / np.where(total > 0.0, total, 1.0)
    return np.asarray(
        -(share * np.log2(np.where(share > 0.0, share, 1.0))).sum(axis=axis) + 0.0
    )


def xlogx(values: Floats, out: Floats | None = None) -> Floats:
    """Each of some values >= 0 times its binary logarithm, 0 for 0; into `out` if it is given."""
    logs = np.log2(np.maximum(values, TINY, out=out), out=out)
    return np.asarray(np.multiply(logs, values, out=logs))


def suspect_masses(mass: Floats, suspect: Ints) -> Floats:
    """(S, …) masses (H, …) added up by suspect number."""
    total = np.zeros((int(suspect.max()) + 1, *mass.shape[1:]))
    order = np.argsort(suspect, kind="stable")
    heads = np.flatnonzero(np.diff(suspect[order], prepend=-1))
    total[suspect[order[heads]]] = np.add.reduceat(mass[order], heads, axis=0)
    return total


def bits_told(weight: Floats, outcome: Floats, suspect: Ints | None = None) -> float:
    """Mutual information between the suspect and a check's outcome, in bits, never below zero.

    Args:
        weight: (H,) belief in each row, any scale.
        outcome: (H, O) chance of each outcome given the row.
        suspect: (H,) suspect number of each row; None = each row its own.
    """
    numbers = np.arange(len(weight)) if suspect is None else suspect
    joint = suspect_masses(weight[:, None] * outcome, numbers)
    return float(_mutual(joint, np.array([0]))[0])


def bits_of_all(weight: Floats, outcome: Floats, first: Ints, suspect: Ints) -> Floats:
    """(C,) bits of many checks whose outcomes stand side by side.

    Args:
        weight: (H,) belief. outcome: (H, Q) chances. first: (C,) first column of each check.
        suspect: (H,) suspect numbers.
    """
    if not len(first):
        return np.zeros(0)
    return _mutual(suspect_masses(weight[:, None] * outcome, suspect), first)


def _mutual(joint: Floats, first: Ints) -> Floats:
    """I = H(suspect) - sum over outcomes of P(o) H(suspect | o)."""
    before = entropy_bits(joint[:, : first[1] if len(first) > 1 else None].sum(axis=1))
    chance = joint.sum(axis=0)
    after = np.add.reduceat(chance * entropy_bits(joint, axis=0), first)
    total = np.add.reduceat(chance, first)
    return np.maximum(0.0, before - after / np.where(total > 0.0, total, 1.0))
