"""The method itself, measured on simulated cars: `run` does one study and gives its document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

STUDIES: Final = ("plan", "truth", "speed", "gaps")
"""What can be studied."""


def run(
    what: str,
    *,
    family: str,
    cases: int = 100,
    seed: int = 1,
    workers: int = 1,
    scheduler: str | None = None,
    out: Path | None = None,
    law: str = "matched",
    slip: float = 0.0,
    kind: str = "",
    arms: Sequence[str] = (),
) -> dict[str, Any]:
    """One study as a JSON-ready dict; the same seed gives the same answer for any `workers`.

    (But for "speed", which is never twice the same and knows one worker.)

    Args:
        what: "plan" compares ways to choose the next step; "truth" counts how often the odds are
            right; "speed" times answers on this machine; "gaps" names the faults that no check
            shows or tells apart (nothing is random).
        family: what load_family takes.
        cases, seed: how many simulated cars (truth: in each world), and which.
        workers: processes. scheduler: address of a farm instead (plan and truth).
        out: folder for one line a car (plan and truth); a study cut off goes on from there.
        law, slip: how the cars are drawn, and the chance that a reading is a slip (plan only).
        kind: a kind of practice cars, such as "two-faults" (plan only); "" = any.
        arms: ways to choose the next step, by name (plan only); none = all.

    Raises:
        BadInput: there is no such study or family, or a number is too small.
        CannotTell: workers keep dying at a part of the study, or the farm is lost.
    """
    if what == "plan":
        from idlewright.study.cases import Truth
        from idlewright.study.plan_study import study_plan
        from idlewright.study.rows import Helpers

        return study_plan(
            family, cases, seed, truth=Truth(law, slip, kind=kind), arms=arms,
            helpers=Helpers(workers, scheduler), out=out,
        )  # fmt: skip
    if what == "truth":
        from idlewright.study.rows import Helpers
        from idlewright.study.truth import truth

        return truth(family, cases, seed, helpers=Helpers(workers, scheduler), out=out)
    if what == "speed":
        from idlewright.study.speed import speed

        return speed(family, cases, seed)
    if what == "gaps":
        return _gaps(family)
    from idlewright.errors import BadInput, Problem
    from idlewright.family.names import did_you_mean

    raise BadInput(
        Problem(
            f'there is no study "{what}"',
            f"one of {', '.join(STUDIES)}",
            did_you_mean(what, STUDIES, "study"),
        )
    )


def _gaps(family: str) -> dict[str, Any]:
    from idlewright.family import load_family
    from idlewright.family.kinds import Sheet
    from idlewright.family.textfile import content_sha256
    from idlewright.model.compiled import compile_model
    from idlewright.study.gaps import gaps

    return gaps(compile_model(load_family(family), Sheet("", content_sha256({}), {})))
