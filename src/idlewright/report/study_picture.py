"""A study as a drawing for a page: one line a policy or world, what was counted and how surely.

The drawing brings its own colours and letters, for it stands alone in a file: ink on paper, light
or dark as the reader has it, and nothing that rests on colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from idlewright.report.svg import tag

Answer = Mapping[str, Any]

WIDTH, LEFT, RIGHT, ROW, TOP = 760, 200, 120, 34, 64
STYLE = (
    "svg{font:17px system-ui,sans-serif}.paper{fill:#fff}.words{fill:#14130f}"
    ".small{fill:#3f3c35;font-size:16px}.ink{stroke:#14130f;stroke-width:3}"
    ".thin{stroke:#6f6a60;stroke-width:1}.dash{stroke-dasharray:5 4}.dot{fill:#14130f}"
    ".ring{fill:#fff;stroke:#14130f;stroke-width:3}"
    "@media(prefers-color-scheme:dark){.paper{fill:#1a1c1f}.words{fill:#f6f3ec}"
    ".small{fill:#d2cec4}.ink{stroke:#f6f3ec}.thin{stroke:#98948a}.dot{fill:#f6f3ec}"
    ".ring{fill:#1a1c1f;stroke:#f6f3ec}}"
)


@dataclass(frozen=True, slots=True)
class _Mark:
    """A value with the ends of its interval; `note` stands at the right.

    `empty`: there was nothing to count, so that the row has words only.
    """

    name: str
    value: float
    low: float
    high: float
    note: str
    hollow: bool = False
    empty: bool = False


@dataclass(frozen=True, slots=True)
class _Panel:
    """One scale with its marks.

    Attributes:
        title: what is drawn. top: end of the scale. unit: of its ends. lines: (value, words) of
            guide lines across. marks: top to bottom.
    """

    title: str
    top: float
    unit: str
    lines: tuple[tuple[float, str], ...]
    marks: tuple[_Mark, ...]

    @property
    def height(self) -> int:
        """In px."""
        return TOP + ROW * len(self.marks) + 30


def study_picture(found: Answer) -> str:
    """A plan study (`idlewright/study/1`) or a truth study (`idlewright/truth/1`) as SVG text."""
    panels = _plan(found) if found["format"].startswith("idlewright/study/") else _truth(found)
    head = f"{found['family']}, seed {found['seed']}, {found['cases']:,} cars"
    if "worlds" in found:
        head += " in each world"
    height = 44 + sum(panel.height for panel in panels)
    parts = [
        tag("style", Markup(STYLE)),
        tag("rect", width=WIDTH, height=height, class_="paper"),
        tag("text", head, x=16, y=30, class_="words", font_weight="bold"),
    ]
    y = 44
    for panel in panels:
        parts.append(tag("g", *_drawn(panel), transform=f"translate(0 {y})"))
        y += panel.height
    picture = tag(
        "svg", tag("title", head), *parts, xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH} {height}", width=WIDTH, height=height, role="img",
    )  # fmt: skip
    return f"{picture}\n"


def _drawn(panel: _Panel) -> Iterator[Markup]:
    """Title, scale, guide lines and marks of one panel."""
    bottom = panel.height - 26
    yield tag("text", panel.title, x=16, y=22, class_="words")
    for value, words in ((0.0, "0"), *panel.lines, (panel.top, f"{panel.top:g}{panel.unit}")):
        x = _x(value, panel.top)
        dashed = "thin dash" if (value, words) in panel.lines else "thin"
        yield tag("line", x1=x, y1=44, x2=x, y2=bottom, class_=dashed)
        anchor = "end" if value == panel.top else "middle"
        yield tag("text", words, x=x, y=bottom + 18, class_="small", text_anchor=anchor)
    for number, mark in enumerate(panel.marks):
        yield from _marked(mark, TOP + ROW * number, panel.top)


def _marked(mark: _Mark, y: int, top: float) -> Iterator[Markup]:
    low, high, at = (_x(value, top) for value in (mark.low, mark.high, mark.value))
    yield tag("text", mark.name, x=LEFT - 12, y=y + 5, class_="words", text_anchor="end")
    yield tag("text", mark.note, x=WIDTH - 12, y=y + 5, class_="small", text_anchor="end")
    if mark.empty:
        return
    if mark.high > mark.low:
        yield tag("line", x1=low, y1=y, x2=high, y2=y, class_="ink")
        for end in (low, high):
            yield tag("line", x1=end, y1=y - 5, x2=end, y2=y + 5, class_="ink")
    yield tag("circle", cx=at, cy=y, r=6, class_="ring" if mark.hollow else "dot")


def _x(value: float, top: float) -> float:
    return round(LEFT + (WIDTH - LEFT - RIGHT) * min(max(value / top, 0.0), 1.0), 1)


def _plan(found: Answer) -> Sequence[_Panel]:
    """Mean cost of each policy, and how often its first repair cured."""
    arms = found["arms"]
    dearest = max(arm["total_cost"]["high"] for arm in arms)
    bound = found["bound"]["clairvoyant"]
    costs = tuple(
        _Mark(arm["name"], cost["mean"], cost["low"], cost["high"], f"{cost['mean']:,.0f}")
        for arm in arms for cost in [arm["total_cost"]]
    )  # fmt: skip
    return (
        _Panel("Mean cost of a job, euro, with its 95 % interval", _rounded(dearest), "",
               ((bound, "knowing the fault"),), costs),
        _Panel("First repair cures, of 100 cars, with its 95 % interval", 100.0, "", (),
               tuple(_share(arm["name"], arm["right_repair"]) for arm in arms)),
    )  # fmt: skip


def _truth(found: Answer) -> Sequence[_Panel]:
    """How often sure answers are wrong, and how often the stated range holds the truth."""
    bar = 100.0 * found["bar"]
    worlds = found["worlds"]
    sure = tuple(
        _Mark(one["world"]["name"], *_wrong(one["sure"]),
              f"{one['sure']['wrong']} of {one['sure']['n']}")
        if one["sure"]["n"] else _nothing(one["world"]["name"])
        for one in worlds
    )  # fmt: skip
    held = tuple(_share(one["world"]["name"], one["places"]["cover"]) for one in worlds)
    top = _rounded(max((mark.high for mark in sure if not mark.empty), default=10.0))
    return (
        _Panel(f"Of 100 answers surer than {bar:g} %, wrong; the line ends at what luck allows",
               top, "", (), sure),
        _Panel("True severity inside the range that is to hold 90 of 100", 100.0, "",
               ((90.0, "90"),), held),
    )  # fmt: skip


def _wrong(sure: Answer) -> tuple[float, float, float]:
    share = 100.0 * sure["wrong"] / sure["n"]
    return share, share, 100.0 * sure["upper"]


def _share(name: str, share: Answer) -> _Mark:
    if share["n"] == 0:
        return _nothing(name)
    value = 100.0 * share["k"] / share["n"]
    ends = (100.0 * share["low"], 100.0 * share["high"])
    return _Mark(name, value, *ends, f"{share['k']} of {share['n']}", hollow=True)


def _nothing(name: str) -> _Mark:
    return _Mark(name, 0.0, 0.0, 0.0, "none", empty=True)


def _rounded(value: float) -> float:
    """The next end of a scale that reads well."""
    for step in (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 800.0, 1000.0):
        if value <= step:
            return step
    return 500.0 * -(-value // 500.0)
