"""Ways a reading can be a slip of the hand; each predicts a reading, and so can be named."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from idlewright.diagnosis.factors import Alternative, Noise, read_as, word_alternatives
from idlewright.family.kinds import Family, Plug
from idlewright.model.forms import Form, node_of
from idlewright.model.latents import (
    EngineOutput,
    Latent,
    OhmBetween,
    VoltBetween,
    freeze,
)

SLIP_CHANCE = 0.02
"""Chance that one reading is a slip of any kind (common practice, no source)."""
REST_SHARE = 0.3
"""Share of slips that have no shape we know."""

THOUSANDTH = 1e-3

SAYS: Mapping[str, str] = {
    "next pin": "That is what the pin next door would read.",
    "other face": "That is what you would read counting the pins from the other face.",
    "unit": "A thousand times more or less would fit: look at the unit and the range.",
    "leads swapped": "The leads may be the other way round.",
    "plug left on": "That is what it would read with the plug still on.",
    "other position": "That is what it would read in the other position.",
    "cylinder count": "The tachometer may be set for another number of cylinders.",
    "other word": "The other answer would fit everything else.",
    "unknown": "It fits nothing else that was read.",
}


PHRASES: Mapping[str, str] = {
    "next pin": "the pin next door",
    "other face": "pins counted from the other face",
    "unit": "the wrong unit or range",
    "leads swapped": "the leads swapped",
    "plug left on": "the plug still on",
    "other position": "taken in the other position",
    "cylinder count": "the tachometer on another number of cylinders",
    "other word": "the other answer",
    "unknown": "of no known kind",
}
"""Each kind of slip as a phrase."""


def number_slips(
    family: Family,
    form: Form,
    red: str | None,
    black: str | None,
    value: float,
    noise: Noise,
    *,
    thousandth: bool = True,
) -> tuple[Alternative, ...]:
    """Slips that could have shown this number, with log weights that sum to SLIP_CHANCE less rest.

    Args:
        family, form: what was read. red, black: lead places of a circuit reading.
        value: as typed, in the form's unit. noise: the meter's.
        thousandth: the meter could have shown a thousandth of this number, digit for digit.
    """
    shapes = [
        _named(kind, read_as(latent, factor * value, _scaled(noise, factor)))
        for kind, latent, factor in _shapes(family, form, red, black)
        if thousandth or factor != THOUSANDTH
    ]
    return _weighted(shapes)


def word_slips(form: Form, word: str) -> tuple[Alternative, ...]:
    """The other words, as slips of this one."""
    shapes = [
        _named("other word", alternative)
        for other in form.words
        if other != word
        for alternative in word_alternatives(form, other)
    ]
    return _weighted(shapes)


def ln_rest() -> float:
    """Log weight of a slip without a known shape."""
    return math.log(SLIP_CHANCE * REST_SHARE)


def _named(kind: str, alternative: Alternative) -> Alternative:
    return replace(alternative, slip=kind, says=SAYS[kind])


def _weighted(shapes: list[Alternative]) -> tuple[Alternative, ...]:
    if not shapes:
        return ()
    share = math.log(SLIP_CHANCE * (1.0 - REST_SHARE) / len(shapes))
    return tuple(replace(shape, ln_weight=share + shape.ln_weight) for shape in shapes)


def _scaled(noise: Noise, factor: float) -> Noise:
    """The noise of what the meter really showed, if the number typed is taken times a factor."""
    size = abs(factor)
    return replace(noise, own=size * noise.own, step=size * noise.step)


def _shapes(
    family: Family, form: Form, red: str | None, black: str | None
) -> Iterator[tuple[str, Latent, float]]:
    """(kind, latent really read, what was really shown as a multiple of what was typed)."""
    latent = form.modes[0].number
    assert latent is not None
    if isinstance(latent, VoltBetween | OhmBetween) and red is not None and black is not None:
        for kind, moved in _moved_leads(family, latent, red, black):
            yield kind, moved, 1.0
        yield "unit", latent, 1e3
        yield "unit", latent, THOUSANDTH
    if isinstance(latent, VoltBetween):
        yield "leads swapped", latent, -1.0
    if isinstance(latent, OhmBetween):
        plugged = {
            name: "plugged" if chosen == "unplugged" else chosen for name, chosen in latent.state
        }
        if plugged != dict(latent.state):
            yield "plug left on", replace(latent, state=freeze(plugged)), 1.0
    if isinstance(latent, VoltBetween | OhmBetween):
        for other in _other_positions(family, dict(latent.state)):
            yield "other position", replace(latent, state=freeze(other)), 1.0
    if isinstance(latent, EngineOutput) and latent.kind == "speed":
        yield "cylinder count", latent, 2.0
        yield "cylinder count", latent, 0.5


def _moved_leads(
    family: Family, latent: VoltBetween | OhmBetween, red: str, black: str
) -> Iterator[tuple[str, Latent]]:
    """The same reading with a lead one pin off, or both counted from the other face."""
    plug = _plug_of(family, red)
    if plug is None:
        return
    points = plug.points
    at = points.index(red)
    for beside in (at - 1, at + 1):
        if 0 <= beside < len(points):
            node = node_of(family, points[beside])
            if node not in (latent.black, latent.red):
                yield "next pin", replace(latent, red=node)
    mirrored = node_of(family, points[len(points) - 1 - at])
    black_node = latent.black
    if black in points:
        black_node = node_of(family, points[len(points) - 1 - points.index(black)])
    if mirrored != black_node and (mirrored, black_node) != (latent.red, latent.black):
        yield "other face", replace(latent, red=mirrored, black=black_node)


def _plug_of(family: Family, point: str) -> Plug | None:
    return next((plug for plug in family.plugs.values() if point in plug.points), None)


def _other_positions(family: Family, state: Mapping[str, str]) -> Iterator[dict[str, str]]:
    """States with one two-way thing that is not a plug or the key the other way."""
    for name, variable in family.states.items():
        if name in POSITIONS and len(variable.values) >= 2:
            for value in variable.values:
                if value != state.get(name) and value in POSITIONS[name]:
                    yield {**state, name: value}


POSITIONS: Mapping[str, tuple[str, ...]] = {
    "throttle": ("closed", "wide"),
    "tip": ("rest", "pressed"),
}
"""Positions a person holds by hand and can mix up."""
