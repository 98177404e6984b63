"""Limits as brackets and readings as blocks."""

from __future__ import annotations

import re

from idlewright.report.limits_figure import Block, Expected, limits_figure

TWO_SIDED = {"low": 0.47, "high": 0.57}


def _brackets(figure: str) -> list[float]:
    return [
        float(place)
        for place in re.findall(r'<svg x="([\d.]+)%" y="0"[^>]*><path [^>]*class="bracket"', figure)
    ]


def _blocks(figure: str) -> list[float]:
    return [
        float(place)
        for place in re.findall(r'<svg x="([\d.]+)%" y="0"[^>]*><rect [^>]*class="block', figure)
    ]


def test_brackets_stand_apart_and_the_block_on_its_true_side() -> None:
    """At 320 px (288 inside) the brackets are at least 32 px apart; an outside block is outside."""
    for value, verdict in ((0.5, "inside"), (0.6, "outside"), (0.3, "outside"), (5.0, "outside")):
        figure = str(limits_figure(TWO_SIDED, [Block(value, verdict, "x")], "spoken"))
        low, high = _brackets(figure)
        (block,) = _blocks(figure)
        assert (high - low) / 100 * 288 >= 32
        assert (low < block < high) == (verdict == "inside")
        assert (block > high) == (value > 0.57)


def test_far_reading_breaks_the_line() -> None:
    """A far reading stands at the end beyond two short slashes; a near one does not break it."""
    far = str(limits_figure(TWO_SIDED, [Block(5.0, "outside", "x")], ""))
    near = str(limits_figure(TWO_SIDED, [Block(0.6, "outside", "x")], ""))
    assert "M-8 9L-1 -9" in far and "M-8 9L-1 -9" not in near
    infinite = str(limits_figure(TWO_SIDED, [Block(float("inf"), "outside", "OL")], ""))
    assert _blocks(infinite) == _blocks(far)


def test_one_sided_limit_has_one_bracket() -> None:
    """At least 600 rpm has one bracket only, with its feet inwards."""
    figure = str(limits_figure({"low": 600, "high": None}, [Block(655, "inside", "x")], ""))
    assert len(_brackets(figure)) == 1
    assert "M9 " in figure


def test_wide_uncertainty_is_drawn_to_scale() -> None:
    """A block wider than the least is as wide as the stated uncertainty, with a centre line."""
    figure = str(limits_figure(TWO_SIDED, [Block(0.52, "inside", "x", u=0.01)], ""))
    assert 'class="centre"' in figure and 'class="guard"' in figure


def test_expected_ranges_are_dashed_and_named() -> None:
    """A suspect's range is a dashed box with its name."""
    figure = str(limits_figure(TWO_SIDED, [], "", [Expected(0.6, 0.9, "ground")]))
    assert 'class="dashbox"' in figure and ">ground</text>" in figure


def test_nothing_is_styled_in_place_and_text_is_escaped() -> None:
    """No style attribute, and labels cannot break out of the drawing."""
    figure = str(limits_figure(TWO_SIDED, [Block(0.5, "inside", "<b>")], '"><script>'))
    assert "style=" not in figure and "<script" not in figure and "&lt;b&gt;" in figure
