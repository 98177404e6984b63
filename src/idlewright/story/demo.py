"""`demo`: opens a practice car, works it, and makes the record."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from idlewright.family import load_family
from idlewright.family.kinds import Family, Sheet, SheetValue
from idlewright.job.prepared import prepare
from idlewright.practice import open_car
from idlewright.story.record_of import record_of
from idlewright.story.worker import Step, Worker

VEHICLE = "green hatchback, invented, practice car"
PAGE = "invented book"


def invented_sheet(family: Family) -> Sheet:
    """A sheet that gives every usual value of a family, as an invented vehicle's book would."""
    values = {}
    for key, entry in family.sheet.items():
        if entry.words:
            word = entry.usual_word or entry.words[0]
            values[key] = SheetValue(None, None, word, PAGE)
        elif entry.usual is not None:
            values[key] = SheetValue(entry.usual[0], entry.usual[1], None, PAGE)
    return Sheet("invented", f"usual values of {family.sha256}", values)


def work_demo(
    family_id: str, seed: int, tell: Callable[[Step], None], law: str = "wide"
) -> tuple[Worker, dict[str, Any]]:
    """Work one practice car from complaint to record.

    Args:
        family_id: id of a family or a file. seed: of the car. tell: called with every step.
        law: how the car is drawn; "wide" is wider than the tool assumes.

    Returns:
        The worker with everything that happened, and the record's data.
    """
    family = load_family(family_id)
    sheet = invented_sheet(family)
    prepared = prepare(family, sheet)
    car = open_car(family, seed, law, sheet, unlisted=0.05, model=prepared.model)
    worker = Worker(car, f"practice-{seed:03d}", VEHICLE, sheet, family_id)
    worker.work(tell)
    return worker, record_of(worker, "", "")


def run_demo(
    family: str, *, seed: int, say: Callable[[str], None]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Work a demo, telling each step in a line.

    Returns:
        A summary (format idlewright/demo/1) and the record's data.
    """
    numbered = iter(range(1, 1000))

    def tell(step: Step) -> None:
        minutes = f" ({step.minutes:.0f} min)" if step.minutes >= 0.5 else ""
        say(f"{next(numbered):3d} {step.says}{minutes}")

    worker, record = work_demo(family, seed, tell)
    truth = worker.car.reveal()
    cured = [fault for made in worker.car.repairs for fault in made.cured]
    summary = {
        "format": "idlewright/demo/1",
        "family": worker.car.family.id,
        "seed": seed,
        "ending": worker.ending,
        "steps": len(worker.steps),
        "minutes": worker.car.spent.hands_on,
        "parts": worker.car.spent.parts,
        "slips_named": len(worker.slips),
        "wrong_repairs": len(worker.wrong),
        "cured": cured,
        "still_hidden": truth,
    }
    return summary, record
