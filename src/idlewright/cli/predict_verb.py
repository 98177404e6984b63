"""`predict`: what every check would read on a good car and under every fault."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from idlewright.cli.families import complete_family
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any


@click.command(
    "predict",
    cls=Examples,
    examples=(
        "idlewright predict plunger-carburettor",
        "idlewright predict plunger-carburettor --check tps.signal.closed",
        "idlewright predict stepper-pressure --fault tps.gnd.poor --sheet sheet.toml --json",
    ),
    help="What every check would read: on a good car, with --check under every fault, with --fault "
    "good and faulty side by side. FAMILY is an id of `list families` or a file of yours.",
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
    from idlewright.model import compile_model
    from idlewright.model.predict import predict

    loaded = load_family(family)
    values = load_sheet(sheet, loaded) if sheet is not None else None
    answer = predict(compile_model(loaded, values), check=check, fault=fault)
    session.answer(answer, "" if session.wants_json else predict_text(answer, check, fault))
    return 0


def predict_text(answer: Mapping[str, Any], check: str | None, fault: str | None) -> str:
    """The answer as a table: a row a fault for one check, else a row a check."""
    from idlewright.cli.screen import table

    if check is not None:
        rows = [
            [range_text(row, found["unit"]), " and ".join(row["faults"]) or "(good)"]
            for found in answer["checks"]
            for row in found["rows"]
        ]
        return table(("reads", "with"), rows)
    if fault is not None:
        rows = [
            [found["check"], *(range_text(row, found["unit"]) for row in found["rows"][:2])]
            for found in answer["checks"]
        ]
        return table(("check", "good", fault), rows)
    rows = [
        [found["check"], range_text(found["rows"][0], found["unit"]), spec_text(found)]
        for found in answer["checks"]
    ]
    return table(("check", "good", "spec"), rows)


def range_text(row: Mapping[str, Any], unit: str | None) -> str:
    """What one row would read, in words: a range, the likely words, or open circuit."""
    from idlewright.report.quantity_words import span_text

    if not row["valid"]:
        return f"not to be read: {row['why_invalid']}"
    parts = []
    if row["low"] is not None or row["high"] is not None:
        parts.append(span_text(row["low"], row["high"], unit))
    parts += [word for word, chance in row["words"].items() if chance >= 0.2]
    if row["overload"] >= 0.5:
        parts = ["OL"]
    elif row["overload"] >= 0.05:
        parts.append("OL")
    return " or ".join(parts) or "nothing to go by"


def spec_text(found: Mapping[str, Any]) -> str:
    """The limits of a check, or a dash."""
    from idlewright.report.quantity_words import span_text

    spec = found["spec"]
    return span_text(spec["low"], spec["high"], found["unit"]) if spec else "-"
