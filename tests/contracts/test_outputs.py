"""What the program prints is what the published schemas say."""

import json
import tomllib

import pytest
from jsonschema import Draft202012Validator

from contracts.program import idlewright, idlewright_here
from contracts.tracked import ROOT
from idlewright import schema
from idlewright.cli.families import family_ids
from idlewright.cli.list_verb import WHAT
from tiny_family import TINY

FAMILIES = family_ids()
JOBS = [
    path
    for path in sorted((ROOT / "examples").rglob("*.toml"))
    if "vehicle" in tomllib.loads(path.read_text("utf-8"))
]


def answer(name, *words, cwd=None, codes=(0,)):
    """Run the program with --json; its answer, checked against the schema of that name."""
    done = idlewright_here(*words, "--json", cwd=cwd)
    assert done.returncode in codes, done.stderr
    assert done.stderr == ""
    document = json.loads(done.stdout)
    Draft202012Validator(schema(name)).validate(document)
    return document


def test_the_families_are_those_of_the_data_folder():
    """Whatever family file lies in the data folder is listed under its id, with a description."""
    folder = ROOT / "src" / "idlewright" / "family" / "data" / "families"
    there = sorted(path.stem for path in folder.glob("*.toml"))
    assert "plunger-carburettor" in there
    assert there == FAMILIES
    listed = answer("list", "list", "families")
    assert [item["id"] for item in listed["items"]] == there
    assert all(item["says"] for item in listed["items"])


@pytest.mark.parametrize(
    "words", [["list", "checks"], ["predict"], ["demo", "--family"], ["new", "job", "--family"]]
)
def test_a_family_that_is_not_there_is_told_with_those_that_are(words):
    """A mistyped family is met with the likely one, a foreign one with all: code 2, one line."""
    for name, says in [
        ("plunger-carburetor", 'did you mean "plunger-carburettor"?'),
        ("zzz", "use one of " + ", ".join(FAMILIES)),
    ]:
        done = idlewright_here(*words, name)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.count("\n") == 1
        assert f'there is no family "{name}"' in done.stderr
        assert says in done.stderr


@pytest.mark.parametrize("what", [what for what in WHAT if what != "families"])
@pytest.mark.parametrize("family", FAMILIES)
def test_lists_are_as_published(family, what):
    """Each list of each family is valid and not empty, its ids are unique, everything has words."""
    items = answer("list", "list", what, family)["items"]
    ids = [item["id"] for item in items]
    assert ids and len(ids) == len(set(ids))
    assert all(item["says"] for item in items)


@pytest.mark.parametrize("family", FAMILIES)
def test_predictions_are_as_published(family):
    """One fault under every check, then one check under every fault; the good car comes first."""
    faults = [item["id"] for item in answer("list", "list", "faults", family)["items"]]
    found = answer("predict", "predict", family, "--fault", faults[0])
    assert [check["rows"][0]["faults"] for check in found["checks"]] == [[]] * len(found["checks"])
    name = next(check["check"] for check in found["checks"] if check["reads"] == "volt")
    (check,) = answer("predict", "predict", family, "--check", name)["checks"]
    assert [row["faults"] for row in check["rows"]] == [[], *([fault] for fault in faults)]


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("kind", ["job", "sheet"])
def test_a_new_file_for_a_family_passes_vet(family, kind, tmp_path):
    """`new job` and `new sheet` write files without a fault."""
    idlewright_here("new", kind, "--family", family, "--out", "new.toml", cwd=tmp_path)
    done = idlewright_here("vet", "new.toml", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "new.toml: no faults found.\n"


@pytest.mark.parametrize("kind", ["family", "part"])
def test_a_new_file_of_ones_own_passes_vet(kind, tmp_path):
    """`new family` and `new part` write files without a fault; `--expanded` shows more of them."""
    idlewright_here("new", kind, "--out", "new.toml", cwd=tmp_path)
    done = idlewright_here("vet", "--expanded", "new.toml", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("new.toml: no faults found.\n")
    assert "gnd.poor" in done.stdout


def test_a_sheet_with_its_notes_taken_away_passes_vet(tmp_path):
    """Every value that a new sheet shows as a note is written as it must be."""
    for family in FAMILIES:
        head, _, values = idlewright_here("new", "sheet", "--family", family).stdout.partition(
            "[value]\n"
        )
        text = head + "[value]\n" + values.replace("# ", "", 1).replace("\n# ", "\n")
        (tmp_path / "sheet.toml").write_text(text, encoding="utf-8")
        done = idlewright_here("vet", "sheet.toml", cwd=tmp_path)
        assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("family", FAMILIES)
def test_a_new_job_can_be_judged(family, tmp_path):
    """A job without any reading gives an answer of the published form, odds adding up to one."""
    idlewright_here("new", "job", "--family", family, "--out", "job.toml", cwd=tmp_path)
    found = answer("judge", "judge", "job.toml", cwd=tmp_path, codes=(0, 3))
    assert abs(sum(suspect["probability"] for suspect in found["suspects"]) - 1) <= 1e-9


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.name)
def test_shipped_jobs_are_judged_as_published(path):
    """Each example job gives a valid answer, the same to the letter in a process of its own."""
    found = answer("judge", "judge", str(path), codes=(0, 3))
    assert found == json.loads(idlewright("judge", str(path), "--json").stdout)
    assert abs(sum(suspect["probability"] for suspect in found["suspects"]) - 1) <= 1e-9


def test_faults_found_by_vet_are_as_published(tmp_path):
    """`vet --json` prints the error document as its answer, each fault with its line; code 1."""
    text = idlewright_here("new", "part").stdout.replace('"gnd.s"], ohm', '"gnd.s"], omh')
    (tmp_path / "part.toml").write_text(text, encoding="utf-8")
    errors = answer("error", "vet", "part.toml", cwd=tmp_path, codes=(1,))["errors"]
    line = 1 + next(k for k, row in enumerate(text.splitlines()) if "omh" in row)
    assert any(error["line"] == line and "omh" in json.dumps(error) for error in errors)
    assert all(error["file"] == "part.toml" for error in errors)


@pytest.fixture
def tiny(tmp_path):
    """A family of a few faults in a file: studies of it take seconds."""
    (tmp_path / "tiny.toml").write_text(TINY, encoding="utf-8")
    return tmp_path


def test_a_small_study_is_as_published(tiny):
    """`study plan` prints the study document; its counts are of the cases asked for."""
    cars = ("--family", "tiny.toml", "--cases", "2", "--seed", "2")
    arms = ("--arms", "repairs only, bits a minute")
    found = answer("study", "study", "plan", *cars, *arms, "--out", "rows", cwd=tiny)
    assert (found["cases"], found["seed"]) == (2, 2)
    assert {arm["name"] for arm in found["arms"]} == {"repairs only", "bits a minute"}
    rows = (tiny / found["per_case"]).read_text("utf-8").splitlines()
    assert len(rows) == 2


def test_a_study_of_truth_is_as_published(tiny):
    """`study truth` prints its document: every world, with as many cars as asked for."""
    found = answer("truth", "study", "truth", "--family", "tiny.toml", "--cases", "1", cwd=tiny)
    assert {world["cars"] for world in found["worlds"]} == {1}


def test_a_study_of_speed_is_as_published(tiny):
    """`study speed` prints its document: each kind of answer with its seconds."""
    found = answer("speed", "study", "speed", "--family", "tiny.toml", "--cases", "1", cwd=tiny)
    assert {row["id"] for row in found["rows"]} >= {"judge", "predict"}


def test_gaps_are_as_published(tiny):
    """`study gaps` prints its document: every fault, every pair; code 1 if one is unseen."""
    found = answer("gaps", "study", "gaps", "--family", "tiny.toml", cwd=tiny, codes=(0, 1))
    count = len(found["faults"])
    assert len(found["pairs"]) == count * (count - 1) // 2


def test_options_that_a_study_would_not_obey_are_refused(tiny):
    """`--out` belongs to `study plan` alone: elsewhere it is bad usage, not silence."""
    done = idlewright_here("study", "gaps", "--out", "rows", cwd=tiny)
    assert (done.returncode, done.stdout) == (2, "")
    assert "study gaps has no --out" in done.stderr


def test_the_demo_ends_and_keeps_its_record(tmp_path):
    """`demo --out` works a job by itself: a story that ends, a summary as published, a page."""
    found = answer("demo", "demo", "--seed", "1", "--out", str(tmp_path / "a" / "record"))
    folder = tmp_path / "a" / "record"
    assert json.loads((folder / "summary.json").read_text("utf-8")) == found
    assert (folder / "record.html").read_text("utf-8").startswith("<!doctype html>")
    story = (folder / "story.txt").read_text("utf-8").splitlines()
    assert len(story) == found["steps"] > 1
