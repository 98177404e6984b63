"""The documents: what they show can be run, and gives what they show."""

import re
import runpy
import shlex

import pytest

from contracts.growing import grown
from contracts.program import idlewright_here
from contracts.tracked import ROOT

PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
FILE = re.compile(
    r"^(?:<!-- kept as (\S+) -->\n)?```(?:toml|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL
)
"""A file shown on a page; with a name it is there when the page's commands run."""
PYTHON = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
EXAMPLES = sorted((ROOT / "examples").rglob("*.toml"))
HIDDEN = "..."
"""A line of dots in shown output stands for any lines."""


def commands(block):
    """(command, shown output lines) for each `$ ` line of a console block."""
    found = []
    for line in block.splitlines():
        if line.startswith("$ "):
            found.append((line[2:], []))
        elif found:
            found[-1][1].append(line)
        else:
            raise ValueError(f"output before any command: {line!r}")
    return found


def blocks():
    """Every console block of every page, with its page and line."""
    for page in PAGES:
        text = page.read_text("utf-8")
        for match in BLOCK.finditer(text):
            line = text.count("\n", 0, match.start()) + 1
            kept = {name: shown for name, shown in FILE.findall(text) if name}
            kept |= grown(text, match.start())
            yield pytest.param(match.group(1), kept, id=f"{page.relative_to(ROOT)}:{line}")


def whole_files():
    """Every file that a page shows from its first line on."""
    for page in PAGES:
        for name, shown in FILE.findall(page.read_text("utf-8")):
            if shown.startswith("format = ") and not name:
                yield pytest.param(shown, id=f"{page.relative_to(ROOT)}: {shown.splitlines()[1]}")


def agrees(shown, printed):
    """True if the printed lines are the shown ones; a line of dots matches any lines."""
    any_lines = r"(?:.*\n)*?"
    lines = [row.rstrip() for row in shown]
    pattern = "".join(any_lines if row == HIDDEN else re.escape(row) + "\n" for row in lines)
    text = "".join(f"{line.rstrip()}\n" for line in printed.splitlines())
    return re.fullmatch(pattern, text) is not None


@pytest.mark.parametrize(("block", "kept"), list(blocks()))
def test_every_shown_command_runs(block, kept, tmp_path):
    """Each console block runs from top to bottom in a folder of its own and prints what it shows.

    `idlewright` runs from this tree, `examples/` and the page's own kept files are there, and
    `; echo $?` is not needed: a command whose exit code is not 0 is written with `# exit N` at its
    end.
    """
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    for name, text in kept.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    for command, shown in commands(block):
        words, _, note = command.partition("  # exit ")
        expected = int(note or 0)
        program, *rest = shlex.split(words)
        assert program == "idlewright", f"only our own program is shown in console blocks: {words}"
        out, typed = None, ""
        if ">" in rest:
            place = rest.index(">")
            out, rest = tmp_path / rest[place + 1], rest[:place]
        if "<" in rest:
            place = rest.index("<")
            typed, rest = (tmp_path / rest[place + 1]).read_text("utf-8"), rest[:place]
        done = idlewright_here(*rest, cwd=tmp_path, stdin=typed)
        assert done.returncode == expected, f"{words}: {done.stderr}"
        if out is not None:
            out.write_text(done.stdout, encoding="utf-8")
            continue
        printed = done.stdout + done.stderr
        if shown:
            assert agrees(shown, printed), f"{words} printed:\n{printed}"


def test_the_matcher_of_shown_output_can_say_no():
    """Shown output must be what is printed; a line of dots stands for any lines."""
    assert agrees(["a", "...", "c"], "a\nb\nb\nc\n")
    assert agrees(["a", "..."], "a\n")
    assert not agrees(["a", "c"], "a\nb\nc\n")
    assert not agrees(["a"], "a\nb\n")


@pytest.mark.parametrize("text", list(whole_files()))
def test_every_shown_file_passes_vet(text, tmp_path):
    """A file that a page shows whole is sound."""
    (tmp_path / "shown.toml").write_text(text, encoding="utf-8")
    done = idlewright_here("vet", "shown.toml", cwd=tmp_path)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_example_passes_vet(path):
    """Every file under examples/ is sound."""
    done = idlewright_here("vet", str(path))
    assert done.returncode == 0, done.stdout


def test_the_python_example_runs_and_is_the_one_on_its_page(capsys):
    """examples/ask_from_python.py runs to its end, and docs/python.md shows it word for word."""
    source = ROOT / "examples" / "ask_from_python.py"
    assert PYTHON.findall((ROOT / "docs" / "python.md").read_text("utf-8")) == [
        source.read_text("utf-8")
    ]
    runpy.run_path(str(source), run_name="__main__")
    printed = capsys.readouterr().out.splitlines()
    assert printed[0].startswith("good car, throttle closed: 0.")
    assert printed[-1] == "answers follow urn:idlewright:judge:1"


def test_the_page_of_python_names_every_public_name():
    """docs/python.md has a row for each public name."""
    import idlewright

    rows = [line for line in (ROOT / "docs" / "python.md").read_text("utf-8").splitlines()
            if line.startswith("| `")]  # fmt: skip
    assert not [name for name in idlewright.__all__ if f"`{name}" not in "\n".join(rows)]


def test_the_python_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    """The first page's Python runs on a new job file and says why it takes its next step."""
    monkeypatch.chdir(tmp_path)
    idlewright_here("new", "job", "--out", "job.toml")
    for block in PYTHON.findall((ROOT / "README.md").read_text("utf-8")):
        exec(compile(block, "README.md", "exec"), {})
    assert capsys.readouterr().out.strip()


def test_the_readme_shows_something_that_runs():
    """The first page has at least one console block."""
    assert BLOCK.search((ROOT / "README.md").read_text("utf-8"))


def test_links_between_pages_lead_somewhere():
    """Every relative link of every page names a file that is there."""
    broken = []
    for page in [*PAGES, ROOT / "CONTRIBUTING.md", ROOT / "CHANGELOG.md"]:
        for target in re.findall(r"\]\(([^)#\s]+)", page.read_text("utf-8")):
            if "://" not in target and not (page.parent / target).exists():
                broken.append(f"{page.relative_to(ROOT)}: {target}")
    assert not broken


def test_the_page_of_families_lists_every_shipped_part():
    """docs/add-to-a-family.md has one row for each part that ships, and none for another."""
    from idlewright.family.shipped import DATA

    text = (ROOT / "docs" / "add-to-a-family.md").read_text("utf-8")
    table = text.partition("| part | is |")[2].partition("\n\n")[0]
    rows = re.findall(r"^\| `(\w+)` \| .+ \|$", table, re.MULTILINE)
    assert sorted(rows) == sorted(file.stem for file in (DATA / "parts").glob("*.toml"))


def test_every_verb_has_its_place_in_the_readme():
    """The first page names every verb."""
    from idlewright.cli.shell import VERBS

    text = (ROOT / "README.md").read_text("utf-8")
    assert not [verb for verb in VERBS if f"`{verb}" not in text]


def test_the_page_of_commands_is_what_the_program_says(monkeypatch):
    """docs/commands.md is the program's own help, word for word, whatever the terminal."""
    monkeypatch.setenv("COLUMNS", "60")
    from idlewright.cli.reference import reference_text

    assert (ROOT / "docs" / "commands.md").read_text("utf-8") == reference_text()
