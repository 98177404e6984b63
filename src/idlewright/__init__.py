"""Idlewright: from an idle or throttle-sensor complaint to a proven repair.

The names below are the whole public surface. They are looked up when first used, so that importing
the package costs next to nothing and the command line starts at once.
"""

from __future__ import annotations

from importlib import import_module

_HOMES = {
    "CarState": "idlewright.job",
    "IdlewrightError": "idlewright.errors",
    "Meter": "idlewright.physics.meter",
    "Reading": "idlewright.job",
    "compile_model": "idlewright.model",
    "judge": "idlewright.job.judge",
    "load_family": "idlewright.family",
    "load_job": "idlewright.job",
    "load_sheet": "idlewright.family",
    "open_car": "idlewright.practice",
    "predict": "idlewright.model.predict",
    "propose": "idlewright.plan",
    "schema": "idlewright.schemas",
}
_PACKAGES = frozenset({"study"})

__all__ = sorted([*_HOMES, *_PACKAGES])  # noqa: PLE0605 - the list is the table above, once


def __getattr__(name: str) -> object:
    if name in _PACKAGES:
        return import_module(f"idlewright.{name}")
    if name in _HOMES:
        found: object = getattr(import_module(_HOMES[name]), name)
        globals()[name] = found
        return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
