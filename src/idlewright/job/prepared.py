"""Everything about one family and sheet that does not depend on the readings, made once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from idlewright.diagnosis.unlisted import Unlisted
from idlewright.family.kinds import Family, Sheet
from idlewright.job.groups import Group, all_forms, groups_of
from idlewright.kept import keep, key_of, load
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import Form

_MADE: dict[tuple[str, str, bool], Prepared] = {}
MOST_KEPT = 4


@dataclass(frozen=True, slots=True)
class Prepared:
    """A compiled model with its checks' forms, its suspects, and the faults nobody listed."""

    model: CompiledModel
    forms: Mapping[str, Form]
    groups: tuple[Group, ...]
    unlisted: Unlisted


def prepare(family: Family, sheet: Sheet, *, fine: bool = False) -> Prepared:
    """Compile once per process and content; equal families and sheets share the result."""
    key = (family.sha256, sheet.sha256, fine)
    if key not in _MADE:
        name = key_of(family.sha256, sheet.sha256, str(fine))
        found = load(name)
        made = found if isinstance(found, Prepared) else _make(family, sheet, fine=fine)
        if made is not found:
            keep(name, made)
        while len(_MADE) >= MOST_KEPT:
            _MADE.pop(next(iter(_MADE)))
        _MADE[key] = made
    return _MADE[key]


def _make(family: Family, sheet: Sheet, *, fine: bool) -> Prepared:
    model = compile_model(family, sheet, fine=fine)
    forms = all_forms(model)
    made = Prepared(model, forms, groups_of(model, forms), Unlisted.of(model))
    made.unlisted.learn_all(model)
    model.forget_worlds()
    return made
