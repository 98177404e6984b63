"""What wires, sliders, switches and motors expand to."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.errors import BadInput
from idlewright.family import load_family
from idlewright.family.kinds import Family

HEAD = """format = 1
id = "small"
[state]
key = { is = ["off", "on"] }
throttle = { is = ["closed", "wide"] }
tip = { is = ["rest", "pressed"] }
a = { is = ["plugged", "unplugged"] }
b = { is = ["plugged", "unplugged"] }
[sheet]
sense = { say = "sense", words = ["open at rest", "closed at rest"] }
[check]
[check.look]
do = "Look."
read = "word"
words = ["fine", "bad"]
shows = { bad = { spoilt = 0.5 } }
minutes = 1
[repair]
[fault]
spoilt = { say = "Spoilt", set = { "load.ohm" = [1e3, 1e6] } }
[circuit]
zero = "chassis"
cell = { source = ["plus", "chassis"], volt = 12, ohm = 0.1 }
load = { resistor = ["out", "chassis"], ohm = 100 }
"""


def load(tmp_path: Path, *lines: str) -> Family:
    """The head above with more circuit lines."""
    file = tmp_path / "small.toml"
    file.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return load_family(file)


def ends(family: Family, name: str) -> tuple[str, str]:
    """Nodes of a resistor."""
    return family.resistors[name].a, family.resistors[name].b


def test_two_connectors_sit_at_the_two_ends(tmp_path: Path) -> None:
    """First end, contact, conductor, contact, second end."""
    family = load(tmp_path, 'w = { wire = ["plus", "out"], through = ["a", "b"] }')
    assert ends(family, "w.a") == ("plus", "w.a")
    assert ends(family, "w") == ("w.a", "w.b")
    assert ends(family, "w.b") == ("w.b", "out")
    assert family.resistors["w.b"].when == {"b": ("plugged",)}
    assert family.points["w.a"] == "w.a" and family.part_points["w.a.part"] == "plus"
    assert set(family.faults) == {
        "spoilt", "w.open", "w.poor", "w.a.poor", "w.b.poor", "w.b.loose",
    }  # fmt: skip
    assert family.faults["w.b.loose"].intermittent
    assert family.checks["w.drop"].state == {"key": "on"}
    assert family.checks["w.continuity"].state == {"key": "off", "a": "unplugged", "b": "unplugged"}
    assert set(family.repairs) == {"w.renew", "a.clean", "b.clean"}
    assert family.repairs["b.clean"].cures == {"w.b.poor": 0.7, "w.b.loose": 0.7}


def test_one_connector_sits_at_the_second_end(tmp_path: Path) -> None:
    """The first end is a plain node; the drop is read from it."""
    family = load(tmp_path, 'w = { wire = ["plus", "out"], through = ["b"] }')
    assert ends(family, "w") == ("plus", "w.b")
    assert ends(family, "w.b") == ("w.b", "out")
    assert (family.checks["w.drop"].red, family.checks["w.drop"].black) == ("plus", "w.b")


def test_no_connector_is_a_conductor_only(tmp_path: Path) -> None:
    """No contacts and no continuity check, as nothing can be unplugged."""
    family = load(tmp_path, 'w = { wire = ["plus", "out"] }')
    assert ends(family, "w") == ("plus", "out")
    assert "w.continuity" not in family.checks and "w.drop" in family.checks


def test_neighbours_can_touch(tmp_path: Path) -> None:
    """`beside` makes an open insulation and a fault that closes it, wire side to wire side."""
    family = load(
        tmp_path,
        'w = { wire = ["plus", "out"], through = ["b"], beside = ["v", "chassis"] }',
        'v = { wire = ["plus", "out"], through = ["a"] }',
    )
    assert ends(family, "w.to.v") == ("w.b", "v.a")
    assert ends(family, "w.to.chassis") == ("w.b", "chassis")
    assert family.scalars["w.to.v.ohm"].value.number == 1e9
    span = family.faults["w.short.v"].spans[0]
    assert (span.scalar, span.low, span.high) == ("w.to.v.ohm", 0.1, 200.0)


def test_signal_wires_have_signal_severities(tmp_path: Path) -> None:
    """An input in the computer makes small resistances harmless; the line may say its own."""
    family = load(
        tmp_path,
        's = { wire = ["plus", "out"], through = ["b"], input_ohm = 470e3 }',
        't = { wire = ["plus", "out"], through = ["a"], poor = [3, 60], weights = { open = 2 } }',
    )
    assert (family.faults["s.poor"].spans[0].low, family.faults["t.poor"].spans[0].low) == (1500, 3)
    assert (family.faults["s.open"].weight, family.faults["t.open"].weight) == (0.5, 2)
    assert ends(family, "s.input") == ("plus", "chassis")


def test_without_drops_generated_lines(tmp_path: Path) -> None:
    """What is dropped is neither made nor cured; a name that hits nothing is refused."""
    family = load(tmp_path, 'w = { wire = ["plus", "out"], without = ["w.open", "w.drop"] }')
    assert "w.open" not in family.faults and "w.drop" not in family.checks
    assert set(family.repairs["w.renew"].cures) == {"w.poor"}
    with pytest.raises(BadInput, match="does not make"):
        load(tmp_path, 'w = { wire = ["plus", "out"], without = ["w.opn"] }')


def test_slider_is_two_resistances_by_setting(tmp_path: Path) -> None:
    """Share k below the wiper, 1 - k above it, and the wiper's contact."""
    family = load(
        tmp_path,
        'pot = { slider = ["plus", "out", "chassis"], ohm = 5000, at = { closed = 0.1, wide = 0.9 }'
        ", at_within = { closed = 0.01 } }",
    )
    low, high = family.resistors["pot.low.closed"], family.resistors["pot.high.closed"]
    assert (low.b, high.a, low.a, high.b) == ("chassis", "plus", "pot.inner", "pot.inner")
    assert (low.fraction, low.complement, high.complement) == ("pot.at.closed", False, True)
    assert low.when == {"throttle": ("closed",)}
    assert family.scalars["pot.at.closed"].within == 0.01
    assert family.scalars["pot.at.wide"].within == 0.004
    assert family.scalars["pot.at.wide"].scale == "linear"


def test_switch_of_either_sense(tmp_path: Path) -> None:
    """`sense` becomes ohms chosen by the sheet's word."""
    family = load(
        tmp_path,
        'nose = { switch = ["out", "chassis"], moves_with = "tip", ohm = "sheet.sense", sense = { '
        '"open at rest" = { rest = "open", pressed = 0.5 }, '
        '"closed at rest" = { rest = "shut", pressed = "open" } } }',
    )
    rest = family.scalars["nose.rest_ohm"].value
    assert rest.sheet == "sense"
    assert rest.by_word == {"open at rest": 1e9, "closed at rest": 0.3}
    assert family.resistors["nose.pressed"].when == {"tip": ("pressed",)}


def test_motor_is_a_winding_with_figures(tmp_path: Path) -> None:
    """The winding is a resistor of the motor's id; its figures are scalars."""
    family = load(
        tmp_path,
        'm = { motor = ["out", "chassis"], ohm = 12, within = 0.1, '
        "run_amp = { is = 0.2, within = 0.3 }, "
        "break_amp = 0.35, volt_s_per_mm = 2, stroke_mm = 12 }",
    )
    assert family.motors["m"].a == "out" and ends(family, "m") == ("out", "chassis")
    assert family.scalars["m.run_amp"].within == 0.3
    assert family.scalars["m.break_amp"].within == 0.0


def test_element_exists_only_while_live(tmp_path: Path) -> None:
    """`live` with several values means either."""
    family = load(
        tmp_path,
        'lamp = { resistor = ["plus", "out"], ohm = 5, '
        'live = { key = ["on", "off"], a = "plugged" } }',
    )
    assert family.resistors["lamp"].when == {"key": ("on", "off"), "a": ("plugged",)}
