"""Fits the idle model to this engine: its vacuum first, then each area to the book's speed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Family, Sheet
from idlewright.model.engine_state import EngineState
from idlewright.model.scalars import FloatArray, ScalarTable
from idlewright.model.worlds import Worlds
from idlewright.physics.engine import LEAK_FUEL_SHARE, air_area_for, torque_scale_for

SMALLEST_MM2 = 0.05
MOST_ROUNDS = 200


def fit_engine(
    family: Family, sheet: Sheet, table: ScalarTable
) -> tuple[ScalarTable, float, float]:
    """Fill in the fitted areas.

    Returns:
        The table with its fitted nominals, the leak's fuel share and the torque scale.

    Raises:
        BadInput: the book's idle figures cannot be shown by this engine model.
    """
    fits = [scalar for scalar in family.scalars.values() if scalar.value.fit]
    share = LEAK_FUEL_SHARE.get(family.air_metering, 1.0)
    if not fits:
        return table, share, 1.0
    nominal = table.nominal.copy()
    for scalar in fits:
        nominal[:, table.index[scalar.id]] = SMALLEST_MM2  # a start: an engine without air is none
    table = replace(table, nominal=nominal)
    torque = 1.0
    for number, scalar in enumerate(fits):
        key = str(scalar.value.sheet)
        speed = _middle(family, sheet, key)
        state = family.full_state(_state_for(family, key))
        engine = EngineState(table, state, share, torque)
        inputs = engine.inputs(Worlds(table, np.ascontiguousarray(nominal[:1].T)))
        others = float(inputs["air_mm2"][0]) - SMALLEST_MM2
        if number == 0:
            vacuum = _middle(family, sheet, _vacuum_key(family))
            torque, whole = _balanced(speed, vacuum, inputs)
        else:
            whole = float(air_area_for(speed, inputs)[0])
        area = whole - others
        if not area > SMALLEST_MM2:
            raise BadInput(_no_room(key, speed, area))
        nominal[:, table.index[scalar.id]] = area
    return table, share, torque


def _balanced(
    speed: float, vacuum: float, inputs: dict[str, FloatArray]
) -> tuple[float, float]:
    """Torque scale and whole air area that give a speed and a vacuum together.

    Each needs the other where leaking air goes without its fuel: the mixture depends on the area.
    """
    pressure = inputs["ambient_kpa"] - vacuum
    torque = 1.0
    for _ in range(MOST_ROUNDS):
        last, torque = torque, float(torque_scale_for(speed, pressure, inputs)[0])
        inputs["torque_scale"] = np.full(1, torque)
        inputs["air_mm2"] = air_area_for(speed, inputs)
        if abs(torque - last) <= 1e-10 * torque:
            break
    return torque, float(inputs["air_mm2"][0])


def _state_for(family: Family, key: str) -> Mapping[str, str]:
    """The state in which the family reads the speed that the sheet's entry limits."""
    for check in family.checks.values():
        if check.spec is not None and check.spec.sheet == key and check.of == "engine.speed":
            return check.state
    raise BadInput(
        Problem(
            says=f"no check reads engine.speed against sheet.{key}",
            expected="one, so that its state is known",
            remedy=f'add a check with of = "engine.speed" and spec = "sheet.{key}"',
            key=key,
        )
    )


def _vacuum_key(family: Family) -> str:
    for check in family.checks.values():
        if check.spec is not None and check.spec.sheet and check.of == "engine.vacuum":
            return check.spec.sheet
    raise BadInput("an engine that is fitted needs a check of engine.vacuum with a sheet value")


def _middle(family: Family, sheet: Sheet, key: str) -> float:
    given = sheet.values.get(key)
    bounds = [b for b in (given.low, given.high) if b is not None] if given is not None else []
    if not bounds:
        bounds = list(family.sheet[key].usual or ())
    return sum(bounds) / len(bounds)


def _no_room(key: str, speed: float, area: float) -> Problem:
    return Problem(
        says=f"{speed:.0f} rpm needs less air than this engine already takes ({area:.1f} mm2 left)",
        expected="an idle speed that the engine's other figures allow",
        remedy="check this value, the displacement and the vacuum on the sheet",
        key=key,
    )
