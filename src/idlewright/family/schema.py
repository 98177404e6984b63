"""What each line of a family or part file may say: one strict model a kind of line.

Unknown keys are refused; every fault of a line is reported, not only the first.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator

from idlewright.family.amounts import (
    SHEET_TEXT,
    Amount,
    AmountField,
    Amounts,
    Chance,
    Chances,
    Contacts,
    Factors,
    Fades,
    Names,
    Needs,
    NotNegative,
    OhmRange,
    PerValue,
    Positive,
    Price,
    Severities,
    Shows,
    Spec,
    StateMap,
    Text,
    Texts,
    Usual,
    When,
    Words,
    contact_amount,
    refuse,
    shown,
    table_of,
    text,
)
from idlewright.family.checked import Flag, Line
from idlewright.family.kinds import CAME_BY, Value
from idlewright.family.names import is_node

READS = ("volt", "volt_ac", "ohm", "rpm", "kPa", "mm", "mV", "deg", "s", "amp", "percent", "word")


def _nodes(count: int) -> PlainValidator:
    def read(value: object) -> tuple[str, ...]:
        if not isinstance(value, list) or len(value) != count:
            refuse(f"{shown(value)} is not {count} nodes", f"a list of {count} node names")
        found = tuple(text(item) for item in value)
        for item in found:
            if not is_node(item):
                refuse(f'"{item}" is no node name', "letters, digits, `_` and `.`", "rename it")
        if found[0] == found[-1]:
            refuse(f'both ends are "{found[0]}"', f"{count} different nodes", "correct one end")
        return found

    return PlainValidator(read)


def _read(value: object) -> str:
    if value not in READS:
        refuse(f"{shown(value)} cannot be read", "one of " + ", ".join(READS))
    return str(value)


def _scale(value: object) -> str:
    if value not in ("log", "linear"):
        refuse(f"{shown(value)} is no scale", '"log" or "linear"')
    return str(value)


def _came_by(value: object) -> str:
    if value not in CAME_BY:
        refuse(f"{shown(value)} is no way a fault comes about", "one of " + ", ".join(CAME_BY))
    return str(value)


def _switch_ohm(value: object) -> str | dict[str, Amount]:
    if isinstance(value, str):
        if SHEET_TEXT.fullmatch(value) is None:
            refuse(f"{shown(value)} names no sheet entry", '"sheet.key" or { value = ohms }')
        return value
    found: dict[str, Amount] = table_of(contact_amount)(value)
    return found


Pair = Annotated[tuple[str, str], _nodes(2)]
Triple = Annotated[tuple[str, str, str], _nodes(3)]
_TINY = Amount(Value(number=0.01), 1.0)


class UseLine(Line):
    """A part brought in."""

    part: Text
    join: Annotated[dict[str, str], PlainValidator(table_of(text))] = Field(default_factory=dict)
    state: StateMap = Field(default_factory=dict)
    but: dict[str, Any] = Field(default_factory=dict)
    without: Names = ()
    bare: Flag = False


class Port(Line):
    """What a part asks of its user."""

    node: Names = ()
    state: Names = ()
    id: Names = ()


class SheetLine(Line):
    """One value a manual may give."""

    say: Text
    unit: Text | None = None
    usual: Usual | None = None
    words: Names = ()


class StateLine(Line):
    """One thing about the car that can be changed."""

    values: Names = Field(alias="is", min_length=1)
    minutes: PerValue = Field(default_factory=dict)
    wait: PerValue = Field(default_factory=dict)
    needs: Needs = Field(default_factory=dict)
    caution: Texts = ()
    says: dict[str, str] = Field(default_factory=dict)
    fades: Fades = Field(default_factory=dict)
    free: Flag = False


class Element(Line):
    """Base of the circuit's lines."""

    say: Text | None = None
    live: When = Field(default_factory=dict)


class ResistorLine(Element):
    """A resistance."""

    resistor: Pair
    ohm: AmountField
    within: NotNegative | None = None


class SourceLine(Element):
    """A source with series resistance; `within` belongs to the volts."""

    source: Pair
    volt: AmountField
    ohm: AmountField
    within: NotNegative | None = None


class WireLine(Element):
    """A conductor with one contact for each connector it passes."""

    wire: Pair
    ohm: AmountField = Amount(Value(number=0.05))
    within: NotNegative | None = None
    through: Names = ()
    beside: Names = ()
    ends_at: Text | None = None
    input_ohm: AmountField | None = None
    input_to: Text | None = None
    contact_ohm: AmountField = _TINY
    poor: OhmRange | None = None
    contact_poor: OhmRange | None = None
    weights: Factors = Field(default_factory=dict)
    drop_in: StateMap | None = None
    without: Names = ()


class SliderLine(Element):
    """A potentiometer."""

    slider: Triple
    ohm: AmountField
    within: NotNegative | None = None
    at: Amounts
    moves_with: Text = "throttle"
    at_within: PerValue = Field(default_factory=dict)
    contact_ohm: AmountField = Amount(Value(number=1.0))


class SwitchLine(Element):
    """A switch: ohms by the state variable it moves with."""

    switch: Pair
    moves_with: Text
    ohm: Annotated[str | dict[str, Amount], PlainValidator(_switch_ohm)]
    within: NotNegative | None = None
    sense: dict[str, Contacts] = Field(default_factory=dict)


class MotorLine(Element):
    """A plunger motor."""

    motor: Pair
    ohm: AmountField
    within: NotNegative | None = None
    run_amp: AmountField
    break_amp: AmountField
    volt_s_per_mm: AmountField
    stroke_mm: AmountField


class CoilLine(Element):
    """A coil that pulls something once enough current flows."""

    coil: Pair
    ohm: AmountField
    within: NotNegative | None = None
    pull_amp: AmountField


ELEMENTS: dict[str, type[Element]] = {
    "resistor": ResistorLine,
    "source": SourceLine,
    "wire": WireLine,
    "slider": SliderLine,
    "switch": SwitchLine,
    "motor": MotorLine,
    "coil": CoilLine,
}


class ScalarLine(Line):
    """Any other named number."""

    value: AmountField = Field(alias="is")
    within: NotNegative | None = None
    unit: Text | None = None
    scale: Annotated[Literal["log", "linear"], PlainValidator(_scale)] | None = None
    only: When = Field(default_factory=dict)
    stands_for: Text | None = None


class ControlLine(Line):
    """How the computer holds idle speed."""

    target: Text
    low: StateMap
    high: StateMap
    parked: StateMap
    actuator: Texts = ()
    closed_between: Pair | None = None
    closed_below_v: Positive | None = None


class FaultLine(Line):
    """One thing that can be wrong."""

    say: Text
    set: Severities = Field(default_factory=dict)
    shift: Severities = Field(default_factory=dict)
    times: Severities = Field(default_factory=dict)
    only: When = Field(default_factory=dict)
    weight: Positive = 1.0
    intermittent: Flag = False
    induced: Flag = False
    silent: Text | None = None
    came_by: Annotated[str, PlainValidator(_came_by)] = ""


class CheckLine(Line):
    """One thing to do and what to read."""

    do: Text
    say: Text | None = None
    read: Annotated[str, PlainValidator(_read)]
    red: Text | None = None
    black: Text | None = None
    of: Text | None = None
    compare_with: StateMap | None = None
    state: StateMap = Field(alias="in", default_factory=dict)
    leaves: StateMap = Field(default_factory=dict)
    minutes: NotNegative
    wait: NotNegative = 0.0
    spec: Spec | None = None
    ratio_to: Text | None = None
    noise: NotNegative = 0.0
    words: Words = ()
    shows: Shows = Field(default_factory=dict)
    false_word: Chance = 0.02
    blur: Positive = 0.1
    disturbs: Names = ()
    provokes: Names = ()
    caution: Texts = ()
    tools: Names = ()
    helper: Flag = False
    perishable: Flag = False


class RepairLine(Line):
    """One repair or setting."""

    do: Text
    say: Text | None = None
    cures: Chances = Field(default_factory=dict)
    minutes: NotNegative
    wait: NotNegative = 0.0
    parts: Price = (0.0, 0.0)
    lead_days: NotNegative = 0.0
    renews: Names = ()
    reseats: Names = ()
    sets: Names = ()
    voids: Names = ()
    state: StateMap = Field(alias="in", default_factory=dict)
    leaves: StateMap = Field(default_factory=dict)
    prove: Names = ()
    steps: Names = ()
    caution: Texts = ()
    tools: Names = ()
    helper: Flag = False
    relearn: Flag = False


class AlsoLine(Line):
    """What this file's faults add to a check that stands elsewhere."""

    shows: Shows = Field(default_factory=dict)
    provokes: Names = ()


class SoftLine(Line):
    """A complaint word or a stored code."""

    say: Text | None = None
    raises: Factors = Field(default_factory=dict)
    lowers: Factors = Field(default_factory=dict)


class StepLine(Line):
    """A procedure."""

    say: Text
    lines: Texts
    tools: Names = ()
    caution: Texts = ()


class PlugLine(Line):
    """A connector as seen from the wire side."""

    say: Text
    cavities: Names
    points: Names


SECTIONS: dict[str, type[Line] | None] = {
    "use": UseLine,
    "port": None,
    "sheet": SheetLine,
    "state": StateLine,
    "circuit": None,
    "scalar": ScalarLine,
    "engine": None,
    "fault": FaultLine,
    "check": CheckLine,
    "also": AlsoLine,
    "repair": RepairLine,
    "step": StepLine,
    "word": SoftLine,
    "code": SoftLine,
    "caution": None,
    "tool": None,
    "point": None,
    "plug": PlugLine,
}
"""Every section; None = its lines are not all of one model."""

TEXT_SECTIONS = ("caution", "tool", "point")
TOP_KEYS = ("format", "id", "say", "air_metering")
AIR_METERING = ("carburettor", "speed-density", "airflow-meter")
