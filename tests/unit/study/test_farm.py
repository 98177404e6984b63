"""A study spread over workers: the same bytes, dying workers, no farm, a study gone on with."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import time
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from farm_work import (
    dies_at_three,
    dies_once,
    differs_by_process,
    double,
    finds_no_file,
    is_refused,
    is_slow,
    two_rows_or_death,
)
from idlewright.cli.entry import main
from idlewright.errors import BadInput, CannotTell
from idlewright.study import rows as rows_module
from idlewright.study.cases import Truth
from idlewright.study.farm import AHEAD, DEATHS, Stopped, spread
from idlewright.study.plan_study import study_plan
from idlewright.study.rows import HEAD, Helpers, RowFile, rows_of
from idlewright.study.truth import truth
from idlewright.study.truth_car import World
from tiny_family import TINY

ARMS = ("repairs only", "bits a minute")
WORLDS = (World("wide"), World("slips", slip=0.3))


@pytest.fixture(scope="module")
def family(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The file of a tiny family."""
    path = tmp_path_factory.mktemp("family") / "tiny.toml"
    path.write_text(TINY, encoding="utf-8")
    return str(path)


@contextlib.contextmanager
def cluster(workers: int = 2) -> Iterator[str]:
    """The address of a scheduler with worker processes of its own."""
    distributed = pytest.importorskip("distributed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library itself warns about is not ours
        with distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as found:
            yield str(found.scheduler_address)


@pytest.fixture(scope="module")
def farm() -> Iterator[str]:
    """One farm for the tests that leave it whole."""
    with cluster() as address:
        yield address


@pytest.mark.filterwarnings("ignore")
def test_a_farm_gives_the_same_bytes_as_one_process(family: str, farm: str) -> None:
    """Both studies on two workers of a local cluster, and in this process."""
    far, how = Helpers(scheduler=farm), Truth("wide", slip=0.1)
    plans = [study_plan(family, 5, 7, truth=how, arms=ARMS, helpers=h) for h in (None, far)]
    assert json.dumps(plans[0]) == json.dumps(plans[1])
    truths = [truth(family, 6, 3, worlds=WORLDS, helpers=h) for h in (None, far)]
    assert json.dumps(truths[0]) == json.dumps(truths[1])


@pytest.mark.filterwarnings("ignore")
def test_results_come_in_the_order_of_the_tasks(farm: str) -> None:
    """In one process, in two, and on a farm; more tasks than are given out at a time."""
    tasks = list(range(6 * AHEAD))
    for workers, scheduler in ((1, None), (2, None), (1, farm)):
        assert list(spread(double, tasks, workers, scheduler)) == [2 * task for task in tasks]


@pytest.mark.filterwarnings("ignore")
def test_what_the_work_refuses_is_told_as_it_is(farm: str) -> None:
    """Bad input in a worker is bad input here, on whatever machine it was found."""
    for workers, scheduler in ((1, None), (2, None), (1, farm)):
        with pytest.raises(BadInput, match="task 5 is wrong"):
            list(spread(is_refused, [5], workers, scheduler))


def test_a_worker_that_dies_once_is_replaced(tmp_path: Path) -> None:
    """Its task is done again, and nothing is missing or doubled."""
    tasks = [(number, str(tmp_path)) for number in range(8)]
    assert list(spread(dies_once, tasks, 2, None)) == list(range(8))


def test_workers_that_keep_dying_end_the_study_with_one_sentence() -> None:
    """Processes: what was done before is given, then the sentence."""
    got = []
    with pytest.raises(CannotTell, match=f"{DEATHS} workers died .* part 4 of 6") as caught:
        for found in spread(dies_at_three, list(range(6)), 2, None):
            got.append(found)
    assert got == [0, 1, 2]
    assert caught.value.exit_code == 3 and caught.value.problems[0].remedy


@pytest.mark.filterwarnings("ignore")
def test_workers_that_keep_dying_on_a_farm() -> None:
    """The same sentence; the farm gives up the task after a few deaths of its own."""
    with cluster() as address, pytest.raises(CannotTell, match="died one after another at part 4"):
        list(spread(dies_at_three, list(range(6)), 1, address))


@pytest.mark.filterwarnings("ignore")
def test_a_scheduler_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bad input with what to do."""
    pytest.importorskip("distributed")
    monkeypatch.setattr("idlewright.study.farm.PATIENCE", 1.0)
    with pytest.raises(BadInput, match="no scheduler answers") as caught:
        list(spread(double, [1], 1, "tcp://127.0.0.1:9"))
    assert caught.value.exit_code == 2 and "--workers" in caught.value.problems[0].remedy


@pytest.mark.filterwarnings("ignore")
def test_work_that_fails_is_not_a_farm_that_is_lost(farm: str) -> None:
    """An error of the operating system in the work comes back as it is."""
    with pytest.raises(FileNotFoundError, match="no file for task 5"):
        list(spread(finds_no_file, [5], 1, farm))


@pytest.mark.filterwarnings("ignore")
def test_a_farm_without_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits for ever: bad input with what to do."""
    monkeypatch.setattr("idlewright.study.farm.PATIENCE", 1.0)
    with cluster(0) as address, pytest.raises(BadInput, match="has no worker") as caught:
        list(spread(double, [1], 1, address))
    assert caught.value.exit_code == 2 and "start one" in caught.value.problems[0].remedy


@pytest.mark.filterwarnings("ignore")
def test_workers_of_another_program_are_refused(
    farm: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their answers need not be the same bytes."""
    monkeypatch.setattr("idlewright.study.farm.program_sha256", differs_by_process)
    with pytest.raises(BadInput, match="another version of this program") as caught:
        list(spread(double, [1], 1, farm))
    assert "install the same Idlewright" in caught.value.problems[0].remedy


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("victim", "why"),
    [(0, "the farm at .* was lost"), (1, "no worker is left on the farm at .*")],
    ids=["scheduler", "worker"],
)
def test_a_farm_that_is_lost_on_the_way(
    victim: int, why: str,
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Scheduler or last worker dies after three parts: these, then one sentence, and no other."""
    pytest.importorskip("distributed")
    monkeypatch.setattr("idlewright.study.farm.PATIENCE", 60.0)  # they have yet to start
    at, got = tmp_path / "scheduler.json", []
    with started("dask_scheduler", "--host", "127.0.0.1", "--port", "0", at) as scheduler:
        while not at.exists() or not at.read_text("utf-8").strip():
            assert scheduler.poll() is None
            time.sleep(0.1)
        address = json.loads(at.read_text("utf-8"))["address"]
        with (
            started("dask_worker", "--nthreads", "1", "--no-nanny", at) as worker,
            pytest.raises(Stopped, match=f"{why} at part 4 of 40") as caught,
        ):
            for found in spread(is_slow, list(range(40)), 1, address):
                got.append(found)
                if len(got) == 3:
                    monkeypatch.setattr("idlewright.study.farm.PATIENCE", 1.0)
                    (scheduler, worker)[victim].kill()
    assert got == [0, 1, 2] and caught.value.exit_code == 3
    assert capfd.readouterr().err == ""


@contextlib.contextmanager
def started(program: str, *words: str | Path) -> Iterator[subprocess.Popen[bytes]]:
    """A program of the library as a process of its own; the last word is the scheduler's file."""
    command = [sys.executable, "-m", f"distributed.cli.{program}", "--no-dashboard"]
    command += [*map(str, words[:-1]), "--scheduler-file", str(words[-1])]
    quiet = subprocess.DEVNULL
    tests = Path(__file__).parents[2]  # where the workers find the work of these tests
    places = os.pathsep.join(str(place) for place in (tests.parent / "src", tests))
    environment = {**os.environ, "PYTHONPATH": places}
    with subprocess.Popen(command, stdout=quiet, stderr=quiet, env=environment) as process:
        try:
            yield process
        finally:
            process.kill()


@pytest.mark.filterwarnings("ignore")
def test_the_command_says_one_line_when_no_scheduler_is_there(
    family: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, for both studies."""
    pytest.importorskip("distributed")
    monkeypatch.setattr("idlewright.study.farm.PATIENCE", 1.0)
    for words in (["plan", "--arms", "repairs only"], ["truth"]):
        code = main(["study", *words, "--family", family, "--scheduler", "tcp://127.0.0.1:9"])
        said = capfd.readouterr()
        assert (code, said.out, said.err.count("\n")) == (2, "", 1)
        assert "no scheduler answers at tcp://127.0.0.1:9" in said.err


def test_where_a_study_stopped_is_told_in_cars(tmp_path: Path) -> None:
    """Which cars, what is kept and what to do; counted from the start of the study."""
    tasks, sizes = list(range(6)), [2, 2, 2, 2, 2, 1]
    kept = RowFile(tmp_path, "rows.jsonl", {"study": "of two processes"})
    kept.begin()
    kept.add([{"task": 0}, {"task": 0}])
    with pytest.raises(CannotTell, match="died one after another at cars 7 to 8 of 11") as caught:
        list(rows_of(two_rows_or_death, tasks, sizes, Helpers(2), kept))
    assert f"the 6 cars before them are kept in {kept.path}" in str(caught.value)
    assert "the same command again" in caught.value.problems[0].remedy
    assert [row["task"] for row in kept.begin()] == [0, 0, 1, 1, 2, 2]


def test_a_command_killed_half_way_goes_on_to_the_same_bytes(
    family: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A real process, killed as a power cut would; its rows stay as they are."""
    words = ["study", "truth", "--family", family, "--cases", "2", "--json", "--out"]
    out = tmp_path / "cut" / "per-car.jsonl"
    command = [sys.executable, "-m", "idlewright", *words, str(out.parent)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        while not out.exists() or out.stat().st_size == 0:
            assert process.poll() is None
            time.sleep(0.01)
        process.kill()
    before = out.read_bytes()
    said = []
    for name in ("whole", "cut"):
        assert main([*words, str(tmp_path / name)]) == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]
    after = out.read_bytes()
    assert after == (tmp_path / "whole" / out.name).read_bytes()
    assert 0 < before.count(b"\n") < after.count(b"\n")
    assert after.startswith(before[: before.rfind(b"\n") + 1])


class Counted:
    """Counts the parts that are worked, and breaks off after some."""

    def __init__(self, most: int) -> None:
        self.most, self.count = most, 0

    def __call__(self, work: Any, tasks: Any, workers: int, scheduler: str | None) -> Iterator[Any]:
        """As `spread`, in this process."""
        for task in tasks:
            if self.count == self.most:
                raise KeyboardInterrupt
            self.count += 1
            yield work(task)


def test_a_study_cut_off_goes_on_to_the_same_bytes(
    family: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Interrupted after two parts, and in the middle of a line: no part is worked twice."""
    whole = truth(family, 6, 3, worlds=WORLDS, out=tmp_path / "whole")
    out = tmp_path / "cut"
    monkeypatch.setattr(rows_module, "spread", first := Counted(2))
    with pytest.raises(KeyboardInterrupt):
        truth(family, 6, 3, worlds=WORLDS, out=out)
    with (out / "per-car.jsonl").open("a", encoding="utf-8") as file:
        file.write('{"car": 3, "chec')
    monkeypatch.setattr(rows_module, "spread", second := Counted(99))
    again = truth(family, 6, 3, worlds=WORLDS, out=out)
    assert json.dumps(again) == json.dumps(whole)
    assert (out / "per-car.jsonl").read_bytes() == (tmp_path / "whole/per-car.jsonl").read_bytes()
    assert (first.count, second.count) == (2, 2)  # four parts in all: two worlds of 4 + 2 cars


def test_a_study_can_be_made_longer(
    family: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More cases of the same study: only the new ones are worked."""
    study_plan(family, 4, 7, arms=("repairs only",), out=tmp_path)
    monkeypatch.setattr(rows_module, "spread", counted := Counted(99))
    longer = study_plan(family, 6, 7, arms=("repairs only",), out=tmp_path)
    assert counted.count == 1 and longer["cases"] == 6
    fresh = study_plan(family, 6, 7, arms=("repairs only",))
    assert json.dumps({**longer, "per_case": ""}) == json.dumps({**fresh, "per_case": ""})


def test_rows_of_another_study_are_left_alone(family: str, tmp_path: Path) -> None:
    """Another seed, or rows of nobody knows what: refused, nothing overwritten."""
    study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path)
    before = (tmp_path / "per-case.jsonl").read_bytes()
    with pytest.raises(BadInput, match="rows of another study"):
        study_plan(family, 2, 8, arms=("repairs only",), out=tmp_path)
    (tmp_path / HEAD).unlink()
    with pytest.raises(BadInput, match="rows of another study"):
        study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path)
    assert (tmp_path / "per-case.jsonl").read_bytes() == before


def test_another_kind_of_study_does_not_take_the_folder(family: str, tmp_path: Path) -> None:
    """Truth where a plan's rows are: refused, and the plan still goes on from its rows."""
    study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path)
    before = (tmp_path / HEAD).read_bytes()
    with pytest.raises(BadInput, match="rows of another study"):
        truth(family, 2, 7, worlds=WORLDS, out=tmp_path)
    assert (tmp_path / HEAD).read_bytes() == before and not (tmp_path / "per-car.jsonl").exists()
    study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path)


def test_a_shorter_study_leaves_the_rows_of_the_longer_one(family: str, tmp_path: Path) -> None:
    """Rows that took long are not thrown away because fewer are asked for."""
    study_plan(family, 4, 7, arms=("repairs only",), out=tmp_path)
    before = (tmp_path / "per-case.jsonl").read_bytes()
    assert study_plan(family, 2, 7, arms=("repairs only",), out=tmp_path)["cases"] == 2
    assert (tmp_path / "per-case.jsonl").read_bytes() == before


@pytest.mark.parametrize("line", ['{"task": 0', "5", ""])
def test_a_damaged_line_is_told_with_its_place(tmp_path: Path, line: str) -> None:
    """In the middle of the file it is not a line cut off: said, and nothing is changed."""
    kept = RowFile(tmp_path, "rows.jsonl", {})
    kept.begin()
    kept.path.write_text(f'{{"task": 0}}\n{line}\n{{"task": 2}}\n', encoding="utf-8")
    before = kept.path.read_bytes()
    with pytest.raises(BadInput, match="this line is damaged") as caught:
        list(rows_of(two_rows_or_death, [0, 1], [1, 1], Helpers(), kept))
    assert caught.value.problems[0].line == 2 and kept.path.read_bytes() == before


def test_a_folder_that_cannot_be_used(tmp_path: Path) -> None:
    """A file in its place: bad input."""
    (tmp_path / "taken").write_text("", "utf-8")
    kept = RowFile(tmp_path / "taken", "rows.jsonl", {})
    with pytest.raises(BadInput, match="cannot be used"):
        list(rows_of(double, [1], [1], Helpers(), kept))  # type: ignore[arg-type]
