"""A teacher's car file: what it hides, and everything that is wrong with one at once."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from idlewright.cli.new_verb import starting_text
from idlewright.errors import BadInput
from idlewright.family.shipped import known_files
from idlewright.lesson.car_file import load_car
from idlewright.lesson.opening import Opening

HEAD = {"format": 1, "id": "monday", "family": "plunger-carburettor", "number": 4}


def complaints(data: dict[str, object]) -> list[str]:
    """Every problem of a car that is refused, by key."""
    with pytest.raises(BadInput) as caught:
        load_car({**HEAD, **data})
    return [f"{problem.key}: {problem.says}" for problem in caught.value.problems]


@pytest.mark.parametrize("family", sorted(known_files("families")))
def test_the_starting_file_opens_a_car(family: str, tmp_path: Path) -> None:
    """What `new car` writes hides what it says, at the severity it says."""
    file = tmp_path / "car.toml"
    file.write_text(starting_text("car", family), "utf-8")
    car = Opening.of_file(file).open()
    written = load_car(file).hidden
    assert [one.fault for one in written] == list(car.faults)
    assert car.hidden.faults[0].severity == 0.6


@pytest.mark.parametrize("suffix", [".toml", ".json"])
def test_a_family_beside_the_car(suffix: str, tmp_path: Path) -> None:
    """By its bare name, whatever it is written in; found again from anywhere."""
    text = starting_text("family", "")
    if suffix == ".json":
        text = json.dumps(tomllib.loads(text))
    (tmp_path / f"mine{suffix}").write_text(text, "utf-8")
    file = tmp_path / "car.json"
    file.write_text(json.dumps({**HEAD, "family": "mine", "hidden": []}), "utf-8")
    opening = Opening.of_file(file)
    assert opening.family == str(tmp_path / f"mine{suffix}")
    assert opening.open().faults == ()


def test_everything_a_car_file_can_say() -> None:
    """Faults with severity and chance to show, complaint, state, luck, law."""
    data = {
        **HEAD,
        "law": "matched",
        "complaint": {"words": ["stalls_on_load"], "codes": [], "says": "It dies."},
        "state": {"engine": "hot"},
        "hidden": [
            {"fault": "tps.gnd.poor", "severity": 0.0},
            {"fault": "tps.sig.sensor.loose", "shows": 0.4},
        ],
        "luck": {"slip": 0.2, "kind": "next pin"},
    }
    car = Opening(str(HEAD["family"]), 4, "", data).open()
    assert [(h.fault.id, h.liability) for h in car.hidden.faults] == [
        ("tps.gnd.poor", 1.0), ("tps.sig.sensor.loose", 0.4),
    ]  # fmt: skip
    assert car.hidden.faults[0].severity == 0.0
    assert car.complaint.words == ("stalls_on_load",)
    assert (car.luck.slip, car.luck.kind, car.law.name) == (0.2, "next pin", "matched")
    assert car.state["engine"] == "hot"


def test_a_car_with_nothing_wrong() -> None:
    """An empty list of faults is a car that is well."""
    car = Opening(str(HEAD["family"]), 1, "", {**HEAD, "hidden": []}).open()
    assert car.faults == ()


def test_impossible_faults_are_refused() -> None:
    """Unknown, twice, two of the same value, a severity where there is none: all at once."""
    found = complaints({
        "hidden": [
            {"fault": "tps.gnd.poor"},
            {"fault": "tps.gnd.open"},
            {"fault": "tps.gnd.poor"},
            {"fault": "tps.gnd.por"},
            {"fault": "tps.wrong_side"},
            {"fault": "isc.nose.other_sense", "severity": 0.5},
        ]
    })  # fmt: skip
    assert any("tps.gnd.open and tps.gnd.poor cannot be there together" in one for one in found)
    assert any("tps.gnd.poor stands twice" in one for one in found)
    assert sum('there is no fault "' in one for one in found) == 2
    assert any("isc.nose.other_sense is there or not" in one for one in found)


def test_other_mistakes_are_refused() -> None:
    """Numbers out of range, unknown words, laws, states, kinds of slip and keys."""
    found = " | ".join(
        complaints({
            "number": -1, "law": "odd", "color": "red", "hidden": [],
            "complaint": {"words": ["no_such"]}, "state": {"key": "in"},
            "luck": {"slip": 1.2, "kind": "nxt pin"},
        })
    )  # fmt: skip
    for says in (
        "-1 is no number", 'no law "odd"', 'unknown key "color"', 'no word "no_such"',
        'no value of key "in"', "1.2 is not a share", 'no kind of slip "nxt pin"',
    ):  # fmt: skip
        assert says in found
