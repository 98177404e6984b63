"""A class's lessons in one answer: a row a session, and what went wrong most often."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.lesson.session_file import read_session
from idlewright.lesson.steps import plain

FORMAT = "idlewright/class/1"
SUFFIX = ".jsonl"
MOST_COMMON = 5


def class_report(folder: Path) -> dict[str, Any]:
    """Every session in a folder and those below it, format idlewright/class/1.

    Raises:
        BadInput: there is no such folder. CannotTell: there is no session in it.
    """
    if not folder.is_dir():
        raise BadInput(Problem("there is no such folder", "a folder of sessions",
                               "check its name", str(folder)))  # fmt: skip
    rows, unreadable = [], []
    for file in sorted(folder.rglob(f"*{SUFFIX}")):
        name = plain(file.relative_to(folder).as_posix())
        try:
            rows.append(_row(name, *read_session(file)))
        except BadInput as error:
            unreadable.append({"file": name, "says": error.problems[0].says})
        except (AttributeError, KeyError, TypeError):
            unreadable.append({"file": name, "says": "its marks are damaged"})
    if not rows and not unreadable:
        says = f"no session (*{SUFFIX}) is in this folder"
        remedy = "let learners practise with --session there"
        raise CannotTell(Problem(says, "sessions of practice", remedy, str(folder)))
    return {
        "format": FORMAT,
        "sessions": rows,
        "unreadable": unreadable,
        "often": _often([row for row in rows if row["ended"]]),
    }


def _row(name: str, head: Mapping[str, Any], lines: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    marks = next((line["marks"] for line in lines if "marks" in line), None)
    steps = [line for line in lines if "line" in line]
    car = head["car"]
    family = Path(str(car["family"])).stem
    row = {
        "file": name,
        "learner": plain(str(head.get("learner", ""))) or Path(name).stem,
        "car": "-".join(str(part) for part in (family, car["kind"], car["number"]) if part != ""),
        "ended": marks is not None,
        "ending": None,
        "steps": len(steps),
        "minutes": round(sum(line["minutes"] for line in steps), 2),
        "total": None,
        "plan_total": None,
        "best_total": None,
        "cured": None,
        "regret": None,
        "wasted": [],
        "safety": sum(line["refused"] == "safety" for line in steps),
        "order": [],
        "slips_missed": 0,
    }
    if marks is None:
        return row
    return row | {
        "car": plain(marks["car"]["name"]),
        "ending": marks["ending"],
        "minutes": marks["spent"]["minutes"],
        "total": marks["spent"]["total"],
        "plan_total": marks["plan"]["total"],
        "best_total": marks["best"]["total"],
        "cured": not marks["left"],
        "regret": marks["regret"],
        "wasted": [plain(step["line"]) for step in marks["steps"] if step["why"]],
        "order": [one["says"] for one in marks["order"]],
        "slips_missed": len(marks["slips"]["missed"]),
    }


def _often(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The steps that were wasted in most sessions."""
    count = Counter(line for row in rows for line in set(row["wasted"]))
    common = sorted(count.items(), key=lambda one: (-one[1], one[0]))[:MOST_COMMON]
    return [{"line": line, "sessions": times} for line, times in common]
