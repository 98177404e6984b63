"""What a check shows on one definite car: the true number before any meter, and the true word."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from idlewright.model.forms import Form, Mode
from idlewright.model.latents import Latent, from_scale
from idlewright.model.physics_of import Physics
from idlewright.model.worlds import Worlds

Blur = Callable[[Latent], float]
"""Error of standard deviation one with which a person or a car judges a border."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The true answer.

    Attributes:
        number: in the form's unit, before the meter; None where there is none to read.
        word: one of the words given by limits, or None.
    """

    number: float | None
    word: str | None


def answer(form: Form, physics: Physics, worlds: Worlds, blur: Blur) -> Answer:
    """What a form reads on a car.

    Args:
        form: modes and words. physics: solvers. worlds: the car, a batch of one. blur: see Blur.
    """
    known: dict[Latent, float] = {}

    def value(latent: Latent) -> float:
        if latent not in known:
            known[latent] = float(latent.evaluate(physics, worlds)[0][0])
        return known[latent]

    number = None
    if form.modes:
        mode, room = _likeliest(form.modes, value, blur)
        # With one mode only, being outside its boxes means that nothing can be read.
        if mode.number is not None and (room >= 0 or len(form.modes) > 1):
            number = float(from_scale(mode.number.scale, value(mode.number)))  # type: ignore[arg-type]
    return Answer(number, _word(form.words, value, blur))


def _word(
    words: Mapping[str, Sequence[Mode]], value: Callable[[Latent], float], blur: Blur
) -> str | None:
    if not words:
        return None
    return max(words, key=lambda word: _likeliest(words[word], value, blur)[1])


def _likeliest(
    modes: Sequence[Mode], value: Callable[[Latent], float], blur: Blur
) -> tuple[Mode, float]:
    """The mode with most room inside its boxes, and that room in blurs (negative: outside)."""
    rooms = [_room(mode, value, blur) for mode in modes]
    best = max(range(len(modes)), key=rooms.__getitem__)
    return modes[best], rooms[best]


def _room(mode: Mode, value: Callable[[Latent], float], blur: Blur) -> float:
    room = math.inf
    for box in mode.boxes:
        width = max(box.blur, 1e-9)
        at = value(box.latent) + width * blur(box.latent)
        room = min(room, (at - box.low) / width, (box.high - at) / width)
    return room


def word_by_odds(form: Form, active: Sequence[str], pick: float) -> str:
    """The word, of those with stated odds, that is seen on a car with some faults active.

    Args:
        form: its odds words. active: fault ids. pick: even random number, 0 to 1.
    """
    usual = form.usual_word or next(iter(form.odds))
    unusual = [word for word in form.odds if word != usual]
    stray = form.false_word / max(len(unusual), 1)
    stated = {
        word: max((form.odds[word].get(fault, 0.0) for fault in active), default=0.0)
        for word in unusual
    }
    chances = {word: max(chance, stray) for word, chance in stated.items()}
    chances[usual] = max(1.0 - sum(stated.values()), form.false_word)
    if not any(stated.values()):
        chances[usual] = 1.0 - form.false_word
    pick *= sum(chances.values())
    for word, chance in chances.items():
        if pick < chance:
            return word
        pick -= chance
    return usual
