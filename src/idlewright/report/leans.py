"""How each reading moved the odds, as strokes that lean: right is likelier, left less likely.

Across is log-odds from 1 in 200 to 199 in 200 as a share of the width, down is time in px. The
strokes of one row are one SVG, so a page can set the rows' words beside or above them.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from idlewright.report.movement import Movement, Named, Row
from idlewright.report.svg import at, share, tag
from idlewright.words import GUIDES, decibans, off_scale, scale_place

_LEFT, _WIDTH = 0.04, 0.92
_NAME_STEP = 24
_SIDE_FROM = 0.5
_LETTER_PX = 8.5
_PHONE_PX = 288  # the drawing's width on the narrowest phone, 320 px
_LEADER_RAILS = (-6, 6)
_RAILS = (-4, 4)


def _x(p: float) -> float:
    """Place across the drawing of probability `p`."""
    return _LEFT + _WIDTH * scale_place(p)


def scale_head(below: bool = False) -> Markup:
    """The names of the guide lines, for the top or (`below`) the bottom of the strokes."""
    texts = []
    for p, words in GUIDES:
        first, _, last = words.rpartition(" ")
        lines = [first, last] if first else ["", last]
        spans = [
            tag("tspan", line, x=share(_x(p)), y=18 + 20 * place)
            for place, line in enumerate(lines)
            if line
        ]
        texts.append(tag("text", *spans, text_anchor="middle", class_="guide-name"))
    place = "below" if below else "above"
    return tag("svg", *texts, class_=f"lean-scale {place}", width="100%", height=46)


def names(moves: Movement, step: int, below: bool = False) -> Markup:
    """The strokes' names at one end of the picture, each tied to its stroke by a thin line.

    A name stands right of its line where a phone has room for it, and the leftmost is farthest
    from the strokes; so no line runs through a name of its own side.
    """
    known = [(one, one.odds[step]) for one in moves.named if step < len(one.odds)]
    placed = sorted(((_x(p), one) for one, p in known if p is not None), key=lambda item: item[0])
    left = [item for item in placed if _towards(*item) == "start"]
    right = [item for item in reversed(placed) if _towards(*item) == "end"]
    height = _NAME_STEP * len(placed) + 10
    lines, words = [], []
    for place, (x, one) in enumerate([*left, *right]):
        y = height - _NAME_STEP * place - 8 if below else _NAME_STEP * place + 18
        first, last = (y + 4, 0) if below else (y - 12, height)
        lines.append(tag("line", x1=share(x), x2=share(x), y1=first, y2=last, class_="tie"))
        words.append(_name(one, x, "0", y, 7))
    # Words over lines: their rims keep a line of the other side out of the letters.
    return tag("svg", *lines, *words, class_="lean-names", width="100%", height=height)


def _towards(x: float, one: Named) -> str:
    """The side of its line a name stands on: "start" (right of it) where a phone has room."""
    needs = (_LETTER_PX * len(one.short) + 12) / _PHONE_PX
    return "start" if x < _SIDE_FROM or x + needs <= 1 else "end"


def _name(one: Named, x: float, y: str, dy: float, shift: float) -> Markup:
    towards = _towards(x, one)
    class_ = "name strong" if one.kind == "leader" else "name"
    aside = shift if towards == "start" else -shift
    return at(x, y, tag("text", one.short, x=aside, y=dy, text_anchor=towards, class_=class_))


def strokes(moves: Movement, row: Row, last_step: int) -> Markup:
    """One row's strokes, from the odds before it to the odds after it.

    Args:
        moves: the movement.
        row: the row to draw.
        last_step: the last counted step at or before this row; a row that does not count runs
            straight down from there.
    """
    body = _guides()
    step = row.step
    for one in sorted(moves.named, key=lambda named: named.kind == "leader"):
        if step is None:
            here = one.odds[last_step] if last_step < len(one.odds) else None
            if here is not None:
                body.append(_line(_x(here), _x(here), "stroke idle"))
            continue
        before, after = one.odds[step - 1], one.odds[step]
        if before is not None and after is not None:
            body += _stroke(one, before, after)
    if step is not None:
        body += _moved_most(moves, step)
    return tag("svg", *body, class_="lean-row", width="100%", height="100%")


def _guides() -> list[Markup]:
    return [
        _line(_x(p), _x(p), "guide even" if words == "even" else "guide") for p, words in GUIDES
    ]


def _line(x1: float, x2: float, class_: str) -> Markup:
    return tag("line", x1=share(x1), y1="0", x2=share(x2), y2="100%", class_=class_)


def _stroke(one: Named, before: float, after: float) -> list[Markup]:
    """A suspect's stroke: thick for the leader, two rails for equals, dotted for something else."""
    kinds = {"leader": "leading", "something else": "dotted", "others": "thin"}
    class_ = f"stroke {kinds.get(one.kind, 'plain')}"
    line = _line(_x(before), _x(after), class_ + (" rail" if one.twins else ""))
    if one.twins:
        offsets = _LEADER_RAILS if one.kind == "leader" else _RAILS
        drawn = [tag("g", line, transform=f"translate({offset} 0)") for offset in offsets]
    else:
        drawn = [line]
    if off_scale(after):
        drawn.append(at(_x(after), "100%", tag("path", d="M-10 -2H10", class_="parked")))
    return drawn


def _moved_most(moves: Movement, step: int) -> list[Markup]:
    """The names of the two strokes this row moved most, beside them, on different heights."""
    sized = []
    for one in moves.named:
        before, after = one.odds[step - 1], one.odds[step]
        if before is not None and after is not None:
            sized.append((abs(decibans(before, after)), one, before, after))
    sized.sort(key=lambda item: -item[0])
    told: Sequence[tuple[float, Named, float, float]] = [s for s in sized[:2] if s[0] >= 3.98]
    drawn = []
    for height, (_, one, before, after) in zip((0.38, 0.82), told, strict=False):
        x = _x(before) + height * (_x(after) - _x(before))
        drawn.append(_name(one, x, share(height), 4, 12))
    return drawn
