"""`study`: the method itself, measured on simulated cars."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from idlewright.cli.failures import ANSWER_IS_NO, DONE
from idlewright.cli.families import KINDS, complete_family, family_ids
from idlewright.cli.files import write_file
from idlewright.cli.screen import style_wanted, width
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option, seed_option
from idlewright.errors import BadInput, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

WHAT = ("plan", "truth", "speed", "gaps")


@click.command(
    "study",
    cls=Examples,
    examples=(
        "idlewright study plan --family plunger-carburettor --cases 100",
        "idlewright study truth --cases 400 --seed 3 --workers 4 --json",
        "idlewright study speed --cases 10",
        "idlewright study gaps --family plunger-carburettor",
    ),
    help="plan: policies compared. truth: are the odds right, and how often sure but wrong. "
    "speed: how long an answer takes on this machine. "
    "gaps: which faults no check shows or tells apart; exit code 1 if a fault is seen by no check "
    "and its family does not say so.",
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
    help="Simulated cars; of truth, in each world.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    metavar="N",
    help="Processes; the answer is the same for any number.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="plan, truth: spread over a farm whose scheduler is there, instead of --workers.",
)
@click.option(
    "--law",
    metavar="LAW",
    help="plan: how parts and faults scatter: matched, wide, skewed or batch (default: matched).",
)
@click.option(
    "--slip",
    type=click.FloatRange(0.0, 1.0),
    metavar="P",
    help="plan: chance that a reading is a slip of the hand (default: 0).",
)
@click.option(
    "--arms",
    metavar="NAMES",
    help='plan: only these ways to choose, such as "ours, manual chart".',
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="plan, truth: keep one line a car there; the same study goes on from them if cut off.",
)
@click.option("--kind", type=click.Choice(KINDS), help="plan: what is hidden (default: anything).")
@click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="plan, truth: also draw it there, as SVG.",
)
@seed_option
@json_option
@data_option
@click.pass_obj
def VERB(
    session: Session,
    what: str,
    family: str | None,
    cases: int,
    workers: int,
    scheduler: str | None,
    law: str | None,
    slip: float | None,
    arms: str | None,
    out: Path | None,
    kind: str | None,
    picture: Path | None,
    seed: int,
) -> int:
    """Run the study and print it."""
    _only_of(what, ("plan",), law=law, slip=slip, arms=arms, kind=kind)
    _only_of(what, ("plan", "truth"), scheduler=scheduler, out=out, picture=picture)
    from idlewright.study import run

    found = run(
        what,
        family=family or family_ids()[0],
        cases=cases,
        seed=seed,
        workers=workers,
        scheduler=scheduler,
        out=out,
        law=law or "matched",
        kind=kind or "",
        slip=slip or 0.0,
        arms=[name.strip() for name in (arms or "").split(",") if name.strip()],
    )
    if picture is not None:
        from idlewright.report.study_picture import study_picture

        write_file(picture, study_picture(found))
    session.answer(found, "" if session.wants_json else _words(what, found))
    return ANSWER_IS_NO if what == "gaps" and _is_silent(found) else DONE


def _only_of(what: str, studies: tuple[str, ...], **options: object) -> None:
    """Refuse options that the study asked for would not obey."""
    stray = [f"--{name}" for name, value in options.items() if value is not None]
    if what not in studies and stray:
        says = f"study {what} has no {' and no '.join(stray)}"
        have = "has" if len(studies) == 1 else "have"
        expected = f"only study {' and study '.join(studies)} {have}"
        raise BadInput(Problem(says, expected, "leave it out", key="study"))


def _is_silent(found: dict[str, Any]) -> bool:
    from idlewright.study.gaps import is_silent

    return is_silent(found)


def _words(what: str, found: Mapping[str, Any]) -> str:
    """The study as terminal text."""
    from idlewright.report.gaps_text import gaps_text
    from idlewright.report.speed_text import speed_text
    from idlewright.report.tables_text import study_text
    from idlewright.report.truth_text import truth_text

    texts = {"plan": study_text, "truth": truth_text, "speed": speed_text, "gaps": gaps_text}
    return texts[what](found, width(), style_wanted())
