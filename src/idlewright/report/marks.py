"""The verdict mark: a block in, beside or across two brackets, as text and as a drawing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from markupsafe import Markup

from idlewright.report.svg import tag

Answer = Mapping[str, Any]
Side = Literal["low", "high"]

INSIDE = "inside"
OUTSIDE = "outside"
TOO_CLOSE = "too close to call"
NO_SPEC = "no spec"
STRUCK = "struck"

MARK_WIDTH = 4
"""Every terminal mark fits in this many characters."""


def verdict_of(reading: Answer) -> str:
    """The reading's verdict, or "struck"."""
    return STRUCK if reading.get("struck_because") else str(reading.get("verdict") or NO_SPEC)


def limit_of(reading: Answer) -> Answer | None:
    """The limits the verdict was made with: those moved for a measured reference when there."""
    limit: Answer | None = reading.get("corrected_limit") or reading.get("limit")
    if not limit or (limit.get("low") is None and limit.get("high") is None):
        return None
    return limit


def side_of(reading: Answer) -> Side:
    """The limit the reading lies beyond or nearest to; a word or open circuit counts as high."""
    limit, value = limit_of(reading), reading.get("value")
    if limit is None or value is None or reading.get("overload"):
        return "high"
    low, high = limit.get("low"), limit.get("high")
    if low is None or high is None:
        return "low" if high is None else "high"
    return "low" if value - low < high - value else "high"


def terminal_mark(reading: Answer) -> str:
    """The mark in four ASCII characters: `[#] `, `[ ]#`, `#[ ]`, `[ /]`, `[/ ]`, `[ ]?`, ` -- `."""
    verdict = verdict_of(reading)
    low = side_of(reading) == "low"
    if verdict == INSIDE:
        return "[#] "
    if verdict == OUTSIDE:
        return "#[ ]" if low else "[ ]#"
    if verdict == TOO_CLOSE:
        return "[/ ]" if low else "[ /]"
    return " -- " if verdict == STRUCK else "[ ]?"


def block_class(verdict: str, px: float) -> str:
    """The class that fills a block `px` wide; a small outside block is plain, dots need room."""
    if verdict == OUTSIDE:
        return "block block-outside" if px < 20 else "block block-dots"
    names = {INSIDE: "block block-inside", TOO_CLOSE: "block block-hatch"}
    return names.get(verdict, "block block-open")


def bracket(x: float, top: float, bottom: float, feet: float, class_: str = "bracket") -> Markup:
    """One jaw: a vertical line at x with feet of that many px (positive: to the right)."""
    path = f"M{x + feet:g} {top:g}H{x:g}V{bottom:g}H{x + feet:g}"
    return tag("path", d=path, class_=class_)


def verdict_mark(reading: Answer) -> Markup:
    """The mark as a 48 x 44 px drawing, hidden from screen readers (the word stands beside it)."""
    verdict = verdict_of(reading)
    if verdict == STRUCK:
        body: tuple[Markup, ...] = (tag("path", d="M4 34L44 10", class_="stroke-ink wide"),)
    else:
        body = _jaws_and_block(verdict, side_of(reading))
    return tag(
        "svg", *body, class_="mark", width=48, height=44, viewBox="0 0 48 44", aria_hidden="true"
    )


def _jaws_and_block(verdict: str, side: Side) -> tuple[Markup, ...]:
    """Brackets over a block, on the side the reading truly lies."""
    if verdict == NO_SPEC:
        return (
            bracket(10, 4, 40, 7, "bracket dashed"),
            bracket(38, 4, 40, -7, "bracket dashed"),
        )
    left, right, block = 10.0, 38.0, 18.0
    if verdict == OUTSIDE:
        left, right, block = (4.0, 28.0, 33.0) if side == "high" else (20.0, 44.0, 3.0)
    elif verdict == TOO_CLOSE:
        block = 31.0 if side == "high" else 5.0
    rect = tag("rect", x=block, y=12, width=12, height=20, class_=block_class(verdict, 12))
    return rect, bracket(left, 4, 40, 7), bracket(right, 4, 40, -7)
