"""Nothing in the tree leans on one machine, one registry or a paper that does not ship."""

import re

from contracts.tracked import ROOT, project_files, text_of

# Written in halves so that this file does not find itself.
PLACES = ["/wo" + "rk/", "/ro" + "ot/", "/ho" + "me/", "/Us" + "ers/", "C:" + "\\"]
HOSTS = [
    "pypi" + ".org", "python" + "hosted", "registry." + "npmjs", "deb." + "debian",
    "security." + "debian", "index" + "-url", "find" + "-links",
]  # fmt: skip
PAPER_NAMES = ["CONT" + "RACT", "BA" + "NK", "TRA" + "DE", "STA" + "CK", "CHE" + "CKS"]
PAPER_NAMES += ["LO" + "OK", "STY" + "LE", "DES" + "IGN"]
PAPERS = [f"{name}.md" for name in PAPER_NAMES]


def places_of(needles):
    """`file:line: needle` for every needle in every text file of the project."""
    pattern = re.compile("|".join(re.escape(needle) for needle in needles))
    found = []
    for path in project_files():
        for number, line in enumerate((text_of(path) or "").splitlines(), start=1):
            hit = pattern.search(line)
            if hit:
                found.append(f"{path.relative_to(ROOT)}:{number}: {hit.group()}")
    return found


def test_there_are_files_to_look_at():
    """The search sees the project: a check over nothing would pass for ever."""
    names = {str(path.relative_to(ROOT)) for path in project_files()}
    assert {"pyproject.toml", "dev.py", "src/idlewright/errors.py"} <= names


def test_no_file_names_a_folder_of_one_machine():
    """No path that exists on one person's machine only."""
    assert not places_of(PLACES)


def test_no_file_names_a_registry():
    """No package registry's host, so that any mirror serves."""
    assert not places_of(HOSTS)


def test_no_file_cites_a_paper_that_does_not_ship():
    """Numbers carry their published source, not the name of a working paper."""
    assert not places_of(PAPERS)


def test_no_lock_of_the_tool_is_kept():
    """uv's own lock names hosts on every line; only the exported locks are kept."""
    assert not [path for path in project_files() if path.name == "uv.lock"]
