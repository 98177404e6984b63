"""The tapes of one circuit topology: compiled when needed, guarded only where it must be."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from idlewright.physics.tape import Recorder, Tape, compile_tape
from idlewright.physics.worlds import Worlds

Wish = TypeVar("Wish")


class Tapes(Generic[Wish]):
    """The tapes of one topology, one for each kind of inputs and wish, compiled when needed.

    Args:
        record: takes down what gives a wish, and says which values it is.
    """

    def __init__(self, record: Callable[[Recorder, Worlds, Wish], list[int | None]]) -> None:
        self._record = record
        self._compiled: dict[object, Tape | bytes] = {}
        self._guarded = False

    def __getstate__(self) -> dict[str, object]:
        """Pickled, each tape is a pickle by itself: most of those kept are not run again."""
        packed = {
            key: tape if isinstance(tape, bytes) else pickle.dumps(tape, protocol=5)
            for key, tape in self._compiled.items()
        }
        return {**self.__dict__, "_compiled": packed}

    def run(self, worlds: Worlds, wish: Wish, out: NDArray[np.float64]) -> None:
        """Fill `out` with what was wished for.

        A node whose branches all have conductance 0 in some world asks for 0/0. That raises the
        processor's flag, which costs nothing to watch; from then on the guarded tape runs.
        """
        if not self._guarded:
            try:
                with np.errstate(divide="raise", invalid="raise"):
                    self._tape(worlds, wish, guarded=False).run(worlds.rows, out)
                return
            except FloatingPointError:
                self._guarded = True
        with np.errstate(over="ignore", invalid="ignore"):  # only where nothing is connected
            self._tape(worlds, wish, guarded=True).run(worlds.rows, out)

    def _tape(self, worlds: Worlds, wish: Wish, guarded: bool) -> Tape:
        key = (wish, worlds.kind, guarded)
        tape = self._compiled.get(key)
        if isinstance(tape, bytes):
            tape = self._compiled[key] = _unpacked(tape)
        if tape is None:
            recorder = Recorder(len(worlds.rows), guarded)
            asked = self._record(recorder, worlds, wish)
            tape = self._compiled[key] = compile_tape(recorder, asked, worlds.wide)
        return tape


def _unpacked(data: bytes) -> Tape:
    """A tape of our own pickling."""
    tape = pickle.loads(data)
    assert isinstance(tape, Tape)
    return tape
