"""Studies as drawings: sound SVG that says every name and count, inside its frame."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as Xml

import pytest

from idlewright.report.study_picture import LEFT, WIDTH, study_picture

SVG = "{http://www.w3.org/2000/svg}"
STUDY = json.loads((Path(__file__).parent / "samples" / "study.json").read_text("utf-8"))


def share(k: int, n: int) -> dict[str, Any]:
    """k of n with some interval."""
    return {"k": k, "n": n, "low": 0.7, "high": 0.95}


TRUTH = {
    "format": "idlewright/truth/1", "family": "tiny", "seed": 1, "cases": 40, "bar": 0.99,
    "worlds": [
        {
            "world": {"name": name},
            "sure": {"n": 20, "wrong": wrong, "upper": 0.25},
            "places": {"cover": {"level": 0.9, **share(34, 40)}},
        }
        for name, wrong in (("as believed & so on", 0), ("wide", 3))
    ],
}  # fmt: skip


@pytest.mark.parametrize("found", [STUDY, TRUTH], ids=["plan", "truth"])
def test_it_is_sound_and_inside_its_frame(found: dict[str, Any]) -> None:
    """It parses, has a title for those who do not see it, and draws nothing outside."""
    root = Xml.fromstring(study_picture(found))
    height = float(root.attrib["height"])
    assert root.find(f"{SVG}title") is not None and root.attrib["role"] == "img"
    for circle in root.iter(f"{SVG}circle"):
        assert LEFT <= float(circle.attrib["cx"]) <= WIDTH
    bottoms = [float(text.attrib["y"]) for text in root.iter(f"{SVG}text")]
    assert max(bottoms) < height and all("style" not in one.attrib for one in root.iter())


def test_a_plan_study_says_costs_shares_and_the_bound() -> None:
    """Each arm twice: its mean cost, and its first repairs."""
    words = [text.text for text in Xml.fromstring(study_picture(STUDY)).iter(f"{SVG}text")]
    for arm in STUDY["arms"]:
        assert words.count(arm["name"]) == 2
        assert f"{arm['total_cost']['mean']:,.0f}" in words
        assert f"{arm['right_repair']['k']} of {arm['right_repair']['n']}" in words
    assert "knowing the fault" in words


def test_a_truth_study_says_how_often_sure_was_wrong() -> None:
    """Counts in words, the place of a mark where its share is."""
    root = Xml.fromstring(study_picture(TRUTH))
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert {"0 of 20", "3 of 20", "34 of 40", "as believed & so on"} <= set(words)
    first, second = [float(c.attrib["cx"]) for c in root.iter(f"{SVG}circle")][:2]
    assert first == LEFT and second > LEFT


def test_a_world_with_nothing_to_count_is_named_all_the_same() -> None:
    """No mark at 0, which would be a count: the word none."""
    nothing = {"level": 0.9, "k": 0, "n": 0, "low": None, "high": None}
    silent = {
        "world": {"name": "no part needed"},
        "sure": {"n": 0, "wrong": 0, "upper": 1.0},
        "places": {"cover": nothing},
    }
    root = Xml.fromstring(study_picture({**TRUTH, "worlds": [*TRUTH["worlds"], silent]}))
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert words.count("no part needed") == words.count("none") == 2
    assert len(list(root.iter(f"{SVG}circle"))) == 2 * len(TRUTH["worlds"])
