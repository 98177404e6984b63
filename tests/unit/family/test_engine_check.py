"""What the fit of an engine needs is asked for by vet, not by the first prediction."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from idlewright.family import vet_file

FOLDER = Path(__file__).parents[2] / "contracts" / "mistakes"
FITTED_LINE = '"air.stop_mm2" = {'


def without_line(folder: Path, beginning: str) -> Path:
    """The small engine's family without the line that begins so."""
    shutil.copy(FOLDER / "pot3.toml", folder)
    lines = (FOLDER / "small-engine.toml").read_text("utf-8").splitlines()
    kept = [line for line in lines if not line.startswith(beginning)]
    assert len(kept) == len(lines) - 1
    file = folder / "small-engine.toml"
    file.write_text("\n".join(kept) + "\n", encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("check", "says"),
    [
        ('"idle.vacuum"', "no check reads engine.vacuum against the sheet"),
        ('"idle.speed"', "no check reads engine.speed against sheet.idle_rpm"),
    ],
)
def test_a_fit_needs_a_check_of_speed_and_one_of_vacuum(
    check: str, says: str, tmp_path: Path
) -> None:
    """Without one of the two the fitted area's line is named, with what to add."""
    file = without_line(tmp_path, check)
    (problem,) = [found for found in vet_file(file) if found.says == says]
    line = file.read_text("utf-8").splitlines()[(problem.line or 0) - 1]
    assert line.startswith(FITTED_LINE)
    assert "add a check" in problem.remedy


def test_an_area_that_is_a_plain_number_needs_neither(tmp_path: Path) -> None:
    """Nothing to fit, nothing to ask for."""
    file = without_line(tmp_path, '"idle.vacuum"')
    text = file.read_text("utf-8")
    file.write_text(text.replace('"fit sheet.idle_rpm"', "9"), encoding="utf-8")
    assert vet_file(file) == []
