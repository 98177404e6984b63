"""Random cars and what a technician would read on them, for the oracle's comparisons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from idlewright.diagnosis.factors import (
    Seen,
    number_alternatives,
    overload_alternatives,
    word_alternatives,
    word_and_number,
)
from idlewright.diagnosis.world import Timeline
from idlewright.family.kinds import Check
from idlewright.job.case import noise_of
from idlewright.model.compiled import CompiledModel
from idlewright.model.forms import Form, Mode, form_of_check
from idlewright.model.latents import from_scale, noise_in_unit
from idlewright.physics.meter import ORDINARY, ORDINARY_METER, in_base_unit

from .car import Car, Hypothesis


@dataclass
class TrueCar:
    """One definite car at definite times.

    Attributes:
        car: physics. hypothesis: what is wrong. z, u, level: its parts. rng: reading noise.
    """

    car: Car
    hypothesis: Hypothesis
    z: np.ndarray
    u: float
    level: float
    rng: np.random.Generator
    gains: dict[str, float]

    def value(self, latent: object, time: int) -> float:
        """A latent's true value on its working scale."""
        number = self.car.model.number_of(latent)  # type: ignore[arg-type]
        h = self.hypothesis
        columns = self.car.columns[self.car.epochs[time]]
        local = np.concatenate([self.z[columns], [self.u]])[None, :]
        source = np.array([h.cell if h.active[time] else h.good])
        x, _ = self.car.model.linearise(source, local, [number], self.level)
        return float(x[0, 0])

    def holds(self, mode: Mode, time: int) -> bool:
        """True if the car is in this mode, with a fresh draw of each border's blur."""
        return all(
            box.low <= self.value(box.latent, time) + box.blur * self.rng.normal() < box.high
            for box in mode.boxes
        )

    def read(self, name: str, check: str, form: Form, time: int, tell_mode: bool) -> Seen | None:
        """The reading of one check as the product takes it, or None if nothing can be read."""
        seen = Seen(name, (), 0, time, what=check)
        if form.odds and not form.modes:
            return replace(seen, **self._odds_word(form, time))
        if form.words and (not form.modes or (tell_mode and self.rng.random() < 0.7)):
            return self._word(seen, form, time)
        mode = next((m for m in form.modes if self.holds(m, time)), None)
        if mode is None or mode.number is None:
            return None
        shown = self._shown(form, mode, time)
        if shown is None:
            noise = noise_of(ORDINARY_METER, form.function, 0.0, None)
            return replace(seen, alternatives=overload_alternatives(form, noise))
        noise = noise_of(ORDINARY_METER, form.function, shown, None)
        return replace(seen, alternatives=number_alternatives(form, shown, noise))

    def _shown(self, form: Form, mode: Mode, time: int) -> float | None:
        """Number on the display, or None for an open circuit."""
        assert mode.number is not None
        x = self.value(mode.number, time)
        true = float(from_scale(mode.number.scale, np.float64(x)))
        true += noise_in_unit(mode.number.scale, form.noise, true) * self.rng.normal()
        measured = "volt" if form.function == "mV" else form.function
        if measured not in ORDINARY:
            return true
        unit = in_base_unit(form.function, 1.0)
        gain = self.gains.get(measured, 0.0)
        shown = ORDINARY_METER.show(measured, true * unit, gain=gain, rng=self.rng)
        return None if bool(shown.overload) else float(shown.value) / unit

    def _odds_word(self, form: Form, time: int) -> dict[str, object]:
        h = self.hypothesis
        fault = "" if h.fault < 0 else self.car.model.cells.faults[h.fault].id
        usual = form.usual_word or ""
        others = [w for w in form.odds if w != usual]
        chances = {
            w: form.odds[w].get(fault, form.false_word) if h.active[time] else form.false_word
            for w in others
        }
        draw = self.rng.random()
        for word, chance in chances.items():
            if draw < chance:
                return {"odds": form.odds[word], "base": form.false_word}
            draw -= chance
        named = {f for w in others for f in form.odds[w]}
        left = {
            f: max(1 - sum(form.odds[w].get(f, form.false_word) for w in others), 0.02)
            for f in named
        }
        return {"odds": left, "base": 1 - form.false_word * len(others)}

    def _word(self, seen: Seen, form: Form, time: int) -> Seen | None:
        for word, modes in form.words.items():
            if not any(self.holds(m, time) for m in modes):
                continue
            mode = next((m for m in form.modes if self.holds(m, time)), None)
            if mode is not None and mode.number is not None and form.modes[0].boxes:
                shown = self._shown(form, mode, time)
                if shown is not None:
                    noise = noise_of(ORDINARY_METER, form.function, shown, None)
                    both = word_and_number(form, word, shown, noise)
                    if both:
                        return replace(seen, alternatives=both)
            return replace(seen, alternatives=word_alternatives(form, word))
        return None


def random_car(
    model: CompiledModel,
    timeline: Timeline,
    rng: np.random.Generator,
    fault: int | None = None,
    active: tuple[bool, ...] | None = None,
) -> TrueCar:
    """A car with a fault drawn by weight (or given), tolerances as stated or doubled."""
    car = Car(model, timeline)
    faults = model.cells.faults
    if fault is None:
        weight = np.array([f.weight for f in faults])
        fault = int(rng.choice(len(faults), p=weight / weight.sum()))
    variants = model.table.variant_weight
    variant = int(rng.choice(len(variants), p=variants / variants.sum()))
    cells = car.model.cells
    cell = int(np.flatnonzero((cells.fault == fault) & (cells.variant == variant))[0])
    count = max(len(timeline.times), 1)
    active = active if active is not None else (fault >= 0,) * count
    h = Hypothesis(fault, cell, int(cells.good[variant]), active, True, 0.0)
    level = 1.0 if rng.random() < 0.8 else 2.0
    z = rng.normal(size=car.size)
    gains = {read: f.gain_sd * rng.normal() for read, f in ORDINARY.items()}
    return TrueCar(car, h, z, float(rng.random()), level, rng, gains)


def readings_of(
    true: TrueCar,
    count: int,
    rng: np.random.Generator,
    repeat: float = 0.1,
    among: Sequence[Check] | None = None,
) -> tuple[list[Seen], list[int]]:
    """Readings of some random checks (some twice), at random times of the timeline."""
    family = true.car.model.family
    checks = list(among or family.checks.values())
    names = rng.permutation(len(checks))
    seen: list[Seen] = []
    times: list[int] = []
    place = 0
    while len(seen) < count and place < len(names):
        check = checks[names[place]]
        if rng.random() > repeat:
            place += 1
        time = int(rng.integers(max(len(true.car.timeline.times), 1)))
        input_ohm = ORDINARY["volt"].input_ohm
        form = form_of_check(family, check, input_ohm)
        one = true.read(f"r{len(seen)}", check.id, form, time, bool(rng.random() < 0.5))
        if one is not None:
            seen.append(one)
            times.append(time)
    return seen, times
