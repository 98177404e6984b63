"""`study`: the method itself, measured on simulated cars."""

from __future__ import annotations

import click

from idlewright.cli.failures import ANSWER_IS_NO, DONE
from idlewright.cli.families import complete_family, family_ids
from idlewright.cli.screen import style_wanted, width
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option, seed_option

WHAT = ("plan", "truth", "speed", "gaps")


@click.command(
    "study",
    cls=Examples,
    examples=(
        "idlewright study plan --family plunger-carburettor --cases 100",
        "idlewright study truth --cases 400 --seed 3 --json",
        "idlewright study gaps --family plunger-carburettor",
    ),
    help="plan: policies compared. truth: are the odds right, and how often sure but wrong. "
    "speed: how long an answer takes. gaps: which faults no check tells apart.",
)
@click.argument("what", type=click.Choice(WHAT))
@click.option(
    "--family",
    metavar="F",
    shell_complete=complete_family,
    help="Family of the cars (default: the first of `list families`).",
)
@click.option(
    "--cases",
    type=click.IntRange(min=1),
    default=100,
    show_default=True,
    metavar="N",
    help="Simulated cars.",
)
@seed_option
@json_option
@data_option
@click.pass_obj
def VERB(session: Session, what: str, family: str | None, cases: int, seed: int) -> int:
    """Run the study and print it."""
    if what == "gaps":
        return _gaps(session, family or family_ids()[0])
    from idlewright.study import run

    found = run(what, family=family or family_ids()[0], cases=cases, seed=seed)
    words = ""
    if not session.wants_json:
        from idlewright.report.tables_text import study_text

        words = study_text(found, width(), style_wanted())
    session.answer(found, words)
    return 0


def _gaps(session: Session, family: str) -> int:
    """Print a family's gaps; 1 if no check shows a fault that its file does not declare silent."""
    from idlewright.family import load_family
    from idlewright.family.kinds import Sheet
    from idlewright.family.textfile import content_sha256
    from idlewright.model.compiled import compile_model
    from idlewright.study.gaps import gaps, is_silent

    found = gaps(compile_model(load_family(family), Sheet("", content_sha256({}), {})))
    words = ""
    if not session.wants_json:
        from idlewright.report.gaps_text import gaps_text

        words = gaps_text(found, width(), style_wanted())
    session.answer(found, words)
    return ANSWER_IS_NO if is_silent(found) else DONE
