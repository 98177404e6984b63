"""`list`: what families there are, and what is in one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from idlewright.cli.families import complete_family, family_ids
from idlewright.cli.screen import width
from idlewright.cli.session import Session
from idlewright.cli.shell import Examples, data_option, json_option
from idlewright.errors import BadInput, Problem

if TYPE_CHECKING:
    from idlewright.family.kinds import Family

WHAT = ("families", "checks", "faults", "repairs", "words", "points")


def items_of(what: str, family: Family) -> list[dict[str, object]]:
    """One flat record for each thing of one kind in a family, in file order."""
    if what == "checks":
        return [
            {"id": c.id, "minutes": c.minutes + c.wait, "says": c.say, "do": c.do, "read": c.read}
            for c in family.checks.values()
        ]
    if what == "repairs":
        return [
            {"id": r.id, "minutes": r.minutes + r.wait, "says": r.say, "do": r.do}
            for r in family.repairs.values()
        ]
    if what == "faults":
        return [{"id": f.id, "says": f.say, "weight": f.weight} for f in family.faults.values()]
    if what == "words":
        heard = [("word", family.words), ("code", family.codes)]
        return [{"id": e.id, "says": e.say, "kind": k} for k, kind in heard for e in kind.values()]
    places = [(point, True) for point in family.points]
    places += [(point, False) for point in family.part_points]
    return [
        {"id": point, "says": family.point_says.get(point, ""), "mated": mated}
        for point, mated in places
    ]


def family_items() -> list[dict[str, object]]:
    """One record for each family that ships."""
    from idlewright.family import load_family

    loaded = [load_family(name) for name in family_ids()]
    return [{"id": family.id, "says": family.say, "sha256": family.sha256} for family in loaded]


@click.command(
    "list",
    cls=Examples,
    examples=(
        "idlewright list families",
        "idlewright list checks plunger-carburettor",
        "idlewright list words plunger-carburettor --json",
    ),
    help="What there is. `points` are all places a lead can go. FAMILY is an id of `list families` "
    "or a file of yours.",
)
@click.argument("what", type=click.Choice(WHAT))
@click.argument("family", required=False, metavar="[FAMILY]", shell_complete=complete_family)
@json_option
@data_option
@click.pass_obj
def VERB(session: Session, what: str, family: str | None) -> int:
    """Print the list."""
    if what == "families":
        items, named = family_items(), None
    elif family is None:
        raise _family_missing(what)
    else:
        from idlewright.family import load_family

        loaded = load_family(family)
        items, named = items_of(what, loaded), loaded.id
    document = {"format": "idlewright/list/1", "what": what, "family": named, "items": items}
    session.answer(document, "" if session.wants_json else _words(what, items))
    return 0


def _words(what: str, items: list[dict[str, object]]) -> str:
    from idlewright.report.tables_text import list_text

    rows = [[str(item["id"]), *_minutes(item), str(item["says"])] for item in items]
    return list_text(rows, f"There are no {what}.", width())


def _minutes(item: dict[str, object]) -> list[str]:
    return [f"{item['minutes']:g} min"] if "minutes" in item else []


def _family_missing(what: str) -> BadInput:
    known = family_ids()
    remedy = f"for instance 'idlewright list {what} {known[0]}'"
    return BadInput(Problem(f"'list {what}' needs a family", f"one of {', '.join(known)}", remedy))
