"""`demo`: a hidden fault in a practice car, worked from complaint to proof."""

from __future__ import annotations

from pathlib import Path

import click

from idlewright.cli.families import complete_family, family_ids
from idlewright.cli.session import Session, write_out
from idlewright.cli.shell import Examples, data_option, json_option, seed_option


@click.command(
    "demo",
    cls=Examples,
    examples=(
        "idlewright demo",
        "idlewright demo --family stepper-pressure --seed 7",
        "idlewright demo --out demo-output",
    ),
    help="Hide a fault in a practice car and find it: complaint, checks, repair, proof.",
)
@click.option(
    "--family",
    metavar="F",
    shell_complete=complete_family,
    help="Family of the practice car (default: the first of `list families`).",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Keep the record of the job there.",
)
@seed_option
@json_option
@data_option
@click.pass_obj
def VERB(session: Session, family: str | None, out: Path | None, seed: int) -> int:
    """Work the job, telling each step as it is taken."""
    from idlewright.practice_demo import run_demo

    def say(line: str) -> None:
        if not session.wants_json:
            write_out(line + "\n")

    document = run_demo(family or family_ids()[0], seed=seed, out=out, say=say)
    session.answer(document, "")
    return 0
