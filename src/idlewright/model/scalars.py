"""One family and one sheet turned into numbers: the nominal value and tolerance of every scalar.

A word that the sheet does not give (is the input pulled up or down?) is not guessed: each possible
combination of such words is a *variant*, carried along with its weight.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from idlewright.errors import BadInput, Problem
from idlewright.family.kinds import Condition, Family, Scalar, Sheet, holds

COVER = 1.959963984540054
"""Standard deviations that hold 95 % of a normal law."""

COVER_OF_LIMITS = 2.575829303548901
"""A book's limits hold nearly all good cars: 99 % (common practice, no source)."""

USUAL_WEIGHT = 0.8
"""Weight of a family's usual word when this vehicle's sheet does not say (common practice)."""

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ScalarTable:
    """Every scalar of a family for one vehicle.

    Attributes:
        ids: scalar ids, S of them. log: True where the working coordinate is the logarithm, (S,).
        nominal: value of the good car, (V, S), own unit. spread: standard deviation of good parts
            in the working coordinate, (V, S). variants: V mappings of sheet key -> word assumed.
        only: state condition of each scalar; stands_for: index of the scalar replaced, or -1, (S,).
        variant_weight: their weights, (V,). assumed: sheet keys whose usual value stood in.
    """

    ids: tuple[str, ...]
    index: Mapping[str, int]
    log: NDArray[np.bool_]
    nominal: FloatArray
    spread: FloatArray
    units: tuple[str, ...]
    variants: tuple[Mapping[str, str], ...]
    variant_weight: FloatArray
    only: tuple[Condition, ...]
    stands_for: NDArray[np.int64]
    assumed: tuple[str, ...]

    def coordinate(self, natural: FloatArray) -> FloatArray:
        """Working coordinate of values (S, W) in their own units."""
        out = np.array(natural, dtype=float)
        out[self.log] = np.log(np.maximum(out[self.log], 1e-300))
        return out

    def natural(self, coordinate: FloatArray) -> FloatArray:
        """Values in their own units of coordinates (S, W)."""
        out = np.array(coordinate, dtype=float)
        out[self.log] = np.exp(np.minimum(out[self.log], 690.0))
        return out

    def in_state(self, state: Mapping[str, str]) -> dict[str, int]:
        """Scalar id -> index of the scalar that counts in `state`; absent scalars are left out."""
        found: dict[str, int] = {}
        for position, scalar_id in enumerate(self.ids):
            target = self.stands_for[position]
            if holds(self.only[position], state):
                if target < 0:
                    found.setdefault(scalar_id, position)
                else:
                    found[self.ids[target]] = position
        return found


def resolve_scalars(family: Family, sheet: Sheet) -> ScalarTable:
    """Numbers of every scalar of `family` for the vehicle described by `sheet`.

    Scalars to be fitted (`fit`) get NaN; the engine's fit fills them in.

    Raises:
        BadInput: a value refers to a sheet entry that the family does not declare.
    """
    ids = tuple(family.scalars)
    index = {scalar_id: position for position, scalar_id in enumerate(ids)}
    variants, weight = _variants(family, sheet)
    nominal = np.empty((len(variants), len(ids)))
    spread = np.empty_like(nominal)
    assumed: dict[str, None] = {}
    for row, words in enumerate(variants):
        reader = _Reader(family, sheet, words, assumed)
        for column, scalar in enumerate(family.scalars.values()):
            nominal[row, column], spread[row, column] = reader.read(scalar)
    stands_for = np.array(
        [index[s.stands_for] if s.stands_for else -1 for s in family.scalars.values()]
    )
    log = np.array([s.scale == "log" for s in family.scalars.values()])
    return ScalarTable(
        ids=ids,
        index=index,
        log=log,
        nominal=nominal,
        spread=spread,
        units=tuple(s.unit for s in family.scalars.values()),
        variants=variants,
        variant_weight=weight,
        only=tuple(s.only for s in family.scalars.values()),
        stands_for=stands_for,
        assumed=tuple(assumed),
    )


def _variants(family: Family, sheet: Sheet) -> tuple[tuple[Mapping[str, str], ...], FloatArray]:
    """All combinations of the words that matter to the physics and that the sheet does not give.

    A word the sheet does not give is the family's usual one with weight USUAL_WEIGHT; the others
    share the rest. Without a usual word all weigh the same.
    """
    needed = {
        scalar.value.sheet: tuple(scalar.value.by_word)
        for scalar in family.scalars.values()
        if scalar.value.by_word is not None and scalar.value.sheet is not None
    }
    choices: list[list[tuple[str, str, float]]] = []
    for key, possible in needed.items():
        given = sheet.values.get(key)
        known = given.word if given is not None else None
        usual = family.sheet[key].usual_word
        if known in possible:
            choices.append([(key, str(known), 1.0)])
        elif usual in possible and len(possible) > 1:
            rest = (1.0 - USUAL_WEIGHT) / (len(possible) - 1)
            choices.append(
                [(key, word, USUAL_WEIGHT if word == usual else rest) for word in possible]
            )
        else:
            choices.append([(key, word, 1.0 / len(possible)) for word in possible])
    combinations = list(itertools.product(*choices))
    weight = np.array([math.prod(item[2] for item in combination) for combination in combinations])
    words = tuple({key: word for key, word, _ in combination} for combination in combinations)
    return words, weight


class _Reader:
    """Reads one scalar after another for one variant."""

    def __init__(
        self, family: Family, sheet: Sheet, words: Mapping[str, str], assumed: dict[str, None]
    ) -> None:
        self._family = family
        self._sheet = sheet
        self._words = words
        self._assumed = assumed

    def read(self, scalar: Scalar) -> tuple[float, float]:
        """Nominal value and spread in the working coordinate."""
        value = scalar.value
        if value.fit:
            return math.nan, self._spread(scalar, None)
        if value.by_word is not None and value.sheet is not None:
            return value.by_word[self._words[value.sheet]], self._spread(scalar, None)
        if value.sheet is None:
            return float(value.number or 0.0), self._spread(scalar, None)
        low, high = self._limits(value.sheet)
        if value.over is not None:
            low_over, high_over = self._limits(value.over)
            middle = 0.5 * (low_over + high_over)
            low, high = low / middle, high / middle
        return 0.5 * (low + high), self._spread(scalar, (low, high))

    def _spread(self, scalar: Scalar, limits: tuple[float, float] | None) -> float:
        log = scalar.scale == "log"
        if scalar.within is not None:
            return (math.log1p(scalar.within) if log else scalar.within) / COVER
        if limits is None:
            return 0.0
        low, high = limits
        half = 0.5 * (math.log(high / low) if log and low > 0 else high - low)
        return half / COVER_OF_LIMITS

    def _limits(self, key: str) -> tuple[float, float]:
        entry = self._family.sheet.get(key)
        if entry is None:
            raise BadInput(
                Problem(
                    says=f"no sheet entry named {key}",
                    expected="an entry of the family's [sheet]",
                    remedy="declare it there or correct the name",
                    key=key,
                )
            )
        given = self._sheet.values.get(key)
        if given is not None and (given.low is not None or given.high is not None):
            low = given.low if given.low is not None else given.high
            high = given.high if given.high is not None else given.low
            return float(low or 0.0), float(high or 0.0)
        self._assumed.setdefault(key)
        if entry.usual is None:
            raise BadInput(
                Problem(
                    says=f"the sheet does not give {entry.say} and there is no usual value",
                    expected=f"limits in {entry.unit}",
                    remedy=f"add {key} to the sheet",
                    key=key,
                )
            )
        return entry.usual
