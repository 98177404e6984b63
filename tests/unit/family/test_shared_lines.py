"""What families share under one name: bare parts, lines of [also], stated lines over made ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.errors import BadInput
from idlewright.family import load_family, vet_file

CAR = """
format = 1
id = "car"
say = "how a car stands"
[port]
[state]
key = { is = ["off", "on"], minutes = 0.1 }
[caution]
unplug = "Key off first."
[check]
"ask" = { say = "ask", do = "Ask the owner.", read = "word", words = ["nothing", "turned", "fitted"], in = {}, minutes = 2 }
"""  # noqa: E501

PART = """
format = 1
id = "lamp"
say = "a lamp"
[port]
node = ["plus"]
state = ["key"]
id = ["cell_ohm", "cell_open"]
[circuit]
lamp = { resistor = ["plus", "chassis"], ohm = 10, within = 0.2 }
[fault]
"burnt" = { say = "Lamp burnt out", set = { "lamp.ohm" = 1e8 } }
"cell_open" = { say = "Cell wire open", set = { cell_ohm = 1e8 } }
[check]
"volts" = { say = "volts", do = "Read the lamp's volts.", read = "volt", red = "plus", black = "chassis", in = { key = "on" }, minutes = 1, spec = [11, 13] }
"ohms" = { say = "ohms", do = "Read the lamp's ohms.", read = "ohm", red = "plus", black = "chassis", in = { key = "off" }, minutes = 1 }
[also]
ask = { shows = { "fitted" = { burnt = 0.5 } } }
[repair]
"renew" = { say = "Renew the lamp", do = "Renew it.", cures = { burnt = 0.9, cell_open = 0.1 }, minutes = 5, in = { key = "off" }, prove = ["volts"] }
"""  # noqa: E501

FAMILY = """
format = 1
id = "one-lamp"
say = "one lamp"
[use]
car = { part = "car", bare = true }
front = { part = "lamp", join = { "plus" = "out", "cell_ohm" = "w.ohm", "cell_open" = "w.open" } }
[circuit]
zero = "chassis"
cell = { source = ["in", "chassis"], volt = 12, ohm = 0.1, live = { key = "on" } }
w = { wire = ["in", "out"], ohm = 0.1, drop_in = { key = "on" } }
[also]
ask = { shows = { "turned" = { "w.poor" = 0.3 }, "fitted" = { "front.burnt" = 0.2 } }, provokes = ["w.poor"] }
"""  # noqa: E501


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with both parts."""
    (tmp_path / "car.toml").write_text(CAR, encoding="utf-8")
    (tmp_path / "lamp.toml").write_text(PART, encoding="utf-8")
    return tmp_path


def file_of(folder: Path, text: str = FAMILY) -> Path:
    """The family's file."""
    file = folder / "one-lamp.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_bare_part_brings_its_names_as_they_are(folder: Path) -> None:
    """States and checks of a bare part have no prefix; a family without [check] is one."""
    family = load_family(file_of(folder))
    assert "key" in family.states
    assert "ask" in family.checks
    assert "front.volts" in family.checks


def test_shared_looks_and_words_without_any_fault_are_left_out(folder: Path) -> None:
    """What the car's part offers and no part of this family speaks to is not in the family."""
    more = CAR.replace("[check]", '[word]\nsmokes = { say = "Smokes" }\n[check]') + CAR[
        CAR.index('"ask"') :
    ].replace('"ask"', '"look"', 1)
    (folder / "car.toml").write_text(more, encoding="utf-8")
    family = load_family(file_of(folder))
    assert set(family.checks) == {"ask", "front.volts", "front.ohms", "w.drop"}
    assert family.words == {}


def test_lines_of_also_add_up_in_the_shared_check(folder: Path) -> None:
    """Every file's faults show in the check under the family's names; the larger chance counts."""
    ask = load_family(file_of(folder)).checks["ask"]
    odds = {word.id: dict(word.odds) for word in ask.words}
    assert odds == {"nothing": {}, "turned": {"w.poor": 0.3}, "fitted": {"front.burnt": 0.5}}
    assert ask.provokes == ("w.poor",)


def test_a_stated_fault_of_a_part_replaces_the_made_one_it_is_joined_with(folder: Path) -> None:
    """The wire's own open fault gives way to the part's; nothing else changes its name."""
    family = load_family(file_of(folder))
    assert family.faults["w.open"].say == "Cell wire open"
    assert [span.scalar for span in family.faults["w.open"].spans] == ["w.ohm"]
    assert family.repairs["front.renew"].cures == {"front.burnt": 0.9, "w.open": 0.1}
    assert "front.cell_open" not in family.faults


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("ask = {", "asks = {", 'there is no check "asks"'),
        ('"turned" = {', '"moved" = {', 'check "ask" has no word "moved"'),
        ('"w.poor" = 0.3', '"w.pour" = 0.3', 'there is no fault "w.pour"'),
        ('provokes = ["w.poor"]', 'provokes = ["w.pour"]', 'there is no fault "w.pour"'),
    ],
)
def test_mistakes_name_the_line_of_the_file_they_stand_in(
    folder: Path, old: str, new: str, says: str
) -> None:
    """One problem each, in the family's file, at the line that holds the mistake."""
    text = FAMILY.replace(old, new)
    found = [p for p in vet_file(file_of(folder, text)) if says in p.says]
    line = next(k for k, row in enumerate(text.split("\n"), 1) if new in row)
    assert [(Path(p.file or "").name, p.line) for p in found] == [("one-lamp.toml", line)]


def test_an_own_check_beside_a_bare_one_is_refused(folder: Path) -> None:
    """Every id once: a family cannot say the check of a bare part again."""
    again = '[check]\n"ask" = { do = "Ask.", read = "word", words = ["a", "b"], minutes = 1 }\n'
    with pytest.raises(BadInput, match='"ask" comes from the part car already'):
        load_family(file_of(folder, FAMILY + again))


def test_parts_alone_are_sound(folder: Path) -> None:
    """A part may speak of a check, and have a check without chances, that its family completes."""
    assert vet_file(folder / "car.toml") == []
    assert vet_file(folder / "lamp.toml") == []
