"""Tapes: what is recorded comes out, whatever is shared, dropped or cut into chunks."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from numpy.typing import NDArray

from idlewright.physics.tape import Recorder, Signed, compile_tape, flip


def _random_program(
    seed: int, wide: list[bool], rows: list[NDArray[np.float64]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The outputs of a random program by the tape, and by plain arithmetic beside it."""
    draw = np.random.default_rng(seed)
    tape = Recorder(len(rows))
    plain = dict(enumerate(rows)) | {tape.one: np.ones(1)}
    for _ in range(120):
        left, right = (int(value) for value in draw.choice(list(plain), 2))
        match int(draw.integers(4)):
            case 0:
                plain[tape.add(left, right)] = plain[left] + plain[right]
            case 1:
                plain[tape.multiply(left, right)] = plain[left] * plain[right]
            case 2:
                plain[tape.divide(left, right)] = plain[left] / plain[right]
            case _:
                plain[tape.divide(tape.one, right)] = 1.0 / plain[right]
    asked: list[int | None] = [int(value) for value in draw.choice(list(plain), 12)]
    asked[3] = None
    width = max(row.size for row in rows)
    out = np.full((12, width), np.nan)
    compile_tape(tape, asked, wide).run(rows, out)
    zero = np.zeros(1)
    wanted = [zero if value is None else plain[value] for value in asked]
    return out, np.array([np.broadcast_to(row, width) for row in wanted])


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("width", [1, 7, 20000])
def test_a_tape_gives_what_plain_arithmetic_gives(seed: int, width: int) -> None:
    """Random programs on wide and narrow rows, some outputs twice, inputs or zero among them: the
    same to rounding (a product with an inverse may become a quotient), in one chunk or several.
    """
    draw = np.random.default_rng(1000 + seed)
    wide = [True, *(bool(flag) for flag in draw.integers(2, size=5))]
    rows = [draw.uniform(0.5, 2.0, width if flag else 1) for flag in wide]
    found, wanted = _random_program(seed, [flag or width == 1 for flag in wide], rows)
    with np.errstate(invalid="ignore"):
        assert np.allclose(found, wanted, rtol=1e-13, atol=0.0, equal_nan=True)


def test_the_same_operation_is_run_once() -> None:
    """Asked for twice, also with operands swapped, it is one step; what no output needs is none."""
    tape = Recorder(2)
    total = tape.add(0, 1)
    assert tape.add(1, 0) == total
    tape.multiply(0, 1)
    assert compile_tape(tape, [total], [True, True]).operations == 1


def test_signs_cost_nothing_until_an_output() -> None:
    """Signed sums become sums and differences; only an all-negative output pays for its sign."""
    tape = Recorder(2)
    one, other = Signed(0, 1), Signed(1, 1)
    difference = tape.plus(one, flip(other))
    assert difference is not None
    both = tape.plus(flip(one), flip(other))
    assert both is not None
    assert both.sign == -1
    out = np.empty((2, 1))
    program = compile_tape(tape, [tape.positive(difference), tape.positive(both)], [True, True])
    program.run([np.array([5.0]), np.array([3.0])], out)
    assert out[:, 0].tolist() == [2.0, -8.0]
    assert program.operations == 3
    assert tape.plus(None, one) == one
    assert tape.times(None, 0) is None


def test_guarded_division_of_nothing_by_nothing_is_nothing() -> None:
    """0/0 reads 0 and other quotients are unchanged to the last bit."""
    tape = Recorder(2, guarded=True)
    out = np.empty((1, 3))
    compile_tape(tape, [tape.divide(0, 1)], [True, True]).run(
        [np.array([0.0, 1.0, 2.0]), np.array([0.0, 3.0, 7.0])], out
    )
    assert out[0].tolist() == [0.0, 1.0 / 3.0, 2.0 / 7.0]


def test_threads_do_not_share_scratch() -> None:
    """Eight threads running one tape at once get their own answers."""
    tape = Recorder(1)
    value = 0
    for _ in range(30):
        value = tape.add(tape.multiply(value, 0), 0)
    program = compile_tape(tape, [value], [True])
    found = np.empty((8, 5000))

    def work(number: int) -> None:
        for _ in range(20):
            program.run([np.full(5000, number / 8.0)], found[number : number + 1])

    threads = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    x = np.arange(8) / 8.0
    wanted = sum(x**power for power in range(1, 32))
    assert found == pytest.approx(np.repeat(wanted[:, None], 5000, axis=1), rel=1e-13)
