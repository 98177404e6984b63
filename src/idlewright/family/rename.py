"""A part's records under the names they have in the family that uses it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from idlewright.family.control import Control
from idlewright.family.draft import RECORDS, Also, Contact, Draft, Mover, Origin
from idlewright.family.kinds import (
    Check,
    Condition,
    Fault,
    Motor,
    Plug,
    Repair,
    Resistor,
    Scalar,
    SoftEvidence,
    Source,
    StateVariable,
    Step,
)
from idlewright.family.names import matching

GROUND = "chassis"
GLOBAL = ("sheet", "caution", "tool", "word", "code")
"""Sections whose ids are the family's, whoever writes them."""

CLEAN = ".clean"


@dataclass(frozen=True, slots=True)
class Renamer:
    """Names of one use of a part.

    Attributes:
        prefix: "tps." joined: node or foreign id of the part -> name in the family.
        states: state variable of the part -> name in the family. nodes: all nodes of the part.
        own: every id that is the part's own.
    """

    prefix: str
    joined: Mapping[str, str]
    states: Mapping[str, str]
    nodes: frozenset[str]
    own: frozenset[str]

    def ref(self, name: str) -> str:
        """An id of a scalar, element, fault, check, repair, step, or the beginning of one."""
        if name in self.joined:
            return self.joined[name]
        if name.startswith("engine."):
            return name
        if "*" in name:
            return self.prefix + name if matching(name, self.own) else name
        parts = name.split(".")
        heads = (".".join(parts[:length]) for length in range(1, len(parts) + 1))
        if any(head in self.own for head in heads):
            return self.prefix + name
        if any(own.startswith(f"{name}.") for own in self.own):
            return self.prefix + name
        return name

    def node(self, name: str) -> str:
        """A circuit node or a place a lead can go."""
        if name in self.joined:
            return self.joined[name]
        known = name in self.nodes or name in self.own
        return self.prefix + name if known and name != GROUND else name

    def state(self, name: str) -> str:
        """A state variable."""
        return self.states.get(name, name)

    def state_or_ref(self, name: str) -> str:
        """A connector or a scalar."""
        return self.states[name] if name in self.states else self.ref(name)

    def clean(self, name: str) -> str:
        """A repair: a connector's common one goes by the connector's name."""
        connector = name.removesuffix(CLEAN)
        if name.endswith(CLEAN) and connector in self.states:
            return self.states[connector] + CLEAN
        return self.ref(name)

    def by_state(self, table: Mapping[str, str]) -> dict[str, str]:
        """State variable -> value."""
        return {self.state(name): value for name, value in table.items()}

    def when(self, condition: Condition) -> dict[str, tuple[str, ...]]:
        """State variable -> values."""
        return {self.state(name): values for name, values in condition.items()}

    def refs(self, names: Iterable[str]) -> tuple[str, ...]:
        """Several ids."""
        return tuple(self.ref(name) for name in names)

    def keys(self, table: Mapping[str, float]) -> dict[str, float]:
        """A table keyed by ids."""
        return {self.ref(name): value for name, value in table.items()}


def renamer_for(
    draft: Draft, prefix: str, joined: Mapping[str, str], states: Mapping[str, str], kept: set[str]
) -> Renamer:
    """Names for one use of the part in `draft`.

    Args:
        joined: nodes and foreign ids -> the family's. states: port states -> the family's.
        kept: port nodes that keep their name.
    """
    own_states = {name: prefix + name for name in draft.state if name not in states}
    own = draft.ids(s for s in RECORDS if s not in (*GLOBAL, "state")) | draft.broken
    own |= draft.dropped | {name.rsplit(".", 1)[0] for name in draft.resistor}
    own = {name for name in own if not name.startswith("engine.")} - {GROUND}
    joined = {**{name: name for name in kept}, **joined}
    return Renamer(
        prefix, joined, {**states, **own_states}, frozenset(draft.nodes), frozenset(own)
    )


def rename_draft(draft: Draft, names: Renamer, port_states: Iterable[str]) -> Draft:
    """The part's draft in the family's names; port states are the family's and left out."""
    out = Draft(draft.document, zero=names.node(draft.zero), problems=draft.problems)
    out.documents = draft.documents
    out.muted = draft.muted
    out.sections = draft.sections
    out.partial, out.lost = draft.partial, draft.lost
    skip = set(port_states)
    for section in RECORDS:
        for name, record in draft.table(section).items():
            if section == "state" and name in skip:
                continue
            new = _id(names, section, name)
            out.table(section)[new] = _record(names, section, new, record)
            out.places[section, new] = _moved(draft.origin(section, name), names)
            if (section, name) in draft.made:
                out.made.add((section, new))
    out.control = _control(names, draft.control)
    if ("engine", "control") in draft.places:
        out.places["engine", "control"] = draft.places["engine", "control"]
    out.only = {names.ref(fault): names.when(when) for fault, when in draft.only.items()}
    out.broken = {_broken(names, name) for name in draft.broken}
    out.dropped = {names.clean(name) for name in draft.dropped}
    out.contacts = [
        Contact(names.state(c.connector), names.ref(c.scalar), names.refs(c.faults),
                names.ref(c.drop))
        for c in draft.contacts
    ]  # fmt: skip
    out.movers = [
        Mover(names.prefix + m.element, names.state(m.variable), m.values, m.key)
        for m in draft.movers
    ]
    out.soft = [
        (section, _soft(names, soft), _moved(origin, names))
        for section, soft, origin in draft.soft
    ]
    out.also = [
        Also(names.ref(also.check), {word: names.keys(odds) for word, odds in also.shows.items()},
             names.refs(also.provokes), _moved(also.origin, names))
        for also in draft.also
    ]  # fmt: skip
    for node, origin in draft.nodes.items():
        out.nodes.setdefault(names.node(node), _moved(origin, names))
    out.wanted_nodes, out.wanted_ids = draft.wanted_nodes, draft.wanted_ids
    out.wanted_states = draft.wanted_states
    return out


def _moved(origin: Origin, names: Renamer) -> Origin:
    return replace(origin, prefix=names.prefix + origin.prefix)


def _soft(names: Renamer, soft: SoftEvidence) -> SoftEvidence:
    return replace(soft, raises=names.keys(soft.raises), lowers=names.keys(soft.lowers))


def _broken(names: Renamer, name: str) -> str:
    return names.states[name] if name in names.states else names.ref(name)


def _id(names: Renamer, section: str, name: str) -> str:
    if section in GLOBAL or name.startswith("engine."):
        return name
    if section in ("state", "plug") and name in names.states:
        return names.states[name]
    if section == "repair":
        return names.clean(name)
    if section == "point_say":
        return names.node(name)
    if section == "fault" and name in names.joined:
        return names.joined[name]
    return names.prefix + name


def _record(names: Renamer, section: str, new: str, record: object) -> object:
    match record:
        case str():
            return names.node(record) if section in ("point", "part_point") else record
        case Scalar() | Resistor() | Source() | Motor():
            return _circuit(names, new, record)
        case Check():
            return _check(names, new, record)
        case Repair():
            return _repair(names, new, record)
        case Fault():
            return _fault(names, new, record)
        case _:
            return _told(names, new, record)


def _fault(names: Renamer, new: str, fault: Fault) -> Fault:
    spans = tuple(
        replace(
            span,
            scalar=names.ref(span.scalar),
            like=None if span.like is None else names.ref(span.like),
        )
        for span in fault.spans
    )
    return replace(fault, id=new, spans=spans)


def _told(names: Renamer, new: str, record: object) -> object:
    match record:
        case StateVariable():
            needs = {value: names.by_state(table) for value, table in record.needs.items()}
            return replace(record, name=new, needs=needs)
        case SoftEvidence():
            return _soft(names, record)
        case Step():
            return replace(record, id=new)
        case Plug():
            points = tuple(names.node(point) for point in record.points)
            return replace(record, id=new, points=points)
        case _:
            return record


def _circuit(
    names: Renamer, new: str, record: Scalar | Resistor | Source | Motor
) -> Scalar | Resistor | Source | Motor:
    match record:
        case Scalar():
            target = record.stands_for
            return replace(
                record,
                id=new,
                only=names.when(record.only),
                stands_for=None if target is None else names.ref(target),
            )
        case Resistor():
            return replace(
                record,
                id=new,
                a=names.node(record.a),
                b=names.node(record.b),
                ohm=names.ref(record.ohm),
                when=names.when(record.when),
                fraction=None if record.fraction is None else names.ref(record.fraction),
            )
        case Source():
            return Source(
                new,
                names.node(record.plus),
                names.node(record.minus),
                names.ref(record.volt),
                names.ref(record.ohm),
                names.when(record.when),
            )
        case Motor():
            return replace(record, id=new, a=names.node(record.a), b=names.node(record.b))


def _check(names: Renamer, new: str, check: Check) -> Check:
    compare = check.compare_with
    return replace(
        check,
        id=new,
        red=None if check.red is None else names.node(check.red),
        black=None if check.black is None else names.node(check.black),
        of=None if check.of is None else names.ref(check.of),
        compare_with=None if compare is None else names.by_state(compare),
        state=names.by_state(check.state),
        leaves=names.by_state(check.leaves),
        ratio_to=None if check.ratio_to is None else names.ref(check.ratio_to),
        words=tuple(replace(word, odds=names.keys(word.odds)) for word in check.words),
        disturbs=tuple(names.state_or_ref(name) for name in check.disturbs),
        provokes=names.refs(check.provokes),
    )


def _repair(names: Renamer, new: str, repair: Repair) -> Repair:
    return replace(
        repair,
        id=new,
        cures=names.keys(repair.cures),
        renews=tuple(names.state_or_ref(name) for name in repair.renews),
        reseats=tuple(names.state(name) for name in repair.reseats),
        sets=names.refs(repair.sets),
        voids=names.refs(repair.voids),
        state=names.by_state(repair.state),
        leaves=names.by_state(repair.leaves),
        prove=names.refs(repair.prove),
        steps=names.refs(repair.steps),
    )


def _control(names: Renamer, control: Control | None) -> Control | None:
    if control is None:
        return None
    ends = control.closed_between
    return Control(
        target=names.ref(control.target),
        low=names.by_state(control.low),
        high=names.by_state(control.high),
        parked=names.by_state(control.parked),
        actuator=names.refs(control.actuator),
        closed_between=None if ends is None else (names.node(ends[0]), names.node(ends[1])),
        closed_below_v=control.closed_below_v,
    )
