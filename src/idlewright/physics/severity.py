"""From one branch taken out and the same branch shorted to every severity in between.

Any voltage of a resistive circuit is bilinear in one conductance g (superposition and Thevenin's
theorem): v(g) = (v_open + g R v_short) / (1 + g R), R being the resistance that branch's ends see.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.physics.tape import Row

_SWEEP_CELLS = 16_384
"""Numbers per piece of a sweep over several worlds, so that its weights stay in the cache."""


def check_ohms(ohms: NDArray[np.float64]) -> Row:
    """Resistances of a sweep, (S,), ohm.

    Raises:
        BadInput: another shape, or a number that is not finite and above 0.
    """
    series = np.asarray(ohms, dtype=np.float64)
    if series.ndim != 1 or not np.all((series > 0.0) & (series < np.inf)):
        raise BadInput(
            Problem(
                says="the swept resistances cannot be used",
                expected="one row of finite numbers of ohms above 0",
            )
        )
    return series


def between(
    volts_open: NDArray[np.float64], volts_short: NDArray[np.float64], source: Row, ohms: Row
) -> NDArray[np.float64]:
    """(v_open r + v_short R) / (r + R) for nodes K, resistances r (S,), worlds W: (K, S, W).

    Where no path but the branch itself joins its ends, R is inf and the voltage is v_short.
    """
    nodes, width = np.broadcast_shapes(volts_open.shape, volts_short.shape, (1, source.size))
    if width == 1:
        shares = _shares(ohms, source)[:, :, 0]
        ends = np.hstack((volts_open, volts_short))
        return (ends @ shares)[:, :, None]
    out = np.empty((nodes, ohms.size, width))
    step = max(1, _SWEEP_CELLS // width)
    for start in range(0, ohms.size, step):
        shares = _shares(ohms[start : start + step], source)
        for node in range(nodes):
            part = out[node, start : start + step]
            np.multiply(volts_open[node], shares[0], out=part)
            part += volts_short[node] * shares[1]
    return out


def _shares(ohms: Row, source: Row) -> NDArray[np.float64]:
    """Weights of v_open and v_short, (2, S, W)."""
    total = ohms[:, None] + source
    shares = np.empty((2, *total.shape))
    np.divide(ohms[:, None], total, out=shares[0])
    shares[1] = 1.0
    np.divide(source, total, out=shares[1], where=source < np.inf)
    return shares
