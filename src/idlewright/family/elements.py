"""Circuit lines other than wires, turned into resistors, sources, motors and scalars."""

from __future__ import annotations

from idlewright.family.amounts import SHEET_TEXT, Amount
from idlewright.family.draft import Draft, Mover, Origin
from idlewright.family.kinds import Motor, Resistor, Source, Value
from idlewright.family.names import did_you_mean
from idlewright.family.scalars import log_scalar, make_scalar
from idlewright.family.schema import (
    CoilLine,
    Element,
    MotorLine,
    ResistorLine,
    SliderLine,
    SourceLine,
    SwitchLine,
)

AT_WITHIN = 0.004
"""Setting spread of a slider that nobody has touched, share of its travel (common practice)."""

WIPER_WITHIN = 0.5
MOTOR_AMOUNTS = ("run_amp", "break_amp", "volt_s_per_mm", "stroke_mm")


def expand_element(draft: Draft, name: str, line: Element, origin: Origin) -> None:
    """Put one element that is not a wire into the draft."""
    match line:
        case ResistorLine():
            ohm = _ohm(draft, f"{name}.ohm", line.ohm, line.within, origin)
            put_resistor(draft, Resistor(name, *line.resistor, ohm, line.live), origin)
        case SourceLine():
            _source(draft, name, line, origin)
        case SliderLine():
            _slider(draft, name, line, origin)
        case SwitchLine():
            _switch(draft, name, line, origin)
        case MotorLine():
            _motor(draft, name, line, origin)
        case CoilLine():
            _coil(draft, name, line, origin)
        case _:
            raise TypeError(type(line))


def put_resistor(draft: Draft, resistor: Resistor, origin: Origin) -> None:
    """Add a resistor and note the nodes it ends on."""
    draft.add("resistor", resistor.id, resistor, origin)
    for node in (resistor.a, resistor.b):
        draft.nodes.setdefault(node, origin)


def _ohm(
    draft: Draft, scalar_id: str, amount: Amount, within: float | None, origin: Origin
) -> str:
    draft.add("scalar", scalar_id, log_scalar(scalar_id, amount, within), origin)
    return scalar_id


def _source(draft: Draft, name: str, line: SourceLine, origin: Origin) -> None:
    volt = f"{name}.volt"
    draft.add("scalar", volt, make_scalar(volt, line.volt, line.within, "linear"), origin)
    ohm = _ohm(draft, f"{name}.ohm", line.ohm, None, origin)
    draft.add("source", name, Source(name, *line.source, volt, ohm, line.live), origin)
    for node in line.source:
        draft.nodes.setdefault(node, origin)


def _slider(draft: Draft, name: str, line: SliderLine, origin: Origin) -> None:
    top, wiper, bottom = line.slider
    inner = f"{name}.inner"
    ohm = _ohm(draft, f"{name}.ohm", line.ohm, line.within, origin)
    amount = line.contact_ohm
    within = None if amount.within is not None or amount.value.sheet else WIPER_WITHIN
    contact = _ohm(draft, f"{name}.contact_ohm", amount, within, origin)
    put_resistor(draft, Resistor(f"{name}.contact", inner, wiper, contact, line.live), origin)
    draft.movers.append(Mover(name, line.moves_with, tuple(line.at), "at"))
    for value, setting in line.at.items():
        scalar = f"{name}.at.{value}"
        within = line.at_within.get(value, line.at_within.get(""))
        if within is None and setting.within is None and setting.value.sheet is None:
            within = AT_WITHIN
        draft.add("scalar", scalar, make_scalar(scalar, setting, within, "linear", ""), origin)
        when = {**line.live, line.moves_with: (value,)}
        for part, a, b, complement in (("low", inner, bottom, False), ("high", top, inner, True)):
            piece = Resistor(f"{name}.{part}.{value}", a, b, ohm, when, scalar, complement)
            put_resistor(draft, piece, origin)
    for value in line.at_within:
        if value and value not in line.at:
            draft.problems.append(
                origin.problem(f'at_within names "{value}", which `at` does not',
                               "the values of `at`", did_you_mean(value, line.at), ("at_within",))
            )


def _switch(draft: Draft, name: str, line: SwitchLine, origin: Origin) -> None:
    positions = _positions(draft, line, origin)
    key = "sense" if line.sense else "ohm"
    draft.movers.append(Mover(name, line.moves_with, tuple(positions), key))
    for value, amount in positions.items():
        ohm = _ohm(draft, f"{name}.{value}_ohm", amount, line.within, origin)
        when = {**line.live, line.moves_with: (value,)}
        put_resistor(draft, Resistor(f"{name}.{value}", *line.switch, ohm, when), origin)


def _positions(draft: Draft, line: SwitchLine, origin: Origin) -> dict[str, Amount]:
    """Ohms by position; with `sense`, each chosen by the word of the sheet."""
    if not isinstance(line.ohm, str):
        if line.sense:
            draft.problems.append(
                origin.problem("sense stands beside plain ohms", 'ohm = "sheet.key" with sense',
                               "use one of the two", ("sense",))
            )
        return line.ohm
    match = SHEET_TEXT.fullmatch(line.ohm)
    key = match.group(2) if match else ""
    positions = {value for table in line.sense.values() for value in table}
    for word, table in line.sense.items():
        for value in sorted(positions - set(table)):
            draft.problems.append(
                origin.problem(f'sense "{word}" lacks the position "{value}"',
                               "the same positions for every word", "add it", ("sense", word))
            )
    if not line.sense:
        draft.problems.append(
            origin.problem("sense is missing", "sense = { word = { position = ohms } }",
                           "say the ohms for each word of the sheet entry", ("ohm",))
        )
    by_position: dict[str, dict[str, float]] = {}
    for word, table in line.sense.items():
        for value, amount in table.items():
            by_position.setdefault(value, {})[word] = amount.value.number or 0.0
    return {
        value: Amount(Value(sheet=key, by_word=words)) for value, words in by_position.items()
    }


def _motor(draft: Draft, name: str, line: MotorLine, origin: Origin) -> None:
    ohm = _ohm(draft, f"{name}.ohm", line.ohm, line.within, origin)
    put_resistor(draft, Resistor(name, *line.motor, ohm, line.live), origin)
    draft.add("motor", name, Motor(name, *line.motor), origin)
    for key in MOTOR_AMOUNTS:
        amount: Amount = getattr(line, key)
        unit = "V s/mm" if key == "volt_s_per_mm" else None
        scalar = make_scalar(f"{name}.{key}", amount, None, "log", unit)
        draft.add("scalar", scalar.id, scalar, origin)


def _coil(draft: Draft, name: str, line: CoilLine, origin: Origin) -> None:
    ohm = _ohm(draft, f"{name}.ohm", line.ohm, line.within, origin)
    put_resistor(draft, Resistor(name, *line.coil, ohm, line.live), origin)
    draft.add("motor", name, Motor(name, *line.coil, coil=True), origin)
    scalar = make_scalar(f"{name}.pull_amp", line.pull_amp, None, "log")
    draft.add("scalar", scalar.id, scalar, origin)
