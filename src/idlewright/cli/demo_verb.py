"""`demo`: a hidden fault in a practice car, worked from complaint to proof."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from idlewright.cli.families import complete_family, family_ids
from idlewright.cli.files import make_folder, write_file
from idlewright.cli.screen import width
from idlewright.cli.session import Session, write_out
from idlewright.cli.shell import Examples, data_option, json_option, seed_option

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@click.command(
    "demo",
    cls=Examples,
    examples=(
        "idlewright demo",
        "idlewright demo --family plunger-carburettor --seed 7",
        "idlewright demo --out demo-output",
    ),
    help="Hide a fault in a practice car and find it: complaint, checks, repair, proof.",
)
@click.option(
    "--family",
    metavar="F",
    shell_complete=complete_family,
    help="Family of the practice car, an id or a file of yours (default: the first of `list "
    "families`).",
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
    from idlewright.report.columns import usable_width, wrap
    from idlewright.story import run_demo

    room = usable_width(width())
    lines: list[str] = []

    def say(line: str) -> None:
        lines.append(line)
        if not session.wants_json:
            write_out("\n".join(wrap(line, room, "", "    ")) + "\n")

    if out is not None:
        make_folder(out)
    summary, record = run_demo(family or family_ids()[0], seed=seed, say=say)
    if out is not None:
        keep_record(out, lines, summary, record)
    session.answer(summary, f"The record is in {out}/record.html" if out is not None else "")
    return 0


def keep_record(
    folder: Path, lines: Sequence[str], summary: Mapping[str, object], record: Mapping[str, object]
) -> None:
    """Write what happened line by line, the summary, and the record as data and as a page."""
    import json
    from typing import cast

    from idlewright.report.record import Record, record_page

    write_file(folder / "story.txt", "".join(f"{line}\n" for line in lines))
    write_file(folder / "summary.json", json.dumps(summary, allow_nan=False, indent=1) + "\n")
    write_file(folder / "record.json", json.dumps(record, allow_nan=False, indent=1) + "\n")
    write_file(folder / "record.html", record_page(cast("Record", record)))
