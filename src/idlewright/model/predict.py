"""`predict`: what every check would read on a good car and under every fault.

Each answer is a mixture: over the fault's severity (all of its range alike), over the tolerances
of good parts, over what the sheet leaves open, and over the meter's own uncertainty. A fault that
comes and goes is predicted while it is there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

import numpy as np

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Check, Family, Limit, Sheet
from idlewright.family.names import closest
from idlewright.model.answers import LEVEL, Answer, Asked, answers_of
from idlewright.model.compiled import STANDARD_OHM, CompiledModel
from idlewright.model.curves import inner_cells
from idlewright.model.forms import Form, form_of_check
from idlewright.physics.meter import ORDINARY_METER, Meter
from idlewright.version import __version__

SOME = 5
"""Names shown when none is like the one asked for."""


def predict(
    model: CompiledModel,
    check: str | None = None,
    fault: str | None = None,
    meter: Meter | None = None,
) -> dict[str, Any]:
    """Predictions as a JSON-ready dict, format idlewright/predict/1.

    Args:
        model: from compile_model. check: this check alone. fault: the good car and this fault.
        meter: what it is read with; an ordinary one if None.

    Returns:
        Per check one row a car, the good one first; numbers in the check's unit. `low` and `high`
        hold the share `level` of what the meter shows as a number; `overload` is the share it does
        not. A resistance between live places is not valid, and says why.

    Raises:
        BadInput: there is no such check or fault.
    """
    family = model.family
    checks = list(family.checks) if check is None else [_known(family, "check", check)]
    faults = list(family.faults) if fault is None else [_known(family, "fault", fault)]
    used = ORDINARY_METER if meter is None else meter
    asked = _asked(model, faults, used)
    default = family.default_state()
    return {
        "format": "idlewright/predict/1",
        "made_by": {
            "version": __version__,
            "family": family.id,
            "family_sha256": family.sha256,
            "sheet_sha256": model.sheet.sha256 if model.sheet.values else None,
        },
        "state_default": default,
        "meter": None if meter is None else meter.id,
        "level": LEVEL,
        "checks": [_check(model, family.checks[name], asked) for name in checks],
    }


def _known(family: Family, kind: Literal["check", "fault"], name: str) -> str:
    there: Mapping[str, object] = family.checks if kind == "check" else family.faults
    if name in there:
        return name
    near = closest(name, there)
    some = ", ".join(list(there)[:SOME])
    raise BadInput(
        Problem(
            says=f'{family.id} has no {kind} "{name}"',
            expected=f'did you mean "{near}"?' if near else f"one of its {len(there)}: {some} ...",
            remedy=f"'idlewright list {kind}s {family.id}' names them all",
            key=kind,
        )
    )


def _asked(model: CompiledModel, faults: list[str], meter: Meter) -> Asked:
    """The cells of the good car and of the faults asked for, and whose row each is."""
    cells = model.cells
    row_of = np.full(len(cells.faults) + 1, -1)
    ids = [each.id for each in cells.faults]
    for number, name in enumerate(faults):
        row_of[ids.index(name)] = number + 1
    row_of[-1] = 0
    inner = inner_cells(model)
    row = row_of[cells.fault[inner]]
    chosen = row >= 0
    weight = np.exp(cells.ln_prior[inner[chosen]])
    total = np.bincount(row[chosen], weights=weight, minlength=len(faults) + 1)
    share = weight / total[row[chosen]]
    return Asked(tuple(faults), inner[chosen], row[chosen], share, meter)


def _check(model: CompiledModel, check: Check, asked: Asked) -> dict[str, Any]:
    function = asked.meter.functions.get("volt")
    form = form_of_check(model.family, check, function.input_ohm if function else STANDARD_OHM)
    return {
        "check": check.id,
        "reads": check.read,
        "unit": form.unit if form.modes else None,
        "state": dict(check.state),
        "spec": _spec(check.spec, model.sheet),
        "rows": list(_rows(model, form, asked)),
    }


def _rows(model: CompiledModel, form: Form, asked: Asked) -> Iterator[dict[str, Any]]:
    names = ([], *([name] for name in asked.faults))
    for name, answer in zip(names, answers_of(model, form, asked), strict=True):
        yield {"faults": name, **_row(answer)}


def _row(answer: Answer) -> dict[str, Any]:
    low, median, high = answer.number if answer.number is not None else (None, None, None)
    return {
        "low": low,
        "median": median,
        "high": high,
        "words": dict(answer.words),
        "overload": answer.overload,
        "valid": not answer.why_invalid,
        "why_invalid": answer.why_invalid or None,
    }


def _spec(spec: Limit | None, sheet: Sheet) -> dict[str, float | None] | None:
    """Limits of a check for this vehicle; None without numbers (no value on the sheet, words)."""
    if spec is None:
        return None
    low, high = spec.low, spec.high
    if spec.sheet is not None:
        given = sheet.values.get(spec.sheet)
        low, high = (given.low, given.high) if given is not None else (None, None)
    ends = [None if end is None or np.isinf(end) else float(end) for end in (low, high)]
    if ends == [None, None]:
        return None
    return {"low": ends[0], "high": ends[1]}
