"""What a family is once its file is read, its parts are brought in and its wires are expanded.

Everything above this floor works on these frozen records; none of them is a raw file any more.
All identifiers are global inside one family ("tps.gnd.sensor"); all numbers are in the unit their
scalar names (ohm, V, mm, mm2, deg, rpm, kPa, min).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from idlewright.family.control import Control

Condition = Mapping[str, tuple[str, ...]]
"""State variable -> values under which something holds; an empty mapping always holds."""

Scale = Literal["log", "linear"]


def holds(condition: Condition, state: Mapping[str, str]) -> bool:
    """True if every variable named by the condition has one of the named values in `state`."""
    return all(state.get(name) in values for name, values in condition.items())


@dataclass(frozen=True, slots=True)
class StateVariable:
    """One thing about the car that can be changed, e.g. `key` = off, on or run.

    Attributes:
        name: its name, e.g. "key" or "tps.sensor".
        values: possible values; the first is what a check means when it says nothing.
        minutes: hands-on minutes to reach each value.
        wait: waiting minutes to reach each value (warm-up, cool-down).
        needs: what must be so before it can be changed to each value: value -> {variable: value}.
        says: how each value reads in a sentence ("" leaves it out).
        cautions: caution ids shown before it is changed.
        fades: value -> (minutes, value it turns into by itself).
        free: True = a check that does not name it does not care and leaves it as it is.
    """

    name: str
    values: tuple[str, ...]
    minutes: Mapping[str, float]
    wait: Mapping[str, float]
    needs: Mapping[str, Mapping[str, str]]
    says: Mapping[str, str]
    cautions: tuple[str, ...] = ()
    fades: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    free: bool = False


@dataclass(frozen=True, slots=True)
class Value:
    """Where a scalar's nominal value comes from: a number, a sheet entry, or a quotient of two.

    `number` is used when `sheet` is None. `over` divides. `fit` means: the value with which the
    good car shows `sheet` at the fit's observable (only for the engine's areas). `by_word` picks
    the number by the word that the sheet gives for `sheet` (a word not known: all are carried).
    """

    number: float | None = None
    sheet: str | None = None
    over: str | None = None
    fit: bool = False
    by_word: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class Scalar:
    """One number of the physical model; the thing that tolerances and faults act on.

    Attributes:
        id: e.g. "tps.gnd.ohm", "tps.track.at.closed", "engine.leak.hose_mm2".
        scale: "log" (resistances, areas) or "linear" (settings, angles).
        value: nominal value's origin.
        within: half-width that holds 95 % of good parts: a share for "log", the scalar's own unit
            for "linear"; 0 = exact; None = from the sheet's limits.
        unit: unit text, for people.
        only: state condition under which this scalar counts. With `stands_for` it replaces that
            scalar there; without, it is simply absent (no air, no load) elsewhere.
        stands_for: id of the scalar it replaces where `only` holds, or None.
    """

    id: str
    scale: Scale
    value: Value
    within: float | None
    unit: str
    only: Condition = field(default_factory=dict)
    stands_for: str | None = None


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance between two nodes while `when` holds.

    Its ohms are scalar `ohm`, times scalar `fraction` (or one minus it) when that is given.
    """

    id: str
    a: str
    b: str
    ohm: str
    when: Condition = field(default_factory=dict)
    fraction: str | None = None
    complement: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """An electromotive force (V, plus to minus) with series resistance while `when` holds."""

    id: str
    plus: str
    minus: str
    volt: str
    ohm: str
    when: Condition = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Motor:
    """A small permanent-magnet motor across nodes a, b; its winding is Resistor `<id>`.

    Scalars: `<id>.run_amp` (current to keep turning), `<id>.break_amp` (current to break free),
    `<id>.volt_s_per_mm` (back-emf per plunger speed), `<id>.stroke_mm`.
    Observables: `<id>.turns` (words), `<id>.volts`, `<id>.seconds`, `<id>.amp`.

    A coil is a motor that only pulls: scalar `<id>.pull_amp`, observables `<id>.pulls` (words) and
    `<id>.amp`.
    """

    id: str
    a: str
    b: str
    coil: bool = False


@dataclass(frozen=True, slots=True)
class Span:
    """What a fault does to one scalar over its severity: from `low` to `high` (equal = fixed).

    With `like`, act "set" takes the good-car value of that other scalar; `low` and `high` are 0.
    """

    act: Literal["set", "shift", "times"]
    scalar: str
    low: float
    high: float
    like: str | None = None


CAME_BY = ("stop screw", "wrong part", "learned values")
"""Ways in which work before ours brings a fault about: by them practice cars are chosen."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that can be wrong: a change to scalars.

    Attributes:
        id: e.g. "tps.gnd.poor".
        say: a phrase for people, no full stop.
        spans: what it does; the first span with low < high carries the severity.
        weight: relative odds before any evidence (common practice, no source).
        intermittent: it comes and goes between episodes.
        induced: it is the kind of fault work brings in (hose left off, plug not latched).
        silent: why no check of the family shows it, "" if one does.
        came_by: what somebody did that brought it about (one of CAME_BY), "" if nothing is said.
    """

    id: str
    say: str
    spans: tuple[Span, ...]
    weight: float
    intermittent: bool = False
    induced: bool = False
    silent: str = ""
    came_by: str = ""


@dataclass(frozen=True, slots=True)
class Word:
    """One word a check can be answered with, and when it is right.

    Either `low`/`high` (in the unit of the check's observable, with `blur` in scale units), or
    `odds`: fault id -> chance of this word when that fault is present and active.
    """

    id: str
    low: float | None = None
    high: float | None = None
    odds: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Limit:
    """Book or practice limits for a check: from a sheet key, or fixed numbers, or words."""

    sheet: str | None = None
    low: float | None = None
    high: float | None = None
    words: tuple[str, ...] = ()
    source: str = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing to do and what to read.

    Attributes:
        id, say, do: id, short name, full instruction.
        read: unit family read: "volt", "ohm", "volt_ac", "rpm", "kPa", "mm", "deg", "s", "amp",
            "percent" or "word".
        red, black: lead places (circuit readings).
        of: observable or scalar id (everything else); see docs/formats.md for the closed list.
        compare_with: for a change: the state the reading is compared with (of = "engine.speed").
        state: the car state it needs; variables not named are at their first value.
        leaves: what it leaves changed afterwards.
        minutes, wait: hands-on and waiting minutes.
        spec: limits, or None. ratio_to: the check whose reading moves the limits.
        noise: extra standard uncertainty of reading it, in its own unit (log scale: share).
        words: words it may be answered with, the usual one first.
        false_word: chance of a wrong word from `odds` words on any car.
        blur: blur of the word borders, scale units.
        disturbs: connector or mechanism ids it wipes, wakes or resets.
        provokes: fault id prefixes whose activity it raises (wiggle, heat).
        cautions, tools, helper: as they say. perishable: lost if not done first.
    """

    id: str
    say: str
    do: str
    read: str
    state: Mapping[str, str]
    minutes: float
    wait: float = 0.0
    red: str | None = None
    black: str | None = None
    of: str | None = None
    compare_with: Mapping[str, str] | None = None
    leaves: Mapping[str, str] = field(default_factory=dict)
    spec: Limit | None = None
    ratio_to: str | None = None
    noise: float = 0.0
    words: tuple[Word, ...] = ()
    false_word: float = 0.02
    blur: float = 0.1
    disturbs: tuple[str, ...] = ()
    provokes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    helper: bool = False
    perishable: bool = False


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair or setting.

    Attributes:
        cures: fault id -> chance that it cures that fault.
        renews: scalar or element id prefixes that are as new afterwards.
        reseats: connector ids whose contacts are unplugged and remade.
        sets: sheet or scalar ids it adjusts (W1 order); voids: check ids no longer known after it.
        parts: (low, high) price. lead_days: waiting for the part. prove: checks that show the cure.
        steps: step ids. relearn: learned values must be cleared afterwards.
    """

    id: str
    say: str
    do: str
    cures: Mapping[str, float]
    minutes: float
    wait: float = 0.0
    parts: tuple[float, float] = (0.0, 0.0)
    lead_days: float = 0.0
    renews: tuple[str, ...] = ()
    reseats: tuple[str, ...] = ()
    sets: tuple[str, ...] = ()
    voids: tuple[str, ...] = ()
    state: Mapping[str, str] = field(default_factory=dict)
    leaves: Mapping[str, str] = field(default_factory=dict)
    prove: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    helper: bool = False
    relearn: bool = False


@dataclass(frozen=True, slots=True)
class SoftEvidence:
    """A complaint word or a stored code: stated odds, each capped at a factor of 3."""

    id: str
    say: str
    raises: Mapping[str, float]
    lowers: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """One value this vehicle's manual may give: limits (low, high) or one of some words."""

    key: str
    say: str
    unit: str
    usual: tuple[float, float] | None
    words: tuple[str, ...] = ()
    usual_word: str | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """A remove, replace or set procedure: sentences in order, with tools and cautions."""

    id: str
    say: str
    lines: tuple[str, ...]
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plug:
    """A connector as seen: cavities in order seen from the wire side, clip up."""

    id: str
    say: str
    cavities: tuple[str, ...]
    points: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Family:
    """A whole family, expanded. Mappings are keyed by id and keep file order."""

    id: str
    say: str
    sha256: str
    air_metering: str
    control: Control | None
    zero: str
    states: Mapping[str, StateVariable]
    scalars: Mapping[str, Scalar]
    resistors: Mapping[str, Resistor]
    sources: Mapping[str, Source]
    motors: Mapping[str, Motor]
    faults: Mapping[str, Fault]
    checks: Mapping[str, Check]
    repairs: Mapping[str, Repair]
    words: Mapping[str, SoftEvidence]
    codes: Mapping[str, SoftEvidence]
    cautions: Mapping[str, str]
    sheet: Mapping[str, SheetEntry]
    steps: Mapping[str, Step]
    plugs: Mapping[str, Plug]
    points: Mapping[str, str]
    """Every place a lead can go -> the circuit node it touches (mated or harness side)."""
    part_points: Mapping[str, str]
    """Part-side places (plug off): point -> node."""
    point_says: Mapping[str, str]
    tools: Mapping[str, str]

    def default_state(self) -> dict[str, str]:
        """Every state variable at its first value."""
        return {name: variable.values[0] for name, variable in self.states.items()}

    def full_state(self, partial: Mapping[str, str]) -> dict[str, str]:
        """`partial` completed by the first value of every other variable."""
        return {**self.default_state(), **partial}


@dataclass(frozen=True, slots=True)
class SheetValue:
    """One value of this vehicle: limits in the entry's unit, or a word; with its page."""

    low: float | None
    high: float | None
    word: str | None
    page: str
    conflicts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """This vehicle's values from its manual, keyed by sheet key. Missing keys are unknown."""

    id: str
    sha256: str
    values: Mapping[str, SheetValue]
