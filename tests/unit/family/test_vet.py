"""Vetting of files and the listing of what they expand to."""

from __future__ import annotations

from pathlib import Path

import pytest

from idlewright.errors import BadInput
from idlewright.family import expanded, load_family, vet_file
from idlewright.family.shipped import DATA

FOLDER = Path(__file__).parents[2] / "contracts" / "mistakes"


@pytest.mark.parametrize("file", sorted(DATA.rglob("*.toml")), ids=lambda file: file.stem)
def test_shipped_files_are_sound(file: Path) -> None:
    """Every shipped family and part passes, each by itself."""
    assert vet_file(file) == []


def test_listing_names_everything() -> None:
    """All that a line may name stands in the listing; generated ones are marked."""
    file = FOLDER / "small-engine.toml"
    family, text = load_family(file), expanded(file)
    lines = text.split("\n")
    tables = (family.faults, family.checks, family.repairs, family.points, family.part_points)
    hints = (family.sheet, family.words, family.codes, family.cautions, family.tools)
    for table in (*tables, *hints):
        for name in table:
            assert any(line.startswith(f"{name}: ") for line in lines), name
    for name in family.scalars:
        assert any(line.startswith(f"{name} = ") for line in lines), name
    (made,) = [line for line in lines if line.startswith("tps.gnd.open: ")]
    assert made.endswith("(made)")
    assert " None" not in text
    assert expanded(FOLDER / "estate.toml") == ""


def test_listing_of_a_wrong_file_is_refused(tmp_path: Path) -> None:
    """What does not vet does not expand."""
    file = tmp_path / "wrong.toml"
    file.write_text('format = 1\nid = "x"\n[port]\n[fault]\nf = {}\n', encoding="utf-8")
    with pytest.raises(BadInput):
        expanded(file)


def test_file_of_no_kind(tmp_path: Path) -> None:
    """TOML that is none of our kinds is told so."""
    file = tmp_path / "other.toml"
    file.write_text("[tool]\nx = 1\n", encoding="utf-8")
    (problem,) = vet_file(file)
    assert "no file of ours" in problem.says and problem.remedy


def test_several_faults_in_one_line_are_all_told(tmp_path: Path) -> None:
    """A bad value does not hide an unknown name in the same line, and is told only once."""
    text = (FOLDER / "small-engine.toml").read_text(encoding="utf-8")
    text = text.replace('red = "nose.a", black = "nose.b", in = { key = "off", tip = "rest" }, '
                        "minutes = 3", 'red = "nose.x", black = "nose.b", in = { key = "of" }, '
                        "minutes = -3")  # fmt: skip
    (tmp_path / "pot3.toml").write_text((FOLDER / "pot3.toml").read_text(encoding="utf-8"))
    file = tmp_path / "small-engine.toml"
    file.write_text(text, encoding="utf-8")
    keys = [problem.key for problem in vet_file(file)]
    assert sorted(keys) == [f"check.nose.rest.{key}" for key in ("in.key", "minutes", "red")]
