"""What a learner can look at without a step: the complaint, the car now, what there is."""

from __future__ import annotations

from typing import Any

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import SheetValue
from idlewright.job.prospects import TARIFF
from idlewright.lesson.lesson import Lesson
from idlewright.lesson.steps import hint
from idlewright.quantities import find_unit, format_range
from idlewright.quantities.units import quoted

LISTS = ("checks", "repairs", "points", "states", "sheet")


def brief(lesson: Lesson) -> dict[str, Any]:
    """What is known when the car comes in."""
    family, complaint = lesson.car.family, lesson.car.complaint
    return {
        "car": lesson.opening.name,
        "says": lesson.opening.says,
        "words": [family.words[word].say for word in complaint.words],
        "codes": [family.codes[code].say for code in complaint.codes],
        "hour": TARIFF.minute * 60.0,
    }


def look(lesson: Lesson) -> dict[str, Any]:
    """How the car stands, what was read and repaired, and what was spent."""
    family = lesson.car.family
    spent = lesson.car.spent
    usual = family.default_state()
    readings = [
        {
            "id": line["id"],
            "what": family.checks[line["check"]].say if "check" in line else
            f"{line['function']} {line['red']} to {line['black']}",
            "value": line["value"],
            "struck": line.get("struck", ""),
        }
        for line in lesson.data()["reading"]
    ]  # fmt: skip
    return {
        "state": {n: v for n, v in lesson.car.state.items() if v != usual[n]},
        "readings": readings,
        "repairs": [made.id for made in lesson.car.repairs],
        "minutes": spent.hands_on,
        "waiting": spent.waiting,
        "parts": spent.parts,
    }


def listing(lesson: Lesson, what: str, text: str) -> list[tuple[str, ...]]:
    """Rows of what there is: id, time or values, and what it is.

    Args:
        what: one of LISTS. text: only rows with this text in them; "" = all.

    Raises:
        BadInput: there is no such list.
    """
    if what not in LISTS:
        says = f"there is no list {quoted(what)}"
        near = hint(what, LISTS, "for instance list checks")
        raise BadInput(Problem(says, f"one of {', '.join(LISTS)}", near))
    rows = _rows(lesson, what)
    return [row for row in rows if text.lower() in " ".join(row).lower()]


def _rows(lesson: Lesson, what: str) -> list[tuple[str, ...]]:
    family = lesson.car.family
    if what == "checks":
        return [(c.id, f"{c.minutes + c.wait:g} min", c.say) for c in family.checks.values()]
    if what == "repairs":
        return [
            (r.id, f"{r.minutes + r.wait:g} min", f"{r.say} ({_price(r.parts)})")
            for r in family.repairs.values()
        ]
    if what == "points":
        points = [*family.points, *family.part_points]
        return [(point, family.point_says.get(point, "")) for point in points]
    if what == "states":
        return [(name, ", ".join(v.values)) for name, v in family.states.items()]
    values = lesson.opening.vehicle.sheet.values
    entries = [entry for key, entry in family.sheet.items() if key in values]
    return [(e.say, _value(values[e.key], e.unit), values[e.key].page) for e in entries]


def _value(value: SheetValue, unit: str) -> str:
    if value.word is not None:
        return value.word
    found = find_unit(unit)
    return format_range(value.low, value.high, found.name if found is not None else unit)


def _price(parts: tuple[float, float]) -> str:
    return "no parts" if parts[1] <= 0.0 else f"parts {parts[0]:g} to {parts[1]:g}"
