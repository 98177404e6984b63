"""`judge`: what a job's readings mean and what to do next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from idlewright.cli.failures import CANNOT_TELL, DONE
from idlewright.cli.files import write_file
from idlewright.cli.screen import style_wanted, width
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any


def exit_code(answer: Mapping[str, Any]) -> int:
    """3 when nothing is left to try and something is still wrong, else 0."""
    is_stuck = answer["next"]["kind"] == "stop" and bool(answer["suspects"][0]["faults"])
    return CANNOT_TELL if is_stuck else DONE


@click.command(
    "judge",
    cls=Examples,
    examples=(
        "idlewright judge job.toml",
        "idlewright judge job.toml --json",
        "idlewright judge job.toml --page job.html",
        "idlewright judge - < job.toml",
    ),
    help="Verdicts, suspects, what each reading moved, the next step and the price slip. "
    "JOB is a job file (TOML or JSON); - reads standard input.",
)
@click.argument("job", metavar="JOB")
@click.option(
    "--accuracy",
    type=click.Choice(["standard", "fine"]),
    default="standard",
    show_default=True,
    help="Fine takes longer and cuts finer.",
)
@click.option(
    "--page", type=click.Path(path_type=Path), metavar="FILE", help="Also write it as a page."
)
@json_option
@data_option
@click.pass_obj
def VERB(session: Session, job: str, accuracy: str, page: Path | None) -> int:
    """Judge the job and print the answer."""
    from idlewright.job.file import load_job
    from idlewright.job.judge import judge

    answer = judge(load_job(job), accuracy=accuracy)
    if page is not None:
        from idlewright.report.html import judge_page

        write_file(page, judge_page(answer))
    words = ""
    if not session.wants_json:
        from idlewright.report.terminal import judge_text

        words = judge_text(answer, width(), style_wanted())
    session.answer(answer, words)
    return exit_code(answer)
