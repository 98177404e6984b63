"""Parts: prefixes, joins, changes, circles."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.errors import BadInput, Problem
from idlewright.family import load_family, vet_file
from idlewright.family.kinds import Family

HERE = Path(__file__).parent
PART = (HERE / "probe.toml").read_text(encoding="utf-8")
FAMILY = (HERE / "whole.toml.in").read_text(encoding="utf-8")
"""BUT stands for what a test says more in the second use."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the part."""
    (tmp_path / "probe.toml").write_text(PART, encoding="utf-8")
    return tmp_path


def load(folder: Path, but: str = "") -> Family:
    """The family, with more said in its second use."""
    file = folder / "whole.toml"
    text = FAMILY.replace("BUT", but)
    file.write_text(text, encoding="utf-8")
    return load_family(file)


def only_engine_of_one(but: str = "") -> str:
    """The second use leaves out the engine's scalar, of which there can be one only."""
    return f', without = ["engine.air.probe_mm2"]{but}'


def refused(folder: Path, but: str) -> list[Problem]:
    """Problems of the family with more said in its second use."""
    with pytest.raises(BadInput) as caught:
        load(folder, but)
    return list(caught.value.problems)


def test_ids_get_the_prefix_and_joined_names_do_not(folder: Path) -> None:
    """Everything of the part is prefixed; nodes, states and ids joined are the family's."""
    family = load(folder, only_engine_of_one())
    wire = family.resistors["one.w"]
    assert (wire.a, wire.b) == ("plus", "one.w.plug")
    assert family.resistors["one.w.plug"].when == {"front": ("plugged",)}
    assert family.resistors["one.r"].b == "minus"
    assert family.resistors["two.r"].b == "gnd"
    assert family.resistors["two.r"].when == {"two.mode": ("low",)}
    assert family.resistors["two.w"].a == "one.w.plug"
    check = family.checks["two.drop"]
    assert (check.red, check.black) == ("two.w.plug", "gnd")
    assert check.state == {"two.mode": "low", "rear": "plugged"}
    assert check.spec is not None and check.spec.sheet == "volts"
    spans = family.faults["one.bent"].spans
    assert [s.scalar for s in spans] == ["one.play[one.mode=low]", "stop[one.mode=low]"]
    repair = family.repairs["one.straighten"]
    assert repair.cures == {"one.bent": 0.9, "one.w.open": 0.5}
    assert (repair.prove, repair.renews, repair.reseats) == (("one.drop",), ("one.r",), ("front",))
    assert family.checks["one.feel"].words[1].odds == {"one.bent": 0.5}
    assert family.checks["one.feel"].provokes == ("one.w.plug.loose",)
    assert "one.mode" in family.states and "mode" not in family.states
    assert set(family.repairs) >= {"front.clean", "rear.clean"}


def test_engine_scalars_are_the_familys(folder: Path) -> None:
    """A part's [engine] lines get no prefix."""
    assert "engine.air.probe_mm2" in load(folder, only_engine_of_one()).scalars


def test_words_are_joined(folder: Path) -> None:
    """One line says it; factors of all parts and of the family come together."""
    family = load(folder, only_engine_of_one())
    assert family.words["shakes"].raises == {"one.bent": 2, "two.bent": 3}
    assert "two.w.open" in family.codes["erratic"].raises
    assert family.codes["erratic"].say == "Erratic"


def test_but_and_without_reach_the_part(folder: Path) -> None:
    """Existing values change, ids go, and nothing names them any more."""
    more = ', but = { "r.ohm" = 250, "bent.weight" = 7 }'
    family = load(folder, only_engine_of_one(more).replace("]", ', "w.open", "feel"]', 1))
    assert family.scalars["two.r.ohm"].value.number == 250
    assert family.scalars["one.r.ohm"].value.number == 100
    assert family.faults["two.bent"].weight == 7
    assert "two.w.open" not in family.faults and "two.feel" not in family.checks
    assert "two.w.open" not in family.repairs["two.straighten"].cures


@pytest.mark.parametrize(
    ("but", "key", "says"),
    [
        (', but = { "r.ohms" = 250 }', "use.two.but.r.ohms", "hits nothing"),
        (', but = { "r" = 250 }', "use.two.but.r", "hits nothing"),
        (', but = { "bent.weight" = -1 }', "use.two.but.bent.weight", "not above 0"),
        (', without = ["w.opn"]', "use.two.without", "hits nothing"),
        (', without = ["engine.air.probe_mm2"], part = 3', "use", ""),
    ],
)
def test_changes_that_do_not_fit_are_told_where_they_are_asked(
    folder: Path, but: str, key: str, says: str
) -> None:
    """The line of the [use] is named, not the part's."""
    problems = refused(folder, but)
    assert any(p.key.startswith(key) and says in p.says for p in problems), problems
    assert all(p.remedy for p in problems)


def test_the_same_engine_scalar_twice_is_refused(folder: Path) -> None:
    """Two parts cannot both own one line."""
    assert any("already" in p.says for p in refused(folder, ""))


def test_circle_of_parts_is_refused(folder: Path) -> None:
    """A part that uses its user is named with the whole circle."""
    loop = '\n[use]\nagain = { part = "other" }\n'
    (folder / "probe.toml").write_text(PART + loop, encoding="utf-8")
    other = 'format = 1\nid = "other"\n[port]\n[use]\nback = { part = "probe" }\n'
    (folder / "other.toml").write_text(other, encoding="utf-8")
    problems = vet_file(folder / "probe.toml")
    circles = [p for p in problems if "circle" in p.says]
    assert circles and "probe → other → probe" in circles[0].says


def test_family_line_replaces_a_generated_one_of_a_part(folder: Path) -> None:
    """A generated fault of a part gives way to the family's line; a stated one does not."""
    file = folder / "whole.toml"
    text = FAMILY.replace("BUT", only_engine_of_one())
    change = 'set = { "one.w.ohm" = 1e7 }'
    generated = f'[fault]\n"one.w.open" = {{ say = "My own", {change}, weight = 9 }}\n'
    file.write_text(text + generated, encoding="utf-8")
    assert load_family(file).faults["one.w.open"].weight == 9
    stated = f'[fault]\n"one.bent" = {{ say = "My own", {change} }}\n'
    file.write_text(text + stated, encoding="utf-8")
    with pytest.raises(BadInput, match="comes from the part one already"):
        load_family(file)


def test_a_line_that_needs_what_is_left_out_is_named(tmp_path: Path) -> None:
    """A check on a dropped wire asks to be dropped with it."""
    text = (
        'format = 1\nid = "bare"\nsay = "battery alone"\n[use]\n'
        'shop = { part = "workshop" }\ncar = { part = "car", bare = true }\n'
        'battery = { part = "supply", without = [WITHOUT] }\n[circuit]\nzero = "chassis"\n'
    )
    file = tmp_path / "bare.toml"
    file.write_text(text.replace("WITHOUT", '"feed"'), encoding="utf-8")
    (problem,) = vet_file(file)
    assert problem.says == '"feed" is left out, and check "feed.volts" needs it'
    file.write_text(text.replace("WITHOUT", '"feed", "feed.volts"'), encoding="utf-8")
    assert vet_file(file) == []
