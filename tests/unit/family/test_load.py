"""Families loaded: the written fragment, the shipped families, what is implied."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.errors import BadInput
from idlewright.family import load_family
from idlewright.family.kinds import Family
from idlewright.family.shipped import known_files

FRAGMENT = Path(__file__).parent / "fragment.toml"


@pytest.fixture(scope="module")
def fragment() -> Family:
    """The small family that shows the style of the format."""
    return load_family(FRAGMENT)


def test_fragment_loads_as_it_stands(fragment: Family) -> None:
    """A file without [sheet] and [caution] declares entries by using them."""
    units = {key: entry.unit for key, entry in fragment.sheet.items()}
    assert units == {"reference_v": "V", "track_ohm": "ohm", "closed_v": "V"}
    assert set(fragment.cautions) == {"unplug"}
    assert fragment.zero == "chassis"


def test_own_lines_replace_generated_ones(fragment: Family) -> None:
    """A line with a generated id stands instead of it."""
    assert fragment.faults["ground.poor"].weight == 3
    assert fragment.checks["ground.drop"].black == "chassis"
    assert fragment.repairs["ground.renew"].minutes == 35
    assert fragment.faults["ground.open"].weight == 0.5


def test_ratio_to_a_source_makes_its_check(fragment: Family) -> None:
    """`ratio_to = "reference"` names the source: the volts across it become a check."""
    check = fragment.checks["reference"]
    assert (check.red, check.black, check.read) == ("ref.c", "gnd.c", "volt")
    assert check.spec is not None and check.spec.sheet == "reference_v"
    assert check.state == {"key": "on", "computer": "plugged"}


def test_fault_in_some_states_gets_a_scalar_of_its_own(fragment: Family) -> None:
    """`only` makes a scalar that stands for the other one in those states."""
    span = fragment.faults["track.worn"].spans[0]
    shadow = fragment.scalars[span.scalar]
    assert span.scalar == "track.contact_ohm[throttle=closed]"
    assert shadow.stands_for == "track.contact_ohm"
    assert shadow.only == {"throttle": ("closed",)}
    assert shadow.value == fragment.scalars["track.contact_ohm"].value


def test_needs_hold_for_every_target(fragment: Family) -> None:
    """A plain `needs` table counts for all values of the variable."""
    expected = {"key": "off", "sensor": "unplugged"}
    computer = fragment.states["computer"]
    assert computer.needs == {"plugged": expected, "unplugged": expected}


@pytest.mark.parametrize("name", sorted(known_files("families")))
def test_shipped_family_is_sound(name: str) -> None:
    """Every shipped family loads, and its records name only what is there."""
    family = load_family(name)
    assert family.id == name
    for resistor in family.resistors.values():
        assert resistor.ohm in family.scalars
        assert resistor.fraction is None or resistor.fraction in family.scalars
    for fault in family.faults.values():
        assert fault.spans and all(span.scalar in family.scalars for span in fault.spans)
    for repair in family.repairs.values():
        assert set(repair.cures) <= set(family.faults) and set(repair.prove) <= set(family.checks)
    for soft in (*family.words.values(), *family.codes.values()):
        assert soft.say and set(soft.raises) | set(soft.lowers) <= set(family.faults)
    assert len(family.faults) >= 40 and len(family.checks) >= 40


@pytest.mark.parametrize("name", sorted(known_files("families")))
def test_every_fault_has_a_repair_that_can_be_proved(name: str) -> None:
    """A fault that nothing cures, or a cure that nothing proves, would be a dead end."""
    family = load_family(name)
    cured = {fault for repair in family.repairs.values() for fault in repair.cures}
    assert set(family.faults) - cured == set()
    assert [r.id for r in family.repairs.values() if r.cures and not r.prove] == []


def test_unknown_family_is_named_with_a_likely_one() -> None:
    """A mistyped id is answered with the id that was probably meant."""
    with pytest.raises(BadInput) as caught:
        load_family("plunger-carburetor")
    assert 'did you mean "plunger-carburettor"?' in caught.value.problems[0].remedy


def test_hash_is_that_of_the_content(tmp_path: Path, fragment: Family) -> None:
    """Comments and spacing do not change a family's hash; a number does."""
    text = FRAGMENT.read_text(encoding="utf-8")
    same, other = tmp_path / "same.toml", tmp_path / "other.toml"
    same.write_text("# a comment\n" + text.replace("  =", " ="), encoding="utf-8")
    other.write_text(text.replace("1e6", "2e6", 1), encoding="utf-8")
    assert load_family(same).sha256 == fragment.sha256 != load_family(other).sha256
