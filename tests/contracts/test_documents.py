"""The documents: what they show can be run, and gives what they show."""

import re
import shlex

import pytest

from contracts.program import idlewright
from contracts.tracked import ROOT

PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
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
            yield pytest.param(match.group(1), id=f"{page.relative_to(ROOT)}:{line}")


def agrees(shown, printed):
    """True if the printed lines are the shown ones; a line of dots matches any lines."""
    any_lines = r"(?:.*\n)*?"
    lines = [row.rstrip() for row in shown]
    pattern = "".join(any_lines if row == HIDDEN else re.escape(row) + "\n" for row in lines)
    text = "".join(f"{line.rstrip()}\n" for line in printed.splitlines())
    return re.fullmatch(pattern, text) is not None


@pytest.mark.parametrize("block", list(blocks()))
def test_every_shown_command_runs(block, tmp_path):
    """Each console block runs from top to bottom in a folder of its own and prints what it shows.

    `idlewright` runs from this tree, `examples/` is there, and `; echo $?` is not needed: a command
    whose exit code is not 0 is written with `# exit N` at its end.
    """
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    for command, shown in commands(block):
        words, _, note = command.partition("  # exit ")
        expected = int(note or 0)
        program, *rest = shlex.split(words)
        assert program == "idlewright", f"only our own program is shown in console blocks: {words}"
        out = None
        if ">" in rest:
            place = rest.index(">")
            out, rest = tmp_path / rest[place + 1], rest[:place]
        done = idlewright(*rest, cwd=tmp_path)
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
