"""`predict`: what every check would read on a good car and under every fault."""

from __future__ import annotations

import click

from idlewright.cli.families import complete_family
from idlewright.cli.screen import style_wanted, width
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option


@click.command(
    "predict",
    cls=Examples,
    examples=(
        "idlewright predict plunger-carburettor",
        "idlewright predict plunger-carburettor --check tps.signal.closed",
        "idlewright predict plunger-carburettor --fault tps.gnd.poor --json",
    ),
    help="What every check would read, on a good car and under every fault. "
    "FAMILY is an id of `list families` or a file of yours.",
)
@click.argument("family", metavar="FAMILY", shell_complete=complete_family)
@click.option("--sheet", metavar="S", help="This vehicle's sheet; without it the usual values.")
@click.option("--check", metavar="ID", help="This check alone, under every fault.")
@click.option("--fault", metavar="ID", help="The good car and this fault.")
@json_option
@data_option
@click.pass_obj
def VERB(
    session: Session, family: str, sheet: str | None, check: str | None, fault: str | None
) -> int:
    """Predict and print."""
    from idlewright.family import load_family, load_sheet
    from idlewright.family.kinds import Sheet
    from idlewright.family.textfile import content_sha256
    from idlewright.model.compiled import compile_model
    from idlewright.model.predict import predict

    loaded = load_family(family)
    empty = Sheet("", content_sha256({}), {})
    values = load_sheet(sheet, loaded) if sheet is not None else empty
    answer = predict(compile_model(loaded, values), check=check, fault=fault)
    words = ""
    if not session.wants_json:
        from idlewright.report.predict_text import predict_text

        words = predict_text(answer, width(), style_wanted())
    session.answer(answer, words)
    return 0
