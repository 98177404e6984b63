"""The last touches, once every part is in: what spans parts, and the frozen family."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import replace

from idlewright.family.connectors import clean_repairs, prove_made_repairs
from idlewright.family.draft import Draft, Origin
from idlewright.family.kinds import (
    Check,
    Condition,
    Family,
    Fault,
    Limit,
    Scalar,
    SheetEntry,
    SoftEvidence,
)
from idlewright.family.lines import Lines
from idlewright.family.names import humanise, matching

STANDARD_CAUTIONS = {
    "unplug": "Key and all consumers off before you unplug or plug in; pull plugs, not wires.",
}
"""Said where a file without any [caution] names them."""

UNIT_OF_READ = {
    "volt": "V", "volt_ac": "V", "ohm": "ohm", "rpm": "rpm", "kPa": "kPa", "mm": "mm", "mV": "mV",
    "deg": "deg", "s": "s", "amp": "A", "percent": "%", "word": "",
}  # fmt: skip
"""Unit of each kind of reading."""


def finish(draft: Draft) -> None:
    """Add what only the whole family can say; the draft is changed in place."""
    _implied_sheet(draft)
    _implied_cautions(draft)
    _source_checks(draft)
    clean_repairs(draft)
    _node_points(draft)
    prove_made_repairs(draft)
    _shadows(draft)
    _add_to_checks(draft)
    _leave_out(draft)
    _prune(draft)


def _implied_sheet(draft: Draft) -> None:
    """In a file without [sheet], an entry is declared by being used; its unit by where."""
    if "sheet" in draft.sections:
        return
    for scalar in draft.scalar.values():
        for key in (scalar.value.sheet, scalar.value.over):
            if key is not None:
                words = tuple(scalar.value.by_word or ())
                unit = "" if words else (scalar.unit or "V")
                _imply(draft, key, unit, words, draft.origin("scalar", scalar.id))
    for check in draft.check.values():
        if check.spec is not None and check.spec.sheet is not None:
            words = tuple(word.id for word in check.words)
            unit = UNIT_OF_READ[check.read]
            _imply(draft, check.spec.sheet, unit, words, draft.origin("check", check.id))


def _imply(draft: Draft, key: str, unit: str, words: tuple[str, ...], origin: Origin) -> None:
    if key not in draft.sheet:
        entry = SheetEntry(key, humanise(key), unit, None, words)
        draft.add("sheet", key, entry, origin)


def _implied_cautions(draft: Draft) -> None:
    if "caution" in draft.sections:
        return
    named = [c for variable in draft.state.values() for c in variable.cautions]
    for section in ("check", "repair", "step"):
        named += [c for record in draft.table(section).values() for c in record.cautions]
    for name in named:
        if name in STANDARD_CAUTIONS:
            draft.caution.setdefault(name, STANDARD_CAUTIONS[name])


def _source_checks(draft: Draft) -> None:
    """A `ratio_to` that names a source means: the volts across that source."""
    for check in list(draft.check.values()):
        source = draft.source.get(check.ratio_to or "")
        if source is None or source.id in draft.check:
            continue
        value = draft.scalar[source.volt].value
        spec = None
        if value.sheet is not None and value.over is None and value.by_word is None:
            spec = Limit(sheet=value.sheet, source="sheet")
        say = humanise(source.id)
        made = Check(
            id=source.id,
            say=say,
            do=f"Read the volts of the {say}, red lead on its plus, black lead on its minus",
            read="volt",
            state={name: values[0] for name, values in source.when.items()},
            minutes=2.0,
            red=source.plus,
            black=source.minus,
            spec=spec,
        )
        draft.make("check", source.id, made, draft.origin("source", source.id))


def _node_points(draft: Draft) -> None:
    """Every node that a line names is a place a lead can go, under its own name."""
    ends = set(draft.part_point.values())
    inner = {name.rsplit(".", 1)[0] + ".inner" for name in draft.resistor}
    for node in draft.nodes:
        target = _node(draft, node)
        if node in draft.point or node in draft.part_point or node in inner:
            continue
        (draft.part_point if target in ends else draft.point)[node] = target
    for node in {draft.zero, *draft.point_say}:
        known = node in draft.point or node in draft.part_point
        if not known and node in draft.nodes:
            draft.point[node] = node
    _resolve(draft)


def _node(draft: Draft, name: str) -> str:
    """The circuit node behind a place's name; a place may stand for a place."""
    seen: set[str] = set()
    while name not in seen:
        seen.add(name)
        name = draft.point.get(name) or draft.part_point.get(name) or name
    return name


def _resolve(draft: Draft) -> None:
    """Elements and places end on nodes, never on other places."""
    for places in (draft.point, draft.part_point):
        for place in places:
            places[place] = _node(draft, place)
    for name, resistor in draft.resistor.items():
        draft.resistor[name] = replace(
            resistor, a=_node(draft, resistor.a), b=_node(draft, resistor.b)
        )
    for name, source in draft.source.items():
        draft.source[name] = replace(
            source, plus=_node(draft, source.plus), minus=_node(draft, source.minus)
        )
    for name, motor in draft.motor.items():
        draft.motor[name] = replace(motor, a=_node(draft, motor.a), b=_node(draft, motor.b))
    draft.zero = _node(draft, draft.zero)


def condition_text(condition: Condition) -> str:
    """A condition as it stands in a shadow scalar's id: `throttle=closed`."""
    return ",".join(f"{name}={'|'.join(values)}" for name, values in sorted(condition.items()))


def _shadows(draft: Draft) -> None:
    """A fault that acts in some states only acts on a scalar of its own for those states."""
    for fault_id, only in draft.only.items():
        fault: Fault | None = draft.fault.get(fault_id)
        if fault is None:
            continue
        spans = []
        for span in fault.spans:
            scalar: Scalar | None = draft.scalar.get(span.scalar)
            if scalar is None:
                spans.append(span)
                continue
            shadow = f"{scalar.id}[{condition_text(only)}]"
            if shadow not in draft.scalar:
                record = replace(
                    scalar,
                    id=shadow,
                    only={**scalar.only, **only},
                    stands_for=scalar.stands_for or scalar.id,
                )
                draft.add("scalar", shadow, record, draft.origin("fault", fault_id))
                draft.made.add(("scalar", shadow))
            spans.append(replace(span, scalar=shadow))
        draft.fault[fault_id] = replace(fault, spans=tuple(spans))


def _add_to_checks(draft: Draft) -> None:
    """Chances that lines of [also] give to the words of a check; of two for a fault, the larger."""
    for also in draft.also:
        check = draft.check.get(also.check)
        if check is None:
            continue
        words = []
        for word in check.words:
            added = {f: p for f, p in also.shows.get(word.id, {}).items() if f in draft.fault}
            odds = {**word.odds, **{f: max(p, word.odds.get(f, p)) for f, p in added.items()}}
            words.append(replace(word, odds=odds))
        more = [p for p in also.provokes if any(f.startswith(p) for f in draft.fault)]
        provokes = (*check.provokes, *(p for p in more if p not in check.provokes))
        draft.check[also.check] = replace(check, words=tuple(words), provokes=provokes)


def _leave_out(draft: Draft) -> None:
    """Looks, words and codes of used parts that nothing in this family speaks to are left out."""

    def shared(section: str, name: str) -> bool:
        return draft.origin(section, name).document is not draft.document

    def told(check: Check) -> bool:
        return check.read != "word" or check.of is not None or any(w.odds for w in check.words)

    for check in list(draft.check.values()):
        if shared("check", check.id) and not told(check):
            draft.drop(check.id)
    for section in ("word", "code"):
        table = draft.table(section)
        for name, soft in list(table.items()):
            if shared(section, name) and not (soft.raises or soft.lowers):
                del table[name]


def factors(table: Mapping[str, float], faults: Iterable[str]) -> dict[str, float]:
    """Factors by fault id; where several keys mean one fault, the longest key counts."""
    known = list(faults)
    found: dict[str, float] = {}
    for pattern in sorted(table, key=lambda key: ("*" not in key, len(key))):
        for fault in matching(pattern, known):
            found[fault] = table[pattern]
    return found


def _prune(draft: Draft) -> None:
    """What was dropped on purpose is taken out of everything that named it."""
    gone = draft.dropped

    def kept(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(name for name in names if name not in gone)

    for name, repair in draft.repair.items():
        cures = {fault: p for fault, p in repair.cures.items() if fault not in gone}
        draft.repair[name] = replace(
            repair, cures=cures, prove=kept(repair.prove), voids=kept(repair.voids),
            steps=kept(repair.steps), renews=kept(repair.renews),
        )  # fmt: skip
    for name, check in draft.check.items():
        words = tuple(
            replace(word, odds={f: p for f, p in word.odds.items() if f not in gone})
            for word in check.words
        )
        draft.check[name] = replace(
            check, words=words, provokes=kept(check.provokes), disturbs=kept(check.disturbs)
        )
    for table in (draft.word, draft.code):
        for name, soft in table.items():
            table[name] = replace(
                soft,
                raises={f: x for f, x in soft.raises.items() if f not in gone},
                lowers={f: x for f, x in soft.lowers.items() if f not in gone},
            )


def family_of(lines: Lines, draft: Draft) -> Family:
    """The frozen family of a finished draft without problems."""
    return Family(
        id=lines.id,
        say=lines.say or humanise(lines.id.replace("-", " ")),
        sha256=_sha256(draft),
        air_metering=lines.air_metering,
        control=draft.control,
        zero=draft.zero,
        states=draft.state,
        scalars=draft.scalar,
        resistors=draft.resistor,
        sources=draft.source,
        motors=draft.motor,
        faults=draft.fault,
        checks=draft.check,
        repairs=draft.repair,
        words=_soft(draft.word, draft.fault),
        codes=_soft(draft.code, draft.fault),
        cautions=draft.caution,
        sheet=draft.sheet,
        steps=draft.step,
        plugs=draft.plug,
        points=draft.point,
        part_points=draft.part_point,
        point_says={
            place: draft.point_say.get(place, humanise(place))
            for place in (*draft.point, *draft.part_point)
        },
        tools=draft.tool,
    )


def _sha256(draft: Draft) -> str:
    if len(draft.documents) == 1:
        return draft.documents[0]
    return hashlib.sha256("\n".join(draft.documents).encode()).hexdigest()


def _soft(
    table: Mapping[str, SoftEvidence], faults: Mapping[str, Fault]
) -> dict[str, SoftEvidence]:
    return {
        name: replace(
            soft, raises=factors(soft.raises, faults), lowers=factors(soft.lowers, faults)
        )
        for name, soft in table.items()
    }
