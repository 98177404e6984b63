"""The lines of one file turned into records, in the file's own names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, TypeVar

from idlewright.family.amounts import Limits, Range
from idlewright.family.control import Control
from idlewright.family.draft import Also, Draft, Origin
from idlewright.family.elements import expand_element
from idlewright.family.kinds import (
    Check,
    Fault,
    Limit,
    Plug,
    Repair,
    Scale,
    SheetEntry,
    SoftEvidence,
    Span,
    StateVariable,
    Step,
    Word,
)
from idlewright.family.lines import Lines
from idlewright.family.names import did_you_mean, humanise
from idlewright.family.salvage import unmuted
from idlewright.family.scalars import LINEAR_ENGINE, make_scalar
from idlewright.family.schema import (
    AlsoLine,
    CheckLine,
    Element,
    FaultLine,
    PlugLine,
    RepairLine,
    ScalarLine,
    SheetLine,
    SoftLine,
    StateLine,
    StepLine,
    WireLine,
)
from idlewright.family.wire import KEY, Wire, expand_wire

T = TypeVar("T")

ACTS: tuple[Literal["set", "shift", "times"], ...] = ("set", "shift", "times")


def expand_lines(lines: Lines) -> Draft:
    """Every line of a file as records; wires and the like are expanded."""
    draft = Draft(lines.document, broken=set(lines.broken), muted=list(lines.muted))
    draft.sections = set(lines.has)
    draft.lost = "circuit" in lines.lost
    if lines.zero is not None:
        draft.zero = lines.zero
    if lines.control is not None:
        control = lines.control
        draft.control = Control(
            control.target,
            control.low,
            control.high,
            control.parked,
            control.actuator,
            control.closed_between,
            control.closed_below_v,
        )
        draft.places["engine", "control"] = Origin(lines.document, ("engine", "control"))
    for section in ("caution", "tool"):
        for name, sentence in lines.texts.get(section, {}).items():
            draft.add(section, name, sentence, Origin(lines.document, (section, name)))
    for name, sentence in lines.texts.get("point", {}).items():
        draft.add("point_say", name, sentence, Origin(lines.document, ("point", name)))
    for section, content in lines.sections.items():
        for name, line in content.items():
            _expand_line(draft, section, name, line)
    _expand_circuit(draft, lines)
    draft.problems = [*lines.problems, *unmuted(draft.problems, lines.muted)]
    return draft


def _expand_line(draft: Draft, section: str, name: str, line: object) -> None:
    origin = Origin(draft.document, (section, name))
    match line:
        case SheetLine():
            draft.add("sheet", name, _sheet_entry(draft, name, line, origin), origin)
        case StateLine():
            draft.add("state", name, _state(draft, name, line, origin), origin)
        case ScalarLine():
            _scalar(draft, section, name, line, origin)
        case FaultLine():
            draft.add("fault", name, _fault(draft, name, line, origin), origin)
            if line.only:
                draft.only[name] = line.only
        case CheckLine():
            draft.add("check", name, _check(draft, name, line, origin), origin)
        case RepairLine():
            draft.add("repair", name, _repair(name, line), origin)
        case _:
            _expand_told(draft, section, name, line)


def _expand_told(draft: Draft, section: str, name: str, line: object) -> None:
    """Lines that only tell people something. Circuit lines follow later; `use` is the caller's."""
    origin = Origin(draft.document, (section, name))
    match line:
        case StepLine():
            step = Step(name, line.say, line.lines, line.tools, line.caution)
            draft.add("step", name, step, origin)
        case SoftLine():
            soft = SoftEvidence(name, line.say or "", line.raises, line.lowers)
            draft.add(section, name, soft, origin)
            draft.soft.append((section, soft, origin))
        case AlsoLine():
            draft.also.append(Also(name, line.shows, line.provokes, origin))
        case PlugLine():
            draft.add("plug", name, Plug(name, line.say, line.cavities, line.points), origin)


def _expand_circuit(draft: Draft, lines: Lines) -> None:
    circuit = {n: line for n, line in lines.section("circuit").items() if isinstance(line, Element)}
    wires = {
        name: Wire(name, line, Origin(draft.document, ("circuit", name)),
                   line.say or humanise(name))
        for name, line in circuit.items()
        if isinstance(line, WireLine)
    }  # fmt: skip
    has_key = KEY in draft.state or (lines.port is not None and KEY in lines.port.state)
    for name, line in circuit.items():
        if not isinstance(line, WireLine):
            expand_element(draft, name, line, Origin(draft.document, ("circuit", name)))
    for wire in wires.values():
        expand_wire(draft, wire, wires, has_key)


def _sheet_entry(draft: Draft, name: str, line: SheetLine, origin: Origin) -> SheetEntry:
    usual, word = None, None
    if line.usual is not None and line.usual.words:
        word = line.usual.words[0]
        if word not in line.words:
            draft.problems.append(
                origin.problem(f'usual word "{word}" is not one of the words', "a word of `words`",
                               did_you_mean(word, line.words, "word"), ("usual",))
            )
    elif line.usual is not None:
        usual = (float(line.usual.low or 0.0), float(line.usual.high or 0.0))
    if bool(line.words) == (line.unit is not None):
        draft.problems.append(
            origin.problem("both unit and words" if line.words else "neither unit nor words",
                           'unit = "V" for limits, or words = ["…", "…"]', "keep exactly one")
        )
    elif line.words and usual is not None:
        draft.problems.append(
            origin.problem("usual limits beside words", "a usual word", "name a word", ("usual",))
        )
    elif line.unit is not None and word is not None:
        draft.problems.append(
            origin.problem("a usual word beside a unit", "[low, high]", "give limits", ("usual",))
        )
    return SheetEntry(name, line.say, line.unit or "", usual, line.words, word)


def _state(draft: Draft, name: str, line: StateLine, origin: Origin) -> StateVariable:
    for key in ("minutes", "wait", "needs", "says", "fades"):
        for value in getattr(line, key):
            if value and value not in line.values:
                draft.problems.append(
                    origin.problem(f'{key} names "{value}", which {name} never is',
                                   "one of " + ", ".join(line.values),
                                   did_you_mean(value, line.values, "value"), (key, value))
                )
    for value, (_, into) in line.fades.items():
        if into not in line.values:
            draft.problems.append(
                origin.problem(f'fades into "{into}", which {name} never is',
                               "one of " + ", ".join(line.values),
                               did_you_mean(into, line.values, "value"), ("fades", value))
            )
    return StateVariable(
        name=name,
        values=line.values,
        minutes=_spread(line.minutes, line.values, 0.0),
        wait=_spread(line.wait, line.values, 0.0),
        needs=_spread(line.needs, line.values, {}),
        says={v: line.says.get(v, f"{humanise(name)} {v}") for v in line.values},
        cautions=line.caution,
        fades=line.fades,
        free=line.free,
    )


def _spread(given: Mapping[str, T], values: tuple[str, ...], missing: T) -> dict[str, T]:
    """One for all ("") or by value, for every value."""
    everywhere = given.get("", missing)
    return {value: given.get(value, everywhere) for value in values}


def _scalar(draft: Draft, section: str, name: str, line: ScalarLine, origin: Origin) -> None:
    scalar_id = f"engine.{name}" if section == "engine" else name
    scale: Scale = line.scale or ("linear" if section == "engine" and name in LINEAR_ENGINE
                                  else "log")
    scalar = make_scalar(
        scalar_id, line.value, line.within, scale, line.unit, line.only, line.stands_for
    )
    if line.value.value.fit and section != "engine":
        draft.problems.append(
            origin.problem("fit stands outside [engine]", "a number or a sheet entry",
                           "only the engine's scalars can be fitted", ("is",))
        )
    draft.add("scalar", scalar_id, scalar, origin)


def _fault(draft: Draft, name: str, line: FaultLine, origin: Origin) -> Fault:
    spans: list[Span] = []
    for act in ACTS:
        table: dict[str, Range] = getattr(line, act)
        for scalar, reach in table.items():
            if any(span.scalar == scalar for span in spans):
                draft.problems.append(
                    origin.problem(f'"{scalar}" is changed twice', "one change to each scalar",
                                   "keep one of them", (act, scalar))
                )
            if reach.like is not None and act != "set":
                draft.problems.append(
                    origin.problem(f"{act} cannot take another scalar's value", "a number or range",
                                   "use set", (act, scalar))
                )
            spans.append(Span(act, scalar, reach.low, reach.high, reach.like))
    if not spans:
        draft.problems.append(
            origin.problem("the fault changes nothing", "set, shift or times",
                           "say which scalar it changes")
        )
    return Fault(
        name,
        line.say,
        tuple(spans),
        line.weight,
        line.intermittent,
        line.induced,
        line.silent or "",
        line.came_by,
    )


def _limit(spec: Limits | None) -> Limit | None:
    if spec is None:
        return None
    if spec.sheet is not None:
        return Limit(sheet=spec.sheet, source="sheet")
    return Limit(low=spec.low, high=spec.high, words=spec.words)


def _check(draft: Draft, name: str, line: CheckLine, origin: Origin) -> Check:
    if line.compare_with is not None and not line.compare_with:
        draft.problems.append(
            origin.problem("compare_with is empty", "{ variable = value }",
                           "name the state to compare with", ("compare_with",))
        )
    return Check(
        id=name,
        say=line.say or line.do,
        do=line.do,
        read=line.read,
        state=line.state,
        minutes=line.minutes,
        wait=line.wait,
        red=line.red,
        black=line.black,
        of=line.of,
        compare_with=line.compare_with,
        leaves=line.leaves,
        spec=_limit(line.spec),
        ratio_to=line.ratio_to,
        noise=line.noise,
        words=_words(draft, line, origin),
        false_word=line.false_word,
        blur=line.blur,
        disturbs=line.disturbs,
        provokes=line.provokes,
        cautions=line.caution,
        tools=line.tools,
        helper=line.helper,
        perishable=line.perishable,
    )


def _words(draft: Draft, line: CheckLine, origin: Origin) -> tuple[Word, ...]:
    if isinstance(line.words, dict):
        if line.shows:
            draft.problems.append(
                origin.problem("shows stands beside words with limits", "one of the two",
                               "list the words in `words = [ … ]`, or drop shows", ("shows",))
            )
        return tuple(Word(w, limits.low, limits.high) for w, limits in line.words.items())
    for word in line.shows:
        if word not in line.words:
            draft.problems.append(
                origin.problem(f'shows names "{word}", which is not one of the words',
                               "one of " + ", ".join(line.words),
                               did_you_mean(word, line.words, "word"), ("shows", word))
            )
    return tuple(Word(word, odds=line.shows.get(word, {})) for word in line.words)


def _repair(name: str, line: RepairLine) -> Repair:
    return Repair(
        id=name,
        say=line.say or line.do,
        do=line.do,
        cures=line.cures,
        minutes=line.minutes,
        wait=line.wait,
        parts=line.parts,
        lead_days=line.lead_days,
        renews=line.renews,
        reseats=line.reseats,
        sets=line.sets,
        voids=line.voids,
        state=line.state,
        leaves=line.leaves,
        prove=line.prove,
        steps=line.steps,
        cautions=line.caution,
        tools=line.tools,
        helper=line.helper,
        relearn=line.relearn,
    )
