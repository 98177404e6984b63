"""The verdict mark as text and as a drawing."""

from __future__ import annotations

from typing import Any

import pytest

from idlewright.report import marks


def _reading(verdict: str, value: float | None, **more: Any) -> dict[str, Any]:
    limit = {"low": 0.47, "high": 0.57, "page": "p. 31"}
    return {"verdict": verdict, "value": value, "limit": limit, **more}


@pytest.mark.parametrize(
    ("reading", "mark"),
    [
        (_reading("inside", 0.5), "[#] "),
        (_reading("outside", 0.9), "[ ]#"),
        (_reading("outside", 0.1), "#[ ]"),
        (_reading("too close to call", 0.57), "[ /]"),
        (_reading("too close to call", 0.47), "[/ ]"),
        (_reading("no spec", 0.5), "[ ]?"),
        (_reading("inside", 0.5, struck_because="leads swapped"), " -- "),
        (_reading("outside", None, overload=True), "[ ]#"),
    ],
)
def test_terminal_marks(reading: dict[str, Any], mark: str) -> None:
    """The block stands on its true side of the brackets; a struck reading is a stroke."""
    assert marks.terminal_mark(reading) == mark
    assert len(marks.terminal_mark(reading)) == marks.MARK_WIDTH


def test_one_sided_limits_decide_the_side() -> None:
    """Below an at-least limit is low, above an at-most limit is high."""
    low = {"verdict": "outside", "value": 0.0, "limit": {"low": 600, "high": None}}
    high = {"verdict": "outside", "value": 0.5, "limit": {"low": None, "high": 0.03}}
    assert marks.terminal_mark(low) == "#[ ]"
    assert marks.terminal_mark(high) == "[ ]#"


@pytest.mark.parametrize("verdict", ["inside", "outside", "too close to call", "no spec"])
def test_drawn_mark_has_brackets_and_no_style(verdict: str) -> None:
    """The drawing has two jaws, carries no style attribute, and is hidden from screen readers."""
    drawn = str(marks.verdict_mark(_reading(verdict, 0.9)))
    assert drawn.count('class="bracket') == 2
    assert "style=" not in drawn and 'aria-hidden="true"' in drawn
    assert ("<rect" in drawn) == (verdict != "no spec")


def test_small_outside_block_is_plain() -> None:
    """Dots need room: under 20 px the outside block is plain."""
    assert "dots" not in marks.block_class("outside", 12)
    assert "dots" in marks.block_class("outside", 30)
