"""The engine idling in one car state: which scalars feed which input of the idle balance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from idlewright.model.scalars import FloatArray, ScalarTable
from idlewright.model.worlds import Gradient, Worlds, gather
from idlewright.physics.engine import IdleBalance, Sensitivity, idle_sensitivity

SUMMED = {"air_mm2": "engine.air.", "leak_mm2": "engine.leak.", "load_nm": "engine.load."}
"""Idle-balance input -> prefix of the scalars that add up to it."""

SINGLE = {
    "lambda_set": ("engine.lambda", 1.0),
    "timing_deg": ("engine.timing_deg", 0.0),
    "efficiency": ("engine.efficiency", 1.0),
    "dilution": ("engine.dilution", 0.0),
    "friction": ("engine.friction", 1.0),
    "back_kpa": ("engine.back_kpa", 0.0),
    "displacement_l": ("engine.displacement_l", 2.0),
    "ambient_kpa": ("engine.ambient_kpa", 101.325),
    "intake_k": ("engine.intake_k", 315.0),
}
"""Idle-balance input -> its scalar, and its value in a family that does not name it."""

MODEL_RPM = "engine.model_rpm"


class EngineState:
    """Idle speed and vacuum in one state.

    Args:
        table: the scalars. state: full car state. leak_fuel_share: share of leaked air that gets
            fuel (by the kind of air metering). torque_scale: calibration to this engine.
    """

    def __init__(
        self,
        table: ScalarTable,
        state: Mapping[str, str],
        leak_fuel_share: float,
        torque_scale: float,
    ) -> None:
        present = table.in_state(state)
        self._summed = {
            name: [position for key, position in present.items() if key.startswith(prefix)]
            for name, prefix in SUMMED.items()
        }
        self._single = {name: present.get(key, -1) for name, (key, _) in SINGLE.items()}
        self._model_rpm = present.get(MODEL_RPM, -1)
        self._fixed = {"leak_fuel_share": leak_fuel_share, "torque_scale": torque_scale}

    def inputs(self, worlds: Worlds) -> dict[str, FloatArray]:
        """Idle-balance inputs, each (W,)."""
        width = worlds.width
        found = {name: np.full(width, value) for name, value in self._fixed.items()}
        for name, positions in self._summed.items():
            found[name] = worlds.values[positions].sum(axis=0) if positions else np.zeros(width)
        for name, position in self._single.items():
            default = SINGLE[name][1]
            found[name] = worlds.values[position] if position >= 0 else np.full(width, default)
        return found

    def output(
        self, worlds: Worlds, kind: Literal["speed", "vacuum"]
    ) -> tuple[FloatArray, Gradient]:
        """Speed, rpm, or vacuum, kPa below ambient, (W,), and its gradient by coordinate."""
        key = ("engine", id(self), kind)
        if key not in worlds.memo:
            worlds.memo[key] = self._speed(worlds) if kind == "speed" else self._vacuum(worlds)
        result: tuple[FloatArray, Gradient] = worlds.memo[key]
        return result

    def _solve(self, worlds: Worlds) -> tuple[IdleBalance, Sensitivity]:
        key = ("engine", id(self))
        if key not in worlds.memo:
            worlds.memo[key] = idle_sensitivity(self.inputs(worlds))
        result: tuple[IdleBalance, Sensitivity] = worlds.memo[key]
        return result

    def _speed(self, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        balance, slopes = self._solve(worlds)
        scale = worlds.values[self._model_rpm] if self._model_rpm >= 0 else np.ones(worlds.width)
        rows = [(p, slopes[name][0] * worlds.slope(p) * scale) for name, p in self._feeds()]
        if self._model_rpm >= 0:
            slope = worlds.slope(self._model_rpm)
            rows.append((self._model_rpm, balance.speed_rpm * slope))
        return balance.speed_rpm * scale, gather(rows, worlds.width)

    def _vacuum(self, worlds: Worlds) -> tuple[FloatArray, Gradient]:
        balance, slopes = self._solve(worlds)
        rows = [(p, -slopes[name][1] * worlds.slope(p)) for name, p in self._feeds()]
        ambient = self._single["ambient_kpa"]
        if ambient >= 0:
            rows.append((ambient, worlds.slope(ambient)))
        vacuum = self.inputs(worlds)["ambient_kpa"] - balance.manifold_kpa
        return vacuum, gather(rows, worlds.width)

    def _feeds(self) -> list[tuple[str, int]]:
        """(input, scalar position) of every scalar that feeds the balance."""
        summed = [(name, p) for name, positions in self._summed.items() for p in positions]
        single = [(name, p) for name, p in self._single.items() if p >= 0]
        return summed + single
