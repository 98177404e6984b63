"""`study truth` as terminal text."""

from __future__ import annotations

from typing import Any

from jsonschema import Draft202012Validator

from idlewright.report.truth_text import truth_text
from idlewright.schemas import schema
from idlewright.study.truth import places_of


def share(k: int, n: int) -> dict[str, Any]:
    """k of n, with ends that only have to be valid."""
    return {"k": k, "n": n, "low": 0.1 if n else None, "high": 0.9 if n else None}


def world(name: str, *, alarm: bool = False, missed: int = 0, named: int = 0) -> dict[str, Any]:
    """One world of an invented answer."""
    return {
        "world": {
            "name": name, "law": "wide", "slip": 0.0, "unlisted": 0.1, "intermittent": None,
            "wipe": 0.0, "meter": "stated", "aimed": False, "kind": "",
        },
        "cars": 40,
        "leader_right": share(30, 40),
        "all_named": share(named, 40 if named else 0),
        "sure": {"n": 12, "wrong": 1, "upper": 0.339},
        "sure_repair": {"n": 14, "wrong": 0, "upper": 0.193},
        "p_truth": {"mean": 0.6, "mean_ln": -0.9},
        "places": {**places_of([(k + 0.5) / 20 for k in range(20)]), "alarm": alarm, "beyond": 0},
        "slips": {
            "gross": 0, "called": share(0, 0), "named": share(0, 0), "false_calls": share(1, 200),
        },
        "unlisted": {"cars": 4, "sure_wrong": share(missed, 4)},
    }  # fmt: skip


def answer(*worlds: dict[str, Any]) -> dict[str, Any]:
    """An invented answer that is as published."""
    found = {
        "format": "idlewright/truth/1",
        "made_by": {
            "version": "0.1.0", "family": "f", "family_sha256": "0" * 64, "sheet_sha256": None,
        },
        "family": "f", "seed": 3, "cases": 40, "bar": 0.99, "worlds": list(worlds),
    }  # fmt: skip
    Draft202012Validator(schema("truth")).validate(found)
    return found


def test_every_world_has_its_row_of_counts() -> None:
    """Counts with their totals, never bare percentages; a dash where there was nothing to count."""
    text = truth_text(answer(world("as believed"), world("batch")))
    row = next(line for line in text.splitlines() if "as believed" in line)
    assert row.split()[2:] == ["30/40", "12", "1", "33.9", "%", "18/20", "-"]
    assert "batch" in text and "NOT AS STATED" not in text


def test_what_is_not_as_stated_is_said() -> None:
    """An alarm of the severities and a sure answer on an unlisted fault each get a sentence."""
    text = truth_text(answer(world("a", alarm=True), world("b", missed=2)))
    assert " a: severities are not where stated (p = 1)." in text
    assert " b: sure of a listed fault on 2/4 cars with another." in text


def test_it_fits_the_terminal() -> None:
    """ASCII, and never wider than asked."""
    for width in (32, 40, 60, 80, 100):
        text = truth_text(answer(world("as believed", alarm=True)), width)
        assert text.isascii()
        assert max(map(len, text.splitlines())) <= width


def test_cars_with_several_faults_are_counted() -> None:
    """How often the first suspects named them all; nothing where there were none."""
    text = truth_text(answer(world("two", named=31), world("one")), 80)
    assert "two: the first three suspects name every fault on 31/40 cars." in text
    assert "one: the first three" not in text
