"""Sheets: units, words, alternatives, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.errors import BadInput
from idlewright.family import load_family, load_sheet
from idlewright.family.kinds import Family

FOLDER = Path(__file__).parents[2] / "contracts" / "mistakes"


@pytest.fixture(scope="module")
def family() -> Family:
    """The invented small engine."""
    return load_family(FOLDER / "small-engine.toml")


def test_limits_are_in_the_entrys_unit(family: Family) -> None:
    """Each limit carries its own unit; both come out in the entry's."""
    values = load_sheet(FOLDER / "estate.toml", family).values
    assert values["closed_v"].low == pytest.approx(0.47)
    assert (values["track_ohm"].low, values["track_ohm"].high) == (4500, 5500)
    assert (values["nose_sense"].word, values["nose_sense"].page) == ("open at rest", "p. 33")


def test_two_sources_are_a_conflict(family: Family) -> None:
    """The first alternative counts; another one that differs is kept as a conflict."""
    value = load_sheet(FOLDER / "estate.toml", family).values["idle_rpm"]
    assert (value.low, value.high, value.page) == (600, 700, "p. 8")
    assert value.conflicts == ("550 rpm to 650 rpm (label)",)
    same = [["600 rpm", "700 rpm", "p. 8"], ["600 rpm", "700 rpm", "label"]]
    assert load_sheet({"idle_rpm": same}, family).values["idle_rpm"].conflicts == ()


def test_one_end_may_be_none(family: Family) -> None:
    """A book may give only a lowest or a highest value."""
    value = load_sheet({"closed_v": ["none", "0.6 V", "p. 1"]}, family).values["closed_v"]
    assert (value.low, value.high) == (None, 0.6)


def test_values_inline_and_from_a_file_are_one(family: Family) -> None:
    """The hash is that of the values, wherever they stand."""
    values = {"closed_v": ["0.47 V", "0.57 V", "p. 31"]}
    whole = {"format": 1, "id": "x", "family": "small-engine", "value": values}
    assert load_sheet(values, family).sha256 == load_sheet(whole, family).sha256


def test_all_problems_come_at_once(family: Family) -> None:
    """Five spoilt values, five problems."""
    values: dict[str, object] = {
        "closed_v": ["0.47", "0.57 V", "p. 31"],
        "idle_rpm": ["700 rpm", "600 rpm", "p. 8"],
        "bias": ["sideways", "p. 40"],
        "closedv": ["1 V", "2 V", "p. 1"],
        "track_ohm": ["4 kohm", "5 kohm"],
    }
    with pytest.raises(BadInput) as caught:
        load_sheet(values, family)
    assert [p.key for p in caught.value.problems] == list(values)
    assert all(p.remedy for p in caught.value.problems)
