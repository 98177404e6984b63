"""Repairs made for connectors and wires, once the whole family is known."""

from __future__ import annotations

from dataclasses import replace

from idlewright.family.draft import Draft, Origin
from idlewright.family.kinds import Check, Repair
from idlewright.family.names import humanise
from idlewright.family.rename import CLEAN
from idlewright.family.wire import KEY, RENEW

CLEAN_CHANCE = 0.7
"""Chance that cleaning and tightening a plug cures a contact (common practice, no source)."""

MOST_PROOFS = 2
OTHER_PIECES = ("to", "input", "ends")


def clean_repairs(draft: Draft) -> None:
    """One repair for each connector: clean it and tighten its pins."""
    connectors = dict.fromkeys(contact.connector for contact in draft.contacts)
    for connector in connectors:
        mine = [c for c in draft.contacts if c.connector == connector]
        cures = {
            fault: CLEAN_CHANCE for c in mine for fault in c.faults if fault in draft.fault
        }
        if not cures:
            continue
        plug = draft.plug.get(connector)
        say = plug.say if plug else f"{humanise(connector)} plug"
        state = {connector: "unplugged"}
        if KEY in draft.state:
            state[KEY] = "off"
        drops = dict.fromkeys(c.drop for c in mine if c.drop in draft.check)
        cautions = tuple(
            dict.fromkeys(draft.state[connector].cautions if connector in draft.state else ())
        )
        repair = Repair(
            id=connector + CLEAN,
            say=f"clean the {say}",
            do=f"Photograph the {say}, clean and treat its contacts, tighten its pins, latch it",
            cures=cures,
            minutes=15.0,
            parts=(1.0, 3.0),
            renews=tuple(c.scalar for c in mine),
            reseats=(connector,),
            state=state,
            leaves={connector: "plugged"},
            prove=tuple(drops),
            cautions=cautions,
        )
        where = next(
            (o for (s, i), o in draft.places.items() if s == "scalar" and i == mine[0].scalar),
            Origin(draft.document, ()),
        )
        draft.make("repair", repair.id, repair, where)


def prove_made_repairs(draft: Draft) -> None:
    """A made repair whose wires have no check of their own is proved by the checks made there."""
    for name, repair in draft.repair.items():
        if repair.prove or ("repair", name) not in draft.made:
            continue
        if name.endswith(RENEW):
            wires = {name.removesuffix(RENEW)}
        else:
            scalars = {scalar.rsplit(".", 2)[0] for scalar in repair.renews}
            wires = {scalar for scalar in scalars if scalar in draft.resistor}
        draft.repair[name] = replace(repair, prove=_checks_at(draft, wires))


def _checks_at(draft: Draft, wires: set[str]) -> tuple[str, ...]:
    """The first few checks with a lead on a wire, or past its second end; best proofs first.

    Volts with everything plugged in prove more than volts with a plug off, and those more than
    ohms, which often read one side of the joint only.
    """
    mine = [r for n, r in draft.resistor.items() if any(_belongs(n, wire) for wire in wires)]
    first_ends = {_first_end(draft, wire) for wire in wires}
    nodes = {node for r in mine for node in (r.a, r.b)} - first_ends - {draft.zero}
    plugs = {name for r in mine for name in r.when}

    def leads(check: Check) -> int:
        return sum(_node(draft, place) in nodes for place in (check.red, check.black))

    def rank(check: Check) -> tuple[bool, bool]:
        unplugged = any(check.state.get(plug) == "unplugged" for plug in plugs)
        return check.read != "volt", unplugged

    found = sorted((check for check in draft.check.values() if leads(check)), key=rank)
    return tuple(check.id for check in found[:MOST_PROOFS])


def _belongs(resistor: str, wire: str) -> bool:
    """True for the conductor and the contacts of a wire, not for its shorts, input and tie."""
    rest = resistor.removeprefix(f"{wire}.")
    return resistor == wire or (rest != resistor and rest.split(".")[0] not in OTHER_PIECES)


def _first_end(draft: Draft, wire: str) -> str:
    """The node at a wire's first end: beyond its first contact, or its conductor's."""
    conductor = draft.resistor[wire]
    ends = [r.a for n, r in draft.resistor.items() if _belongs(n, wire) and r.b == conductor.a]
    return ends[0] if ends else conductor.a


def _node(draft: Draft, place: str | None) -> str:
    found = draft.point.get(place or "") or draft.part_point.get(place or "")
    return found or place or ""
