"""Any file of ours checked; what a family or part expands to, as text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path as FilePath
from typing import Literal

from idlewright.errors import BadInput, Problem
from idlewright.family.draft import Draft
from idlewright.family.finish import family_of, finish
from idlewright.family.kinds import Condition, Family, Scalar, Span
from idlewright.family.lines import Lines
from idlewright.family.load import at_family, family_and_problems, find_family, in_order
from idlewright.family.parts import assemble
from idlewright.family.references import check_references
from idlewright.family.schema import Port
from idlewright.family.sheet import sheet_from
from idlewright.family.textfile import Document, read_document

Kind = Literal["family", "part", "sheet", "job", "car"]


def kind_of(document: Document) -> Kind | None:
    """What kind of file this is, by its sections; None when it is none of ours."""
    data = document.data
    if "port" in data:
        return "part"
    if "check" in data or "use" in data:
        return "family"
    if "value" in data:
        return "sheet"
    if "hidden" in data:
        return "car"
    if any(key in data for key in ("vehicle", "reading", "complaint", "done")):
        return "job"
    return None


def vet_file(path: str | FilePath) -> list[Problem]:
    """Everything that is wrong with a family, part or sheet file; [] when it is sound.

    Jobs and practice cars stand on higher floors: `idlewright.job.file.load_job` and
    `idlewright.lesson.car_file.load_car` check them.
    """
    try:
        document = read_document(path)
    except BadInput as error:
        return list(error.problems)
    kind = kind_of(document)
    if kind is None:
        return [
            document.problem((), "this is no file of ours",
                             "a family ([check]), a part ([port]), a sheet ([value]), a job "
                             "(family and vehicle) or a practice car ([[hidden]])",
                             "start from `idlewright new`")
        ]
    if kind in ("job", "car"):
        return [
            document.problem((), f"this is a {kind}, not a family, part or sheet",
                             "a file that a family is made of", "check it with `idlewright vet`")
        ]
    return _VETS[kind](document)


def _vet_family(document: Document) -> list[Problem]:
    return family_and_problems(document)[1]


def _vet_part(document: Document) -> list[Problem]:
    lines, draft = assemble(document)
    finish(draft)
    problems = [*draft.problems, *check_references(draft, lines.port or Port())]
    return in_order(problems, document)


def _vet_sheet(document: Document) -> list[Problem]:
    name = document.data.get("family")
    if not isinstance(name, str):
        return [
            document.problem(("family",), "family is missing", 'family = "plunger-carburettor"',
                             "name the family that this sheet belongs to")
        ]
    try:
        family = find_family(name, document.name)
    except BadInput as error:
        return [at_family(document, problem) for problem in error.problems]
    return in_order(sheet_from(document, family)[1], document)


_VETS: Mapping[Kind, Callable[[Document], list[Problem]]] = {
    "family": _vet_family,
    "part": _vet_part,
    "sheet": _vet_sheet,
}


def expanded(path: str | FilePath) -> str:
    """Everything that a family or part expands to, one a line; "" for other files.

    Raises:
        BadInput: the file cannot be read or is wrong.
    """
    document = read_document(path)
    kind = kind_of(document)
    if kind not in ("family", "part"):
        return ""
    lines, draft = assemble(document)
    finish(draft)
    port = lines.port or Port() if kind == "part" else None
    problems = [*draft.problems, *check_references(draft, port)]
    if problems:
        raise BadInput(in_order(problems, document))
    return "\n".join(_listing(family_of(lines, draft), lines, draft)) + "\n"


def _listing(family: Family, lines: Lines, draft: Draft) -> Iterable[str]:
    def head(section: str, count: int) -> str:
        return f"\n[{section}] {count}"

    def mark(section: str, name: str) -> str:
        return " (made)" if (section, name) in draft.made else ""

    yield f"{'part' if lines.port else 'family'} {family.id}: {family.say}"
    yield head("state", len(family.states))
    for name, variable in family.states.items():
        yield f"{name}: {', '.join(variable.values)}"
    yield head("scalar", len(family.scalars))
    for name, scalar in family.scalars.items():
        yield f"{name} = {_value(scalar)}{mark('scalar', name)}"
    yield head("element", len(family.resistors) + len(family.sources))
    for name, resistor in family.resistors.items():
        share = "" if resistor.fraction is None else (
            f" x (1 - {resistor.fraction})" if resistor.complement else f" x {resistor.fraction}"
        )
        when = _when(resistor.when)
        yield f"{name}: {resistor.a} - {resistor.b}, {resistor.ohm}{share}{when}"
    for name, source in family.sources.items():
        ends = f"{source.plus} + - {source.minus}"
        yield f"{name}: {ends}, {source.volt} behind {source.ohm}{_when(source.when)}"
    yield head("point", len(family.points) + len(family.part_points))
    for places, side in ((family.points, "wire side"), (family.part_points, "part side")):
        for name, node in places.items():
            yield f"{name}: node {node}, {side}: {family.point_says[name]}"
    yield from _actions(family, head, mark)
    yield from _names(family, head)


def _actions(
    family: Family, head: Callable[[str, int], str], mark: Callable[[str, str], str]
) -> Iterable[str]:
    yield head("fault", len(family.faults))
    for name, fault in family.faults.items():
        spans = ", ".join(_span(span) for span in fault.spans)
        yield f"{name}: {fault.say}; {spans}; weight {fault.weight:g}{mark('fault', name)}"
    yield head("check", len(family.checks))
    for name, check in family.checks.items():
        words = ", ".join(word.id for word in check.words)
        leads = check.of or (f"{check.red} / {check.black}" if check.red else words)
        made = mark("check", name)
        yield f"{name}: {check.say}; {check.read} {leads}; {check.minutes:g} min{made}"
    yield head("repair", len(family.repairs))
    for name, repair in family.repairs.items():
        cures = ", ".join(f"{fault} {share:g}" for fault, share in repair.cures.items())
        yield f"{name}: {repair.say}; cures {cures}; {repair.minutes:g} min{mark('repair', name)}"


def _names(family: Family, head: Callable[[str, int], str]) -> Iterable[str]:
    """What a line may name: sheet entries, words, codes, cautions, tools."""
    yield head("sheet", len(family.sheet))
    for key, entry in family.sheet.items():
        yield f"{key}: {entry.say}; {', '.join(entry.words) or entry.unit}"
    for section, hints in (("word", family.words), ("code", family.codes)):
        yield head(section, len(hints))
        for name, hint in hints.items():
            yield f"{name}: {hint.say}"
    for section, texts in (("caution", family.cautions), ("tool", family.tools)):
        yield head(section, len(texts))
        for name, text in texts.items():
            yield f"{name}: {text}"


def _value(scalar: Scalar) -> str:
    value = scalar.value
    if value.by_word is not None:
        text = ", ".join(f"{word}: {number:g}" for word, number in value.by_word.items())
        text = f"by {value.sheet} ({text})"
    elif value.sheet is not None:
        text = f"{'fit ' if value.fit else ''}sheet.{value.sheet}"
        text += f" / sheet.{value.over}" if value.over else ""
    else:
        text = f"{value.number:g}"
    within = "" if scalar.within is None else f" within {scalar.within:g}"
    instead = f" instead of {scalar.stands_for}" if scalar.stands_for else ""
    return f"{text} {scalar.unit}{within} ({scalar.scale}){instead}{_when(scalar.only)}"


def _span(span: Span) -> str:
    if span.like is not None:
        return f"{span.scalar} as {span.like}"
    to = "" if span.low == span.high else f" to {span.high:g}"
    return f"{span.act} {span.scalar} {span.low:g}{to}"


def _when(condition: Condition) -> str:
    words = [f"{name} = {' or '.join(values)}" for name, values in condition.items()]
    return f" when {', '.join(words)}" if words else ""
