"""One check's answers in many cars: numbers with their range, words with their odds, overload."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from idlewright.model.cells import IntArray, place
from idlewright.model.compiled import CompiledModel
from idlewright.model.curves import Curve, curve
from idlewright.model.forms import Box, Form, Mode
from idlewright.model.latents import (
    Latent,
    OhmBetween,
    ScaleName,
    from_scale,
    spread_on_scale,
    to_scale,
)
from idlewright.model.scalars import FloatArray
from idlewright.physics.meter import LIVE_VOLT, Meter, in_base_unit, why_ohms_invalid
from idlewright.physics.normal import ndtr

LEVEL = 0.9
"""Share of cars that a predicted range holds."""
ALWAYS_OVER = 0.999
STEPS = 40
DUST = 1e-9


@dataclass(frozen=True, slots=True)
class Asked:
    """Which cars are asked about: the good one (row 0), then one row a fault.

    Attributes:
        faults: F ids. cell: (C,). row: row of each cell, (C,). share: of its row, (C,).
        meter: what everything is read with.
    """

    faults: tuple[str, ...]
    cell: IntArray
    row: IntArray
    share: FloatArray
    meter: Meter

    def per_row(self, value: FloatArray) -> FloatArray:
        """Average over each row's cells of a value by cell, (F + 1,)."""
        total = np.bincount(self.row, weights=self.share * value, minlength=len(self.faults) + 1)
        return np.asarray(total, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Answer:
    """What one car's check would show.

    Attributes:
        number: low, median and high, in the check's unit, or None. words: odds of each word.
        overload: share of readings above the meter's top. why_invalid: "" if it can be read.
    """

    number: tuple[float, float, float] | None = None
    words: Mapping[str, float] = field(default_factory=dict)
    overload: float = 0.0
    why_invalid: str = ""


@dataclass(frozen=True, slots=True)
class _Mixture:
    """Normal laws of each different answer: means, sds and shares, (N, M).

    Attributes:
        answer: which answer each of the N entries belongs to, (N,). of_row: answer of each row
            asked about, (F + 1,); rows that a check does not tell apart share one.
    """

    mean: FloatArray
    sd: FloatArray
    share: FloatArray
    answer: IntArray
    of_row: IntArray

    @property
    def count(self) -> int:
        """Number of different answers."""
        return int(self.of_row.max()) + 1

    def below(self, x: FloatArray) -> FloatArray:
        """Share of each answer below x, both (answers,)."""
        inside = ndtr((x[self.answer][:, None] - self.mean) / self.sd)
        weights = (self.share * inside).sum(axis=1)
        total = np.bincount(self.answer, weights=weights, minlength=self.count)
        return np.asarray(total, dtype=np.float64)


def _gathered(mean: FloatArray, sd: FloatArray, share: FloatArray, asked: Asked) -> _Mixture:
    """The mixture by cell, (C, M), with equal cells and equal rows worked out once."""
    key = np.concatenate([mean, sd, share], axis=1)
    _, first, back = np.unique(key, axis=0, return_index=True, return_inverse=True)
    weight = np.zeros((len(asked.faults) + 1, len(first)))
    np.add.at(weight, (asked.row, back), asked.share)
    different, of_row = np.unique(weight.round(12), axis=0, return_inverse=True)
    answer, which = np.nonzero(different)
    cell = first[which]
    return _Mixture(
        mean[cell], sd[cell], share[cell] * different[answer, which][:, None], answer, of_row
    )


def answers_of(model: CompiledModel, form: Form, asked: Asked) -> list[Answer]:
    """The answer of each row, (F + 1)."""
    why = _why_invalid(model, form, asked)
    curves = {
        latent: curve(model, model.number_of(latent), asked.cell) for latent in form.latents()
    }
    words = _words(form, curves, asked)
    if not form.modes:
        return [Answer(words=w, why_invalid=y) for w, y in zip(words, why, strict=True)]
    mixture = _shown(form, curves, asked)
    top = top_of(asked.meter, form)
    over = np.clip(1.0 - mixture.below(np.full(mixture.count, top)), 0.0, 1.0)
    over = np.where(over < DUST, 0.0, over)
    ends = [
        _natural(form.scale, _quantile(mixture, p * (1.0 - over), top))[mixture.of_row]
        for p in (0.5 * (1.0 - LEVEL), 0.5, 0.5 * (1.0 + LEVEL))
    ]
    over = over[mixture.of_row]
    found = []
    for row, reason in enumerate(why):
        if reason:
            found.append(Answer(why_invalid=reason))
            continue
        number = None
        if over[row] < ALWAYS_OVER:
            number = (float(ends[0][row]), float(ends[1][row]), float(ends[2][row]))
        found.append(Answer(number, words[row], float(over[row])))
    return found


def _natural(scale: ScaleName, x: FloatArray) -> FloatArray:
    value = from_scale(scale, x)
    return np.maximum(value, 0.0) if scale == "ohm" else value


def top_of(meter: Meter, form: Form) -> float:
    """Largest reading on the working scale."""
    measured = "volt" if form.function == "mV" else form.function
    if measured not in meter.functions:
        return float("inf")
    top = meter.functions[measured].top / in_base_unit(form.function, 1.0)
    return float(to_scale(form.scale, np.float64(top)))


def _shown(form: Form, curves: Mapping[Latent, Curve], asked: Asked) -> _Mixture:
    """What the meter shows: all modes and pieces side by side, its own uncertainty added."""
    chance = mode_chances(form.modes, curves)
    means, sds, shares = [], [], []
    for k, mode in enumerate(form.modes):
        if mode.number is None:
            continue
        here = curves[mode.number]
        means.append(here.mean)
        sds.append(np.sqrt(here.sd**2 + reading_variance(form, asked.meter, here.mean)))
        shares.append(chance[:, k : k + 1] * here.weights)
    return _gathered(np.hstack(means), np.hstack(sds), np.hstack(shares), asked)


def reading_variance(form: Form, meter: Meter, x: FloatArray) -> FloatArray:
    """Variance that reading adds on the working scale: the meter's, and the check's own noise."""
    value = np.maximum(np.abs(from_scale(form.scale, x)), 1e-9)
    extra = form.noise * value if form.scale in ("ohm", "log") else np.full_like(value, form.noise)
    measured = "volt" if form.function == "mV" else form.function
    if measured not in meter.functions:
        return np.maximum(spread_on_scale(form.scale, value, extra) ** 2, 1e-12)
    function = meter.functions[measured]
    unit = in_base_unit(form.function, 1.0)
    own = function.variance(np.minimum(value * unit, function.top)) / unit**2
    gained = np.where(value * unit > function.top, (function.gain_sd * value) ** 2, 0.0)
    spread = np.sqrt(own + gained + extra**2)
    return np.maximum(spread_on_scale(form.scale, value, spread) ** 2, 1e-12)


def mode_chances(modes: Sequence[Mode], curves: Mapping[Latent, Curve]) -> FloatArray:
    """Chance of each mode in each cell, (C, M)."""
    chance = np.stack([_together(mode.boxes, curves) for mode in modes], axis=1)
    chance = np.maximum(chance, 1e-12)
    normal: FloatArray = chance / chance.sum(axis=1, keepdims=True)
    return normal


def _together(boxes: Sequence[Box], curves: Mapping[Latent, Curve]) -> FloatArray:
    """Chance that all boxes hold, taken one at a time, (C,)."""
    width = len(next(iter(curves.values())).mean)
    chance = np.ones(width)
    for box in boxes:
        here = curves[box.latent]
        sd = np.sqrt(here.sd**2 + box.blur**2)
        inside = ndtr((box.high - here.mean) / sd) - ndtr((box.low - here.mean) / sd)
        chance = chance * (inside @ here.weights)
    return np.clip(chance, 0.0, 1.0)


def word_chances(form: Form, curves: Mapping[Latent, Curve]) -> FloatArray:
    """Chance of each word given by limits in each cell, (C, words)."""
    columns = [
        np.sum([_together(mode.boxes, curves) for mode in modes], axis=0)
        for modes in form.words.values()
    ]
    chance = np.stack(columns, axis=1) + 1e-6
    normal: FloatArray = chance / chance.sum(axis=1, keepdims=True)
    return normal


def _words(form: Form, curves: Mapping[Latent, Curve], asked: Asked) -> list[dict[str, float]]:
    """Odds of each word, one mapping a row."""
    if form.words:
        chance = word_chances(form, curves)
        rows = np.stack([asked.per_row(column) for column in chance.T], axis=1)
        return [dict(zip(form.words, map(float, row), strict=True)) for row in rows]
    if not form.odds:
        return [{} for _ in range(len(asked.faults) + 1)]
    return [stated_odds(form, fault) for fault in (None, *asked.faults)]


def stated_odds(form: Form, fault: str | None) -> dict[str, float]:
    """Odds of the words of a look under an active fault, or on a good car (None)."""
    unusual = [word for word in form.odds if word != form.usual_word]
    each = form.false_word / max(len(unusual), 1)
    shows = any(fault in form.odds[word] for word in unusual)
    odds = {word: max(form.odds[word].get(fault or "", 0.0), each) for word in unusual}
    total = sum(odds.values())
    if form.usual_word is not None:
        odds[form.usual_word] = max(1.0 - total, form.false_word if shows else 0.0)
    scale = sum(odds.values())
    return {word: odds[word] / scale for word in form.odds}


def _quantile(mixture: _Mixture, p: FloatArray, top: float) -> FloatArray:
    """x of each answer with a share p below it, both (answers,), by halving."""
    least = float((mixture.mean - 8.0 * mixture.sd).min())
    most = float((mixture.mean + 8.0 * mixture.sd).max())
    low, high = np.full(len(p), least), np.full(len(p), min(most, top))
    for _ in range(STEPS):
        middle = 0.5 * (low + high)
        under = mixture.below(middle) < p
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    found: FloatArray = 0.5 * (low + high)
    return found


def _why_invalid(model: CompiledModel, form: Form, asked: Asked) -> list[str]:
    """Why each row's ohms mean nothing (volts between the leads), or "".

    Volts behind more ohms than the meter shows do not count: it reads overload either way.
    """
    latent = form.modes[0].number if form.modes else None
    rows = len(asked.faults) + 1
    if not isinstance(latent, OhmBetween):
        return [""] * rows
    circuit = model.physics.circuit(latent.state)
    if not circuit.live:
        return [""] * rows
    z = np.zeros((len(asked.cell), model.columns))
    worlds = place(model.table, model.cells, asked.cell, z).worlds
    port = circuit.port(worlds, latent.red, latent.black)
    top = asked.meter.functions["ohm"].top if "ohm" in asked.meter.functions else np.inf
    volts = np.where(port.ohms < top, np.abs(port.volts), 0.0)
    live = asked.per_row((volts > LIVE_VOLT).astype(float))
    mean = asked.per_row(volts)
    return [why_ohms_invalid(float(mean[k])) if live[k] > 0.5 else "" for k in range(rows)]
