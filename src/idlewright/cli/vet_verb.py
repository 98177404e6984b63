"""`vet`: check files of ours; all faults, one a line."""

from __future__ import annotations

from pathlib import Path

import click

from idlewright.cli.failures import ANSWER_IS_NO, DONE, error_document
from idlewright.cli.screen import width
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option
from idlewright.errors import BadInput, Problem


def faults_of(path: Path) -> list[Problem]:
    """Everything that is wrong with one file of any kind; jobs and cars stand on higher floors."""
    from idlewright.family import vet_file
    from idlewright.family.textfile import read_document
    from idlewright.family.vet import kind_of

    try:
        kind = kind_of(read_document(path))
        if kind == "job":
            from idlewright.job.file import load_job

            load_job(path)
            return []
        if kind == "car":
            from idlewright.lesson.car_file import load_car

            load_car(path)
            return []
    except BadInput as error:
        return list(error.problems)
    return list(vet_file(path))


@click.command(
    "vet",
    cls=Examples,
    examples=(
        "idlewright vet job.toml",
        "idlewright vet families/*.toml --json",
        "idlewright vet --expanded my-part.toml",
    ),
    help="Check families, parts, sheets, jobs and practice cars. Exit code 1 if there is a fault.",
)
@click.argument(
    "paths",
    metavar="FILE...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
)
@click.option("--expanded", is_flag=True, help="Print what wires and parts expanded to.")
@json_option
@data_option
@click.pass_obj
def VERB(session: Session, paths: tuple[Path, ...], expanded: bool) -> int:
    """Print every fault, or that there is none; with `--expanded` what a sound file expands to."""
    from idlewright.family import expanded as expanded_text

    found = {path: faults_of(path) for path in paths}
    faults = [problem for problems in found.values() for problem in problems]
    words = ""
    if not session.wants_json:
        from idlewright.report.tables_text import vet_text

        sound = [path for path, problems in found.items() if not problems]
        words = vet_text([str(path) for path in paths], faults, width())
        words += "".join(expanded_text(path) for path in sound if expanded)
    session.answer(error_document(faults), words)
    return ANSWER_IS_NO if faults else DONE
