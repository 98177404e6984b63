"""Limits as two brackets with what was read as a block: one figure for screen and paper.

Places across are shares of the width and everything else is px, so words never scale with the
drawing and the same figure fits a phone and a sheet of A4.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from idlewright.report.marks import block_class, bracket
from idlewright.report.svg import at, share, tag

Answer = Mapping[str, Any]

_FAR = 3.0  # limit widths beyond which the line breaks
_ROOM = 0.75  # limit widths kept free outside the brackets
_LEFT, _RIGHT = 0.08, 0.92
_BROKEN_SHARE = 0.70
_PARKED = 0.95
_LEAST_SHARE = 0.06  # a block narrower than this is drawn 12 px wide
_LEAST_PX = 12
_LINE_Y = 40
_BRACKET_HALF = 17
_BLOCK_HALF = 12
_HEIGHT = 60
_LANE = 52


@dataclass(frozen=True, slots=True)
class Block:
    """One reading on the figure.

    Attributes:
        value: in the limits' unit; infinite for an open circuit.
        verdict: the verdict's words. u: standard uncertainty, same unit, 0 when unknown.
        label: its words; `below` puts them under the line instead of above it.
        strong: bold words.
    """

    value: float
    verdict: str
    label: str
    u: float = 0.0
    below: bool = False
    strong: bool = True


@dataclass(frozen=True, slots=True)
class Expected:
    """A range where a suspect would put the reading."""

    low: float
    high: float
    label: str


@dataclass(frozen=True, slots=True)
class _Scale:
    """Values to places across; far values are parked beyond a break in the line."""

    low: float
    high: float
    left: float
    right: float
    near_low: float
    near_high: float

    def place(self, value: float) -> float:
        if value < self.near_low:
            return 1 - _PARKED
        if value > self.near_high:
            return _PARKED
        span = (self.high - self.low) or 1.0
        return self.left + (self.right - self.left) * (value - self.low) / span


def limits_figure(
    limit: Answer,
    blocks: Sequence[Block],
    spoken: str,
    expected: Sequence[Expected] = (),
    book: Answer | None = None,
    guards: bool = True,
) -> Markup:
    """The figure as SVG, as wide as its place.

    Args:
        limit: low and high, either may be None but not both.
        blocks: what was read, drawn in order.
        spoken: the whole figure in words, for screen readers.
        expected: ranges under suspects, each in a lane below the line.
        book: limits before they were moved for a measured reference, drawn thin and dashed.
        guards: hatch the width around each limit in which a reading is too close to call.
    """
    values = [block.value + side * 2 * block.u for block in blocks for side in (-1, 0, 1)]
    values += [end for one in expected for end in (one.low, one.high)]
    scale = _scale(limit, values)
    body: list[Markup] = [tag("line", x1="0", x2="100%", y1=_LINE_Y, y2=_LINE_Y, class_="axis")]
    body += _breaks(scale, values)
    for block in blocks if guards else ():
        body += _guards(limit, block, scale)
    for block in blocks:
        body += _block(block, scale)
    if book is not None:
        body += _brackets(book, scale, "bracket thin")
    body += _brackets(limit, scale, "bracket")
    for lane, one in enumerate(expected):
        body += _expected(one, scale, lane)
    height = _HEIGHT + (20 if any(block.below for block in blocks) else 0) + _LANE * len(expected)
    return tag(
        "svg", *body, class_="limits", width="100%", height=height, role="img", aria_label=spoken
    )


def _ends(limit: Answer) -> list[float]:
    ends = (limit.get("low"), limit.get("high"))
    return [float(end) for end in ends if end is not None]


def _scale(limit: Answer, values: Sequence[float]) -> _Scale:
    """A scale that keeps the brackets wide apart and shows near readings in proportion."""
    ends = _ends(limit)
    width = (max(ends) - min(ends)) or abs(ends[0]) / 2 or 1.0
    near_low, near_high = min(ends) - _FAR * width, max(ends) + _FAR * width
    near = [value for value in values if near_low <= value <= near_high]
    low = min([min(ends) - _ROOM * width, *near])
    high = max([max(ends) + _ROOM * width, *near])
    left = 1 - _BROKEN_SHARE if any(value < near_low for value in values) else _LEFT
    right = _BROKEN_SHARE if any(value > near_high for value in values) else _RIGHT
    return _Scale(low, high, left, right, near_low, near_high)


def _breaks(scale: _Scale, values: Sequence[float]) -> list[Markup]:
    """Two short slashes where the line leaves its scale."""
    drawn = []
    for far, place in (
        (any(value < scale.near_low for value in values), 0.16),
        (any(value > scale.near_high for value in values), 0.84),
    ):
        if far:
            gap = tag("rect", x=-4, y=-4, width=8, height=8, class_="fill-card")
            slashes = tag("path", d="M-8 9L-1 -9M1 9L8 -9", class_="stroke-ink")
            drawn.append(at(place, str(_LINE_Y), gap, slashes))
    return drawn


def _guards(limit: Answer, block: Block, scale: _Scale) -> list[Markup]:
    """Hatch around each limit where a reading with this uncertainty is too close to call."""
    if block.u <= 0:
        return []
    drawn = []
    for end in _ends(limit):
        first, last = scale.place(end - 2 * block.u), scale.place(end + 2 * block.u)
        drawn.append(
            tag(
                "rect", x=share(first), width=share(max(0.0, last - first)), y=_LINE_Y - 9,
                height=18, class_="guard",
            )
        )  # fmt: skip
    return drawn


def _block(block: Block, scale: _Scale) -> list[Markup]:
    middle = scale.place(block.value)
    first, last = scale.place(block.value - 2 * block.u), scale.place(block.value + 2 * block.u)
    wide = block.u > 0 and last - first >= _LEAST_SHARE
    top, height = _LINE_Y - _BLOCK_HALF, 2 * _BLOCK_HALF
    if wide:
        class_ = block_class(block.verdict, 100 * _LEAST_PX)
        rect = tag(
            "rect", x=share(first), width=share(last - first), y=top, height=height, class_=class_
        )
        body = at(middle, "0", tag("path", d=f"M0 {top}V{top + height}", class_="centre"))
    else:
        class_ = block_class(block.verdict, _LEAST_PX)
        rect = Markup("")
        body = at(
            middle, "0",
            tag("rect", x=-_LEAST_PX / 2, width=_LEAST_PX, y=top, height=height, class_=class_),
        )  # fmt: skip
    y = _LINE_Y + _BRACKET_HALF + 17 if block.below else 16
    words = _words(middle, y, block.label, "value" if block.strong else "small")
    return [rect, body, words]


def _words(place: float, y: float, text: str, class_: str) -> Markup:
    """Words at a place, kept inside the drawing at its ends."""
    anchor = "start" if place < 0.2 else "end" if place > 0.8 else "middle"
    x = max(0.0, place - 0.04) if anchor == "start" else min(1.0, place + 0.04)
    x = place if anchor == "middle" else x
    return tag("text", text, x=share(x), y=y, text_anchor=anchor, class_=class_)


def _brackets(limit: Answer, scale: _Scale, class_: str) -> list[Markup]:
    top, bottom = _LINE_Y - _BRACKET_HALF, _LINE_Y + _BRACKET_HALF
    drawn = []
    for key, feet in (("low", 9), ("high", -9)):
        if limit.get(key) is not None:
            place = scale.place(float(limit[key]))
            drawn.append(at(place, "0", bracket(0, top, bottom, feet, class_)))
    return drawn


def _expected(one: Expected, scale: _Scale, lane: int) -> list[Markup]:
    """A dashed box in its own lane, named above it."""
    top = _HEIGHT + _LANE * lane + 26
    first, last = scale.place(one.low), scale.place(one.high)
    last = max(last, first + _LEAST_SHARE)
    box = tag("rect", x=share(first), width=share(last - first), y=top, height=16, class_="dashbox")
    return [box, _words((first + last) / 2, top - 8, one.label, "small")]
