"""`new`: a commented starting file for whatever a person writes by hand."""

from __future__ import annotations

from pathlib import Path

import click

from idlewright.cli.families import complete_family, family_ids
from idlewright.cli.files import write_file
from idlewright.cli.session import write_out
from idlewright.cli.shell import Examples, data_option

KINDS = ("job", "sheet", "family", "part", "car")


def starting_text(kind: str, family: str | None) -> str:
    """The text of a starting file of one kind; most are made for `family` (id or file).

    Raises:
        BadInput: there is no such family.
    """
    if kind in ("family", "part"):
        from importlib.resources import files

        folder = files("idlewright.cli") / "starting"
        return (folder / f"{kind}.toml").read_text(encoding="utf-8")
    from idlewright.cli.starting_files import TEXTS
    from idlewright.family import load_family

    return TEXTS[kind](load_family(family or family_ids()[0]))


@click.command(
    "new",
    cls=Examples,
    examples=(
        "idlewright new job --family plunger-carburettor --out job.toml",
        "idlewright new sheet --family plunger-carburettor > sheet.toml",
        "idlewright new part --out my-part.toml",
    ),
    help="Write a commented starting file that already passes `vet`.",
)
@click.argument("kind", type=click.Choice(KINDS))
@click.option(
    "--family",
    metavar="F",
    shell_complete=complete_family,
    help="Family of the job, sheet or car (default: the first of `list families`).",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write there; a file that is there already is kept. Default: standard output.",
)
@data_option
def VERB(kind: str, family: str | None, out: Path | None) -> int:
    """Write the file."""
    text = starting_text(kind, family)
    if out is None:
        write_out(text)
    else:
        write_file(out, text, keep=True)
        write_out(f"{out}: written; check it with 'idlewright vet {out}'\n")
    return 0
