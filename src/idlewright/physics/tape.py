"""Straight-line programs of array arithmetic: recorded once, run over many worlds at once.

A `Recorder` takes down sums, differences, products and quotients of numbered values. `compile_tape`
drops what no output needs, lets values that are never alive together share one buffer, and returns
a `Tape` that runs the rest chunk by chunk, so that its buffers stay in the processor's cache.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Row = NDArray[np.float64]

CHUNK_BYTES = 8_000_000
"""Inputs, outputs and buffers of one chunk together. Measured: below, the fixed cost of a call
(0.25 us) rules; above, the chunk falls out of the caches."""

_LINE = 8
_FEW_USES = 2
_SMALLEST_CHUNK = 1024
_LARGEST_CHUNK = 8192
_TINIEST = float(np.finfo(np.float64).tiny)
_CONSTANTS = (1.0, -1.0, _TINIEST)
_COMMUTES = frozenset((np.add, np.multiply))


Step = tuple[np.ufunc, int, int, int]
"""One array operation (act, left, right, out): out = act(left, right). A plain tuple: compiling
makes tens of thousands, and nothing else in it costs as much."""


class Signed(NamedTuple):
    """A value with a sign known beforehand, so that a sign never costs an operation."""

    value: int
    sign: int


Term = Signed | None
"""A signed value; None is a value known to be zero in every world."""


class Recorder:
    """Takes down arithmetic on numbered values; the same operation asked for twice is kept once.

    Args:
        inputs: how many input rows there are; they are values 0 .. inputs-1.
        guarded: add the smallest normal number to each divisor, so that 0/0 reads 0 (needed when
            a conductance is exactly zero in some worlds; no other sum of them notices).
    """

    def __init__(self, inputs: int, guarded: bool = False) -> None:
        self.inputs = inputs
        self.one, self.minus_one, self._tiniest = range(inputs, inputs + len(_CONSTANTS))
        self.steps: list[Step] = []
        self._guarded = guarded
        self._known: dict[tuple[np.ufunc, int, int], int] = {}

    def _record(self, act: np.ufunc, left: int, right: int) -> int:
        if right < left and act in _COMMUTES:
            left, right = right, left
        key = (act, left, right)
        out = self._known.get(key)
        if out is None:
            out = self.one + len(_CONSTANTS) + len(self.steps)
            self.steps.append((act, left, right, out))
            self._known[key] = out
        return out

    def add(self, left: int, right: int) -> int:
        """The sum."""
        return self._record(np.add, left, right)

    def total(self, values: Sequence[int]) -> int:
        """The sum of one value or more."""
        result = values[0]
        for value in values[1:]:
            result = self.add(result, value)
        return result

    def multiply(self, left: int, right: int) -> int:
        """The product; a factor known to be 1 costs nothing."""
        if left == self.one:
            return right
        return left if right == self.one else self._record(np.multiply, left, right)

    def divide(self, left: int, right: int) -> int:
        """The quotient; guarded, 0/0 is 0."""
        if self._guarded:
            right = self.add(right, self._tiniest)
        return self._record(np.divide, left, right)

    def plus(self, left: Term, right: Term) -> Term:
        """The sum of two signed values."""
        if left is None or right is None:
            return left or right
        if left.sign == right.sign:
            return Signed(self.add(left.value, right.value), left.sign)
        first, second = (left, right) if left.sign > 0 else (right, left)
        return Signed(self._record(np.subtract, first.value, second.value), 1)

    def sum(self, terms: Sequence[Term]) -> Term:
        """The sum of any number of signed values."""
        result: Term = None
        for term in terms:
            result = self.plus(result, term)
        return result

    def times(self, term: Term, factor: int) -> Term:
        """A signed value times a positive one."""
        return term and Signed(self.multiply(term.value, factor), term.sign)

    def product(self, left: Term, right: Term) -> Term:
        """The product of two signed values."""
        if left is None or right is None:
            return None
        return Signed(self.multiply(left.value, right.value), left.sign * right.sign)

    def over(self, term: Term, divisor: int) -> Term:
        """A signed value divided by a positive one."""
        return term and Signed(self.divide(term.value, divisor), term.sign)

    def positive(self, term: Signed) -> int:
        """The value with its sign worked in."""
        return term.value if term.sign > 0 else self.multiply(term.value, self.minus_one)


def flip(term: Term) -> Term:
    """The signed value with the other sign."""
    return term and Signed(term.value, -term.sign)


@dataclass(frozen=True, slots=True)
class Tape:
    """A program ready to run. Slots hold: inputs, constants, narrow values, outputs, buffers.

    Attributes:
        inputs: how many input rows it takes.
        outputs: which of the asked outputs are computed; the others are zero in every world.
        operations: array operations per chunk.
    """

    inputs: int
    outputs: tuple[int, ...]
    _once: tuple[Step, ...]
    _each: tuple[Step, ...]
    _wide_inputs: tuple[int, ...]
    _narrow: int
    _buffers: int

    @property
    def operations(self) -> int:
        """Array operations run on every chunk of worlds."""
        return len(self._each)

    def run(self, rows: Sequence[Row], out: NDArray[np.float64]) -> None:
        """Fill `out` (asked outputs, W) from input rows, each (1,) or (W,).

        Rows that were called wide when the tape was compiled must be (W,).
        """
        if len(self.outputs) < out.shape[0]:
            out[sorted(set(range(out.shape[0])) - set(self.outputs))] = 0.0
        width = out.shape[1]
        worlds = self._chunk(width)
        narrow, buffers = _arena(self._narrow, self._buffers, worlds)
        views: list[Row] = [*rows, *_CONSTANT_ROWS, *narrow]
        _play(self._once, views)
        every = list(out)
        results = [every[row] for row in self.outputs]
        if worlds >= width:
            _play(self._each, [*views, *results, *buffers[:, :width]])
            return
        for start in range(0, width, worlds):
            part = slice(start, min(start + worlds, width))
            for slot in self._wide_inputs:
                views[slot] = rows[slot][part]
            scratch = buffers[:, : part.stop - start]
            _play(self._each, [*views, *(result[part] for result in results), *scratch])

    def _chunk(self, width: int) -> int:
        """Worlds per chunk: what fits the cache, shared out evenly."""
        rows = self._buffers + len(self._wide_inputs) + len(self.outputs)
        fits = CHUNK_BYTES // (8 * max(rows, 1))
        fits = min(max(fits, _SMALLEST_CHUNK), _LARGEST_CHUNK)
        chunks = max(1, round(width / fits))
        return max(1, _up_to_line(-(-width // chunks)))


def _play(steps: Sequence[Step], views: list[Row]) -> None:
    """Run the steps on the rows in their slots."""
    for act, left, right, out in steps:
        act(views[left], views[right], views[out])


_CONSTANT_ROWS = tuple(np.array([constant]) for constant in _CONSTANTS)


def _up_to_line(numbers: int) -> int:
    """The next multiple of a cache line of 8 numbers."""
    return -(-numbers // _LINE) * _LINE


def aligned(rows: int, columns: int) -> NDArray[np.float64]:
    """An unset array that starts on a cache line: vector loads across lines cost twice."""
    flat = np.empty(rows * columns + _LINE)
    skip = (-flat.ctypes.data % (8 * _LINE)) // 8
    return flat[skip : skip + rows * columns].reshape(rows, columns)


_local = threading.local()


def _arena(narrow: int, rows: int, worlds: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scratch arrays (narrow, 1) and (rows, worlds or more) in reused memory of this thread.

    Fresh memory would cost more than the arithmetic. Rows lie whole cache lines apart, and an odd
    number of them, so that the same place in many rows does not fall into one set of the cache.
    """
    stride = (-(-worlds // _LINE) | 1) * _LINE
    head = _up_to_line(narrow)
    size = head + rows * stride
    arena: Row | None = getattr(_local, "arena", None)
    if arena is None or arena.size < size:
        arena = aligned(1, size)[0]
        _local.arena = arena
    return arena[:narrow, None], arena[head:size].reshape(rows, stride)


def compile_tape(recorder: Recorder, asked: Sequence[int | None], wide: Sequence[bool]) -> Tape:
    """Turn recorded steps into a tape.

    Args:
        recorder: the recorded arithmetic.
        asked: value ids of the outputs, in order; None is an output that is zero in every world.
        wide: for each input row, True if it has one number per world, False if one for all.
    """
    steps, finals = _give_outputs_own_values(recorder, asked)
    needed = _needed(_divide_at_once(_needed(steps, finals), finals, recorder.one), finals)
    is_wide = dict(enumerate([*wide, *(False for _ in _CONSTANTS)]))
    once: list[Step] = []
    each: list[Step] = []
    output_values = set(finals)
    for step in needed:
        _, left, right, out = step
        is_wide[out] = is_wide[left] or is_wide[right] or out in output_values
        (each if is_wide[out] else once).append(step)
    slots = {value: value for value in range(recorder.inputs + len(_CONSTANTS))}
    for _, _, _, out in once:
        slots[out] = len(slots)
    for value in finals:
        slots[value] = len(slots)
    buffers = _share_buffers(each, slots)
    used = {value for _, left, right, _ in each for value in (left, right)}
    return Tape(
        inputs=recorder.inputs,
        outputs=tuple(row for row, value in enumerate(asked) if value is not None),
        _once=_placed(once, slots),
        _each=_placed(each, slots),
        _wide_inputs=tuple(i for i in range(recorder.inputs) if wide[i] and i in used),
        _narrow=len(once),
        _buffers=buffers,
    )


def _give_outputs_own_values(
    recorder: Recorder, asked: Sequence[int | None]
) -> tuple[list[Step], list[int]]:
    """Steps and output values such that each output is the result of a step of its own."""
    steps = list(recorder.steps)
    first_step = recorder.inputs + len(_CONSTANTS)
    finals: list[int] = []
    for value in asked:
        if value is None:
            continue
        if value < first_step or value in finals:
            copy = first_step + len(steps)
            steps.append((np.multiply, value, recorder.one, copy))
            finals.append(copy)
        else:
            finals.append(value)
    return steps, finals


def _needed(steps: Sequence[Step], finals: Sequence[int]) -> list[Step]:
    """The steps some output depends on, in their order."""
    alive = set(finals)
    kept: list[Step] = []
    for step in reversed(steps):
        if step[3] in alive:
            alive.add(step[1])
            alive.add(step[2])
            kept.append(step)
    return kept[::-1]


def _divide_at_once(steps: Sequence[Step], finals: Sequence[int], one: int) -> list[Step]:
    """Where 1/x has few uses, all as a factor, divide by x there instead."""
    inverses = {out: right for act, left, right, out in steps if left == one and act is np.divide}
    uses = dict.fromkeys(inverses, 0)
    for value in finals:
        inverses.pop(value, None)
    for act, left, right, _ in steps:
        for value in (left, right):
            if value in uses:
                uses[value] += 1
                if act is not np.multiply or uses[value] > _FEW_USES:
                    inverses.pop(value, None)
    return [_divided(step, inverses) if step[0] is np.multiply else step for step in steps]


def _divided(step: Step, inverses: Mapping[int, int]) -> Step:
    """A product, or the quotient in its place if one factor is an inverse."""
    _, left, right, out = step
    if right in inverses:
        return np.divide, left, inverses[right], out
    if left in inverses:
        return np.divide, right, inverses[left], out
    return step


def _share_buffers(each: Sequence[Step], slots: dict[int, int]) -> int:
    """Give every value without a slot a buffer, reusing those whose value is spent; their count.

    The buffer freed last is taken first: it is the one still in the cache.
    """
    last_use: dict[int, int] = {}
    for at, (_, left, right, _) in enumerate(each):
        last_use[left] = last_use[right] = at
    first_buffer = len(slots)
    count = 0
    free: list[int] = []
    for at, (_, left, right, out) in enumerate(each):
        for value in (left, right):
            if last_use[value] == at and slots[value] >= first_buffer:
                free.append(slots[value])
                last_use[value] = -1  # a square frees its factor once
        if out not in slots:
            if not free:
                free.append(first_buffer + count)
                count += 1
            slots[out] = free.pop()
    return count


def _placed(steps: Sequence[Step], slots: dict[int, int]) -> tuple[Step, ...]:
    return tuple([(act, slots[left], slots[right], slots[out]) for act, left, right, out in steps])
