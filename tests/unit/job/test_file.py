"""Job files: the written example, JSON, epochs, states, and what contradicts."""

from __future__ import annotations

import io
import json
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from idlewright.errors import BadInput, Problem
from idlewright.job.file import load_job

FOLDER = Path(__file__).parents[2] / "contracts" / "mistakes"
Job = dict[str, Any]

EXAMPLE = """format = 1
id = "invented-014"
family = "plunger-carburettor"
vehicle = "blue estate, 2.8 six, automatic"
sheet = { reference_v = ["4.8 V", "5.2 V", "p. 12"], closed_v = ["0.47 V", "0.57 V", "p. 31"] }
[complaint]
words = ["stalls_on_load"]
says  = "Dies when the compressor cuts in"
[state]
engine = "hot"
[limits]
tools = ["meter", "tachometer", "battery_9v"]
helper = false
[[meter]]
id = "m1"
volt = { percent = 0.5, counts = 3, resolution = "1 mV", input_ohm = 10e6 }
[[code]]
id = "tps_low"
when = "now"
[[reading]]
id = "r1"
check = "tps.signal.closed"
value = "0.52 V"
meter = "m1"
[[reading]]
id = "r2"
red = "tps.gnd.sensor"
black = "battery.negative"
function = "volt"
state = { key = "on", throttle = "closed" }
value = "20 mV"
[[reading]]
id = "r3"
struck = "leads were swapped"
check = "tps.reference"
value = "1.97 V"
[[done]]
repair = "tps.gnd.renew"
after = "r2"
"""


@pytest.fixture
def job() -> Job:
    """A good job for the small engine, as data, with the family named by its file."""
    data: Job = tomllib.loads((FOLDER / "job.toml").read_text(encoding="utf-8"))
    data["family"] = str(FOLDER / "small-engine.toml")
    return data


def problems_of(job: Job, spoil: Callable[[Job], object]) -> list[Problem]:
    """Problems of a job once it is spoilt."""
    spoil(job)
    with pytest.raises(BadInput) as caught:
        load_job(job)
    return list(caught.value.problems)


def test_example_loads() -> None:
    """The job of the manual: typed text and what it means, epochs by `after`."""
    job = load_job(tomllib.loads(EXAMPLE))
    first, second, third = job.readings
    assert (first.number, first.unit, first.step) == (0.52, "V", 0.01)
    assert (second.number, second.step, second.typed) == (0.02, 0.001, "20 mV")
    assert second.says_state == {"key": "on", "throttle": "closed"}
    assert second.state["engine"] == "hot" and second.state["computer"] == "plugged"
    assert (third.counts, third.struck, third.number) == (False, "leads were swapped", 1.97)
    assert [entry.epoch for entry in job.readings] == [0, 0, 1] and job.epoch == 1
    assert job.meters["m1"].functions["volt"].percent == 0.5
    assert (job.words, job.helper, job.codes[0].id) == (("stalls_on_load",), False, "tps_low")
    assert job.sheet.values["closed_v"].page == "p. 31"


def test_json_loads_equal(tmp_path: Path) -> None:
    """The same job as TOML, as JSON, as data and from standard input is the same job."""
    toml, as_json = tmp_path / "job.toml", tmp_path / "job.json"
    data = tomllib.loads(EXAMPLE)
    toml.write_text(EXAMPLE, encoding="utf-8")
    as_json.write_text(json.dumps(data, indent=1), encoding="utf-8")
    assert load_job(toml) == load_job(as_json) == load_job(data)


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    """`-` reads standard input, JSON or TOML."""
    raw = io.TextIOWrapper(io.BytesIO(EXAMPLE.encode()))
    monkeypatch.setattr(sys, "stdin", raw)
    assert load_job("-").id == "invented-014"


def test_sheet_and_family_beside_the_job(tmp_path: Path) -> None:
    """A family and a sheet named by id and file are looked for beside the job."""
    for file in ("pot3.toml", "small-engine.toml", "estate.toml"):
        (tmp_path / file).write_text((FOLDER / file).read_text(encoding="utf-8"))
    path = tmp_path / "job.toml"
    path.write_text('format = 1\nid = "j"\nfamily = "small-engine"\nsheet = "estate.toml"\n')
    job = load_job(path)
    assert job.sheet.id == "invented-estate" and job.sheet.values["bias"].word == "down"
    assert job.readings == () and job.tools is None and job.helper


def test_missing_is_allowed() -> None:
    """Format, id and family are enough."""
    job = load_job({"format": 1, "id": "j", "family": "plunger-carburettor"})
    assert (job.vehicle, job.sheet.values, job.state) == ("", {}, {})


@pytest.mark.parametrize(
    ("typed", "number", "word", "overload"),
    [
        ("wisp", None, "wisp", False),
        ("  WISP ", None, "wisp", False),
        ("wisp, 1.5 mm2", 1.5, "wisp", False),
    ],
)
def test_words(job: Job, typed: str, number: float | None, word: str, overload: bool) -> None:
    """A word in any capitals, alone or with the number that goes with it."""
    job["reading"][2]["value"] = typed
    entry = load_job(job).readings[2]
    assert (entry.number, entry.word, entry.overload) == (number, word, overload)


def test_open_circuit(job: Job) -> None:
    """"OL" is no number; a unit beside it names the range."""
    job["reading"][4]["value"] = "OL kohm"
    entry = load_job(job).readings[4]
    assert (entry.overload, entry.overload_unit, entry.number) == (True, "kohm", None)


def test_done_before_the_first_reading(job: Job) -> None:
    """`after = "start"` puts a repair before everything."""
    job["done"] = [{"repair": "hose.renew", "after": "start"}]
    assert {entry.epoch for entry in load_job(job).readings} == {1}


def test_plug_off_now_but_on_in_the_last_check(job: Job) -> None:
    """[state] against the last check at that plug: told at both places."""
    found = problems_of(job, lambda j: j["state"].update(plug="unplugged"))
    assert {p.key for p in found} == {"state.plug", "reading.r6.check"}
    job["reading"][-1]["state"] = {"plug": "plugged"}
    assert load_job(job).state["plug"] == "unplugged"


def test_reading_against_its_own_check(job: Job) -> None:
    """A state that the check is never made in names both sides."""
    (found,) = problems_of(job, lambda j: j["reading"][0].update(state={"throttle": "wide"}))
    assert found.key == "reading.r1.state.throttle"
    assert "check.tps.closed.in.throttle" in found.says


def test_ohms_on_a_live_circuit(job: Job) -> None:
    """An ohmmeter across five volts is refused; on the dead circuit it is not."""
    live = {"function": "ohm", "value": "120 ohm"}
    (found,) = problems_of(job, lambda j: j["reading"][5].update(live))
    assert found.key == "reading.r7.function" and "key = on" in found.says
    job["reading"][5]["state"] = {"key": "off"}
    assert load_job(job).readings[5].number == 120
    job["reading"][5].update(state={"key": "on"}, struck="key was on")
    assert not load_job(job).readings[5].counts


def test_repairs_out_of_order(job: Job) -> None:
    """The order of the file is the order of time."""
    (found,) = problems_of(job, lambda j: j["done"].reverse())
    assert found.key == "done.2.after" and "later" in found.says


def test_struck_reading_may_mean_nothing(job: Job) -> None:
    """What was typed wrong and struck does not stop the job."""
    job["reading"][0].update(value="0.66 ohm", struck="typed on the wrong line")
    entry = load_job(job).readings[0]
    assert (entry.number, entry.typed) == (None, "0.66 ohm")


def test_everything_at_once(job: Job) -> None:
    """Problems of all parts of a job come together."""

    def spoil(j: Job) -> None:
        j["complaint"]["words"] = ["idles_hihg"]
        j["limits"]["tools"] = ["meterr"]
        j["meter"][0]["volt"]["percent"] = -1
        j["reading"][0]["value"] = "0.66"
        j["reading"][1]["red"] = "nowhere"
        j["reading"][3]["id"] = "r1"
        j["done"][0]["repair"] = "hose.fix"
        j["sheet"]["closed_v"] = ["0.6 V", "0.5 V", "p. 1"]

    keys = {problem.key for problem in problems_of(job, spoil)}
    assert keys == {
        "complaint.words.1", "limits.tools.1", "meter.m1.volt.percent", "reading.r1.value",
        "reading.r2.red", "reading.r1.id", "done.1.repair", "done.1.after", "sheet.closed_v",
    }  # fmt: skip
