"""Whether all that the lines name exists and fits: states, scalars, faults, repairs, words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TypeVar

from idlewright.errors import Problem
from idlewright.family.circuit_check import check_circuit
from idlewright.family.draft import Draft, Origin
from idlewright.family.engine_check import check_engine
from idlewright.family.kinds import Check, Fault, Repair, Scalar, SheetEntry, SoftEvidence, Span
from idlewright.family.names import did_you_mean
from idlewright.family.readings import check_checks
from idlewright.family.referee import Referee
from idlewright.family.salvage import unmuted
from idlewright.family.schema import Port
from idlewright.quantities import UNITS, find_unit

ENGINE_IDS = re.compile(
    r"air\.\w[\w.]*_mm2|leak\.\w[\w.]*_mm2|load\.\w[\w.]*_nm|lambda|timing_deg|efficiency|dilution|"
    r"friction|back_kpa|displacement_l|ambient_kpa|intake_k|target_rpm|model_rpm"
)
ENGINE_LIST = (
    "air.*_mm2, leak.*_mm2, load.*_nm, lambda, timing_deg, efficiency, dilution, friction, "
    "back_kpa, displacement_l, ambient_kpa, intake_k, target_rpm, model_rpm"
)
HIGHEST_FACTOR = 3.0

N = TypeVar("N")


def check_references(draft: Draft, port: Port | None = None) -> list[Problem]:
    """Everything in a finished draft that names what is not there, or does not fit."""
    referee = Referee(draft, port)
    _states(referee)
    _sheet_units(referee)
    for scalar in draft.scalar.values():
        _scalar(referee, scalar)
    for name, resistor in draft.resistor.items():
        referee.states(("resistor", name, ("live",)), resistor.when)
    for name, source in draft.source.items():
        referee.states(("source", name, ("live",)), source.when)
    _movers(referee)
    for fault in draft.fault.values():
        _fault(referee, fault)
    check_checks(referee)
    _also(referee)
    for repair in draft.repair.values():
        _repair(referee, repair)
    _soft(referee)
    _texts(referee)
    check_engine(referee)
    referee.wanted()
    if port is None:
        check_circuit(referee)
    return unmuted(referee.problems, draft.muted)


def _states(referee: Referee) -> None:
    draft = referee.draft
    for name, variable in draft.state.items():
        for value, needs in variable.needs.items():
            del value
            referee.states(("state", name, ("needs",)), needs)
        referee.cautions_and_tools("state", name, variable.cautions)
    graph = {
        (name, value): [(n, v) for n, v in needs.items() if n in draft.state]
        for name, variable in draft.state.items()
        for value, needs in variable.needs.items()
    }
    for circle in _circles(graph):
        name = circle[0][0]
        chain = " → ".join(f"{n} = {v}" for n, v in (*circle, circle[0]))
        referee.report("state", name, ("needs",), f"needs go round in a circle: {chain}",
                       "an order in which everything can be reached", "take one of them out")


def _sheet_units(referee: Referee) -> None:
    for key, entry in referee.draft.sheet.items():
        if entry.unit and find_unit(entry.unit) is None:
            remedy = did_you_mean(entry.unit, UNITS, "unit")
            referee.report("sheet", key, ("unit",), f'unknown unit "{entry.unit}"',
                           "a unit such as V, ohm, rpm, mm", remedy)


def _circles(graph: dict[N, list[N]]) -> Iterable[list[N]]:
    """One circle for each group of nodes that need each other."""
    done: set[N] = set()
    for start in graph:
        trail: list[N] = []
        yield from _walk(graph, start, trail, done)


def _walk(graph: dict[N, list[N]], node: N, trail: list[N], done: set[N]) -> Iterable[list[N]]:
    if node in trail:
        yield trail[trail.index(node) :]
        return
    if node in done:
        return
    trail.append(node)
    for following in graph.get(node, []):
        yield from _walk(graph, following, trail, done)
    trail.pop()
    done.add(node)


def _scalar(referee: Referee, scalar: Scalar) -> None:
    draft, where = referee.draft, ("scalar", scalar.id)
    if where in draft.made and draft.scalar[scalar.id].only and scalar.id.endswith("]"):
        return  # a shadow: its fault has been looked at
    referee.states((*where, ("only",)), scalar.only)
    if scalar.stands_for is not None:
        referee.need((*where, ("stands_for",)), [scalar.stands_for], draft.scalar, "scalar")
        if not scalar.only:
            referee.report(*where, ("stands_for",), "stands_for without only", "only = { state }",
                           "say in which states it stands in")
    if scalar.id.startswith("engine.") and not ENGINE_IDS.fullmatch(scalar.id[7:]):
        local = scalar.id[7:]
        referee.report(*where, (), f'the engine has no "{local}"', ENGINE_LIST,
                       did_you_mean(local, ENGINE_LIST.split(", ")))
    _value(referee, scalar)


def _value(referee: Referee, scalar: Scalar) -> None:
    where, value = ("scalar", scalar.id), scalar.value
    numbers = list((value.by_word or {}).values())
    if value.sheet is None and value.number is not None:
        numbers.append(value.number)
    if scalar.scale == "log" and any(number <= 0 for number in numbers):
        referee.report(*where, _key_of(scalar), f"a log scalar cannot be {min(numbers):g}",
                       "a number above 0", 'give a positive number, or scale = "linear"')
    if value.sheet is None:
        return
    entry = (
        referee.draft.sheet[value.sheet]
        if referee.sheet_key(*where, _key_of(scalar), value.sheet)
        else None
    )
    over = value.over
    other = over and referee.sheet_key(*where, _key_of(scalar), over)
    if entry is None:
        return
    if value.by_word is not None:
        _by_word(referee, scalar, entry, value.by_word)
        return
    unit = scalar.unit
    if over:
        unit = referee.draft.sheet[over].unit if other else entry.unit
    if value.fit:
        unit = "rpm"
    if entry.words or not same_unit(unit, entry.unit):
        has = "words" if entry.words else f"in {entry.unit}"
        referee.report(*where, _key_of(scalar), f'sheet entry "{value.sheet}" is {has}',
                       f"limits in {unit}" if unit else "limits",
                       "correct the unit of one of the two, or name another entry")


def _by_word(
    referee: Referee, scalar: Scalar, entry: SheetEntry, numbers: Mapping[str, float]
) -> None:
    wanted = "one of " + ", ".join(entry.words) if entry.words else "an entry with words"
    for word in numbers:
        if word not in entry.words:
            referee.report("scalar", scalar.id, _key_of(scalar),
                           f'sheet entry "{entry.key}" has no word "{word}"', wanted,
                           did_you_mean(word, entry.words, "word"))


def same_unit(first: str, second: str) -> bool:
    """True if two unit texts mean the same unit, or one says nothing."""
    if not first or not second or first == second:
        return True
    one, two = find_unit(first), find_unit(second)
    return one is not None and one == two


def _key_of(scalar: Scalar) -> tuple[str, ...]:
    """Key of the line that a scalar's value stands under, as far as its id tells."""
    parts = scalar.id.split(".")
    if len(parts) > 2 and parts[-2] == "at":
        return ("at", parts[-1])
    last = parts[-1]
    return (last,) if last in ("ohm", "volt", "contact_ohm", "run_amp", "break_amp") else ("is",)


def _movers(referee: Referee) -> None:
    draft = referee.draft
    for mover in draft.movers:
        section = "resistor"
        name = next((r for r in draft.resistor if r.startswith(f"{mover.element}.")), "")
        where = (section, name, ("moves_with",))
        variable = draft.state.get(mover.variable)
        if variable is None:
            if mover.variable not in referee.port_states and not draft.is_broken(mover.variable):
                prefix = draft.origin(section, name).prefix
                known = {v.removeprefix(prefix) for v in draft.state}
                local = mover.variable.removeprefix(prefix)
                referee.report(*where, f'there is no state variable "{local}"', "a line of [state]",
                               did_you_mean(local, known, "variable"))
            continue
        for value in variable.values:
            if value not in mover.values:
                referee.report(section, name, (mover.key,),
                               f'{mover.key} says nothing for {mover.variable} = "{value}"',
                               f"a number for each value of {mover.variable}", "add it")


def _fault(referee: Referee, fault: Fault) -> None:
    where = ("fault", fault.id)
    only = referee.draft.only.get(fault.id)
    if only:
        referee.states((*where, ("only",)), only)
    for span in fault.spans:
        name = span.scalar.split("[", 1)[0]
        _target(referee, fault, span.act, name)
        if span.like is not None:
            referee.need((*where, (span.act,)), [span.like], referee.draft.scalar, "scalar")
        elif name in referee.draft.scalar:
            _fits(referee, fault, span, referee.draft.scalar[name])


def _target(referee: Referee, fault: Fault, act: str, name: str) -> None:
    draft = referee.draft
    prefix = draft.origin("fault", fault.id).prefix
    if name in referee.elements and name not in draft.scalar:
        local = name.removeprefix(prefix)
        near = [s.removeprefix(prefix) for s in draft.scalar if s.startswith(f"{name}.")]
        referee.report("fault", fault.id, (act, local), f'"{local}" is an element, not a scalar',
                       "a scalar such as " + ", ".join(near[:4]), f'write "{near[0]}"')
        return
    referee.need(("fault", fault.id, (act,)), [name], draft.scalar, "scalar")


def _fits(referee: Referee, fault: Fault, span: Span, scalar: Scalar) -> None:
    prefix = referee.draft.origin("fault", fault.id).prefix
    at = (span.act, scalar.id.removeprefix(prefix))
    if scalar.scale == "log" and span.act in ("set", "times") and span.low <= 0:
        referee.report("fault", fault.id, at, f"{span.low:g} is not above 0",
                       "numbers above 0 for a log scalar", "use 1e-3 for a dead short")
    fraction = any(r.fraction == scalar.id for r in referee.draft.resistor.values())
    if fraction and span.act == "set" and not 0 < span.low <= span.high < 1:
        referee.report("fault", fault.id, at, f"a slider cannot stand at {span.high:g}",
                       "a share of its travel, 0 to 1", "correct the share")


def _repair(referee: Referee, repair: Repair) -> None:
    draft, name = referee.draft, repair.id

    def need(key: str, names: Iterable[str], known: Iterable[str], what: str) -> None:
        referee.need(("repair", name, (key,)), names, known, what, beginnings=key == "renews")

    things = [*draft.scalar, *referee.elements, *referee.connectors]
    need("cures", repair.cures, draft.fault, "fault")
    need("renews", repair.renews, things, "scalar or element")
    need("reseats", repair.reseats, referee.connectors, "connector")
    need("voids", repair.voids, draft.check, "check")
    need("prove", repair.prove, draft.check, "check")
    need("steps", repair.steps, draft.step, "step")
    settable = [*draft.sheet, *(f"sheet.{key}" for key in draft.sheet), *draft.scalar]
    if referee.port is None:
        need("sets", repair.sets, settable, "sheet entry or scalar")
    referee.states(("repair", name, ("in",)), repair.state)
    referee.states(("repair", name, ("leaves",)), repair.leaves)
    referee.cautions_and_tools("repair", name, repair.cautions, repair.tools)


def _soft(referee: Referee) -> None:
    draft = referee.draft
    for section, soft, origin in draft.soft:
        for key, table in (("raises", soft.raises), ("lowers", soft.lowers)):
            kept = {f: x for f, x in table.items() if f not in draft.dropped}
            _factors(referee, soft, origin, key, kept)
        joined: SoftEvidence | None = draft.table(section).get(soft.id)
        if referee.port is None and joined is not None and not joined.say:
            referee.problems.append(
                origin.problem(f"{section} {soft.id} has no say in any file", 'say = "…"',
                               "add what people call it", ("say",))
            )


def _factors(
    referee: Referee, soft: SoftEvidence, origin: Origin, key: str, table: dict[str, float]
) -> None:
    draft = referee.draft
    draft.places["soft", soft.id] = origin
    referee.need(("soft", soft.id, (key,)), table, draft.fault, "fault")
    other = "lowers" if key == "raises" else "raises"
    for fault, factor in table.items():
        at = (key, fault.removeprefix(origin.prefix))
        if factor < 1:
            referee.problems.append(
                origin.problem(f"a factor of {factor:g} is below 1", "a factor from 1 to 3",
                               f"write {1 / factor:.3g} under {other}", at)
            )
        elif factor > HIGHEST_FACTOR:
            referee.problems.append(
                origin.problem(f"a factor of {factor:g} is above 3",
                               "a factor from 1 to 3: words alone never decide",
                               f"write {HIGHEST_FACTOR:g}", at)
            )


def _texts(referee: Referee) -> None:
    draft = referee.draft
    places = [*draft.point, *draft.part_point]
    for name, step in draft.step.items():
        referee.cautions_and_tools("step", name, step.cautions, step.tools)
    for name, plug in draft.plug.items():
        points = [point for point in plug.points if point not in draft.dropped]
        referee.need(("plug", name, ("points",)), points, places, "place a lead can go")
        if len(plug.cavities) != len(plug.points):
            referee.report("plug", name, ("points",),
                           f"{len(plug.cavities)} cavities but {len(plug.points)} points",
                           "one point for each cavity, in the same order", "make them match")
    for name in draft.point_say:
        if name not in draft.dropped and ("point_say", name) not in draft.made:
            referee.need(("point_say", name, ()), [name], places, "place a lead can go")


def _also(referee: Referee) -> None:
    """What lines add to checks of other files; a part alone cannot know those checks."""
    draft = referee.draft
    for also in draft.also:
        check: Check | None = draft.check.get(also.check)
        if check is None and (referee.port is not None or also.check in draft.dropped):
            continue
        draft.places["also", also.check] = also.origin
        referee.need(("also", also.check, ()), [also.check], draft.check, "check")
        referee.need(("also", also.check, ("provokes",)), also.provokes, draft.fault, "fault",
                     beginnings=True)
        for word, odds in also.shows.items():
            faults = [fault for fault in odds if fault not in draft.dropped]
            referee.need(("also", also.check, ("shows", word)), faults, draft.fault, "fault")
            words = [] if check is None else [one.id for one in check.words if one.low is None]
            if check is not None and word not in words:
                referee.report("also", also.check, ("shows", word),
                               f'check "{also.check}" has no word "{word}"',
                               "one of " + ", ".join(words), did_you_mean(word, words, "word"))


