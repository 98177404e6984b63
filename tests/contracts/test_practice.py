"""`practice` as a learner and a teacher use it: through a pipe, killed, gone on with, reported."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from contracts.program import idlewright
from contracts.tracked import ROOT
from idlewright import schema
from idlewright.cli.families import KINDS as OFFERED
from idlewright.practice import KINDS

CAR = ["--family", "plunger-carburettor", "--number", "3", "--kind", "stop-screw"]
FIRST = ["prove 2", "read ask", "turn key on", "turn tps.sensor unplugged"]
LAST = ["read idle.stop.look", "repair idle.stop.set", "prove 3", "leave"]


def practise(lines: list[str], *words: str) -> subprocess.CompletedProcess[str]:
    """`practice` with these lines typed into it."""
    return idlewright("practice", *words, stdin="".join(f"{line}\n" for line in lines))


def marks(file: Path) -> dict[str, object]:
    """The marks that a session keeps."""
    last = json.loads(file.read_text("utf-8").splitlines()[-1])
    found: dict[str, object] = last["marks"]
    return found


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The session of a lesson worked in one go."""
    file = tmp_path_factory.mktemp("whole") / "anna.jsonl"
    done = practise([*FIRST, *LAST], *CAR, "--session", str(file), "--learner", "Anna")
    assert done.returncode == 0, done.stderr
    for head in ("THE CAR COMES IN", "WHAT IT WAS", "DECISIONS", "SAFETY"):
        assert head in done.stdout
    assert max(map(len, done.stdout.replace(str(file), "").splitlines())) <= 80
    return file


def test_the_kinds_offered_are_those_there_are() -> None:
    """The command line names every kind without importing them."""
    assert set(OFFERED) == set(KINDS)


def test_killed_half_way_it_goes_on_where_it_was(whole: Path, tmp_path: Path) -> None:
    """Killed after each told step: nothing told is lost, and the end is the very same."""
    file = tmp_path / "killed.jsonl"
    for line in FIRST:
        words = ["practice", *CAR, "--session", str(file)]
        command = [sys.executable, "-u", "-m", "idlewright", *words]
        environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
        with subprocess.Popen(
            command, env=environment, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
        ) as program:
            assert program.stdin is not None and program.stdout is not None
            program.stdin.write(f"{line}\n")
            program.stdin.flush()
            for told in program.stdout:
                if told.startswith(f"> {line}"):
                    break
            assert program.stdout.readline()
            program.send_signal(signal.SIGKILL)
    assert [json.loads(one)["line"] for one in file.read_text("utf-8").splitlines()[1:]] == FIRST
    done = practise(LAST, "--session", str(file))
    assert "Going on after 4 steps" in done.stdout
    assert {**marks(file), "learner": ""} == {**marks(whole), "learner": ""}


def test_a_line_cut_off_in_the_middle_is_dropped(whole: Path, tmp_path: Path) -> None:
    """What was never whole was never told: the lesson goes on from the step before."""
    lines = whole.read_bytes().splitlines(keepends=True)
    file = tmp_path / "torn.jsonl"
    file.write_bytes(b"".join(lines[:3]) + lines[3][:-9])
    done = practise([], "--session", str(file))
    assert done.returncode == 0 and "Going on after 2 steps" in done.stdout
    assert file.read_bytes() == b"".join(lines[:3])


def test_an_ended_lesson_shows_its_marks_again(whole: Path) -> None:
    """And takes no more steps."""
    before = whole.read_bytes()
    done = practise(["read ask"], "--session", str(whole))
    assert done.returncode == 0 and "DECISIONS" in done.stdout
    assert "This lesson has ended" in done.stdout
    assert whole.read_bytes() == before


def test_json_is_one_document(whole: Path) -> None:
    """The marks and nothing else; what was no step is told on standard error."""
    done = practise([], "--session", str(whole), "--json")
    document = json.loads(done.stdout)
    Draft202012Validator(schema("practice")).validate(document)
    assert document["ending"] == "proven" and done.stderr == ""


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (lambda text: text.replace('"0.', '"9.', 1).replace("clean", "bad"), "answers otherwise"),
        (lambda text: "{}\n" + text, "this is no session of practice"),
        (lambda text: text.replace('"line"', '"li', 1), "this line is damaged"),
        (lambda text: text.replace("session/1", "session/9", 1), "use a newer version"),
        (lambda text: text.replace('"number": 3', '"number": "q"', 1), "begin one with another"),
        (lambda text: text.replace('"line": "prove 2"', '"line": 3', 1), "this line is damaged"),
        (lambda text: text.replace('"line": "prove 2"', '"line": "gone"', 1), "answers otherwise"),
        (lambda text: text.splitlines()[0] + '\n{"marks": {}}\n', "this line is damaged"),
    ],
)
def test_a_session_that_is_damaged_is_refused(whole, tmp_path, damage, says) -> None:
    """One clear line with the file; nothing is changed in it."""
    file = tmp_path / "bad.jsonl"
    text = damage(whole.read_text("utf-8"))
    file.write_text(text, "utf-8")
    done = practise([], "--session", str(file))
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert says in done.stderr and str(file) in done.stderr
    assert file.read_text("utf-8") == text


def test_another_car_is_not_put_into_a_session(whole: Path) -> None:
    """The options name one car, the file holds another."""
    done = practise([], "--session", str(whole), "--number", "4")
    assert done.returncode == 2 and "another car" in done.stderr


def test_another_learner_does_not_go_on_with_it(whole: Path) -> None:
    """Her own name or none goes on; another name is refused."""
    assert practise([], "--session", str(whole), "--learner", "Anna").returncode == 0
    done = practise([], "--session", str(whole), "--learner", "Ben")
    assert done.returncode == 2 and "another learner, Anna" in done.stderr


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    """Broken letters and control characters are left out; the lesson goes on and can be kept."""
    file = tmp_path / "odd.jsonl"
    command = [sys.executable, "-m", "idlewright", "practice", *CAR, "--session", str(file)]
    environment = {
        **os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONIOENCODING": "utf-8:strict",
    }  # fmt: skip
    typed = b"\0\n\xff\xfe\nsay \x1b[31m \xff it\nprove \xc2\xb2\nread ask\n"
    done = subprocess.run(command, input=typed, env=environment, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"\x1b" not in done.stdout and b"2 steps so far" in done.stdout
    lines = [json.loads(one) for one in file.read_text("ascii").splitlines()[1:]]
    assert [one["line"] for one in lines] == ["say [31m \ufffd it", "read ask"]


def test_a_report_goes_with_no_lesson(tmp_path: Path) -> None:
    """What would be ignored is refused."""
    done = idlewright("practice", "--report", str(tmp_path), "--number", "3")
    assert done.returncode == 2 and "--number" in done.stderr


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    """A folder in the way of the session: bad input."""
    (tmp_path / "taken").write_text("", "utf-8")
    done = practise(["read ask"], *CAR, "--session", str(tmp_path / "taken" / "x.jsonl"))
    assert done.returncode == 2 and "cannot be written" in done.stderr


def test_a_teachers_car_with_impossible_faults(tmp_path: Path) -> None:
    """`vet` and `practice` say the same, one line each, and nothing is begun."""
    made = idlewright("new", "car", "--family", "duty-airflow", "--out", "car.toml", cwd=tmp_path)
    assert made.returncode == 0
    file = tmp_path / "car.toml"
    assert idlewright("vet", str(file)).returncode == 0
    more = ("no.such", "tps.gnd.open", "tps.gnd.poor")
    text = "".join(f'[[hidden]]\nfault = "{fault}"\n' for fault in more)
    file.write_text(file.read_text("utf-8") + text, "utf-8")
    vetted = idlewright("vet", str(file))
    done = practise([], "--car", str(file), "--session", str(tmp_path / "s.jsonl"))
    assert (vetted.returncode, done.returncode) == (1, 2)
    assert 'there is no fault "no.such"' in done.stderr
    assert "cannot be there together" in done.stderr
    told = done.stderr.replace("…", "...").splitlines()
    assert told == vetted.stdout.splitlines()[:-1]
    assert not (tmp_path / "s.jsonl").exists()


def test_a_class(whole: Path, tmp_path: Path) -> None:
    """Ended, going on and damaged sessions in one table, one page and one document."""
    (tmp_path / "anna.jsonl").write_bytes(whole.read_bytes())
    (tmp_path / "ben.jsonl").write_bytes(b"".join(whole.read_bytes().splitlines(True)[:3]))
    (tmp_path / "odd.jsonl").write_text("{}\n", "utf-8")
    kept = (tmp_path / "anna.jsonl").read_text("utf-8")
    evil = r"<script>x</script> \udcff\u001b[31m"
    (tmp_path / "eve.jsonl").write_text(kept.replace('"Anna"', f'"{evil}"'), "utf-8")
    (tmp_path / "torn.jsonl").write_text(kept.replace('"minutes": ', '"min": '), "utf-8")
    done = idlewright("practice", "--report", str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert "Anna" in done.stdout and "goes on" in done.stdout and "NOT READ" in done.stdout
    page = (tmp_path / "class.html").read_text("utf-8")
    assert "Anna" in page and "Goes on after 2 steps" in page
    assert "&lt;script&gt;" in page and "<script>" not in page and "\x1b" not in page + done.stdout
    told = json.loads(idlewright("practice", "--report", str(tmp_path), "--json").stdout)
    Draft202012Validator(schema("class")).validate(told)
    assert [(row["learner"], row["ended"], row["safety"]) for row in told["sessions"]] == [
        ("Anna", True, 1), ("Anna", False, 0), ("<script>x</script> [31m", True, 1),
    ]  # fmt: skip


def test_a_class_without_lessons(tmp_path: Path) -> None:
    """An empty folder: cannot tell; no folder: bad input."""
    assert idlewright("practice", "--report", str(tmp_path)).returncode == 3
    assert idlewright("practice", "--report", str(tmp_path / "none")).returncode == 2
