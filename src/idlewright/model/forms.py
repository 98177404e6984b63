"""What the answer to a check can be, in terms of latents.

An answer has one or more *modes* (the motor turns or stalls, the computer holds the speed or has
run out of travel). In each mode some latents lie in boxes and one latent may be read as a number.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from idlewright.errors import BadInput, Problem
from idlewright.family.control import Control
from idlewright.family.kinds import Check, Family, Word
from idlewright.model.latents import (
    EngineChange,
    EngineOutput,
    Latent,
    MotorOutput,
    OhmBetween,
    ScalarAt,
    ScaleName,
    SpeedOverTarget,
    State,
    VoltBetween,
    freeze,
    to_scale,
)

MODE_BLUR = 0.03
"""Softness of the border between modes, in the margin's own (logarithmic) units."""

NO_LOAD_OHM = 1e12
"""Input resistance where volts are asked for that no meter loads."""


@dataclass(frozen=True, slots=True)
class Box:
    """A latent lies between low and high (working scale), with a soft border of width `blur`."""

    latent: Latent
    low: float
    high: float
    blur: float


@dataclass(frozen=True, slots=True)
class Mode:
    """One way the answer can come about."""

    boxes: tuple[Box, ...]
    number: Latent | None


@dataclass(frozen=True, slots=True)
class Form:
    """All ways a check or a two-point reading can be answered.

    Attributes:
        modes: for a number; empty if it cannot be a number. unit, scale: of the number.
        words: for each word, its modes. odds: for each odds word, fault id -> chance.
        function: meter function for its uncertainty. noise: extra standard uncertainty.
        state: full car state. false_word: chance of a stray odds word.
    """

    modes: tuple[Mode, ...]
    unit: str
    scale: ScaleName
    words: Mapping[str, tuple[Mode, ...]]
    odds: Mapping[str, Mapping[str, float]]
    usual_word: str | None
    function: str
    noise: float
    state: State
    false_word: float

    def latents(self) -> list[Latent]:
        """Every latent that an answer may need, each once."""
        seen: dict[Latent, None] = {}
        for mode in [*self.modes, *(m for modes in self.words.values() for m in modes)]:
            for box in mode.boxes:
                seen.setdefault(box.latent)
            if mode.number is not None:
                seen.setdefault(mode.number)
        return list(seen)


def form_of_check(family: Family, check: Check, input_ohm: float) -> Form:
    """The form of a family's check, read with a voltmeter of the given input resistance."""
    state = freeze(family.full_state(check.state))
    modes = _modes(family, check, state, input_ohm)
    number = modes[0].number if modes else None
    scale: ScaleName = number.scale if number is not None else "linear"
    words: dict[str, tuple[Mode, ...]] = {}
    odds: dict[str, Mapping[str, float]] = {}
    for word in check.words:
        if word.low is None and word.high is None:
            odds[word.id] = word.odds
        else:
            words[word.id] = _word_modes(check, word, modes)
    return Form(
        modes=() if check.read == "word" else modes,
        unit=number.unit if number is not None else "",
        scale=scale,
        words=words,
        odds=odds,
        usual_word=check.words[0].id if check.words else None,
        function=check.read,
        noise=check.noise,
        state=state,
        false_word=check.false_word,
    )


def form_between(
    family: Family,
    red: str,
    black: str,
    function: str,
    state: Mapping[str, str],
    input_ohm: float,
) -> Form:
    """The form of a reading between any two places.

    Alternating volts between two places are kept but predicted by nothing: the circuit is one of
    steady volts. (A check of ripple reads a scalar of its own.)

    Raises:
        BadInput: the function is neither volt nor ohm.
    """
    full = freeze(family.full_state(state))
    a, b = node_of(family, red), node_of(family, black)
    modes: tuple[Mode, ...] = ()
    if function == "ohm":
        modes = (Mode((), OhmBetween(a, b, full)),)
    elif function == "volt":
        modes = (Mode((), VoltBetween(a, b, full, input_ohm)),)
    elif function != "volt_ac":
        raise BadInput(
            Problem(
                says=f"{function} cannot be read between two places",
                expected="volt, ohm or volt_ac",
                remedy="use one of these, or a check that reads it",
                key="function",
            )
        )
    number = modes[0].number if modes else None
    return Form(
        modes=modes,
        unit=number.unit if number is not None else "V",
        scale=number.scale if number is not None else "volt",
        words={},
        odds={},
        usual_word=None,
        function=function,
        noise=0.0,
        state=full,
        false_word=0.0,
    )


def node_of(family: Family, place: str) -> str:
    """Circuit node of a place a lead can go; a node's own name is a place too."""
    return family.points.get(place) or family.part_points.get(place) or place


def _modes(family: Family, check: Check, state: State, input_ohm: float) -> tuple[Mode, ...]:
    """Modes of the number a check reads, or of the observable behind its words."""
    if check.of is None:
        if check.red is None or check.black is None:
            return ()
        red, black = node_of(family, check.red), node_of(family, check.black)
        if check.read == "ohm":
            return (Mode((), OhmBetween(red, black, state)),)
        return (Mode((), VoltBetween(red, black, state, input_ohm)),)
    if check.of == "engine.controlled_speed":
        return _controlled(family, check)
    if check.of.startswith("engine.") and check.of in ("engine.speed", "engine.vacuum"):
        return (Mode((), _engine(family, check, state)),)
    motor, _, kind = check.of.rpartition(".")
    if motor in family.motors and kind in ("turns", "pulls", "volts", "seconds", "amp"):
        return _motor(motor, kind, state)
    scalar = family.scalars[check.of]
    scale: ScaleName = "log" if scalar.scale == "log" else "linear"
    return (Mode((), ScalarAt(check.of, state, scale, scalar.unit)),)


def _engine(family: Family, check: Check, state: State) -> Latent:
    kind: Literal["speed", "vacuum"] = "speed" if check.of == "engine.speed" else "vacuum"
    unit = "rpm" if kind == "speed" else "kPa"
    if check.compare_with is not None:
        versus = freeze(family.full_state({**check.state, **check.compare_with}))
        return EngineChange(kind, state, versus, unit)
    return EngineOutput(kind, state, "log" if kind == "speed" else "linear", unit)


def _motor(motor: str, kind: str, state: State) -> tuple[Mode, ...]:
    margin = MotorOutput("margin", motor, state, "linear", "1")
    turns = Box(margin, 0.0, math.inf, MODE_BLUR)
    stalls = Box(margin, -math.inf, 0.0, MODE_BLUR)
    if kind in ("turns", "pulls"):
        return (Mode((), margin),)
    if kind == "volts":
        turning = MotorOutput("volts_turning", motor, state, "volt", "V")
        stalled = MotorOutput("volts_stalled", motor, state, "volt", "V")
        return (Mode((turns,), turning), Mode((stalls,), stalled))
    if kind == "seconds":
        return (Mode((turns,), MotorOutput("seconds", motor, state, "log", "s")),)
    return (Mode((), MotorOutput("amp", motor, state, "log", "A")),)


def _controlled(family: Family, check: Check) -> tuple[Mode, ...]:
    control = family.control
    if control is None:
        raise BadInput(f"check {check.id} reads a controlled speed, but nothing controls it")
    low = freeze(family.full_state({**check.state, **control.low}))
    high = freeze(family.full_state({**check.state, **control.high}))
    parked = EngineOutput(
        "speed", freeze(family.full_state({**check.state, **control.parked})), "log", "rpm"
    )
    over_low, over_high = (SpeedOverTarget(state, control.target) for state in (low, high))
    infinite = math.inf
    needs = _needs(family, control, low)
    works = tuple(works for works, _ in needs)
    idle = tuple(Mode((*works[:k], fails), parked) for k, (_, fails) in enumerate(needs))
    held = Mode(
        (
            *works,
            Box(over_low, -infinite, 0.0, MODE_BLUR),
            Box(over_high, 0.0, infinite, MODE_BLUR),
        ),
        ScalarAt(control.target, low, "log", "rpm"),
    )
    too_fast = Mode(
        (*works, Box(over_low, 0.0, infinite, MODE_BLUR)), EngineOutput("speed", low, "log", "rpm")
    )
    too_slow = Mode(
        (*works, Box(over_high, -infinite, 0.0, MODE_BLUR)),
        EngineOutput("speed", high, "log", "rpm"),
    )
    return (held, too_fast, too_slow, *idle)


def _needs(family: Family, control: Control, state: State) -> list[tuple[Box, Box]]:
    """What idle control cannot do without, each as (is so, is not so).

    The actuator is driven with the key on; whether the engine runs does not change its circuit.
    """
    found = []
    for motor in control.actuator:
        margin = MotorOutput("margin", motor, state, "linear", "1")
        found.append(
            (Box(margin, 0.0, math.inf, MODE_BLUR), Box(margin, -math.inf, 0.0, MODE_BLUR))
        )
    if control.closed_between is not None and control.closed_below_v is not None:
        red, black = (node_of(family, place) for place in control.closed_between)
        volts = VoltBetween(red, black, state, NO_LOAD_OHM)
        bar = _scaled(volts, control.closed_below_v)
        found.append((Box(volts, -math.inf, bar, MODE_BLUR), Box(volts, bar, math.inf, MODE_BLUR)))
    return found


def _word_modes(check: Check, word: Word, modes: tuple[Mode, ...]) -> tuple[Mode, ...]:
    """Boxes of a word given by limits; on a motor's volts the limits are those of its margin."""
    if check.of is not None and check.of.endswith(".volts") and modes and modes[0].boxes:
        margin = modes[0].boxes[0].latent
        return (Mode((_box(word, margin, check.blur),), None),)
    found = []
    for mode in modes:
        if mode.number is not None:
            found.append(Mode((*mode.boxes, _box(word, mode.number, check.blur)), None))
    return tuple(found)


def _box(word: Word, latent: Latent, blur: float) -> Box:
    low, high = word.low, word.high
    scaled_low = -math.inf if low is None or math.isinf(low) else _scaled(latent, low)
    scaled_high = math.inf if high is None or math.isinf(high) else _scaled(latent, high)
    return Box(latent, scaled_low, scaled_high, blur)


def _scaled(latent: Latent, value: float) -> float:
    if latent.scale == "log" and value <= 0:
        return -math.inf
    return float(to_scale(latent.scale, value))
