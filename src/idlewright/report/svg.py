"""Small, safe SVG writing: every attribute and text is escaped, and no style attribute exists."""

from __future__ import annotations

from markupsafe import Markup, escape

Node = str | Markup


def tag(name: str, *children: Node, **attributes: str | float | None) -> Markup:
    """One element. `class_` gives class, `stroke_width` gives stroke-width; None is left out."""
    texts = []
    for key, value in attributes.items():
        if value is None:
            continue
        shown = f"{value:g}" if isinstance(value, int | float) else value
        texts.append(f' {key.rstrip("_").replace("_", "-")}="{escape(shown)}"')
    opening = f"<{name}{''.join(texts)}"
    if not children:
        return Markup(opening + "/>")
    inside = "".join(str(escape(child)) for child in children)
    return Markup(f"{opening}>{inside}</{name}>")


def share(place: float) -> str:
    """A place from 0 to 1 as the percentage SVG wants."""
    return f"{100 * place:.2f}%"


def at(x: float, y: str, *children: Node) -> Markup:
    """Children in px around the point (x as a share of the width, y as SVG text, e.g. "100%")."""
    return tag("svg", *children, x=share(x), y=y, overflow="visible", class_="at")


def patterns() -> Markup:
    """The fills of verdict blocks, once a page: hatch for too close, dots for outside."""
    hatch = tag(
        "pattern",
        tag("rect", width=6, height=6, class_="fill-card"),
        tag("line", x1=1, y1=0, x2=1, y2=6, class_="hatch-line"),
        id="hatch",
        width=6,
        height=6,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(25)",
    )
    dots = tag(
        "pattern",
        tag("rect", width=8, height=8, class_="fill-outside"),
        tag("circle", cx=4, cy=4, r=1.5, class_="dot"),
        id="dots",
        width=8,
        height=8,
        patternUnits="userSpaceOnUse",
    )
    return tag(
        "svg", tag("defs", hatch, dots), width=0, height=0, class_="defs", aria_hidden="true"
    )
