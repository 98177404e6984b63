"""Idlewright: from an idle or throttle-sensor complaint to a proven repair.

The names below are the whole public surface. They are looked up when first used, so that importing
the package costs next to nothing and the command line starts at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from idlewright import study
    from idlewright.errors import IdlewrightError
    from idlewright.family import load_family, load_sheet
    from idlewright.job import CarState, Reading
    from idlewright.job.file import load_job
    from idlewright.job.judge import judge, propose
    from idlewright.model.compiled import compile_model
    from idlewright.model.predict import predict
    from idlewright.physics.meter import Meter
    from idlewright.practice import open_car
    from idlewright.schemas import schema

__all__ = [
    "CarState",
    "IdlewrightError",
    "Meter",
    "Reading",
    "compile_model",
    "judge",
    "load_family",
    "load_job",
    "load_sheet",
    "open_car",
    "predict",
    "propose",
    "schema",
    "study",
]

_HOMES = {
    "CarState": "idlewright.job",
    "IdlewrightError": "idlewright.errors",
    "Meter": "idlewright.physics.meter",
    "Reading": "idlewright.job",
    "compile_model": "idlewright.model.compiled",
    "judge": "idlewright.job.judge",
    "load_family": "idlewright.family",
    "load_job": "idlewright.job.file",
    "load_sheet": "idlewright.family",
    "open_car": "idlewright.practice",
    "predict": "idlewright.model.predict",
    "propose": "idlewright.job.judge",
    "schema": "idlewright.schemas",
}
"""Where each name lives. `study` is not here: it is the package of that name, with its `run`."""


def __getattr__(name: str) -> object:
    if name == "study":
        return import_module("idlewright.study")
    if name in _HOMES:
        found: object = getattr(import_module(_HOMES[name]), name)
        globals()[name] = found
        return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return list(__all__)
