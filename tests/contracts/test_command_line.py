"""The command line: help, exit codes, one line an error, JSON and nothing else."""

import json
import os
import signal
import subprocess
import sys

import jsonschema
import pytest

from bench.start import TIMES_BARE, process_seconds
from contracts.program import idlewright
from contracts.tracked import ROOT
from idlewright import schema
from idlewright.cli import entry, shell
from idlewright.errors import BadInput, CannotTell, Problem, StoreRefused

VERBS = ["demo", "judge", "predict", "new", "vet", "practice", "list", "study"]


@pytest.fixture
def failing(monkeypatch):
    """Make `list` end in a given way, without a process of its own."""

    def make(error):
        def broken(what):
            raise error

        verb = shell.SHELL.get_command(None, "list")
        monkeypatch.setattr(verb, "callback", lambda **_: broken("list"))

    return make


def test_the_verbs_are_the_promised_ones():
    """This version has these verbs, each with a line in the overview."""
    assert list(shell.VERBS) == VERBS
    overview = idlewright("--help").stdout
    assert all(f"  {verb} " in overview for verb in VERBS)


@pytest.mark.parametrize("words", [[], *[[verb] for verb in VERBS]], ids=str)
def test_help_shows_examples_first(words):
    """Every help begins with examples that start with the program's name, within 80 columns."""
    done = idlewright(*words, "--help")
    assert done.returncode == 0
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "Examples:"
    assert lines[1].startswith(" ".join(["  idlewright", *words]))
    assert "Usage: idlewright" in done.stdout
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_the_common_options(verb):
    """`--data` everywhere; `--json` wherever something is answered; `--seed` where it is random."""
    text = idlewright(verb, "--help").stdout
    assert "--data DIR" in text
    assert ("--json" in text) == (verb != "new")
    assert ("--seed N" in text) == (verb in {"demo", "study"})


@pytest.mark.parametrize("words", [["--help"], *[[verb, "--help"] for verb in VERBS]], ids=str)
def test_help_imports_nothing_heavy(words):
    """Help imports neither NumPy nor SciPy, nor pydantic, nor any floor below."""
    code = (
        f"import sys; from idlewright.cli.entry import main; code = main({words!r});"
        "heavy = ('numpy', 'scipy', 'pydantic', 'rich', 'idlewright.physics', 'idlewright.family');"
        "print([m for m in sys.modules if m.startswith(heavy)], file=sys.stderr); sys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_completion_imports_nothing_heavy():
    """Completing verbs and families imports neither NumPy nor SciPy."""
    code = (
        "import sys; from idlewright.cli.entry import main; main([]);"
        "print([m for m in sys.modules if m.startswith(('numpy', 'scipy'))], file=sys.stderr)"
    )
    environment = {
        **os.environ,
        "_IDLEWRIGHT_COMPLETE": "bash_complete",
        "COMP_WORDS": "idlewright predict plunger",
        "COMP_CWORD": "2",
    }
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["plain,plunger-carburettor"]
    assert done.stderr.strip() == "[]"


def test_help_is_there_at_once():
    """Help costs at most eight times the processor time of a bare Python; best of three tries."""
    tries = [process_seconds("-m", "idlewright", "--help") / process_seconds("-c", "pass")]
    while min(tries) > TIMES_BARE and len(tries) < 3:
        tries.append(process_seconds("-m", "idlewright", "--help") / process_seconds("-c", "pass"))
    assert min(tries) <= TIMES_BARE


def test_no_words_show_the_help_and_end_with_two():
    """The bare name shows what there is, on standard error, as a usage error."""
    done = idlewright()
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Examples:" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["juge", "x"], "idlewright: no command 'juge'; did you mean 'judge'?; see"),
        (["zzz"], "idlewright: no command 'zzz'; see 'idlewright --help'"),
        (["judge", "--acuracy", "fine", "x"], "no option '--acuracy'; did you mean '--accuracy'?"),
        (["judge"], "idlewright judge: missing argument 'JOB'"),
        (["list", "cheks"], "'cheks'"),
        (["list", "checks"], "needs a family; one of "),
        (["judge", "--accuracy", "best", "x"], "'best'"),
        (["judge", "no-such-job.toml"], "no-such-job.toml"),
        (["predict", "no-such-family"], "no-such-family"),
    ],
)
def test_a_mistake_in_the_words_is_one_line(words, says):
    """Exit code 2, nothing on standard output, one line on standard error that says it."""
    done = idlewright(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert says in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words", [["juge"], ["judge"], ["judge", "no-such-job.toml"], ["list", "checks"]]
)
def test_with_json_a_mistake_is_json_and_nothing_else(words):
    """With `--json` errors are the document idlewright/error/1, also for usage errors."""
    done = idlewright(*words, "--json")
    assert done.returncode == 2
    assert done.stdout == ""
    document = json.loads(done.stderr)
    jsonschema.validate(document, schema("error"))
    assert len(document["errors"]) == 1


@pytest.mark.parametrize(
    ("error", "code"), [(BadInput("no"), 2), (CannotTell("no"), 3), (StoreRefused("no"), 4)]
)
def test_our_errors_have_their_exit_code(failing, capsys, error, code):
    """Each member of the error family ends the program with its own code and its own line."""
    failing(error)
    assert entry.main(["list", "families"]) == code
    assert capsys.readouterr().err == "no\n"


def test_every_problem_is_a_line(failing, capsys):
    """An error with several problems is as many lines: place, key, what, expected, remedy."""
    problems = [
        Problem("is wrong", "right", "mend it", "a.toml", 3, "check.x"),
        Problem("so is this"),
    ]
    failing(BadInput(problems))
    entry.main(["list", "families"])
    assert capsys.readouterr().err.splitlines() == [
        "a.toml:3: check.x: is wrong; right; mend it",
        "so is this",
    ]


def test_control_characters_in_a_message_are_shown_not_obeyed(failing, capsys):
    """Text from a file cannot move the cursor or colour the screen."""
    failing(BadInput("a\x1b[31mred\x07"))
    entry.main(["list", "families"])
    assert capsys.readouterr().err == "a\\x1b[31mred\\x07\n"


def test_our_own_fault_is_seventy_with_a_report(failing, capsys, tmp_path):
    """An unexpected exception: code 70, one line naming a report that holds the traceback."""
    failing(ZeroDivisionError("by nothing"))
    assert entry.main(["list", "families", "--data", str(tmp_path)]) == 70
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    assert "Traceback" not in line
    (report,) = (tmp_path / "reports").iterdir()
    assert str(report) in line
    text = report.read_text("utf-8")
    assert "ZeroDivisionError: by nothing" in text
    assert "'families'" in text


def test_a_report_finds_another_place_when_the_data_folder_will_not_have_it(
    failing, capsys, tmp_path, monkeypatch
):
    """A data folder that cannot be written to does not lose the report."""
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "elsewhere"))
    failing(ZeroDivisionError("by nothing"))
    assert entry.main(["list", "families", "--data", str(tmp_path / "file" / "in")]) == 70
    (report,) = (tmp_path / "elsewhere").iterdir()
    assert str(report) in capsys.readouterr().err


def test_with_json_our_own_fault_is_json(failing, capsys, tmp_path):
    """Code 70 with `--json` prints the error document."""
    failing(ZeroDivisionError("by nothing"))
    assert entry.main(["list", "families", "--json", "--data", str(tmp_path)]) == 70
    jsonschema.validate(json.loads(capsys.readouterr().err), schema("error"))


def test_interrupted_is_130(failing, capsys):
    """Control-C ends with 130 and no words."""
    failing(KeyboardInterrupt())
    assert entry.main(["list", "families"]) == 130
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(os.name == "nt", reason="signals of this kind are of POSIX systems")
def test_an_interrupt_from_outside_is_130(tmp_path):
    """SIGINT while a verb waits for standard input: 130, no traceback."""
    with subprocess.Popen(
        [sys.executable, "-m", "idlewright", "judge", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    ) as process:
        try:
            # More than a pipe holds: once it is written, the program is reading.
            process.stdin.write("#\n" * 200_000)
            process.stdin.flush()
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=60)
        finally:
            process.kill()
    assert process.returncode == 130
    assert "Traceback" not in said


@pytest.mark.skipif(os.name == "nt", reason="head and pipes of POSIX systems")
def test_a_closed_pipe_is_quiet():
    """A reader that has seen enough: no complaint, exit code 0."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "idlewright", "new", "family"],
        stdout=write, stderr=subprocess.PIPE, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )  # fmt: skip
    os.close(write)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_screen_without_the_letters_does_not_end_the_program(failing, tmp_path):
    """Under a plain ASCII locale letters outside it become `?`."""
    done = idlewright("judge", "µ.toml", PYTHONIOENCODING="ascii", LC_ALL="C")
    assert done.returncode == 2
    assert "?" in done.stderr


def test_new_keeps_a_file_that_is_there(tmp_path):
    """`new --out` never replaces a file: exit code 2, and the file is as it was."""
    there = tmp_path / "part.toml"
    there.write_text("mine")
    done = idlewright("new", "part", "--out", str(there))
    assert done.returncode == 2
    assert "is there already" in done.stderr
    assert there.read_text() == "mine"


def test_a_place_that_cannot_be_written_is_bad_input(tmp_path):
    """`new --out` into a folder that is not there: exit code 2 and one line."""
    done = idlewright("new", "part", "--out", str(tmp_path / "no" / "part.toml"))
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1


def test_the_version_is_told():
    """`--version` prints name and version."""
    from idlewright.version import __version__

    assert idlewright("--version").stdout == f"idlewright {__version__}\n"
