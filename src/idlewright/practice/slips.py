"""Slips of the hand, done to the car itself: the wrong pin or state is what is really read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from idlewright.family.kinds import Family
from idlewright.model.forms import Form, Mode, node_of
from idlewright.model.latents import (
    EngineOutput,
    Latent,
    MotorOutput,
    OhmBetween,
    ScalarAt,
    VoltBetween,
    freeze,
)

KINDS_OF_SLIP = (
    "next pin", "leads swapped", "plug left on", "other position", "digits", "unit",
    "cylinder count", "other word",
)  # fmt: skip
"""Every kind there is."""

HELD_BY_HAND = {"throttle": ("closed", "wide"), "tip": ("rest", "pressed")}
"""Positions that are easily taken for one another."""


@dataclass(frozen=True, slots=True)
class Slip:
    """One way to get a reading wrong.

    Attributes:
        kind, says: what happened. form: what was really read. factor: what the number typed is
            multiplied by. word: True for another word than the one seen. digits: a digit misread.
    """

    kind: str
    says: str
    form: Form
    factor: float = 1.0
    word: bool = False
    digits: bool = False


@dataclass(frozen=True, slots=True)
class SlipMade:
    """A slip that happened, kept for those who study the answers.

    Attributes:
        check: check id, or "red / black". occasion: how often it had been read before. kind, says:
            of the slip. typed: what was typed. right: what should have been typed.
    """

    check: str
    occasion: int
    kind: str
    says: str
    typed: str
    right: str

    @property
    def harmless(self) -> bool:
        """It changed nothing that can be seen."""
        return self.typed == self.right


def possible_slips(family: Family, form: Form, red: str | None) -> list[Slip]:
    """Every slip that can happen to a reading.

    Args:
        family, form: what is to be read. red: place of the red lead, or None.
    """
    found = []
    latent = form.modes[0].number if form.modes else None
    if isinstance(latent, VoltBetween | OhmBetween) and len(form.modes) == 1:
        found += list(_leads(family, form, latent, red))
        found += list(_states(family, form, latent))
    if latent is not None:
        found += _numbers(form, latent)
    if len(form.words) + len(form.odds) > 1:
        found.append(
            Slip("other word", "another answer than the one seen was noted", form, word=True)
        )
    return found


def _leads(
    family: Family, form: Form, latent: VoltBetween | OhmBetween, red: str | None
) -> Iterator[Slip]:
    plug = next((p for p in family.plugs.values() if red in p.points), None)
    if plug is not None and red is not None:
        at = plug.points.index(red)
        for beside in (at - 1, at + 1):
            if 0 <= beside < len(plug.points):
                point = plug.points[beside]
                node = node_of(family, point)
                if node not in (latent.black, latent.red):
                    moved = _reading(form, replace(latent, red=node))
                    yield Slip("next pin", f"the red lead was on {point}", moved)
    if isinstance(latent, VoltBetween):
        turned = _reading(form, replace(latent, red=latent.black, black=latent.red))
        yield Slip("leads swapped", "the leads were the other way round", turned)


def _states(family: Family, form: Form, latent: VoltBetween | OhmBetween) -> Iterator[Slip]:
    state = dict(latent.state)
    for name, value in state.items():
        if value == "unplugged":
            moved = _reading(form, replace(latent, state=freeze({**state, name: "plugged"})))
            yield Slip("plug left on", f"{name} was still plugged", moved)
        two = HELD_BY_HAND.get(name, ())
        if value in two and name in family.states:
            for other in two:
                if other != value and other in family.states[name].values:
                    moved = _reading(form, replace(latent, state=freeze({**state, name: other})))
                    yield Slip("other position", f"{name} was {other}", moved)


def _numbers(form: Form, latent: Latent) -> list[Slip]:
    found = [Slip("digits", "a digit was misread", form, digits=True)]
    if isinstance(latent, VoltBetween | OhmBetween):
        says = "the unit was mistaken"
        found += [Slip("unit", says, form, factor=1000.0), Slip("unit", says, form, factor=0.001)]
    if isinstance(latent, EngineOutput | ScalarAt) and form.function == "rpm":
        says = "the tachometer was set for another number of cylinders"
        found += [Slip("cylinder count", says, form, factor=factor) for factor in (2.0, 0.5)]
    if isinstance(latent, MotorOutput):
        found = [slip for slip in found if slip.kind == "digits"]
    return found


def _reading(form: Form, latent: Latent) -> Form:
    """The same form with another circuit latent read in its place."""
    return replace(form, modes=(Mode((), latent),))


def misread(text: str, place: int, digit: int) -> str:
    """A typed number with one of its digits (counted by `place`) read as another one."""
    places = [k for k, letter in enumerate(text) if letter.isdigit()]
    if not places:
        return text
    at = places[place % len(places)]
    new = (int(text[at]) + 1 + digit % 9) % 10
    return f"{text[:at]}{new}{text[at + 1 :]}"


def another_word(text: str, words: list[str], rng: np.random.Generator) -> str:
    """A typed answer ("turns, 6.2 V") with another of the check's words in place of its own."""
    said = max((word for word in words if text.startswith(word)), key=len, default="")
    others = [word for word in words if word != said]
    return others[int(rng.integers(len(others)))] + text[len(said) :]
