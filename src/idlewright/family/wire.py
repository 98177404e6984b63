"""What one `wire` line stands for: conductor, contacts, places for leads, faults, checks, repairs.

Generated weights and severities are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from idlewright.family.amounts import OPEN_OHM
from idlewright.family.draft import Contact, Draft, Origin
from idlewright.family.kinds import (
    Check,
    Fault,
    Limit,
    Repair,
    Resistor,
    Scalar,
    Span,
    Value,
)
from idlewright.family.names import did_you_mean, humanise
from idlewright.family.scalars import log_scalar
from idlewright.family.schema import WireLine

WEIGHTS = {"open": 0.5, "poor": 0.5, "contact": 1.5, "loose": 1.0, "short": 0.3}
CONDUCTOR_WITHIN = 0.5
OPEN_RANGE = (1e6, 1e11)
SHORT_RANGE = (0.1, 200.0)
SUPPLY_POOR, SUPPLY_CONTACT = (8.0, 3e3), (5.0, 5e3)
SIGNAL_POOR, SIGNAL_CONTACT = (1.5e3, 6e5), (1e3, 3e5)
TIE_OHM = 1e-3
KEY = "key"
RENEW = ".renew"


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire line with its names worked out.

    Attributes:
        first, last: places a lead reaches with everything plugged in, from first end to second.
    """

    id: str
    line: WireLine
    origin: Origin
    say: str

    @property
    def first(self) -> str:
        """Place at the first end."""
        through = self.line.through
        return f"{self.id}.{through[0]}" if len(through) > 1 else self.line.wire[0]

    @property
    def last(self) -> str:
        """Place at the second end, wire side."""
        through = self.line.through
        return f"{self.id}.{through[-1]}" if through else self.line.wire[1]

    def weight(self, kind: str) -> float:
        """Relative odds of a generated fault."""
        return self.line.weights.get(kind, WEIGHTS[kind])


def expand_wire(draft: Draft, wire: Wire, wires: dict[str, Wire], has_key: bool) -> None:
    """Put everything a wire stands for into the draft."""
    before = set(draft.dropped)
    draft.dropped.update(wire.line.without)
    hit = _everything(draft, wire, wires, has_key)
    draft.dropped = before
    for name in wire.line.without:
        if name not in hit:
            draft.problems.append(
                wire.origin.problem(
                    f'without names "{name}", which this wire does not make',
                    "an id the wire expands to",
                    did_you_mean(name, hit),
                    ("without",),
                )
            )
    for kind in wire.line.weights:
        if kind not in WEIGHTS:
            draft.problems.append(
                wire.origin.problem(
                    f'unknown weight "{kind}"',
                    "weights of " + ", ".join(WEIGHTS),
                    did_you_mean(kind, WEIGHTS),
                    ("weights", kind),
                )
            )


def _everything(draft: Draft, wire: Wire, wires: dict[str, Wire], has_key: bool) -> set[str]:
    """Expand; returns every id that a `without` could have dropped."""
    faults = _conductor(draft, wire)
    for position, connector in enumerate(wire.line.through):
        faults += _contact(draft, wire, connector, last=position == len(wire.line.through) - 1)
    for other in wire.line.beside:
        faults += _beside(draft, wire, other, wires)
    _ends(draft, wire)
    checks = _checks(draft, wire, has_key)
    cures = {fault: 0.95 for fault in faults if fault in draft.fault}
    repair = wire.id + RENEW
    if cures:
        proof = tuple(check for check in checks if check in draft.check)
        draft.make("repair", repair, _renew(wire, repair, cures, proof, has_key), wire.origin)
    return {*faults, *checks, repair}


def _renew(
    wire: Wire, repair: str, cures: dict[str, float], proof: tuple[str, ...], has_key: bool
) -> Repair:
    return Repair(
        id=repair,
        say=f"renew the {wire.say} wire",
        do=f"Renew the {wire.say} wire and its terminals; route, sleeve and tie it as before",
        cures=cures,
        minutes=45.0,
        parts=(2.0, 15.0),
        renews=(wire.id,),
        reseats=wire.line.through,
        state={KEY: "off"} if has_key else {},
        prove=proof,
    )


def _conductor(draft: Draft, wire: Wire) -> list[str]:
    line, name = wire.line, wire.id
    within = line.within
    if within is None and line.ohm.within is None and line.ohm.value.sheet is None:
        within = CONDUCTOR_WITHIN
    ohm = f"{name}.ohm"
    draft.make("scalar", ohm, log_scalar(ohm, line.ohm, within), wire.origin)
    for a, b in _pieces(wire):
        _resistor(draft, Resistor(name, a, b, ohm, line.live), wire.origin)
    signal = line.input_ohm is not None
    poor = line.poor or (SIGNAL_POOR if signal else SUPPLY_POOR)
    _fault(draft, wire, f"{name}.open", f"{wire.say} wire open", ohm, OPEN_RANGE, "open")
    _fault(draft, wire, f"{name}.poor", f"resistance in the {wire.say} wire", ohm, poor, "poor")
    return [f"{name}.open", f"{name}.poor"]


def _pieces(wire: Wire) -> list[tuple[str, str]]:
    """The conductor's two nodes (one piece: the first stretch between wire sides)."""
    through = wire.line.through
    if len(through) < 2:
        return [(wire.first, wire.last)]
    return [(f"{wire.id}.{through[0]}", f"{wire.id}.{through[1]}")]


def _part_side(wire: Wire, position: int) -> str:
    """Node on the part side of a connector: an end, or the next stretch of an inline one."""
    through = wire.line.through
    if len(through) > 1 and position == 0:
        return wire.line.wire[0]
    if position == len(through) - 1:
        return wire.line.wire[1]
    return f"{wire.id}.{through[position + 1]}"


def _contact(draft: Draft, wire: Wire, connector: str, *, last: bool) -> list[str]:
    line, place = wire.line, f"{wire.id}.{connector}"
    part = _part_side(wire, line.through.index(connector))
    plug = _plug_say(draft, connector)
    ohm = f"{place}.ohm"
    draft.make("scalar", ohm, log_scalar(ohm, line.contact_ohm, None), wire.origin)
    when = {**line.live, connector: ("plugged",)}
    inner, outer = (part, place) if part == line.wire[0] else (place, part)
    _resistor(draft, Resistor(place, inner, outer, ohm, when), wire.origin)
    draft.make("point", place, place, wire.origin)
    draft.make("part_point", f"{place}.part", part, wire.origin)
    draft.make("point_say", place, f"{wire.say} at the {plug}, wire side", wire.origin)
    draft.make("point_say", f"{place}.part", f"{wire.say} at the {plug}, part side", wire.origin)
    signal = line.input_ohm is not None
    poor = line.contact_poor or (SIGNAL_CONTACT if signal else SUPPLY_CONTACT)
    say = f"{wire.say} at the {plug}"
    faults = [f"{place}.poor"]
    _fault(draft, wire, faults[0], f"poor contact of the {say}", ohm, poor, "contact")
    if last:
        faults.append(f"{place}.loose")
        _fault(draft, wire, faults[1], f"loose contact of the {say}", ohm, OPEN_RANGE, "loose")
    draft.contacts.append(
        Contact(connector, ohm, tuple(f for f in faults if f in draft.fault), f"{wire.id}.drop")
    )
    return faults


def _plug_say(draft: Draft, connector: str) -> str:
    plug = draft.plug.get(connector)
    return plug.say if plug else f"{humanise(connector)} plug"


def _resistor(draft: Draft, resistor: Resistor, origin: Origin) -> None:
    draft.make("resistor", resistor.id, resistor, origin)
    for node in (resistor.a, resistor.b):
        draft.nodes.setdefault(node, origin)


def _fault(
    draft: Draft,
    wire: Wire,
    fault_id: str,
    say: str,
    scalar: str,
    span: tuple[float, float],
    kind: str,
) -> None:
    fault = Fault(
        id=fault_id,
        say=say,
        spans=(Span("set", scalar, *span),),
        weight=wire.weight(kind),
        intermittent=kind == "loose",
    )
    draft.make("fault", fault_id, fault, wire.origin)


def _beside(draft: Draft, wire: Wire, other: str, wires: dict[str, Wire]) -> list[str]:
    if other == wire.id:
        draft.problems.append(
            wire.origin.problem("a wire cannot lie beside itself", "another wire or a node",
                                "name the neighbour", ("beside",))
        )
        return []
    if other in wires and wire.id in wires[other].line.beside and other < wire.id:
        draft.problems.append(
            wire.origin.problem(f'"{other}" already lies beside "{wire.id}"', "each pair once",
                                "leave one of the two out", ("beside",))
        )
        return []
    far = wires[other].last if other in wires else other
    say = f"{wires[other].say} wire" if other in wires else humanise(other)
    name, ohm = f"{wire.id}.to.{other}", f"{wire.id}.to.{other}.ohm"
    scalar = Scalar(ohm, "log", Value(number=OPEN_OHM), 0.0, "ohm")
    draft.make("scalar", ohm, scalar, wire.origin)
    _resistor(draft, Resistor(name, wire.last, far, ohm, wire.line.live), wire.origin)
    fault = f"{wire.id}.short.{other}"
    _fault(draft, wire, fault, f"{wire.say} wire touches the {say}", ohm, SHORT_RANGE, "short")
    return [fault]


def _ends(draft: Draft, wire: Wire) -> None:
    line, first = wire.line, wire.line.wire[0]
    if line.ends_at is not None:
        ohm = f"{wire.id}.ends.ohm"
        tie = Scalar(ohm, "log", Value(number=TIE_OHM), 0.0, "ohm")
        draft.make("scalar", ohm, tie, wire.origin)
        _resistor(
            draft, Resistor(f"{wire.id}.ends", first, line.ends_at, ohm, line.live), wire.origin
        )
    if line.input_ohm is not None:
        ohm = f"{wire.id}.input.ohm"
        draft.make("scalar", ohm, log_scalar(ohm, line.input_ohm, None), wire.origin)
        back = line.input_to or draft.zero
        _resistor(draft, Resistor(f"{wire.id}.input", first, back, ohm, line.live), wire.origin)


def _checks(draft: Draft, wire: Wire, has_key: bool) -> list[str]:
    line, made = wire.line, []
    red, black = (wire.last, wire.first) if line.ends_at else (wire.first, wire.last)
    state = line.drop_in if line.drop_in is not None else ({KEY: "on"} if has_key else None)
    if state is not None:
        made.append(f"{wire.id}.drop")
        check = Check(
            id=made[-1],
            say=f"volts along the {wire.say} wire",
            do=f"Back-probe the {wire.say} wire at both ends and read the volts lost along it",
            read="volt",
            red=red,
            black=black,
            state=state,
            minutes=4.0,
            spec=Limit(low=-0.1, high=0.1),
        )
        draft.make("check", check.id, check, wire.origin)
    if line.through:
        made.append(f"{wire.id}.continuity")
        unplugged = dict.fromkeys(line.through, "unplugged")
        check = Check(
            id=made[-1],
            say=f"ohms along the {wire.say} wire",
            do=f"Unplug both ends of the {wire.say} wire and read the ohms along it",
            read="ohm",
            red=red,
            black=black,
            state={**({KEY: "off"} if has_key else {}), **unplugged},
            minutes=3.0,
            spec=Limit(low=float("-inf"), high=0.5),
            disturbs=line.through,
        )
        draft.make("check", check.id, check, wire.origin)
    return made


