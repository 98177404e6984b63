"""The shipped families on the invented cars: whole, fitted, and different from one another."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.family import load_family, load_sheet, vet_file
from idlewright.family.kinds import Sheet
from idlewright.family.shipped import known_files
from idlewright.model.compiled import compile_model
from idlewright.model.predict import predict

EXAMPLES = Path(__file__).parents[3] / "examples"
SHEETS = sorted(EXAMPLES.glob("*.sheet.toml"))
FAMILIES = sorted(known_files("families"))
ENGINE = ("basics.idle.hot", "basics.vacuum")
OWN_WORDS = (
    "cylinders", "signal_bias", "nose_sense", "valve_rest", "duty_rest", "sensor_holes",
)  # fmt: skip
OF_A_WIRE = ("drop", "continuity")
"""Checks that every wire gets: their names carry the name of the wire."""
BASE = {
    "plunger-carburettor": ("isc.speed.in", "isc.speed.out"),
    "stepper-pressure": ("valve.speed.seated",),
    "duty-airflow": ("valve.speed.base",),
}


def sheet_of(file: Path) -> tuple[str, Sheet]:
    """A sheet and the family it is for."""
    text = file.read_text("utf-8")
    name = next(family for family in FAMILIES if f'family = "{family}"' in text)
    return name, load_sheet(file, load_family(name))


@pytest.mark.parametrize("name", FAMILIES)
def test_a_family_has_what_the_trade_needs(name: str) -> None:
    """At least 40 faults, checks and repairs; every fault has a repair, every check a name."""
    family = load_family(name)
    assert min(len(family.faults), len(family.checks), len(family.repairs)) >= 40
    cured = {fault for repair in family.repairs.values() for fault in repair.cures}
    assert set(family.faults) - cured == set()
    written = [c for c in family.checks.values() if c.id.split(".")[-1] not in OF_A_WIRE]
    assert [c.id for c in written if len(c.say) > 26] == []
    assert [c.id for c in family.checks.values() if len(c.do) > 125] == []
    assert vet_file(known_files("families")[name]) == []


@pytest.mark.parametrize("file", SHEETS, ids=lambda file: file.name.split(".")[0])
def test_a_good_car_of_every_sheet_reads_what_its_book_says(file: Path) -> None:
    """Idle, base speeds and vacuum of the good car stand inside the sheet's limits."""
    name, sheet = sheet_of(file)
    model = compile_model(load_family(name), sheet)
    for check in (*ENGINE, *BASE[name]):
        found = predict(model, check)["checks"][0]
        good, spec = found["rows"][0], found["spec"]
        if spec is not None:
            assert spec["low"] <= good["median"] <= spec["high"], check


@pytest.mark.parametrize("name", FAMILIES)
def test_three_cars_a_family_that_differ(name: str) -> None:
    """Different references, input bias, cylinders or size, and words of the family's own."""
    sheets = [sheet for family, sheet in map(sheet_of, SHEETS) if family == name]
    assert len(sheets) == 3
    differ = {
        key
        for key in sheets[0].values
        if len({(v.low, v.high, v.word) for s in sheets for k, v in s.values.items() if k == key})
        == 3
    }
    assert {"reference_v", "closed_v", "idle_rpm"} <= differ
    words = {
        key: {sheet.values[key].word for sheet in sheets if key in sheet.values}
        for key in OWN_WORDS
    }
    assert len(words["cylinders"]) == 2
    assert sum(len(found) > 1 for found in words.values()) >= 3
