"""What idle control needs: coils that pull, and a throttle that the computer takes for closed."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from idlewright.family import load_family, vet_file
from idlewright.family.kinds import Family
from idlewright.model.compiled import CompiledModel, compile_model
from idlewright.model.forms import form_of_check
from idlewright.model.latents import Latent, from_scale
from idlewright.model.predict import predict
from idlewright.model.worlds import Worlds
from small_car import empty_sheet

VALVE = """
format = 1
id = "coil-valve"
say = "an idle valve with one coil"
air_metering = "speed-density"
[use]
shop = { part = "workshop" }
car = { part = "car", bare = true }
basics = { part = "engine_basics" }
[state]
valve = { is = ["shut", "open", "parked"], minutes = 1 }
[sheet]
base_rpm = { say = "base speed", unit = "rpm", usual = [500, 600] }
[circuit]
zero = "chassis"
cell = { source = ["plus", "chassis"], volt = 12, within = 0.2, ohm = 0.05, live = { key = ["on", "run"] } }
wire = { resistor = ["plus", "pin"], ohm = 0.1, within = 0.5 }
coil = { coil = ["pin", "chassis"], ohm = 10, within = 0.1, pull_amp = { is = 0.5, within = 0.1 } }
five = { source = ["ref", "chassis"], volt = 5, within = 0.05, ohm = 10, live = { key = ["on", "run"] } }
up = { resistor = ["ref", "sig"], ohm = 1000, within = 0.05 }
contact = { resistor = ["sig", "chassis"], ohm = 10, within = 0.5 }
[engine]
control = { target = "engine.target_rpm", low = { valve = "shut" }, high = { valve = "open" }, parked = { valve = "parked" }, actuator = "coil", closed_between = ["sig", "chassis"], closed_below_v = 1.0 }
"air.stop_mm2" = { is = "fit sheet.base_rpm", within = 0.03, unit = "mm2" }
"air.valve_mm2" = { is = 25, within = 0.1, unit = "mm2", only = { valve = "open" } }
"air.parked_mm2" = { is = 2, within = 0.1, unit = "mm2", only = { valve = "parked" } }
[fault]
"wire_poor" = { say = "Coil wire poor", set = { "wire.ohm" = [20, 200] } }
"contact_open" = { say = "Contact open", set = { "contact.ohm" = 1e9 } }
[check]
"base" = { say = "base speed", do = "Read it.", read = "rpm", of = "engine.speed", in = { key = "run", engine = "hot" }, minutes = 2, spec = "sheet.base_rpm" }
"pulls" = { say = "coil pulls", do = "Listen.", read = "word", of = "coil.pulls", words = { "clicks" = [0, "inf"], "silent" = ["-inf", 0] }, in = { key = "on" }, minutes = 1 }
"amp" = { say = "coil current", do = "Read it.", read = "amp", of = "coil.amp", in = { key = "on" }, minutes = 3 }
[repair]
"mend" = { say = "Mend it", do = "Mend it.", cures = { wire_poor = 0.9, contact_open = 0.9 }, minutes = 10, in = { key = "off" }, prove = ["base"] }
"""  # noqa: E501


@pytest.fixture(scope="module")
def family(tmp_path_factory: pytest.TempPathFactory) -> Family:
    """The invented family."""
    file = tmp_path_factory.mktemp("coil") / "coil-valve.toml"
    file.write_text(VALVE, encoding="utf-8")
    return load_family(file)


@pytest.fixture(scope="module")
def model(family: Family) -> CompiledModel:
    """Compiled for a car of which nothing is known."""
    return compile_model(family, empty_sheet())


def value(model: CompiledModel, latent: Latent, **changed: float) -> float:
    """A latent on the nominal car with some scalars changed (dots written as two underscores)."""
    values = model.table.nominal[0].copy()
    for name, number in changed.items():
        values[model.table.index[name.replace("__", ".")]] = number
    x, _ = latent.evaluate(model.physics, Worlds(model.table, values[:, None]))
    return float(from_scale(latent.scale, x)[0])


def test_a_coil_moves_by_the_logarithm_of_its_current(family: Family, model: CompiledModel) -> None:
    """Ohm's law: I = 12 V / (0.05 + 0.1 + 10) ohm; pulls = ln(I / 0.5 A), below 0 behind 20 ohm."""
    amp = form_of_check(family, family.checks["amp"], 1e7).modes[0].number
    pulls = form_of_check(family, family.checks["pulls"], 1e7).latents()[0]
    assert amp is not None
    assert value(model, amp) == pytest.approx(12 / 10.15, rel=1e-9)
    assert value(model, pulls) == pytest.approx(math.log(12 / 10.15 / 0.5), rel=1e-6)
    poor = value(model, pulls, wire__ohm=20.0)
    assert poor == pytest.approx(math.log(12 / 30.05 / 0.5), rel=1e-6)


def test_gradients_of_a_coil_are_those_of_small_steps(family: Family, model: CompiledModel) -> None:
    """Derivative by each scalar's own coordinate against a central difference, to 1e-6."""
    latent = form_of_check(family, family.checks["pulls"], 1e7).latents()[0]
    table = model.table
    nominal = table.nominal[0].copy()
    _, gradient = latent.evaluate(model.physics, Worlds(table, nominal[:, None]))
    found = {table.ids[int(p)]: float(gradient.value[k, 0]) for k, p in enumerate(gradient.index)}
    for name in ("coil.ohm", "coil.pull_amp", "wire.ohm"):
        ends = []
        for step in (1e-5, -1e-5):
            values = nominal.copy()
            values[table.index[name]] *= math.exp(step)
            ends.append(float(latent.evaluate(model.physics, Worlds(table, values[:, None]))[0][0]))
        assert found[name] == pytest.approx((ends[0] - ends[1]) / 2e-5, abs=1e-6), name


def test_without_current_or_closed_throttle_the_idle_is_not_held(model: CompiledModel) -> None:
    """Good: the target. A coil that cannot pull, or a throttle not seen closed: as parked."""
    rows = {
        row["faults"][0] if row["faults"] else "good": row
        for check in predict(model, "basics.idle.hot")["checks"]
        for row in check["rows"]
    }
    parked = rows["wire_poor"]["median"]
    assert rows["good"]["median"] == pytest.approx(690, abs=15)
    assert abs(parked - 690) > 30
    assert rows["contact_open"]["median"] == pytest.approx(parked, rel=0.02)


def test_half_a_closed_throttle_line_is_refused(tmp_path: Path) -> None:
    """Two places without volts, an unknown place, an unknown coil: each is reported at control."""
    for old, new, says in (
        (", closed_below_v = 1.0", "", "closed_between and closed_below_v go together"),
        ('["sig", "chassis"], closed', '["sigg", "chassis"], closed', 'place a lead can go "sigg"'),
        ('actuator = "coil"', 'actuator = ["coil", "koil"]', 'no motor or coil "koil"'),
    ):
        file = tmp_path / "bad.toml"
        file.write_text(VALVE.replace(old, new), encoding="utf-8")
        found = [p for p in vet_file(file) if says in p.says]
        assert len(found) == 1, (says, vet_file(file))
